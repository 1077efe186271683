"""Control charts by published rules, drift of cups and sets, and the check of today's runs."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from calib.registry import RegistryError, StoredConstant, UnknownApparatus
from calib.registry.chart_figure import as_text, draw, figure
from calib.registry.control_chart import (
    NELSON,
    WESTERN_ELECTRIC,
    Point,
    control_chart,
    signals,
)
from calib.registry.drift import check_today, cup_drift, set_drift

DAYS = [date(2026, 9, 1), date(2027, 1, 11), date(2027, 4, 12), date(2027, 9, 1)]


def points(values, u=None) -> list[Point]:
    return [Point(str(n), value, u) for n, value in enumerate(values)]


def broken(z, rules) -> dict[str, int]:
    """Each rule that is broken, and where first."""
    found: dict[str, int] = {}
    for signal in signals(z, rules):
        found.setdefault(signal.rule, signal.at)
    return found


def test_limits_of_a_published_example() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals chart of ten flow rates:
    # centre 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159 (M: from memory; the mean
    # and the moving ranges were computed again here).
    values = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = control_chart(points(values), name="flow", rules="Western Electric")
    assert chart.centre == pytest.approx(50.81, abs=5e-3)
    assert chart.range_mean == pytest.approx(1.8778, abs=5e-5)
    low, high = chart.limits[0]
    assert high == pytest.approx(55.8041, abs=2e-3)  # the example rounds d2 to 1.128
    assert low == pytest.approx(45.8159, abs=2e-3)
    assert chart.steady
    # Factor 3.267 for the limit of moving ranges of two: the same handbook, and every table of
    # control chart constants (M).
    assert chart.range_limit == pytest.approx(3.267 * 1.8778, abs=2e-3)


@pytest.mark.parametrize(
    ("rule", "z", "at"),
    [
        # L. S. Nelson, J. Qual. Technol. 16 (1984) 237-239, each rule at its limit (M; the counts
        # agree with a published summary that was found).
        ("Nelson 1", [0.1, -0.2, 3.01], 2),
        ("Nelson 1", [0.1, -0.2, 3.0], None),
        ("Nelson 2", [-0.5] + [0.2, 1.2] * 4 + [0.3], 9),
        ("Nelson 2", [-0.5] + [0.2, 1.2] * 4 + [-0.3], None),
        ("Nelson 3", [0.5, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0], 6),
        ("Nelson 3", [-1.5, -1.0, -0.5, 0.0, 0.5, 0.5, 1.0], None),
        ("Nelson 3", [1.5, 0.9, 0.5, 0.0, -0.5, -0.6], 5),
        ("Nelson 4", [0.1, -0.1] * 7, 13),
        ("Nelson 4", [0.1, -0.1] * 6 + [0.1], None),
        ("Nelson 5", [2.1, 0.0, 2.2], 2),
        ("Nelson 5", [2.1, 2.2], 1),
        ("Nelson 5", [2.1, 0.0, -2.2], None),
        ("Nelson 5", [2.1, 0.0, 0.0, 2.2], None),
        ("Nelson 6", [1.1, 1.2, -0.4, 1.3, 1.4], 4),
        ("Nelson 6", [1.1, 1.2, -0.4, 0.9, 1.4], None),
        ("Nelson 7", [0.9, -0.9, 0.2] * 5, 14),
        ("Nelson 7", [0.9, -0.9, 0.2] * 4 + [0.1, 0.1], None),
        ("Nelson 8", [1.1, -1.2, 1.3, 1.4, -1.5, -1.1, 1.2, 1.6], 7),
        ("Nelson 8", [1.1, -1.2, 1.3, 1.4, -0.5, -1.1, 1.2, 1.6], None),
        ("Nelson 8", [1.1] * 8, None),
    ],
)
def test_each_of_nelson_s_rules_at_its_limit(rule: str, z: list[float], at: int | None) -> None:
    assert broken(z, NELSON).get(rule) == at
    assert broken([-value for value in z], NELSON).get(rule) == at


@pytest.mark.parametrize(
    ("rule", "z", "at"),
    [
        # Western Electric Co., Statistical Quality Control Handbook (1956), tests for instability (M).
        ("Western Electric 1", [0.0, -3.2], 1),
        ("Western Electric 2", [2.5, 0.0, 2.5], 2),
        ("Western Electric 3", [1.5, 1.5, 0.0, 1.5, 1.5], 4),
        ("Western Electric 4", [0.4] * 8, 7),
        ("Western Electric 4", [0.4] * 7 + [-0.1], None),
    ],
)
def test_each_western_electric_rule(rule: str, z: list[float], at: int | None) -> None:
    assert broken(z, WESTERN_ELECTRIC).get(rule) == at


def run_length(rules, chance: random.Random) -> int:
    """How many normal values until a rule is broken."""
    z: list[float] = []
    while True:
        z += [chance.gauss(0.0, 1.0) for _ in range(50)]
        known = max(0, len(z) - 58)  # eight values before the new ones, the longest memory
        new = [known + s.at for s in signals(z[known:], rules) if known + s.at >= len(z) - 50]
        if new:
            return new[0] + 1


def test_how_often_a_steady_series_is_accused() -> None:
    # Average run length of a normal series with known limits: one point beyond 3 sigma 1/0.0027 =
    # 370.4 (C); the four Western Electric rules together 91.75 (M: C. W. Champ and W. H. Woodall,
    # Technometrics 29 (1987) 393-399). Run lengths are close to exponential: the standard error of
    # the mean is about the mean over the root of the number.
    for rules, published, count in (
        (WESTERN_ELECTRIC[:1], 370.4, 400),
        (WESTERN_ELECTRIC, 91.75, 900),
    ):
        chance = random.Random(3)
        found = sum(run_length(rules, chance) for _ in range(count)) / count
        assert abs(found - published) < 3.0 * published / math.sqrt(count)


def test_few_values_are_judged_by_their_own_uncertainty() -> None:
    chart = control_chart(points([21.0, 21.6, 24.0], u=0.6), name="H1")
    assert "own uncertainty, for 3 values are few" in chart.verdict
    assert chart.sigmas == (0.6, 0.6, 0.6)
    assert [signal.rule for signal in chart.signals] == []
    far = control_chart(points([21.0, 21.6, 26.0], u=0.6), name="H1", centre=21.3)
    assert far.verdict == (
        "H1: not steady by Nelson: Nelson 1 at 2: a point beyond 3 sigma (limits from each value's own"
        " uncertainty, for 3 values are few)"
    )


def test_many_values_are_judged_by_their_moving_ranges() -> None:
    chance = random.Random(1)
    values = [21.0 + chance.gauss(0.0, 0.3) for _ in range(30)]
    assert control_chart(points(values, u=5.0), name="H1").basis == "limits from the moving ranges"
    chart = control_chart(points([*values, 24.0]), name="H1")
    assert {"Nelson 1", "moving range"} <= {s.rule for s in chart.signals if s.at == 30}


def test_nothing_or_no_scatter_is_no_alarm() -> None:
    assert control_chart([], name="H1").verdict == "H1: 0 values, nothing to compare yet"
    assert control_chart(points([21.0]), name="H1").verdict == "H1: 1 value, nothing to compare yet"
    flat = control_chart(points([21.0] * 5), name="H1")
    assert flat.steady
    with pytest.raises(KeyError):
        control_chart(points([1.0]), name="H1", rules="mine")


def stored(**other) -> StoredConstant:
    values = {
        "id": 1, "uid": "a", "apparatus": "H1", "kind": "foam cup", "method": "mixing",
        "constant_J_per_K": 21.0, "u_constant_J_per_K": 0.5, "heat_loss_W_per_K": None,
        "u_heat_loss_W_per_K": None, "sensor_lag_s": None, "runs": 4,
        "between_run_sd_J_per_K": 1.0, "fill_mL": None, "temperature_C": None,
        "valid_from": DAYS[0], "valid_to": None, "recheck_due": None, "recheck_uses": None,
        "status": "approved", "superseded_by": None, "digests": (), "rows_json": "[]",
        "warnings": (), "failed_quality": "", "note": "", "made_by": "x",
        "made_at": datetime(2026, 9, 1, tzinfo=UTC), "software_version": "0",
    }  # fmt: skip
    return StoredConstant(**(values | other))


def history(values, name="H1", u=0.5) -> list[StoredConstant]:
    return [
        stored(
            id=n, apparatus=name, constant_J_per_K=value, u_constant_J_per_K=u, valid_from=DAYS[n]
        )
        for n, value in enumerate(values)
    ]


def test_a_cup_that_is_steady_and_one_that_is_not() -> None:
    steady = cup_drift("H1", history([21.0, 21.4, 20.8]))
    assert steady.word == "steady"
    assert steady.verdict.startswith(
        "H1 has not changed: constant 2 (2027-04-12) lies 0.40 ± 0.61 J/K below those before it (chance"
        " 51 % if nothing changed). H1: 3 values, no rule of Nelson is broken"
    )
    moved = cup_drift("H1", history([21.0, 21.4, 24.2]))
    assert moved.word == "changed"
    assert (
        "H1 has changed; use the newest constant, and look for the reason: constant 2"
        in moved.verdict
    )
    # d = 24.2 - 21.2 = 3.0, u = sqrt(0.5² + 0.5²/2) = 0.6124 (C)
    assert moved.step is not None
    assert moved.step.difference_J_per_K == pytest.approx(3.0)
    assert moved.step.u_difference_J_per_K == pytest.approx(math.sqrt(0.375))
    assert cup_drift("H1", history([21.0])).verdict == "H1: 1 value, nothing to compare yet"
    gone = [*history([21.0, 21.4]), replace(history([0, 0, 29.0])[2], status="withdrawn")]
    assert cup_drift("H1", gone).word == "steady"


def test_a_shift_of_the_whole_set_is_told_from_one_cup_s() -> None:
    calm = {f"H{n}": history([20.0 + n, 20.2 + n, 19.9 + n], f"H{n}") for n in range(6)}
    assert set_drift("foam cup", calm).verdict.startswith(
        "foam cup: the set as a whole shows no shift, nor does any cup by itself."
    )
    one = calm | {"H2": history([22.0, 22.2, 26.0], "H2")}
    assert "by themselves: H2." in set_drift("foam cup", one).verdict
    every = {name: [*found[:2], replace(found[2], constant_J_per_K=found[2].constant_J_per_K + 1.2)]
             for name, found in calm.items()}  # fmt: skip
    told = set_drift("foam cup", every)
    assert {cup.word for cup in told.cups} == {"steady"}  # none could be told by itself
    assert told.verdict.startswith(
        "foam cup: the newest session lies 1.00 ± 0.25 J/K above the ones"
    )
    assert set_drift("foam cup", {"H1": history([21.0])}).verdict == (
        "foam cup: no two sessions to compare yet"
    )


def test_the_registry_answers_for_its_cups(cups, constant) -> None:
    for name in ("H1", "H2"):
        cups.add_drafts(
            [
                constant(apparatus=name, valid_from=DAYS[0], constant_J_per_K=21.0),
                constant(apparatus=name, valid_from=DAYS[1], constant_J_per_K=21.5),
            ],
            approve=True,
        )
    assert cups.drift("H1").word == "steady"
    told = cups.drift_of_kind("double foam cup, foam lid")
    assert [cup.apparatus for cup in told.cups] == ["H1", "H2", "H3"]
    assert told.shared is not None
    assert told.shared.difference_J_per_K == pytest.approx(0.5)
    assert cups.check_today("H1", [21.2, 22.0], on=DAYS[1]).constant_id == cups.history("H1")[1].id
    with pytest.raises(UnknownApparatus):
        cups.drift("H9")
    with pytest.raises(
        RegistryError, match=r"^no apparatus of the kind 'mug'; kinds: double foam cup"
    ):
        cups.drift_of_kind("mug")


def test_today_s_check_is_welch_s_test_where_there_is_nothing_more_to_it() -> None:
    # L: scipy.stats.ttest_ind(equal_var=False); the stored constant as the mean of its own runs.
    from scipy.stats import ttest_ind

    then, now = [20.1, 21.9, 21.2, 20.4], [22.3, 23.1, 21.8]
    mean = sum(then) / 4
    sd = math.sqrt(sum((x - mean) ** 2 for x in then) / 3)
    kept = stored(constant_J_per_K=mean, u_constant_J_per_K=sd / 2.0, between_run_sd_J_per_K=sd)
    found = check_today(kept, now)
    expected = ttest_ind(now, then, equal_var=False)
    assert found.step.p == pytest.approx(expected.pvalue, rel=1e-10)
    assert found.degrees_of_freedom == pytest.approx(expected.df, rel=1e-10)
    assert found.step.difference_J_per_K / found.step.u_difference_J_per_K == pytest.approx(
        expected.statistic, rel=1e-10
    )


def test_today_s_check_speaks() -> None:
    agrees = check_today(stored(), [21.4, 20.2, 21.9])
    assert agrees.agrees
    assert agrees.verdict.startswith(
        "today's 3 runs of H1 (21.17 J/K) agree with constant 1: difference +0.17 ± 0.71 J/K, chance"
    )
    differs = check_today(stored(), [27.4, 26.2, 27.9, 27.0])
    assert "do not agree with; calibrate anew in place of constant 1" in differs.verdict
    assert not differs.agrees
    one = check_today(stored(), [21.5])
    assert one.step.u_difference_J_per_K == pytest.approx(math.hypot(1.0, 0.5))
    assert check_today(stored(), [21.0, 21.0], u_J_per_K=[0.8, 0.8]).step.u_difference_J_per_K == (
        pytest.approx(math.hypot(0.8 / math.sqrt(2.0), 0.5))
    )
    with pytest.raises(ValueError, match="no runs to compare"):
        check_today(stored(), [])
    with pytest.raises(ValueError, match="one run alone tells nothing of its scatter"):
        check_today(stored(runs=1, between_run_sd_J_per_K=None), [21.0])


def test_today_s_check_accuses_no_more_often_than_it_says_and_notices_what_it_says() -> None:
    chance = random.Random(11)
    doubted = noticed = 0
    trials = 1500
    for _ in range(trials):
        then = [chance.gauss(21.0, 1.0) for _ in range(4)]
        mean = sum(then) / 4
        sd = math.sqrt(sum((x - mean) ** 2 for x in then) / 3)
        kept = stored(constant_J_per_K=mean, u_constant_J_per_K=sd / 2.0, between_run_sd_J_per_K=sd)
        now = [chance.gauss(21.0, 1.0) for _ in range(3)]
        found = check_today(kept, now)
        doubted += not found.agrees
        moved = [x + found.smallest_seen_J_per_K for x in now]
        noticed += not check_today(kept, moved).agrees
    assert doubted / trials < 0.065  # 5 % meant; Welch's test errs on the cautious side here
    assert 0.72 < noticed / trials < 0.92  # four times in five meant


def test_the_chart_is_drawn_and_written() -> None:
    chart = control_chart(points([21.0, 21.6, 26.0], u=0.6), name="H1", centre=21.3)
    made = figure(chart)
    assert [axes.get_ylabel() for axes in made.axes] == ["J/K", "moving range, J/K"]
    assert [text.get_text() for text in made.axes[0].texts] == ["1"]
    assert made.axes[0].get_title(loc="left") == "H1\nNelson 1: a point beyond 3 sigma"
    assert draw(chart).get_title(loc="left").startswith("H1\n")
    figure(control_chart([], name="H1"))
    lines = as_text(chart).splitlines()
    assert len(lines) == 3
    assert lines[2].endswith("Nelson 1")
    assert all(line.replace("Nelson 1", "").count("o") == 1 for line in lines)
    assert as_text(control_chart([], name="H1")) == "H1: 0 values, nothing to compare yet"


@pytest.mark.parametrize(
    ("p", "said"),
    [(1e-4, "below 0.1 %"), (0.012, "1.2 %"), (0.0996, "10 %"), (0.995, "100 %"), (1.0, "100 %")],
)
def test_chances_are_said_in_plain_figures(p: float, said: str) -> None:
    from calib.registry.drift import _chance

    assert _chance(p) == said
