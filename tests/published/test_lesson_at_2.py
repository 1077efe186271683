"""The lesson of four neutralizations at 0.5, 1 and 2 mol/L, and salts at 1 to 3 mol/kg.

Independent of the tables used here:

- J. Thomsen's heats of neutralization at 18 °C, 1 mol in 200 mol of water each, as older textbooks
  reprint them, kcal/mol: 13.7 (HCl, NaOH), 12.3 (HCl, NH3), 13.4 (CH3COOH, NaOH), 12.0 (CH3COOH,
  NH3) (M; such calorimeters were good to 1 or 2 %)
- OpenStax, Chemistry 2e, ch. 5: 50.0 mL of 1.00 mol/L HCl and NaOH warm by 6.9 K, -58 kJ/mol (F)
- ionization of acetic acid -0.41 kJ/mol (Goldberg, Kishore & Lennen 2002, M) and of NH4+ 52.2 (NBS)
- formation enthalpies of ammonium persulfate, solid -1648.1 and S2O8-2 -1344.7 (NBS tables 1982, as
  K. Thomsen's thesis (1997) prints them, F), NH4+ -132.51
"""

from __future__ import annotations

from itertools import pairwise
from math import sqrt

import pytest

from calib.estimate import Estimate
from calib.reactions.concentration import between, expected_enthalpy
from calib.reactions.cycles import Measured, check
from calib.reactions.equation import Species, parse_equation
from calib.reactions.forecast import forecast
from calib.reactions.portions import parse_portion

PAIRS = {
    ("HCl", "NaOH"): "NaCl",
    ("HCl", "NH3"): "NH4Cl",
    ("CH3COOH", "NaOH"): "NaCH3COO",
    ("CH3COOH", "NH3"): "NH4CH3COO",
}


def equation_of(acid, base):
    water = " + H2O(l)" if base == "NaOH" else ""
    return parse_equation(f"{acid}(aq) + {base}(aq) -> {PAIRS[acid, base]}(aq){water}")


def at(acid, base, m, t_C=25.0):
    species = {
        Species(acid, "aq"): m,
        Species(base, "aq"): m,
        Species(PAIRS[acid, base], "aq"): m / 2,
    }
    return expected_enthalpy(equation_of(acid, base), species, t_C)


THOMSEN_18 = [(("HCl", "NaOH"), 13.7), (("HCl", "NH3"), 12.3), (("CH3COOH", "NaOH"), 13.4),
              (("CH3COOH", "NH3"), 12.0)]  # fmt: skip


@pytest.mark.parametrize(("pair", "kcal"), THOMSEN_18)
def test_old_measurements_in_dilute_solution(pair, kcal):
    found = at(*pair, 55.508 / 200, 18.0).at_run
    assert found.value == pytest.approx(-4.184 * kcal, rel=0.03)


@pytest.mark.parametrize("concentration", [0.5, 1.0, 2.0])
def test_each_has_a_value_whose_u_tells_something(concentration):
    for acid, base in PAIRS:
        found = forecast(
            parse_portion(f"100 mL {concentration} mol/L {acid}(aq) @ 25 °C"),
            parse_portion(f"100 mL {concentration} mol/L {base}(aq) @ 25 °C"),
            cup_J_per_K=15.0,
        )
        assert found.missing == ()
        assert found.at_run.u < 1.0
        assert found.rise_K.u < 0.03 * found.rise_K.value


def test_a_stronger_solution_foretells_a_larger_rise():
    """What fell at 1 mol/kg before: acetic acid and sodium hydroxide from 1.8 to 2.2 mol/L."""
    rises, values = [], []
    for step in range(21):
        c = 1.8 + 0.02 * step
        found = forecast(
            parse_portion(f"100 mL {c:.2f} mol/L CH3COOH(aq)"),
            parse_portion(f"100 mL {c:.2f} mol/L NaOH(aq)"),
        )
        rises.append(found.rise_K.value)
        values.append((found.at_run.value, found.at_run.u))
    assert all(b > a for a, b in pairwise(rises))
    assert max(abs(b[0] - a[0]) for a, b in pairwise(values)) < 0.02
    assert max(abs(b[1] - a[1]) for a, b in pairwise(values)) < 0.02


