"""The judges themselves: convergence, conservation of heat, exact limits, and the notebook's way."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.benchmarks import two_judges, whole_job
from tests.benchmarks.heater_runs import scored
from tests.benchmarks.judges import foam, lumped_wide, notebook_way, two_bodies
from tests.benchmarks.judges.foam_course import course_of
from tests.benchmarks.judges.foam_release import Release, second_order, shrinking_grains
from tests.benchmarks.judges.foam_vessels import with_reference_film
from tests.benchmarks.judges.materials import radiation_W_per_m2_K, vapour_kPa
from tests.benchmarks.judges.school import FoamWorld, LumpedWorld, heater_task


def drawn(family, seed, **changes):
    e = foam.draw(family, np.random.default_rng(seed))
    return replace(e, run=replace(e.run, **changes))


def integrated(e, **changes):
    run = replace(e.run, **changes)
    return course_of(replace(run, filled=with_reference_film(run.filled, 40.0, run.room.start_C)))


@pytest.mark.parametrize("family", [*foam.FAMILIES, *foam.OTHERS])
def test_a_finer_wall_and_shorter_steps_give_the_same_course(family):
    for seed in range(2):
        e = drawn(family, seed)
        coarse = integrated(e)
        fine = integrated(e, fine=3.0, filled=replace(e.run.filled, finest_m=0.2e-3))
        at = np.linspace(e.run.fore_s + e.run.pour_s + 1.0, coarse.time_s[-1], 200)
        seen, finer = (np.interp(at, c.time_s, c.liquid_C) for c in (coarse, fine))
        size = np.ptp(coarse.liquid_C)
        assert size > 2.0
        assert np.max(np.abs(seen - finer)) < 2e-4 * size
        assert coarse.before_C == pytest.approx(fine.before_C, abs=1e-4 * size)


@pytest.mark.parametrize("family", [*foam.FAMILIES, *foam.OTHERS])
def test_heat_is_conserved(family):
    for seed in range(2):
        e = drawn(family, seed)
        course = integrated(e)
        liquid = e.run.in_cup_J_per_K + e.run.added_J_per_K
        turned_over = liquid * np.ptp(course.liquid_C)
        assert turned_over > 500.0
        assert abs(course.stored_J + course.lost_J - course.brought_J) < 1e-4 * turned_over


def insulated(e):
    cup = replace(
        e.run.filled.cup, outside_factor=0.0, emissivity=0.0, top_W_per_K=0.0,
        vapour_g_per_s_kPa=0.0, follower_loss_W_per_K=0.0, stirrer_W=0.0,
    )  # fmt: skip
    filled = replace(e.run.filled, cup=cup)
    room = replace(e.run.room, drift_K_per_s=0.0, swing_K=0.0, door_K=0.0)
    run = replace(e.run, filled=filled, room=room, in_cup_C=room.start_C, after_s=3000.0)
    probe = replace(e.probe, noise_K=0.0, wander_K=0.0)
    return replace(e, run=run, probe=probe)


@pytest.mark.parametrize("family", [*foam.FAMILIES, "heater"])
def test_an_insulated_cup_settles_at_the_true_rise(family):
    for seed in range(3):
        run = foam.judged(insulated(drawn(family, seed)), np.random.default_rng(1))
        rise = run.raw_C[-1] - run.true_before_C
        assert abs(run.true_rise_K) > 1.0
        assert rise == pytest.approx(run.true_rise_K, rel=2e-6)


def test_a_solution_may_hold_less_heat_than_its_water():
    e = drawn("slow", 0, added_J_per_K=-3.0)
    run = foam.judged(insulated(e), np.random.default_rng(1))
    assert run.raw_C[-1] - run.true_before_C == pytest.approx(run.true_rise_K, rel=2e-6)


def test_the_course_is_that_of_a_general_integrator():
    """The same balance written out node by node and left to scipy's BDF, one pouring apart."""
    e = drawn("pellets", 4, added_J_per_K=0.0)
    run = replace(e.run, filled=with_reference_film(e.run.filled, 60.0, e.run.room.start_C))
    course = course_of(run)
    filled, room, cup = run.filled, run.room, run.filled.cup
    capacities = filled.capacities.copy()
    capacities[0] = run.in_cup_J_per_K
    network = filled.conductances(1.0)
    for which, node in enumerate(filled.outer):  # the outer film is taken out of the linear part
        network[node, node] -= filled.areas_m2[which] * filled.film_W_per_m2_K

    def slope(t, state):
        outside = float(room.at(np.array([t]))[0])
        heat = -(network @ state)
        heat[0] += cup.stirrer_W - filled.top_loss_W(state[0], outside, room.vapour_kPa)
        heat[1] -= filled.follower_loss_W(state[1], outside)
        for which, node in enumerate(filled.outer):
            heat[node] -= filled.outer_loss_W(which, state[node], outside)
        since = np.array([max(t - 0.005, run.fore_s), t + 0.005]) - run.fore_s
        if t >= run.fore_s:
            released = run.release.released(since, run.pour_s)
            heat[0] += run.heat_J * (released[1] - released[0]) / (since[1] - since[0])
        return heat / capacities

    start = np.full(len(capacities), 0.5 * (run.in_cup_C + room.at(np.array([-run.standing_s]))[0]))
    start[0] = run.in_cup_C
    end = run.fore_s + 240.0
    before = solve_ivp(slope, (-run.standing_s, run.fore_s), start, "BDF", rtol=1e-7, atol=1e-7)
    after = solve_ivp(
        slope, (run.fore_s, end), before.y[:, -1], "BDF", rtol=1e-7, atol=1e-7, max_step=2.0
    )
    assert course.before_C == pytest.approx(before.y[0, -1], abs=1e-3)
    for t, celsius in zip(after.t[::40], after.y[0, ::40], strict=True):
        here = np.interp(t, course.time_s, course.liquid_C)
        assert here == pytest.approx(celsius, abs=4e-3)  # of 20 to 55 K
    assert after.y[0, -1] - before.y[0, -1] > 15.0


