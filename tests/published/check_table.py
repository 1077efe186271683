"""Published values with ours beside them, as rows: what tests/benchmarks/FIGURES.md prints and tests judge.

The published numbers stand with their sources in the test modules of this folder; here they are
only gathered. Letters: F found on a public page, L read from a library, C computed from F or L,
M from memory. The tolerance is the source's own: its stated uncertainty, its last digit, or, for
heat capacities and densities, what such tables are good for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot

from calib.reactions.apparent_enthalpy import phi_L
from calib.reactions.concentration import expected_enthalpy
from calib.reactions.equation import Species, parse_equation
from calib.reactions.heat_capacity_change import delta_cp
from calib.reactions.known import known_reaction
from calib.reactions.reference import enthalpies_by_set, reference_enthalpy
from tests.published import test_enthalpies as enthalpies
from tests.published import test_lesson_at_2 as lesson
from tests.published import test_phi_L as dilution
from tests.published import test_solutions as solutions

CRC = "CRC Handbook, enthalpy of solution of electrolytes, after Parker (1965)"
FORMATION = "formation enthalpies of the CRC tables in the library chemicals"
PARKER = "Parker, NSRDS-NBS 2 (1965), and the CRC Handbook for HCl"


@dataclass(frozen=True)
class Row:
    """One published value: ``tolerance`` [the unit] is taken as twice its standard uncertainty."""

    topic: str
    what: str
    published: float
    tolerance: float
    unit: str
    letter: str
    source: str
    ours: float
    u: float
    way: str = ""

    @property
    def off(self) -> float:
        return self.ours - self.published

    @property
    def within_tolerance(self) -> bool:
        return abs(self.off) <= self.tolerance * (1 + 1e-9)

    @property
    def holds(self) -> bool:
        """Inside the 95 % interval of the difference, both uncertainties counted."""
        return abs(self.off) <= 1.96 * hypot(self.u, self.tolerance / 2)


def solution_rows() -> Iterator[Row]:
    """Heat capacity and density of solutions."""
    units = {"cp": ("heat capacity of solutions", "J/(g K)"),
             "rho": ("density of solutions", "g/mL")}  # fmt: skip
    for one in [*solutions.written_checks(), *solutions.coolprop_checks()]:
        topic, unit = units[one.property]
        ours = one.ours
        what = f"{one.formula} {100 * one.w:.2f} % at {one.t_C:g} °C"
        yield Row(topic, what, one.value, one.tolerance / 100 * one.value, unit, one.letter,
                  one.source, ours.value, ours.u, ours.kind)  # fmt: skip


def solution_enthalpy_rows() -> Iterator[Row]:
    """Enthalpies of solution at infinite dilution: Hess's law against the direct values."""
    topic = "enthalpy of solution, infinite dilution"
    for salt, direct, _ in enthalpies.SOLUTION:
        hess = enthalpies_by_set(parse_equation(f"{salt}(s) -> {salt}(aq)"))["NBS"]
        yield Row(topic, salt, direct, 0.2, "kJ/mol", "F", CRC, hess.value, hess.u,
                  "Hess, NBS")  # fmt: skip
    for salt, formed in enthalpies.FORMED:
        ours = enthalpies.reference(f"{salt}(s) -> {salt}(aq)")
        yield Row(topic, salt, formed, 0.2, "kJ/mol", "C", FORMATION, ours.value, ours.u,
                  "Hess, NBS")  # fmt: skip
    third = "a geochemical data set"
    for salt, other in (("KNO3", 35.48), ("KCl", 17.43), ("NaCl", 3.74), ("CaCl2", -81.45)):
        ours = enthalpies.reference(f"{salt}(s) -> {salt}(aq)")
        yield Row(topic, salt, other, 0.6, "kJ/mol", "L", third, ours.value, ours.u,
                  "preferred")  # fmt: skip
    for salt, other, letter, source in (
        ("CaCl2", -81.3, "F", "encyclopedia page"),
        ("CO(NH2)2", 15.29, "F", "Kustov & Smirnova, J. Chem. Eng. Data 55 (2010) 3055"),
        ("KI", 20.33, "M", "handbook"),
    ):
        ours = enthalpies.reference(f"{salt}(s) -> {salt}(aq)")
        yield Row(topic, salt, other, 0.6, "kJ/mol", letter, source, ours.value, ours.u,
                  "preferred")  # fmt: skip


