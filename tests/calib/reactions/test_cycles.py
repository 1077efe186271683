from __future__ import annotations

import numpy as np
import pytest

from calib.errors import InputError
from calib.reactions.cycles import (
    Cycle,
    Measured,
    check,
    combine,
    find_cycles,
    ionization_enthalpies,
)
from calib.reactions.equation import parse_equation

STRONG = parse_equation("HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)")
BASE = parse_equation("HNO3(aq) + NH3(aq) -> NH4NO3(aq)")
ACID = parse_equation("CH3COOH(aq) + KOH(aq) -> KCH3COO(aq) + H2O(l)")
WEAK = parse_equation("CH3COOH(aq) + NH3(aq) -> NH4CH3COO(aq)")


def four(values, u=0.4):
    names = ("strong", "weak base", "weak acid", "both weak")
    equations = (STRONG, BASE, ACID, WEAK)
    return [Measured(n, e, v, u) for n, e, v in zip(names, equations, values, strict=True)]


def test_the_four_pairings_form_one_cycle():
    cycles = find_cycles(four((0, 0, 0, 0)))
    assert cycles == (
        Cycle((("strong", 1), ("weak base", -1), ("weak acid", -1), ("both weak", 1))),
    )
    assert str(cycles[0]) == "strong - weak base - weak acid + both weak = nothing"


def test_closure_by_hand():
    found = check(four((-56.9, -52.6, -56.1, -49.0)))
    closure = found.closures[0]
    assert closure.value == pytest.approx(-56.9 + 52.6 + 56.1 - 49.0)
    assert closure.u == pytest.approx(0.8)
    assert closure.ratio == pytest.approx(3.5)
    assert found.chi2 == pytest.approx(12.25)
    assert "one cycle alone cannot tell" in found.words
    assert set(found.disagreeing) == {"strong", "weak base", "weak acid", "both weak"}


def test_adjusted_values_close_exactly_and_share_the_misfit_by_variance():
    measured = four((-56.9, -52.6, -56.1, -49.0))
    measured[3] = Measured("both weak", WEAK, -49.0, 0.8)
    found = check(measured)
    x = {v.name: v.adjusted.value for v in found.values}
    assert x["strong"] - x["weak base"] - x["weak acid"] + x["both weak"] == pytest.approx(
        0, abs=1e-9
    )
    moved = {v.name: abs(v.adjusted.value - v.measured.value) for v in found.values}
    assert moved["both weak"] == pytest.approx(4 * moved["strong"])  # variance 4 times as large
    assert all(v.adjusted.u < v.measured.u for v in found.values)


def test_implied_value_is_what_the_others_say():
    found = check(four((-56.9, -52.6, -56.1, -49.0)))
    strong = next(v for v in found.values if v.name == "strong")
    assert strong.implied.value == pytest.approx(-52.6 - 56.1 + 49.0, abs=1e-4)
    assert strong.implied.u == pytest.approx(0.4 * 3**0.5, rel=1e-4)


def test_shared_error_cancels_in_the_closure():
    """Four runs in one cup: the cup's constant moves all four alike and leaves the closure be."""
    shared, own = 0.5, 0.1
    v = np.full((4, 4), shared**2) + np.diag([own**2] * 4)
    found = check(four((-57.0, -53.0, -57.0, -53.0)), v)
    assert found.closures[0].u == pytest.approx(2 * own)
    assert found.closures[0].value == pytest.approx(0.0)
    assert found.words == "every cycle closes within twice its u"


def test_with_more_cycles_the_wrong_run_is_named():
    """Six pairings of two acids and three bases: three independent cycles, one run off by 3."""
    rows = [
        ("a1", STRONG, -56.0), ("a2", BASE, -52.2), ("b1", ACID, -56.2), ("b2", WEAK, -52.4),
        ("repeat of b2", WEAK, -52.5), ("repeat of a1", STRONG, -53.0),
    ]  # fmt: skip
    found = check([Measured(n, e, x, 0.3) for n, e, x in rows])
    assert found.degrees_of_freedom == 3
    assert found.disagreeing == ("repeat of a1",)
    assert "repeat of a1 lies furthest" in found.words


def test_repeats_of_one_reaction_are_a_cycle_of_two():
    cycles = find_cycles([Measured("1", STRONG, 0, 1), Measured("2", STRONG, 0, 1)])
    assert cycles == (Cycle((("1", 1), ("2", -1))),)


