"""What each part of the full treatment is worth in this run.

Half a correction can be worse than none, so each line gives the result with one part left out and
everything else kept; the last line leaves all of them out at once, as a first course would.
"""

from __future__ import annotations

from dataclasses import dataclass

from calib.enthalpies.sources import AppliedConstant
from calib.run_model.measured import MeasuredRun

__all__ = ["SCHOOL_CP", "Treatment", "raw_rise", "treatments"]

SCHOOL_CP = 4.184
"""J/(g K): the thermochemical calorie taken for water's specific heat."""


@dataclass(frozen=True, slots=True)
class Treatment:
    """The result [kJ/mol] with something left out, and its shift from the full one."""

    left_out: str
    result_kJ_per_mol: float
    shift_kJ_per_mol: float
    shift_percent: float


def treatments(
    measured: MeasuredRun,
    constant: AppliedConstant,
    full: float,
    moles_per_reaction: float = 1.0,
) -> tuple[Treatment, ...]:
    """One line a part of the treatment that this run has, and the simple treatment altogether.

    ``full`` [kJ/mol] is on a basis of ``moles_per_reaction``, and so are the results.
    """
    x = {one.name: one.value for one in measured.quantities.inputs_used()}
    rise, extent = float(measured.rise_K(x)), float(measured.extent_mol(x)) * moles_per_reaction
    mass, C_mix, C_2 = float(measured.mass_g(x)), float(measured.C_mix(x)), float(measured.C_2(x))
    apart = float(measured.added_C(x)) - float(measured.cup_C(x))
    heat = float(measured.heat_J(x, constant.value_J_per_K))
    raw = raw_rise(measured)
    volume = measured.prepared.fill_mL + _solid_mass(measured)
    C_all = C_mix + constant.value_J_per_K
    results = [
        ("the cup's constant", heat - constant.value_J_per_K * rise),
        ("the solution's own specific heat (water's 4.184 with the mass weighed)",
         heat + (SCHOOL_CP * mass - C_mix) * rise),
        ("heat capacity altogether (1 mL taken as 4.184 J/K)",
         heat + (SCHOOL_CP * volume - C_mix) * rise),
        ("the correction for heat loss (extreme reading taken)", heat + C_all * (raw - rise)),
        ("the difference of the two starting temperatures", heat + C_2 * apart),
        ("all of these (1 mL taken as 4.184 J/K, no cup, extreme reading, one temperature)",
         SCHOOL_CP * volume * raw),
    ]  # fmt: skip
    found = []
    for name, q in results:
        value = -q / extent / 1000.0
        shift = value - full
        percent = 100.0 * shift / full if full else 0.0
        found.append(Treatment(name, value, shift, percent))
    return tuple(found)


def raw_rise(measured: MeasuredRun) -> float:
    """Extreme reading less the reading before mixing. [K]"""
    rise = measured.rise
    if rise.corrected is not None:
        return float(rise.corrected.extreme_C) - rise.before_C
    return rise.rise_K - rise.loss_K


def _solid_mass(measured: MeasuredRun) -> float:
    added = measured.prepared.added
    return added.mass_g if added is not None and added.composition is None else 0.0