def dilution_rows() -> Iterator[Row]:
    """Relative apparent molar enthalpies."""
    topic = "relative apparent molar enthalpy"
    for formula, m, value in dilution.CASES:
        yield _phi(topic, formula, m, value, dilution.TOLERANCE, "F", PARKER)
    archer = "Archer, J. Phys. Chem. Ref. Data 28 (1999) 1"
    for m, value in dilution.ARCHER_KCL:
        yield _phi(topic, "KCl", m, value, 100.0, "C", archer)
    for m, value in dilution.THOMSEN_KCL:
        yield _phi(topic, "KCl", m, value, 100.0, "C", "Thomsen, thesis (1997)", "another model")
    for formula, m, value in dilution.OTHERS:
        source = "Thomsen, thesis (1997)" if formula == "NH4Cl" else "Silvester & Pitzer (1978)"
        yield _phi(topic, formula, m, value, 0.1 * abs(value), "C", source, "another model")
    page = "CRC Handbook, enthalpy of dilution of acids"
    for formula, m, kJ in (
        ("HClO4", 1, -0.201), ("HBr", 1, 1.314), ("HI", 1, 0.933), ("HNO3", 1, 0.506),
        ("HClO4", 2, -0.623), ("HBr", 2, 1.996), ("HI", 2, 1.318), ("HNO3", 2, 0.527),
        ("HCOOH", 2, 0.276), ("CH3COOH", 2, 0.803),
    ):  # fmt: skip
        yield _phi(topic, formula, m, 1e3 * kJ, 20.0, "F", page)
    for n, formation in ((10, -880.5), (50, -886.8), (100, -887.7), (500, -890.5), (1000, -892.3)):
        source = "textbook problem on the formation of H2SO4 in n mol of water"
        yield _phi(topic, "H2SO4", 55.508 / n, 1e3 * (formation + 909.3), 60.0, "F", source)


def _phi(
    topic: str,
    formula: str,
    m: float,
    value: float,
    tolerance: float,
    letter: str,
    source: str,
    way: str = "",
) -> Row:
    ours = phi_L(formula, m)
    return Row(topic, f"{formula} {m:.3g} mol/kg", value, tolerance, "J/mol", letter, source,
               ours.value, ours.u, way)  # fmt: skip


def neutralization_rows() -> Iterator[Row]:
    """HCl with NaOH and KOH at finite concentration, and its slope with temperature."""
    topic = "neutralization at finite concentration"
    for row in enthalpies.FINITE:
        for base, salt, column in (("NaOH", "NaCl", 4), ("KOH", "KCl", 6)):
            equation = parse_equation(f"HCl(aq) + {base}(aq) -> {salt}(aq) + H2O(l)")
            species = (Species("HCl", "aq"), Species(base, "aq"), Species(salt, "aq"))
            found = expected_enthalpy(equation, dict(zip(species, row[1:4], strict=True))).at_run
            assert found is not None
            own = base == "NaOH"
            yield Row(topic, f"{row[0]:g} mol/L HCl + {base}", row[column], 0.02 if own else 0.1,
                      "kJ/mol", "C", f"CODATA and {PARKER}" if own else "CODATA, CRC and Thomsen",
                      found.value, found.u)  # fmt: skip
    slope = delta_cp(parse_equation("HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)"))
    assert slope is not None
    yield Row("slope with temperature", "neutralization, by ion heat capacities", 223.8, 18.0,
              "J/(mol K)", "L", "CRC ion tables in the library chemicals; OH- alone is off by 9",
              1e3 * slope.value, 1e3 * slope.u)  # fmt: skip


def lesson_rows() -> Iterator[Row]:
    """Heats that were measured, at 18 °C: of solution (Perry) and of neutralization (J. Thomsen)."""
    for salt, kcal in dilution.PERRY_18:
        equation = parse_equation(f"{salt}(s) -> {salt}(aq)")
        ours = expected_enthalpy(equation, {Species(salt, "aq"): 55.508 / 200}, 18.0).at_run
        assert ours is not None
        yield Row("heat of solution at 18 °C", salt, -4.184 * kcal, 0.05, "kJ/mol", "F",
                  "Perry's, 8th ed., Table 2-182", ours.value, ours.u)  # fmt: skip
    for pair, kcal in lesson.THOMSEN_18:
        ours = lesson.at(*pair, 55.508 / 200, 18.0).at_run
        assert ours is not None
        value = -4.184 * kcal
        yield Row("neutralization at 18 °C", " + ".join(pair), value, 0.02 * abs(value), "kJ/mol",
                  "M", "J. Thomsen, as older textbooks reprint him", ours.value,
                  ours.u)  # fmt: skip


def reaction_rows() -> Iterator[Row]:
    """Other reactions at infinite dilution, and certified ones."""
    for text, value in enthalpies.OTHERS:
        ours = enthalpies_by_set(parse_equation(text))["NBS"]
        yield Row("other reactions, infinite dilution", text, value, 0.12, "kJ/mol", "C", FORMATION,
                  ours.value, ours.u, "Hess, NBS")  # fmt: skip
    water = reference_enthalpy(parse_equation("H+(aq) + OH-(aq) -> H2O(l)"))
    yield Row("other reactions, infinite dilution", "H+ + OH- -> H2O", -55.8146, 0.06, "kJ/mol",
              "L", "a geochemical data set", water.value, water.u, "Hess, CODATA")  # fmt: skip
    tris = known_reaction("SRM 724a")
    assert tris is not None
    yield Row("certified reactions", "TRIS in 0.1 mol/L HCl", -7.104 * 4.184, 0.067, "kJ/mol", "F",
              "Kimball, thesis, Brigham Young University (1973), abstract",
              tris.per_mole().value, tris.per_mole().u)  # fmt: skip


def all_rows() -> list[Row]:
    """Every row, topic by topic."""
    parts = (solution_rows, solution_enthalpy_rows, dilution_rows, neutralization_rows,
             lesson_rows, reaction_rows)  # fmt: skip
    return [row for part in parts for row in part()]
