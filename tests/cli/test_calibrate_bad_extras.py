"""Bad cells in the columns that only calibration reads, and curves that are no such curve: the row
is named with its column, the good row beside it is computed, nobody sees a traceback."""

from __future__ import annotations

import pytest

from tests.cli.test_calibrate_ways import (  # noqa: F401 - bench is a fixture
    bench,
    cooling_row,
    heater_row,
    mixing_row,
)


def poured(folder, **columns):
    return {**mixing_row(), "added_read_s": "", **columns}


@pytest.mark.parametrize(
    ("columns", "column", "words"),
    [
        ({"added_read_s": "soon"}, "added_read_s", "seconds, 0 to 3600"),
        ({"added_read_s": -5}, "added_read_s", "seconds, 0 to 3600"),
        ({"added_read_s": "1e9"}, "added_read_s", "seconds, 0 to 3600"),
        ({"added_curve": "gone.csv"}, "added_curve", "gone.csv"),
        ({"added_curve": "../up.csv"}, "added_curve", ".."),
        ({"added_curve": "empty.csv"}, "added_curve", "empty"),
        ({"added_curve": "binary.csv"}, "added_curve", ""),
        ({"added_curve": "short.csv"}, "added_curve", "readings"),
        ({"added_curve": "cool.csv", "added_poured_at_s": "later"}, "added_curve", "later"),
        (
            {"added_curve": "cool.csv", "added_poured_at_s": 9000},
            "added_curve",
            "after the log's end",
        ),
    ],
)
def test_bad_cells_of_the_poured_liquid(bench, columns, column, words):  # noqa: F811
    folder = bench.folder
    cooling_row(folder)
    (folder / "empty.csv").write_bytes(b"")
    (folder / "binary.csv").write_bytes(bytes(range(256)) * 20)
    (folder / "short.csv").write_text("t,T\n0,50\n1,49\n2,48\n", encoding="utf-8")
    rows = [{**poured(folder), "run": "good"}, {**poured(folder, **columns), "run": "bad"}]
    done = bench(rows, "--json")
    assert done.code == 1, done.out
    (problem,) = done.json["errors"]
    assert (problem["row"], problem["column"]) == ("bad", column)
    assert words in f"{problem['message']} {problem['expected']} {problem['found']}"
    assert [run["run"] for run in done.json["runs"]] == ["good"]


@pytest.mark.parametrize(
    ("changes", "column", "words"),
    [
        ({"heater_s": 5000.0}, "curve", "after the heater went off"),
        ({"heater_s": ""}, "heater_s", "an electrical calibration needs it"),
        ({"heater_s": 0}, "heater_s", "above 0"),
        ({"heater_V": "twelve"}, "heater_V", "twelve"),
        ({"mixed_at_s": 0.0}, "curve", "readings before the heating"),
        ({"mixed_at_s": 99999.0}, "curve", "after the heater went off"),
        ({"curve": "flat.csv"}, "curve", "no change to correct"),
    ],
)
def test_bad_heater_rows(bench, changes, column, words):  # noqa: F811
    flat = "\n".join(f"{2 * i},21.00" for i in range(800))
    (bench.folder / "flat.csv").write_text("t,T\n" + flat + "\n", encoding="utf-8")
    rows = [{**mixing_row(), "run": "good"}, {**heater_row(bench.folder), "run": "bad", **changes}]
    done = bench(rows, "--json")
    assert done.code == 1, done.out
    problem = done.json["errors"][0]
    assert (problem["row"], problem["column"]) == ("bad", column)
    assert words in f"{problem['message']} {problem['expected']} {problem['found']}"
    assert [run["run"] for run in done.json["runs"]] == ["good"]


@pytest.mark.parametrize("text", ["flat", "rising", "three"])
def test_logs_that_do_not_cool(bench, text):  # noqa: F811
    lines = {
        "flat": [f"{5 * i},21.00" for i in range(400)],
        "rising": [f"{5 * i},{30 + 0.01 * i:.2f}" for i in range(400)],
        "three": ["0,40", "5,39", "10,38"],
    }[text]
    (bench.folder / "log.csv").write_text("t,T\n" + "\n".join(lines) + "\n", encoding="utf-8")
    row = {"in_cup": "water", "in_cup_g": 200, "curve": "log.csv", "room_C": 21.0, "run": "bad"}
    done = bench([{**mixing_row(), "run": "good"}, row], "--json")
    assert done.code == 1, done.out
    assert (done.json["errors"][0]["row"], done.json["errors"][0]["column"]) == ("bad", "curve")
    assert done.json["errors"][0]["message"]