def test_the_textbooks_example():
    found = forecast(
        parse_portion("50 mL 1 mol/L HCl(aq) @ 22 °C"),
        parse_portion("50 mL 1 mol/L NaOH(aq) @ 22 °C"),
        cup_J_per_K=0.0,
    )
    assert found.rise_K.value == pytest.approx(6.9, abs=0.2)
    assert found.at_run.value == pytest.approx(-58.0, abs=0.5)


@pytest.mark.parametrize(("m", "most"), [(0.5, 0.4), (1.0, 0.6), (2.1, 0.85)])
def test_the_cycle_closes_with_a_u_that_tells_something(m, most):
    """HCl+NaOH - HCl+NH3 - CH3COOH+NaOH + CH3COOH+NH3 is nothing at infinite dilution.

    The four corrections are one class's: errors of one solute are shared, with their sign. The sum
    of the corrections must be nothing within its u where the salts' tables are right: 0 ± 0.4 at
    0.5 mol/kg, 0.8 at 2 mol/kg, where it was 6.5 before.
    """
    signs = (1.0, -1.0, -1.0, 1.0)
    keyed: dict[str, float] = {}
    total = 0.0
    for sign, pair in zip(signs, PAIRS, strict=True):
        found = at(*pair, m)
        total += sign * (found.at_run.value - found.at_infinite_dilution.value)
        for line in found.lines:
            if line.key.startswith("φL"):
                keyed[line.key] = keyed.get(line.key, 0.0) + sign * line.sign * line.u
    u = sqrt(sum(part**2 for part in keyed.values()))
    assert u < most
    assert abs(total) < 2 * u
    assert abs(keyed["φL:CH3COO-"]) < 0.01


def test_the_ionization_of_acetic_acid_from_the_lesson_at_2():
    """A true class at 2 mol/L, carried to infinite dilution: -0.4 within u, and u below 0.8."""
    strong, weak = at("HCl", "NaOH", 2.05), at("CH3COOH", "NaOH", 2.05)
    ionization = weak.at_infinite_dilution.value - strong.at_infinite_dilution.value
    assert ionization == pytest.approx(-0.41, abs=0.3)
    u = sqrt(sum(line.u**2 for line in weak.lines if line.key.startswith("φL")))
    assert u < 0.7


def test_measured_values_at_2_close_as_a_cycle():
    rows = []
    for name, pair in zip("abcd", PAIRS, strict=True):
        found = at(*pair, 2.05).at_run
        rows.append(Measured(name, equation_of(*pair), found.value, 0.4))
    closure = check(rows).closures[0]
    assert closure.u == pytest.approx(0.8, abs=0.01)
    assert closure.ratio < 2.0


COURSES = [
    ("NH4Cl", 14.78, (0.59, 0.51, 0.43)),  # Thomsen's model; ours is Silvester & Pitzer's
    ("KCl", 17.22, (-0.21, -0.87, -1.40)),
    ("NaNO3", 20.50, (-1.31, -2.61)),  # Silvester & Pitzer, to 2.2 mol/kg; ours is Thomsen's
]


@pytest.mark.parametrize(
    ("salt", "standard", "m", "other"),
    [
        (salt, standard, float(i), other)
        for salt, standard, course in COURSES
        for i, other in enumerate(course, 1)
    ],
)
def test_salts_at_1_to_3_mol_per_kg(salt, standard, m, other):
    """Standard values CRC Handbook after Parker (1965) (F); φ_L by the model that is not ours."""
    equation = parse_equation(f"{salt}(s) -> {salt}(aq)")
    found = expected_enthalpy(equation, {Species(salt, "aq"): m}).at_run
    assert abs(found.value - standard - other) <= 2 * found.u
    assert found.u < 0.5


@pytest.mark.parametrize("m", [1.0, 1.5, 2.0, 2.5])
def test_ammonium_persulfate(m):
    salt = "(NH4)2S2O8"
    found = expected_enthalpy(parse_equation(f"{salt}(s) -> {salt}(aq)"), {Species(salt, "aq"): m})
    standard = 2 * -132.51 - 1344.7 + 1648.1
    assert found.at_infinite_dilution.value == pytest.approx(standard, abs=0.3)
    assert abs(found.at_run.value - standard) <= 2 * found.at_run.u
    assert found.at_run.u < 0.2 * standard
    assert "lies between" in found.why


def test_a_band_is_rounded_outwards():
    assert between(Estimate(-58.0, 1.5, "kJ/mol", "")) == "lies between -61 and -55 kJ/mol (95 %)"