def test_hess_by_way_of_magnesium():
    """The classroom route to burning magnesium: oxide in acid, metal in acid, water's formation."""
    oxide = parse_equation("MgO(s) + 2 HCl(aq) -> MgCl2(aq) + H2O(l)")
    metal = parse_equation("Mg(s) + 2 HCl(aq) -> MgCl2(aq) + H2(g)")
    water = parse_equation("H2(g) + 1/2 O2(g) -> H2O(l)")
    found = combine(
        [Measured("metal", metal, -462.0, 3.0), Measured("oxide", oxide, -147.0, 2.0),
         Measured("water", water, -285.83, 0.02)], (1, -1, 1),
    )  # fmt: skip
    assert set(found.equation.net().items()) == set(
        parse_equation("Mg(s) + 1/2 O2(g) -> MgO(s)").net().items()
    )
    assert found.dH.value == pytest.approx(-462.0 + 147.0 - 285.83)
    assert found.dH.u == pytest.approx((9 + 4 + 0.0004) ** 0.5)


def test_ionization_enthalpies_keep_the_correlation():
    measured = four((-55.8, -52.0, -55.4, -51.6), u=0.5)
    independent = ionization_enthalpies(measured)
    assert [str(c.equation) for c in independent] == [
        "H2O(l) + NH3(aq) -> OH-(aq) + NH4+(aq)",
        "CH3COOH(aq) -> H+(aq) + CH3COO-(aq)",
    ]
    assert independent[0].dH.value == pytest.approx(3.8)
    assert independent[1].dH.value == pytest.approx(0.4)
    assert independent[1].dH.u == pytest.approx(0.5 * 2**0.5)
    v = np.full((4, 4), 0.4**2) + np.diag([0.3**2] * 4)
    assert ionization_enthalpies(measured, v)[1].dH.u == pytest.approx(0.3 * 2**0.5)


def test_polyprotic_acid_takes_the_strong_pair_as_often_as_it_has_protons():
    oxalic = parse_equation("H2C2O4(aq) + 2 NaOH(aq) -> Na2C2O4(aq) + 2 H2O(l)")
    found = ionization_enthalpies(
        [Measured("s", STRONG, -55.8, 0.1), Measured("o", oxalic, -122.0, 0.1)]
    )
    assert str(found[0].equation) == "H2C2O4(aq) -> 2 H+(aq) + C2O4^2-(aq)"
    assert found[0].dH.value == pytest.approx(-122.0 + 2 * 55.8)


def test_no_strong_pair_no_ionization():
    assert ionization_enthalpies([Measured("a", ACID, -55.0, 0.5)]) == ()


def test_no_cycle_says_so():
    found = check([Measured("a", ACID, -55.0, 0.5), Measured("b", BASE, -52.0, 0.5)])
    assert found.closures == ()
    assert "no cycle" in found.words
    assert all(v.implied is None for v in found.values)


def test_bad_input():
    with pytest.raises(InputError, match=r"names of their own; found a, a$"):
        check([Measured("a", ACID, 0, 1), Measured("a", BASE, 0, 1)])
    with pytest.raises(InputError, match=r"shape \(1, 1\); expected \(2, 2\)$"):
        check([Measured("a", ACID, 0, 1), Measured("b", BASE, 0, 1)], np.eye(1))


def test_coverage_of_closure_and_adjusted_values():
    """Simulated cycles with shared and own errors: intervals hold the truth as stated."""
    rng = np.random.default_rng(20)
    truth = np.array([-55.8, -52.2, -56.0, -52.4])
    v = np.full((4, 4), 0.3**2) + np.diag([0.2**2, 0.3**2, 0.2**2, 0.4**2])
    draws = rng.multivariate_normal(truth, v, size=600)
    held, closed = np.zeros(4), 0
    for x in draws:
        found = check(four(x), v)
        closed += found.closures[0].ratio <= 1.96
        for i, one in enumerate(found.values):
            held[i] += abs(one.adjusted.value - truth[i]) <= 1.96 * one.adjusted.u
    assert 0.92 <= closed / 600 <= 0.98
    assert np.all((held / 600 >= 0.92) & (held / 600 <= 0.98))
