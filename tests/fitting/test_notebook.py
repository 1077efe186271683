"""What a notebook does: cells run one after another, each result shown as HTML or drawn."""

from __future__ import annotations

import ast
import dataclasses
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fitting
from fitting import compare, correct, make_practice, read_curve, reveal
from fitting.drawings.cooling import draw_cooling

TOP = Path(__file__).resolve().parents[2]
VOID = {"br", "hr", "img", "meta", "link", "path", "polyline", "use", "rect", "line"}

CELLS = """
from fitting import read_curve, correct, compare
curve = read_curve("sample_runs/curves/class_bench07.csv")
curve
# cell
one = correct(curve, mixed_at_s=180)
one
# cell
found = compare(curve, mixed_at_s=180)
found
# cell
found.verdict
# cell
found.to_frame()
# cell
from matplotlib.figure import Figure
figure = Figure()
ax = figure.subplots()
found.plot(ax, "correction")
# cell
from fitting.release.heat_release import heat_release
release = heat_release(curve, found.corrected, sensor_lag_s=6.0, u_sensor_lag_s=1.0)
release
# cell
from fitting.drawings.lines import frame
frame(curve, one).tail()
"""


class Balanced(HTMLParser):
    """Every tag that is opened is closed, in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append(tag)

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag


def run_cell(code: str, names: dict[str, Any]) -> Any:
    """Run one cell; the value of its last expression, as a notebook shows it."""
    tree = ast.parse(code)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    if not isinstance(last, ast.Expr):
        return None
    return eval(compile(ast.Expression(last.value), "cell", "eval"), names)


def shown(value: Any) -> str:
    """What a notebook puts on the screen."""
    html = value._repr_html_() if hasattr(value, "_repr_html_") else repr(value)
    return str(html)


@pytest.fixture
def beside_the_samples(tmp_path, monkeypatch):
    shutil.copytree(TOP / "sample_runs", tmp_path / "sample_runs")
    monkeypatch.chdir(tmp_path)


def test_the_cells_run_and_show_something(beside_the_samples):
    names: dict[str, Any] = {}
    values = [run_cell(cell, names) for cell in CELLS.split("# cell")]
    curve, one, found, verdict, table, _, release, tail = values
    for value in (curve, one, found, release):
        Balanced(shown(value))
    assert "newton-integral" in shown(one)
    assert one.verdict.split("(")[0] in verdict
    assert list(table.index) == list(fitting.METHODS)
    assert names["ax"].lines
    assert names["ax"].get_ylabel() == "temperature / °C"
    assert "lag" in " ".join(release.notes) or release.lag_removed_s == 6.0
    assert tail["without_loss_C"].notna().all()
    # nothing is kept for pyplot's global list, nothing written beside the samples
    assert [p.name for p in Path().iterdir()] == ["sample_runs"]


def test_python_blocks_of_the_readme_run_as_they_stand(beside_the_samples):
    text = (TOP / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```python\n(.*?)^```$", text, flags=re.M | re.S)
    for block in blocks or [CELLS]:
        run_cell(block, {})


@pytest.fixture(scope="module")
def results():
    curve = read_curve(TOP / "sample_runs" / "curves" / "class_bench07.csv")
    found = compare(curve, mixed_at_s=180.0)
    return curve, found


def test_results_cannot_be_changed(results):
    curve, found = results
    for one in (curve, found, found.corrected, found.chosen, found.stability, found.laws):
        assert dataclasses.is_dataclass(one)
        name = dataclasses.fields(one)[0].name
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(one, name, None)
    with pytest.raises(ValueError, match="read-only"):
        curve.temperature_C[0] = 0.0


def test_each_result_has_a_verdict_a_table_and_html(results):
    from fitting.release.heat_release import heat_release

    curve, found = results
    release = heat_release(curve, found.corrected)
    for one in (found, found.corrected, found.laws, found.stability, release):
        assert one.verdict.strip()
        assert len(one.to_frame()) > 0
        assert set(Balanced(one._repr_html_()).seen) >= {"table", "th", "td"}


def test_each_view_takes_an_axes_of_the_callers(results):
    from matplotlib.figure import Figure

    _, found = results
    axes = Figure().subplots(2, 3).ravel()
    for ax, what in zip(
        axes, ("methods", "correction", "residuals", "release", "stability"), strict=False
    ):
        found.plot(ax, what)
        assert ax.lines
    assert len(axes[0].get_yticklabels()) == len(found.methods)


def test_the_table_holds_what_the_verdict_says(results):
    _, found = results
    table = found.to_frame()
    chosen = table[table["chosen"]].iloc[0]
    assert chosen["rise_K"] == found.chosen.rise_K
    assert f"{chosen['rise_K']:+.3f} K" in found.verdict
    usable = table[table["admissible"]]["rise_K"]
    several = f"{usable.min():+.3f} and {usable.max():+.3f}" in found.verdict
    assert several == (len(usable) > 1)


def test_practice_from_a_notebook(tmp_path):
    made = make_practice(tmp_path, ["lag"], seed=3)
    curve = read_curve(made.curve_path)
    mine = correct(curve, mixed_at_s=made.task.mixed_at_s, capacity_ratio=made.task.capacity_ratio)
    score = reveal(made.curve_path, mine.chosen.rise_K, mine.chosen.u_rise_K)
    assert np.isclose(score.error_K, mine.chosen.rise_K - score.true_rise_K)
    Balanced(score._repr_html_())
    assert len(score.to_frame()) == len(score.methods)


@pytest.fixture(scope="module")
def cooling():
    return fitting.fit_cooling_log(
        read_curve(TOP / "sample_runs" / "curves" / "cooling_P1.csv"),
        room_C=21.0,
        heat_capacity_J_per_K=890.0,
        u_heat_capacity_J_per_K=3.0,
    )


def test_a_cooling_log_in_a_notebook(cooling):
    assert "W/K" in cooling.verdict
    assert f"{cooling.conductance_W_per_K:.4f}" in cooling.verdict
    table = cooling.to_frame()
    assert list(table.index) == ["newton", "slow-wall", "steeper", "drifting-room"]
    assert table["chosen"].sum() == 1
    assert table.loc[cooling.law, "chosen"]
    assert set(Balanced(cooling._repr_html_()).seen) >= {"table", "th", "td"}
    readings = cooling.readings_frame()
    for name in table.index:
        rms = float(np.sqrt(np.mean(readings[f"residual_{name}_K"] ** 2)))
        assert rms == pytest.approx(table.loc[name, "residual_rms_K"], rel=1e-6)
    with pytest.raises(dataclasses.FrozenInstanceError):
        cooling.law = "newton"


@pytest.mark.parametrize("what", ["cooling", "residuals", "forecast"])
def test_a_cooling_log_draws_on_an_axes_of_the_callers(cooling, what):
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    draw_cooling(ax, cooling, what)
    assert ax.lines
    assert ax.get_xlabel() == "time since the start / min"
    if what != "cooling":
        drawn = {line.get_label().split(" (")[0]: line for line in ax.lines}
        line = cooling.line_C("newton", forecast=what == "forecast")
        left = 1000 * (cooling.stretch.y - line)
        assert drawn["newton"].get_ydata() == pytest.approx(
            left[-drawn["newton"].get_ydata().size :]
        )
        styles = {
            one.get_linestyle() + one.get_marker() for name, one in drawn.items() if name[0] != "_"
        }
        assert len(styles) == 4
    with pytest.raises(ValueError, match="expected one of cooling, residuals, forecast"):
        draw_cooling(ax, cooling, "pie")