def test_a_steady_cup_loses_what_a_hand_calculation_says():
    """Sheets in series with the outer film; the top beside it."""
    e = drawn("slow", 3)
    filled = with_reference_film(e.run.filled, 45.0, 20.0)
    steady = filled.steady(40.0, 20.0, 1.0)
    cup, area = filled.cup, sum(filled.areas_m2)
    through = steady.loss_W - filled.top_loss_W(40.0, 20.0, 1.0)
    resistance = 1 / cup.inside_W_per_m2_K
    resistance += sum(x.thickness_m / x.conductivity_W_per_m_K for x in cup.layers)
    resistance += sum(1 / (0.026 / gap + 5.0) for gap in cup.gaps_m if gap > 0)
    low, high = 20.0, 40.0  # the surface: as much reaches it as leaves it
    for _ in range(60):
        surface = 0.5 * (low + high)
        arrives = area * (40.0 - surface) / resistance
        low, high = (
            (surface, high) if filled.outer_loss_W(0, surface, 20.0) < arrives else (low, surface)
        )
    by_hand = area * (40.0 - low) / resistance
    follower = filled.follower_loss_W(40.0, 20.0)
    assert by_hand < through <= by_hand + follower
    assert 0.5 * cup.constant_J_per_K(filled.final_mL) < steady.stored_J_per_K
    assert steady.stored_J_per_K < cup.constant_J_per_K(filled.final_mL)


def test_textbook_values_of_films_and_vapour():
    assert vapour_kPa(25.0) == pytest.approx(3.169, rel=5e-3)  # CRC Handbook, from memory
    assert vapour_kPa(60.0) == pytest.approx(19.95, rel=5e-3)
    # 4 sigma T³ at 20 °C: 5.7 W/(m² K), every heat-transfer textbook
    assert radiation_W_per_m2_K(20.001, 20.0, 1.0) == pytest.approx(5.714, rel=1e-3)


def test_releases_begin_at_nothing_and_end_at_all():
    times = np.linspace(0.0, 4000.0, 8001)
    rng = np.random.default_rng(5)
    courses = [foam.draw("slow", rng).run.release for _ in range(20)]
    courses += [Release("pour", (0.7,)), Release("steady", (300.0,))]
    for release in courses:
        released = release.released(times, 3.0)
        assert released[0] == pytest.approx(0.0, abs=1e-12)
        assert released[-1] == pytest.approx(1.0, abs=1e-5)
        assert np.all(np.diff(released) >= -1e-12)
    assert {release.kind for release in courses} >= {"grains", "stretch", "second"}


