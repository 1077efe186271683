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
    *("between_run_sd_J_per_K", "fill_mL", "temperature_C", "valid_from", "valid_to"),
    *("recheck_due", "recheck_uses", "status", "superseded_by", "digests", "warnings", "note"),
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
