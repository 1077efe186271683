"""What a table's constants say of their kinds of cup, and cups drawn towards their kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from calib.errors import InputError

if TYPE_CHECKING:
    from calib.calibration import CalibrationReport, CupConstant
    from calib.registry import Registry

__all__ = ["kind_facts", "leaned"]

Constants = Mapping[str, tuple[float, float]]


def leaned(report: CalibrationReport, store: Registry, cups: Sequence[str]) -> CalibrationReport:
    """The report with the constants of ``cups`` drawn towards their kinds.

    The other cups of a kind are those of this table and, for those not in it, the registry's
    constants in force. Raises InputError where a cup is not in the table or too little is known of
    its kind; nothing has been stored then.
    """
    from calib.calibration.leaning import lean_on_kind

    have = {constant.apparatus: constant for constant in report.constants}
    changed: dict[str, CupConstant] = {}
    for cup in dict.fromkeys(cups):
        if cup not in have:
            known = ", ".join(have) or "none"
            raise InputError(
                f"--lean-on-kind {cup}: the table gives no constant of it; it gives those of "
                f"{known}"
            )
        kind = {one.id: one.kind for one in store.list_apparatus()}[cup]
        others = {name: c for name, c in _of_kind(report, store, kind).items() if name != cup}
        try:
            changed[cup], _ = lean_on_kind(have[cup], others)
        except InputError as error:
            raise InputError(f"--lean-on-kind {cup} (kind {kind!r}): {error}") from None
    constants = tuple(changed.get(one.apparatus, one) for one in report.constants)
    return replace(report, constants=constants)


def kind_facts(report: CalibrationReport, store: Registry) -> list[dict[str, Any]]:
    """Mean and between-cup spread of each kind of which two or more cups are known. [J/K]"""
    from calib.calibration.kinds import pool_kind

    kinds = {one.id: one.kind for one in store.list_apparatus()}
    found = []
    for kind in dict.fromkeys(kinds[c.apparatus] for c in report.constants if c.apparatus in kinds):
        members = _of_kind(report, store, kind)
        if len(members) < 2:
            continue
        pooled = pool_kind(members)
        found.append({
            "kind": kind,
            "cups": list(members),
            "mean_J_per_K": pooled.mean_J_per_K,
            "u_mean_J_per_K": pooled.u_mean_J_per_K,
            "between_cup_sd_J_per_K": pooled.between_cup_sd_J_per_K,
            "u_one_more_J_per_K": pooled.u_one_more_J_per_K,
            "interval95_one_more_J_per_K": list(pooled.interval95_one_more),
        })  # fmt: skip
    return found


def _of_kind(
    report: CalibrationReport, store: Registry, kind: str
) -> dict[str, tuple[float, float]]:
    """Constants with u of a kind's cups: this table's where sound, else the registry's in force."""
    from calib.registry.errors import RegistryError

    today = date.today()
    own = {
        one.apparatus: (one.drawn.own_J_per_K, one.drawn.u_own_J_per_K)
        if one.drawn is not None
        else (one.combined.value, one.combined.u)
        for one in report.constants
        if one.combined is not None and not one.failed_quality
    }
    found: dict[str, tuple[float, float]] = {}
    for cup in store.list_apparatus():
        if cup.kind != kind or (cup.retired_on is not None and cup.retired_on <= today):
            continue
        if cup.id in own:
            found[cup.id] = own[cup.id]
            continue
        try:
            stored = store.constant_for(cup.id)
        except RegistryError:
            continue
        found[cup.id] = (stored.constant_J_per_K, stored.u_constant_J_per_K)
    return found
