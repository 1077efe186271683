"""Simulated curves that no model describes: bias, rmse and coverage of the default method."""

from __future__ import annotations

import json

import pytest

from tests.benchmarks.coverage import Key, cells_of, default_table, read_rows, rows, score


@pytest.mark.parametrize(
    ("family", "rmse_percent"),
    [("fast", 0.20), ("mixing", 0.16), ("slow", 0.35), ("pellets", 0.20)],
)
def test_a_few_curves_of_each_family(family, rmse_percent):
    """Loose bounds on 40 curves at 0.01 K; the table in tests/benchmarks/FIGURES.md has the figures of many."""
    cells = score(family, 40, resolution_K=0.01)
    default = cells["default"]
    assert default.rmse <= rmse_percent
    assert default.rmse < cells["extreme"].rmse
    assert default.coverage >= 0.85


def test_the_moment_of_mixing_may_be_found():
    cells = score("slow", 25, resolution_K=0.01, given=False)
    assert cells["default"].rmse <= 0.6
    assert cells["default"].coverage >= 0.8


def test_coarse_displays_have_intervals_that_hold():
    """0.1 K: the rise rests on where the display's steps lie; before, 83 % of intervals held."""
    cells = score("slow", 30, resolution_K=0.1)
    assert cells["default"].rmse <= 1.0
    assert cells["default"].coverage >= 0.85


def test_one_log_serves_every_cell_and_a_run_is_resumed(tmp_path):
    """Rows are kept by seed and cell; a second run adds what is missing only."""
    keys = [Key("mixing", "given", after, step) for after in ("own", "150") for step in (0.01, 0.1)]
    first = list(rows(keys, [50_000], set()))
    assert len(first) == 4
    done = {(r["family"], r["mixing"], r["after"], r["resolution_K"], r["seed"]) for r in first[:3]}
    (again,) = rows(keys, [50_000], done)
    assert again["methods"] == first[3]["methods"]
    kept = tmp_path / "rows.jsonl"
    kept.write_text("\n".join(json.dumps(r) for r in first) + "\n{cut sh", encoding="utf-8")
    cells = cells_of(read_rows([kept]))
    assert list(cells) == sorted(keys)
    table = default_table(cells)
    assert table.count("\n") == 5
    assert "| mixing | given | 150 | 0.01 | 1 | 0 |" in table
