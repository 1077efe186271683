"""Heat release and the page of one curve, on the command line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitting.comparison import compare
from fitting.curve import Curve
from fitting.files.plain_curves import write_curve
from fitting.practice.simulated_cup import draw_experiment, simulate

SAMPLE = Path(__file__).resolve().parents[2] / "sample_runs"


@pytest.fixture(scope="module")
def slow(tmp_path_factory):
    """A simulated dissolution as a file, and its truth."""
    run = simulate(draw_experiment("slow", np.random.default_rng(9), resolution_K=0.01), 9)
    path = tmp_path_factory.mktemp("slow") / "slow.csv"
    write_curve(path, Curve.from_arrays(run.time_s, run.temperature_C))
    return path, run


def mixed(run) -> tuple[str, ...]:
    return ("--mixed-at", str(run.mixed_at_s), "--capacity-ratio", f"{run.capacity_ratio:.5f}")


def test_json_tells_how_the_heat_came_out(cupledger, slow):
    path, run = slow
    facts = cupledger("correct", path, *mixed(run), "--json").json
    release = facts["heat_release"]
    assert release["total_K"] == facts["rise_K"]
    assert release["total_J"] is None
    assert release["sensor_lag_known"] is False
    experiment = run.experiment
    (k1, k2), w = experiment.rates_per_s, experiment.slow_share
    t = np.linspace(0, 900, 9001)
    left = (1 - w) * np.exp(-k1 * t) + w * np.exp(-k2 * t)
    low, high = release["over_interval95_s"]
    assert low <= t[np.argmax(left <= 0.01)] <= (np.inf if high is None else high)
    at = release["release_time_s"]
    assert abs(at - t[np.argmax(left <= np.exp(-1))]) <= 1.96 * release["u_release_time_s"]
    shares = [point["fraction"] for point in release["released"]]
    assert shares[0] == 0
    assert shares[-1] == pytest.approx(1, abs=0.01)


def test_a_known_lag_and_heat_capacity_give_joules_and_a_narrower_end(cupledger, slow):
    path, run = slow
    lag = run.experiment.sensor.lag_s
    known = ("--sensor-lag", lag, "--heat-capacity", 420, "--u-heat-capacity", 4.2)
    facts = cupledger("correct", path, *mixed(run), *known, "--json").json["heat_release"]
    bare = cupledger("correct", path, *mixed(run), "--json").json["heat_release"]
    assert facts["total_J"] == pytest.approx(420 * facts["total_K"])
    relative = np.hypot(facts["u_total_K"] / facts["total_K"], 0.01)
    assert facts["u_total_J"] == pytest.approx(abs(facts["total_J"]) * relative)
    assert facts["u_sensor_lag_removed_s"] == pytest.approx(0.1 * lag)
    assert np.ptp(facts["over_interval95_s"]) < np.ptp(bare["over_interval95_s"])
    said = cupledger("correct", path, *mixed(run), *known).out
    assert "Heat release: 63 % of the heat was out" in said
    assert "with 420.0 ± 4.2 J/K" in said


def test_people_are_told_per_heat_capacity_where_none_is_given(cupledger):
    done = cupledger("correct", SAMPLE / "curves" / "class_bench07.csv", "--mixed-at", 180)
    assert "J for each J/K of content and cup" in done.out
    assert "the sensor's lag is not known" in done.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--sensor-lag", "-1"), "the sensor's lag is -1 s; expected 0, or 0.01 to 600 s"),
        (("--sensor-lag", "nan"), "the sensor's lag is nan s"),
        (("--u-sensor-lag", "1"), "an uncertainty of the sensor's lag without its value"),
        (("--heat-capacity", "0"), "expected more than 0: content and cup"),
        (("--heat-capacity", "420", "--u-heat-capacity", "-2"), "the uncertainty of the heat"),
    ],
)
def test_numbers_that_cannot_be_meant(cupledger, slow, words, says):
    done = cupledger("correct", slow[0], *words)
    assert done.code == 2
    assert says in done.err
    assert done.out == ""


def test_where_no_release_can_be_told_the_reason_stands_in_every_form(
    cupledger, slow, tmp_path, monkeypatch
):
    monkeypatch.setattr("fitting.release.heat_release._FEWEST_READINGS", 9999)
    path, run = slow
    page = tmp_path / "few.html"
    words = ("correct", path, *mixed(run), "--page", page)
    facts = cupledger(*words, "--json").json
    assert "needs at least 9999" in facts["heat_release"]["refused"]
    assert facts["rise_K"] == pytest.approx(run.true_rise_K, rel=0.02)
    assert "Heat release: not told" in cupledger(*words).out
    assert "needs at least 9999" in page.read_text(encoding="utf-8")


def test_a_log_that_ends_too_early_is_refused_with_what_can_still_be_said(cupledger, tmp_path):
    time = np.arange(0.0, 194.0, 2.0)
    shown = np.where(time < 180, 21.0, 27.0) + 0.01 * (np.arange(time.size) % 3)
    path, page = tmp_path / "short.csv", tmp_path / "short.html"
    write_curve(path, Curve.from_arrays(time, shown))
    done = cupledger("correct", path, "--mixed-at", 180, "--page", page)
    assert done.code == 2
    assert "only 6 readings, 12 s, follow the mixing" in done.err
    assert "too short for any method; log for longer" in done.err
    assert "Before the mixing it read 21.01" in done.err
    assert "the change is no smaller than +6.0" in done.err
    assert not page.exists()


def test_compare_tells_laws_and_stability_in_every_form(cupledger, slow, tmp_path, monkeypatch):
    path, run = slow
    made = {}

    def once(curve, **choices):
        """The real comparison, made once for both forms of output."""
        if "found" not in made:
            made["found"] = compare(curve, **choices)
        return made["found"]

    monkeypatch.setattr("fitting.comparison.compare", once)
    page = tmp_path / "slow.html"
    done = cupledger("correct", path, *mixed(run), "--compare", "--page", page, "--json")
    facts = done.json
    laws, stability = facts["cooling_laws"], facts["stability"]
    names = [law["name"] for law in laws["laws"]]
    assert names[0] == "newton"
    assert laws["chosen"] in names
    assert min(law["delta_aicc"] for law in laws["laws"]) == 0
    assert len(stability["scans"]) == 3
    for scan in stability["scans"]:
        assert len(scan["values"]) == len(scan["rise_K"]) == len(scan["u_rise_K"])
    moment = stability["scans"][0]
    in_use = moment["rise_K"][moment["values"].index(0.0)]
    assert in_use == pytest.approx(facts["rise_K"], abs=0.5 * facts["u_rise_K"])
    assert {m["name"] for m in facts["methods"]} >= {"exponential", "extreme"}
    html = page.read_text(encoding="utf-8")
    assert "Which law the cup cools by" in html
    assert "How firmly the result stands" in html
    said = cupledger("correct", path, *mixed(run), "--compare").out
    assert "Cooling laws: " in said
    assert "Stability: " in said
    plain = cupledger("correct", path, *mixed(run), "--json").json
    assert "cooling_laws" not in plain
