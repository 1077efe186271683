"""What the class page takes from the rows of ``enthalpy --json``: results and references."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Row = Mapping[str, Any]
Kind = tuple[str, str]  # reaction and unit: what is put in one drawing and one mean

MOLAR = "kJ/mol"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A result with its standard uncertainty, 95 % interval and unit; ``value`` None: none."""

    value: float | None
    u: float | None
    interval95: tuple[float, float] | None
    unit: str


@dataclass(frozen=True, slots=True)
class Reference:
    """A value to compare with. ``own`` is true where it holds at the run's own concentration."""

    value: float
    u: float | None
    own: bool


def quantity(row: Row) -> Quantity:
    """A run's own result: ΔH, or a physical quantity in a unit of its own."""
    unit = str(row.get("unit") or MOLAR)
    if unit == MOLAR:
        value, u = row.get("dH_kJ_per_mol"), row.get("u_dH_kJ_per_mol")
        edges = row.get("interval95_kJ_per_mol")
    else:
        value, u, edges = row.get("value"), row.get("u_value"), row.get("interval95")
    interval = None if edges is None else (float(edges[0]), float(edges[1]))
    return Quantity(_finite(value), _finite(u), interval, unit)


def mean_of(summary: Row) -> Quantity:
    """A summary's mean in its own unit."""
    unit = str(summary.get("unit") or MOLAR)
    mean = summary.get("mean", summary.get("mean_kJ_per_mol"))
    u = summary.get("u_mean", summary.get("u_mean_kJ_per_mol"))
    edges = summary.get("interval95")
    return Quantity(_finite(mean), _finite(u), tuple(edges) if edges else None, unit)


def spread_of(summary: Row) -> float | None:
    """Standard deviation between groups in the summary's own unit."""
    return _finite(summary.get("sd", summary.get("sd_kJ_per_mol")))


def kind_of(row: Row) -> Kind:
    """What a run or a summary is grouped by."""
    return str(row.get("reaction") or "all runs"), str(row.get("unit") or MOLAR)


def at_infinite_dilution(row: Row) -> Reference | None:
    """The table value of the reaction, or the published value of a physical quantity."""
    physical = str(row.get("unit") or MOLAR) != MOLAR
    value = _finite(row.get("reference") if physical else row.get("reference_kJ_per_mol"))
    if value is None:
        return None
    return Reference(value, _finite(row.get("u_reference_kJ_per_mol")), own=False)


def at_this_run(row: Row) -> Reference | None:
    """The value expected at the run's own concentration, where it is known."""
    value = _finite(row.get("expected_at_run_kJ_per_mol"))
    if value is None:
        return None
    return Reference(value, _finite(row.get("u_expected_at_run_kJ_per_mol")), own=True)


def to_compare_with(row: Row) -> Reference | None:
    """The reference nearest to what the run did."""
    return at_this_run(row) or at_infinite_dilution(row)


def deviation_percent(row: Row) -> float | None:
    """How far a run lies beyond its reference, in per cent of the reference's size."""
    value, reference = quantity(row).value, to_compare_with(row)
    if value is None or reference is None or reference.value == 0:
        return None
    return 100 * (value - reference.value) / abs(reference.value)


@dataclass(frozen=True, slots=True)
class Middle:
    """Several runs' references as one: mean, how far the farthest lies from it, and its u.

    The runs' references come from the same tables, so that their uncertainty does not average out.
    """

    value: float
    spread: float
    u: float | None

    @property
    def half_width95(self) -> float:
        """Half the width of a band that holds every run's true reference 95 times in 100."""
        return self.spread + 1.96 * (self.u or 0.0)


def middle(references: Sequence[Reference | None]) -> Middle | None:
    """Mean of several runs' references, with its spread and uncertainty."""
    there = [one for one in references if one is not None]
    if not there:
        return None
    mean = sum(one.value for one in there) / len(there)
    known = [one.u for one in there if one.u is not None]
    u = sum(known) / len(known) if known else None
    return Middle(mean, max(abs(one.value - mean) for one in there), u)


def _finite(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None