def test_releases_in_closed_form():
    t = np.array([10.0])
    assert second_order(t, 0.05, 1.0000001)[0] == pytest.approx(1 - 1 / 1.5, rel=1e-6)
    assert shrinking_grains(t, 40.0, 0.0, 3.0)[0] == pytest.approx(1 - 0.75**3, rel=1e-12)


@pytest.mark.parametrize("judge", [foam, lumped_wide, two_bodies])
@pytest.mark.parametrize("family", foam.FAMILIES)
def test_a_seed_is_a_run(judge, family):
    first, again, other = judge.run(family, 3), judge.run(family, 3), judge.run(family, 4)
    assert np.array_equal(first.raw_C, again.raw_C)
    assert first.true_rise_K == again.true_rise_K != other.true_rise_K
    assert first.time_s[0] == 0.0 < first.mixed_at_s < first.time_s[-1]
    assert 0.3 < first.capacity_ratio < 1.0
    assert np.max(np.abs(first.shown_C(0.1) - first.raw_C)) <= 0.05 + 1e-9
    total = first.liquid_J_per_K + first.constant_J_per_K
    heat = first.heat_J + first.added_J_per_K * (first.added_C - first.true_before_C)
    assert first.true_rise_K * total == pytest.approx(heat, rel=1e-12)
    assert abs(first.steady_rise_K) >= abs(first.true_rise_K)


def test_a_flask_of_the_wide_judge_loses_little():
    run = lumped_wide.run("fast" + lumped_wide.FLASK, 2)
    assert run.vessel == "flask"
    assert run.loss_W_per_K < 0.04
    assert run.constant_J_per_K > 25.0


def newton_curve(k, ratio, rise=8.0, release_s=0.0):
    """An exact Newton curve: heat at the mixing at once, or over a time constant."""
    t = np.arange(0.0, 781.0, 1.0)
    since = t - 180.0
    t_inf, before = 21.4, -0.6
    fore = t_inf + before * np.exp(-k / ratio * since)
    if release_s == 0:
        after = t_inf + (before + rise) * np.exp(-k * since)
    else:  # dT/dt = R/s exp(-t/s) - k (T - T_inf)
        part = rise / (1.0 - k * release_s)
        after = before * np.exp(-k * since)
        after = t_inf + after + part * (np.exp(-k * since) - np.exp(-since / release_s))
    return t, np.where(since < 0, fore, after)


@pytest.mark.parametrize("k", [5e-5, 3e-4])
def test_the_notebook_is_exact_on_an_exact_curve(k):
    t, shown = newton_curve(k, 0.6)
    rises = notebook_way.rises_K(t, shown, 180.0, 0.6)
    assert rises["exponential"] == pytest.approx(8.0, abs=2e-5)
    assert rises["integral"] == pytest.approx(8.0, abs=1e-2 * 8.0 * k * 180)
    assert rises["straight-line"] == pytest.approx(8.0, abs=0.03 * 8.0)


def test_the_integral_accounts_for_a_slow_release():
    t, shown = newton_curve(3e-4, 1.0, release_s=25.0)
    rises = notebook_way.rises_K(t, shown, 180.0, 1.0)
    assert rises["integral"] == pytest.approx(8.0, abs=0.02)
    assert rises["exponential"] > 8.03
    assert rises["equal-areas"] == pytest.approx(8.0, abs=0.1)


def test_both_judges_score_the_corrections(tmp_path):
    keys = [two_judges.Key(judge, "fast", "given", 0.01) for judge in ("foam", "lumped")]
    kept = list(two_judges.rows(keys, range(3), set()))
    assert len(kept) == 6
    done = {(*vars(two_judges.key_of(row)).values(), row["seed"]) for row in kept}
    assert list(two_judges.rows(keys, range(3), done)) == []
    cells = two_judges.scored(kept)
    assert list(cells) == keys
    for cell in cells.values():
        assert cell.n == 3 == len(cell.default.errors) + cell.refused
        assert cell.default.rmse < 5.0
        assert cell.best_simple[1].rmse > 0.0
    path = tmp_path / "rows.jsonl"
    path.write_text("".join(f"{json.dumps(row)}\n" for row in kept) + '{"cut')
    assert two_judges.read_rows([path]) == json.loads(json.dumps(kept))
    table = two_judges.default_table(cells)
    assert len(table.splitlines()) == 4
    assert len({line.count("|") for line in table.splitlines()}) == 1


