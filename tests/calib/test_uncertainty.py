"""The budget engine: derivatives, correlations, shares, Monte Carlo, means."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import InputError
from calib.uncertainty import (
    Input,
    combine_mean,
    covariance_between,
    covariance_matrix,
    dof_of_factor,
    draw_inputs,
    monte_carlo,
    propagate,
    rectangular,
    resolution,
)


def heat(x):
    return (x["m"] * x["c"] + x["C"]) * (x["Tf"] - x["Ti"])


HEAT = (
    Input("m", 201.3, 0.05, source="mass"),
    Input("c", 4.02, 0.01, key="heat capacity:KNO3", source="specific heat"),
    Input("C", 14.0, 1.2, key="constant:A:1", source="constant"),
    Input("Tf", 27.31, 0.02, dof=6),
    Input("Ti", 20.42, 0.02, dof=6),
)


def test_agrees_with_a_reference_library():
    """GTC (general-purpose, open source) gives the same u and degrees of freedom (L)."""
    GTC = pytest.importorskip("GTC")
    x = {i.name: GTC.ureal(i.value, i.u, i.dof) for i in HEAT}
    expected = heat(x)
    budget = propagate(heat, HEAT)
    assert budget.value == pytest.approx(expected.x, rel=1e-12)
    assert budget.u == pytest.approx(expected.u, rel=1e-9)
    assert budget.effective_dof == pytest.approx(expected.df, rel=1e-6)


def test_agrees_with_uncertainties_where_inputs_are_correlated():
    """`uncertainties` (general-purpose, open source) as oracle for correlated inputs (L)."""
    from uncertainties import correlated_values_norm

    r = 0.6
    a, b = correlated_values_norm([(2.0, 0.1), (3.0, 0.2)], [[1.0, r], [r, 1.0]])
    budget = propagate(
        lambda x: x["a"] * x["b"] ** 2,
        (Input("a", 2.0, 0.1), Input("b", 3.0, 0.2)),
        {("a", "b"): r},
    )
    assert budget.u == pytest.approx((a * b**2).s, rel=1e-9)


@given(
    st.lists(
        st.tuples(st.floats(0.5, 50.0), st.floats(1e-4, 0.4)), min_size=2, max_size=6, unique=True
    ),
    st.floats(-0.9, 0.9),
)
def test_shares_sum_to_100_and_order_does_not_matter(pairs, r):
    inputs = tuple(Input(f"x{i}", v, u) for i, (v, u) in enumerate(pairs))

    def f(x):
        total = 1.0
        for one in inputs:
            total = total * x[one.name] + x[one.name]
        return total

    correlations = {("x0", "x1"): r}
    budget = propagate(f, inputs, correlations)
    assert sum(line.share_percent for line in budget.all_lines) == pytest.approx(100.0, abs=1e-6)
    backwards = propagate(f, inputs[::-1], correlations)
    assert backwards.u == pytest.approx(budget.u, rel=1e-9)


def test_a_function_that_drops_the_imaginary_part_is_caught():
    """abs() and float() kill a complex step silently; differences must take over."""
    inputs = (Input("a", -3.0, 0.1), Input("b", 2.0, 0.2))
    budget = propagate(lambda x: abs(x["a"]) * x["b"], inputs)
    assert budget.lines[0].sensitivity == pytest.approx(-2.0, rel=1e-6)
    by_table = propagate(lambda x: float(np.interp(x["a"], [-4, 0], [8, 0])) * x["b"], inputs)
    assert by_table.lines[0].sensitivity == pytest.approx(-4.0, rel=1e-6)


def test_two_inputs_with_one_key_are_one_quantity():
    """A stock used on both sides: errors add, they do not average."""
    inputs = (
        Input("a", 1.0, 0.01, key="stock:HNO3 1 mol/L"),
        Input("b", 1.0, 0.01, key="stock:HNO3 1 mol/L"),
    )
    assert propagate(lambda x: x["a"] + x["b"], inputs).u == pytest.approx(0.02)
    assert propagate(lambda x: x["a"] - x["b"], inputs).u == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(
    ("inputs", "correlations", "match"),
    [
        ((Input("a", 1.0, 0.1), Input("a", 2.0, 0.1)), {}, "names must differ; found twice: a$"),
        ((Input("a", 1.0, 0.1),), {("a", "z"): 0.5}, r"'z' = 0.5: both must be inputs and -1"),
        ((Input("a", 1.0, 0.1), Input("b", 1.0, 0.1)), {("a", "b"): 1.5}, r"-1 <= r <= 1$"),
    ],
)
def test_refuses_what_cannot_be_meant(inputs, correlations, match):
    with pytest.raises(InputError, match=match):
        propagate(lambda x: x["a"], inputs, correlations)


@pytest.mark.parametrize("bad", [(math.nan, 0.1), (1.0, -0.1), (1.0, math.inf)])
def test_an_input_needs_finite_numbers(bad):
    with pytest.raises(InputError, match=r"'a' needs a finite value and a finite u >= 0; found"):
        Input("a", *bad)


def test_a_result_that_is_no_number_is_refused():
    with pytest.raises(InputError, match=r"not a finite number"):
        propagate(
            lambda x: x["a"] / x["b"] if x["b"] else math.inf,
            (Input("a", 1.0, 0.1), Input("b", 0.0, 0.1)),
        )


@pytest.mark.parametrize(
    ("shape", "extra", "sd", "kurtosis"),
    [
        ("normal", {}, 1.0, 3.0),
        ("rectangular", {}, 1.0, 1.8),
        ("triangular", {}, 1.0, 2.4),
        ("arcsine", {}, 1.0, 1.5),
        ("t", {"dof": 10.0}, math.sqrt(10 / 8), 4.0),
    ],
)
def test_draws_have_the_stated_spread_and_shape(shape, extra, sd, kurtosis):
    """Standard deviations and kurtoses of the named distributions (textbook values, M)."""
    one = Input("a", 5.0, 1.0, shape=shape, **extra)
    x = draw_inputs((one,), 400_000, np.random.default_rng(3))["a"]
    assert x.mean() == pytest.approx(5.0, abs=0.01)
    assert x.std() == pytest.approx(sd, rel=0.01)
    z = (x - x.mean()) / x.std()
    assert (z**4).mean() == pytest.approx(kurtosis, rel=0.08)


def test_monte_carlo_agrees_on_a_nearly_linear_heat():
    check = monte_carlo(heat, HEAT, draws=100_000)
    assert check.agrees
    assert check.u == pytest.approx(check.linear_u, rel=0.02)
    assert check.interval95[0] < check.mean < check.interval95[1]


def test_monte_carlo_draws_correlated_inputs():
    inputs = (Input("a", 0.0, 1.0), Input("b", 0.0, 1.0))
    check = monte_carlo(lambda x: x["a"] + x["b"], inputs, correlations={("a", "b"): -0.8})
    assert check.u == pytest.approx(math.sqrt(0.4), rel=0.02)
    assert check.linear_u == pytest.approx(math.sqrt(0.4), rel=1e-12)
    three = (*inputs, Input("c", 0.0, 1.0))
    bad = {("a", "b"): -0.9, ("a", "c"): -0.9, ("b", "c"): -0.9}
    with pytest.raises(InputError, match="cannot all be true at once"):
        monte_carlo(lambda x: x["a"] + x["b"] + x["c"], three, correlations=bad)


def test_monte_carlo_says_when_a_divisor_reaches_zero():
    inputs = (Input("a", 1.0, 0.1), Input("b", 1.0, 0.5))
    with pytest.raises(InputError, match=r"reaches zero within its uncertainty$"):
        monte_carlo(lambda x: np.sqrt(x["b"] - 0.5) * x["a"], inputs)
    with pytest.raises(InputError, match=r"at least 1000 draws; found 10$"):
        monte_carlo(lambda x: x["a"], inputs, draws=10)


def runs_with_a_shared_constant(n, u_own=0.3, u_shared=0.4):
    return [
        propagate(
            lambda x: x["own"] + x["C"],
            (Input("own", 50.0 + 0.1 * i, u_own), Input("C", 1.0, u_shared, key="constant:A:1")),
        )
        for i in range(n)
    ]


def test_what_is_shared_does_not_average_away():
    """u² = u_own²/n + u_shared² (JCGM 100, 5.2.2), and the two parts stand apart."""
    for n in (2, 8, 50):
        mean = combine_mean(runs_with_a_shared_constant(n))
        assert mean.u_independent == pytest.approx(0.3 / math.sqrt(n))
        assert mean.u_shared == pytest.approx(0.4)
        assert mean.u == pytest.approx(math.hypot(mean.u_independent, 0.4))
        assert mean.shared == (("constant:A:1", pytest.approx(0.4)),)


def test_a_key_used_once_is_not_shared():
    one = runs_with_a_shared_constant(1)
    mean = combine_mean(one)
    assert mean.u_shared == pytest.approx(0.0, abs=1e-12)
    assert mean.u_independent == pytest.approx(0.5)


def test_covariance_matrix_agrees_with_pairs():
    results = runs_with_a_shared_constant(3)
    matrix = covariance_matrix(results)
    assert matrix[0, 1] == pytest.approx(covariance_between(results[0], results[1]))
    assert matrix[0, 1] == pytest.approx(0.16)
    assert np.diag(matrix) == pytest.approx([r.u**2 for r in results])


def test_coverage_of_a_small_sample():
    """The t interval of a mean of four readings holds the truth 95 % of the time."""
    rng, hits = np.random.default_rng(11), 0
    for _ in range(2000):
        x = rng.normal(0.0, 1.0, 4)
        one = Input("x", float(x.mean()), float(x.std(ddof=1)) / 2.0, dof=3)
        low, high = propagate(lambda v: v["x"], (one,)).interval95
        hits += low <= 0.0 <= high
    assert 0.935 < hits / 2000 < 0.965


def test_conversions_from_limits():
    """JCGM 100, 4.3.7 and F.2.2.1 (M)."""
    assert rectangular("a", 0.0, 0.3).u == pytest.approx(0.3 / math.sqrt(3))
    assert resolution("a", 0.0, 0.1).u == pytest.approx(0.1 / math.sqrt(12))


@pytest.mark.parametrize("dof", [1.0, 3.0, 10.0, 60.0])
def test_degrees_of_freedom_from_a_factor(dof):
    from calib.uncertainty import coverage_factor

    assert dof_of_factor(coverage_factor(dof)) == pytest.approx(dof, rel=1e-6)
    assert math.isinf(dof_of_factor(1.96))


def test_a_means_variance_is_that_of_the_whole_covariance_matrix():
    """JCGM 100, 5.2.2: wᵀ V w, which is worked out without the matrix for many results."""
    rng = np.random.default_rng(2)
    results = []
    for number in range(30):
        inputs = [
            Input("a", rng.normal(), rng.uniform(0.1, 1.0), key="balance"),
            Input("b", rng.normal(), rng.uniform(0.1, 1.0), key=f"cup {number % 4}"),
            Input("c", rng.normal(), rng.uniform(0.1, 1.0)),
        ]
        results.append(propagate(lambda x: 2 * x["a"] - x["b"] + 0.5 * x["c"], inputs))
    w = np.full(30, 1 / 30)
    whole = float(w @ covariance_matrix(results) @ w)
    assert combine_mean(results).u ** 2 == pytest.approx(whole, rel=1e-12)
