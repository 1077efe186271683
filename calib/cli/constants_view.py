"""How stored constants and their trail are shown, as tables and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from calib.cli.output import Output
from calib.rounding import interval, with_u

if TYPE_CHECKING:
    from calib.registry import AuditLine, StoredConstant

FACTS = (
    *("id", "apparatus", "kind", "method", "constant_J_per_K", "u_constant_J_per_K"),
    *("heat_loss_W_per_K", "u_heat_loss_W_per_K", "sensor_lag_s", "runs"),
    *("wall_part_J_per_K", "hidden_share", "u_hidden_share"),
    *("between_run_sd_J_per_K", "fill_mL", "temperature_C", "valid_from", "valid_to"),
    *("recheck_due", "recheck_uses", "status", "superseded_by", "digests", "warnings", "note"),
    *("failed_quality", "doubts"),
    *("made_by", "made_at", "software_version", "approved_by", "approved_at", "approved_why"),
    *("withdrawn_by", "withdrawn_at", "withdrawn_why", "uses"),
)


def constant_table(out: Output, found: Iterable[StoredConstant]) -> None:
    """Print constants as a table for people."""
    out.table(
        [
            "no.",
            "cup",
            "constant J/K",
            "95 % interval",
            "loss G W/K",
            "method",
            "runs",
            "from",
            "status",
        ],
        [
            [
                str(c.id),
                c.apparatus,
                with_u(c.constant_J_per_K, c.u_constant_J_per_K),
                interval(c.interval95_J_per_K),
                with_u(c.heat_loss_W_per_K, c.u_heat_loss_W_per_K)
                if c.heat_loss_W_per_K is not None
                else "–",
                c.method,
                str(c.runs),
                str(c.valid_from),
                c.status + (f" ({c.withdrawn_why})" if c.status == "withdrawn" else ""),
            ]
            for c in found
        ],
    )


def say_where_it_holds(out: Output, found: Iterable[StoredConstant]) -> None:
    """Say of each constant for which days, fills and temperatures it holds, and when to recheck."""
    for c in found:
        days = f"{c.valid_from} on" if c.valid_to is None else f"{c.valid_from} until {c.valid_to}"
        parts = [f"from {days}"]
        if c.fill_mL is not None:
            parts.append(f"fill {c.fill_mL[0]:.4g} to {c.fill_mL[1]:.4g} mL")
        if c.temperature_C is not None:
            parts.append(f"{c.temperature_C[0]:.3g} to {c.temperature_C[1]:.3g} °C")
        uses = "" if c.recheck_uses is None else f" of {c.recheck_uses}"
        due = "" if c.recheck_due is None else f", recheck due on {c.recheck_due}"
        parts.append(f"{c.uses}{uses} uses{due}")
        out.say(f"No. {c.id} of {c.apparatus}: {'; '.join(parts)}.")
        for line in (c.failed_quality, *c.warnings):
            if line:
                out.say(f"    {line}")


def say_why_held_back(out: Output, found: Iterable[StoredConstant]) -> None:
    """Say of each draft that only a reason puts in force what speaks against it."""
    for c in found:
        if c.held_back:
            out.say(
                f"No. {c.id} of {c.apparatus} is held back: {c.failed_quality}. To use it all the"
                f' same: cupledger constants approve {c.id} --reason "…"'
            )


def constant_facts(constant: StoredConstant) -> dict[str, Any]:
    """A stored constant as JSON: the keys of ``calibrate`` and what the registry adds."""
    facts = {name: getattr(constant, name) for name in FACTS}
    facts["interval95_J_per_K"] = constant.interval95_J_per_K
    return facts


def trail_table(out: Output, trail: Iterable[AuditLine]) -> None:
    """Print who did what, when and why."""
    out.table(
        ["when (UTC)", "who", "no.", "what", "why"],
        [
            [
                f"{line.at:%Y-%m-%d %H:%M}",
                line.by + (" (brought in)" if line.imported else ""),
                "" if line.constant_id is None else str(line.constant_id),
                line.what,
                line.why,
            ]
            for line in trail
        ],
        title="Trail",
    )


def trail_facts(line: AuditLine) -> dict[str, Any]:
    """A line of the trail as JSON."""
    names = ("at", "by", "action", "apparatus", "constant_id", "what", "why", "imported")
    return {name: getattr(line, name) for name in names}