def test_the_report_s_seeds_stay_out_of_reach_of_development():
    assert two_judges.seeds_of(10, development=False, first_seed=None).start >= 500_000
    with pytest.raises(ValueError, match="development"):
        two_judges.seeds_of(10, development=True, first_seed=995)
    with pytest.raises(ValueError, match="500000"):
        two_judges.seeds_of(10, development=False, first_seed=3)


def test_a_cell_s_figures():
    methods = {"newton-integral": [0.3, True, 0.2, True], "extreme": [-1.0, False, 0.1, False]}
    row = {
        "judge": "foam", "family": "slow", "mixing": "found", "step_K": 0.1, "seed": 1, "cpu_s": 0.1,
        "warnings": 0, "default": "newton-integral", "methods": methods, "notebook": {"integral": 0.5},
        "steady": 0.3, "steady_held": True,
    }  # fmt: skip
    worse = row | {"methods": methods | {"newton-integral": [-0.4, False, 0.2, True]}}
    cell = two_judges.scored([row, worse, row | {"refused": "no"}])[two_judges.key_of(row)]
    assert (cell.n, cell.refused) == (3, 1)
    assert cell.default.rmse == pytest.approx(np.sqrt((0.09 + 0.16) / 2))
    assert cell.default.bias == pytest.approx(-0.05)
    assert cell.default.holds == 50.0
    assert cell.best_simple[0] == "notebook integral"
    assert cell.steady.errors[0] == pytest.approx(0.0, abs=1e-9)
    assert two_judges.beside(0.21, 0.15, 2) == "0.21 > 0.15"
    assert two_judges.within(92.0, (92.0, 98.0)) == "92.0 in 92-98"


@pytest.mark.parametrize("make", [FoamWorld, LumpedWorld])
def test_a_heater_brings_its_heat_to_the_cups_of_both_judges(make):
    rng = np.random.default_rng(8)
    world = make(rng)
    task, true = heater_task(rng, leads_ohm=0.02, variation=0.0)
    noted = true["heater_V"] * true["heater_A"] * true["heater_s"]
    lost = 0.02 * true["heater_A"] ** 2 * true["heater_s"]
    assert task.heat_J == pytest.approx(noted - lost, rel=1e-12)
    for cup in ("P1", "P2", "P3"):
        run = world.done(cup, task, rng)
        total = task.in_cup_J_per_K + run.constant_J_per_K
        assert run.true_rise_K == pytest.approx(task.heat_J / total, rel=1e-4)
        reached = np.max(run.raw_C) - run.true_before_C
        assert 0.75 * run.true_rise_K < reached < 1.01 * run.true_rise_K
        # a probe of 24 s at most and the heater's end: the peak comes within some four lags of it
        assert abs(run.time_s[np.argmax(run.raw_C)] - run.mixed_at_s - task.heater_s) < 100.0


def test_one_school_does_its_job_in_foam_cups():
    scores = whole_job.new_scores()
    facts = whole_job.one_school("foam", 2, scores)
    assert len(facts["calibration"]["constants"]) == 6
    for name, score in scores.items():
        assert len(score.errors) + score.lost >= 6
        assert score.line(name).count("|") == whole_job.HEAD.splitlines()[0].count("|")
    assert float(np.median(np.abs(scores["closure: neutralization %"].errors))) < 1.5


def test_a_score_s_line():
    score = whole_job.Score()
    score.add(1.0, [0.5, 2.0], 0.5, 1.5)
    score.add(3.0, [2.0, 4.0], 0.5, 1.0)
    cells = [cell.strip() for cell in score.line("x").strip("|").split("|")]
    assert cells == ["x", "2", "1.458", "+0.750", "50.0 %", "0.875", "2.92", "0"]


def test_there_are_no_foam_flasks():
    with pytest.raises(ValueError, match="lumped"):
        whole_job.make_world("foam", np.random.default_rng(1), flask=True)


def test_heated_cups_of_the_judge_have_intervals_that_hold():
    """Cut down from `tests.benchmarks.heater_runs`; the fitter of its own held 10 % on such cups."""
    rows = [scored(seed, 0.01) for seed in range(30)]
    assert np.mean([whole for *_, whole, _ in rows]) >= 0.85
    assert np.sqrt(np.mean([error**2 for error, *_ in rows])) < 0.6
