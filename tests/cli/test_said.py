"""Warnings that are read: grouped, most serious first, refusals last; escaped and folded."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

from calib.cli.said import READING, REFUSED, SERIOUS, SERIOUS_WORDS, WARNING, Said, lines_of
from calib.cli.terminal import folded, shown, table_lines

TOP = Path(__file__).resolve().parents[2]


def test_a_class_of_sixty_says_one_line_a_kind(cupledger, calibrated):
    done = cupledger("enthalpy", "sixty.csv")
    assert done.code == 1
    screen = [line for line in done.err.splitlines() if not line.startswith("runs: ")]
    assert screen == [
        "warning: 2 rows: P7 has no constant of its own in force: pooled value of the kind"
        " 'double foam cup, foam lid': mean of 6 cups (P1, P2, P3, P4, P5, P6), which differ by"
        f" {differ(done.err)} J/K (standard deviation) (rows bench 8, 16)",
        "warning: 29 rows: the extreme's time was not noted; 150 ± 75 s taken (rows bench 1, 3, 5,"
        " 7, 9, 11, 13, 15, 17, 19, 23, 25, 27, 29, 31, 33 and 13 more)",
        "warning: 20 rows: the room's temperature was not noted; 19.8 to 22.1 ± 2 °C taken (rows"
        " bench 1, 4, 7, 10, 13, 16, 19, 22, 25, 28, 31, 34, 37, 40, 43, 46 and 4 more)",
        "reading: heading 'remark' is not a known column: carried through untouched",
        "not used: row bench 21, column in_cup_C: line 22, field 9 ends in 'x', which is no known"
        " unit; found '3x'; expected a number in °C; correct it",
        "not used: row bench 42, column apparatus: no apparatus 'Q9' in the registry; registered:"
        ' P1, P2, P3, P4, P5, P6, P7; register it with: cupledger apparatus add Q9 --kind "...";'
        " found Q9, 2026-10-21; expected a cup with a constant",
    ]
    everything = cupledger("enthalpy", "sixty.csv", "--all-warnings").err.splitlines()
    assert sum(line.startswith("warning: bench ") for line in everything) == 2 + 29 + 20
    assert everything[-1].startswith("not used: row bench 42")
    told = cupledger("enthalpy", "sixty.csv", "--json").json
    assert sum(len(run["warnings"]) for run in told["runs"]) == 2 + 29 + 20
    assert len(told["errors"]) == 2
    assert len(told["said"]) == 2 + 29 + 20 + 1 + 2
    assert {one["file"] for one in told["said"]} == {"sixty.csv"}
    assert set(told["said"][0]) == {"kind", "severity", "file", "row", "text"}
    narrow = cupledger("enthalpy", "sixty.csv", columns=80)
    assert all(len(line) <= 80 for line in (narrow.out + narrow.err).splitlines())


def differ(text):
    return text.partition("which differ by ")[2].partition(" J/K")[0]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo's folder, with its registry: made once."""
    from calib.jobs.demo import run_demo

    folder = tmp_path_factory.mktemp("demo") / "demo"
    run_demo(folder, progress=lambda *_: None)
    return folder


@pytest.fixture
def calibrated(demo, tmp_path, monkeypatch):
    """The demo's registry, and a class of sixty rows in which some things are missing."""
    (registry,) = demo.glob("*.sqlite")
    shutil.copy(registry, tmp_path / "r.sqlite")
    shutil.copytree(TOP / "sample_runs", tmp_path / "sample_runs")
    monkeypatch.setenv("CUPLEDGER_REGISTRY", str(tmp_path / "r.sqlite"))
    monkeypatch.chdir(tmp_path)
    with open("sample_runs/class_readings.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    some = []
    for i in range(60):
        row = {**rows[i % 7], "run": f"bench {i + 1}"}
        row["in_cup_g"] = f"{float(row['in_cup_g']) + 0.01 * (i // 7):.2f}"  # no row twice
        if i % 3 == 0:
            row["room_C"] = ""
        if i % 2 == 0:
            row["extreme_after_s"] = ""
        row["in_cup_C"] = "3x" if i == 20 else row["in_cup_C"]
        row["apparatus"] = {41: "Q9", 7: "P7", 15: "P7"}.get(i, row["apparatus"])
        some.append(row)
    with open("sixty.csv", "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(some[0]))
        writer.writeheader()
        writer.writerows(some)
    return tmp_path


def test_more_kinds_than_lines_are_counted():
    names = "abcdefghijklmnopqrstuvwx"
    said = [Said(WARNING, f"{name} is odd", row="1") for name in names]
    lines = lines_of([*said, Said(REFUSED, "column run: bad", row="2")])
    assert len(lines) == 11
    assert lines[-2:] == ["and 15 more kinds: --all-warnings", "not used: row 2, column run: bad"]
    assert len(lines_of(said, everything=True)) == len(names)


def test_many_refusals_leave_room_for_warnings_and_the_other_way():
    said = [Said(REFUSED, f"column {n}: bad", row="1") for n in "abcdefghijklmnop"]
    said += [Said(WARNING, f"{n} is odd") for n in "abcdefgh"]
    lines = lines_of(said)
    assert sum(line.startswith("not used") for line in lines) == 6
    assert sum(line.startswith("warning") for line in lines) == 4
    assert "and 14 more kinds: --all-warnings" in lines


def test_the_order_and_what_differs():
    said = [
        Said(READING, "column 'time' in use"),
        *(Said(WARNING, f"off by {n} K", row=f"r{i}") for i, n in enumerate(("0.2", "−1.5", "11"))),
        Said(SERIOUS, "wrong sign", row="r9"),
        *(Said(WARNING, f"curve 'c{i}.csv' is short", row=f"r{i}") for i in (1, 2, 4, 5)),
    ]
    assert lines_of(said) == [
        "warning: r9: wrong sign",
        "warning: 4 rows: curve 'c1.csv', 'c2.csv', 'c4.csv' and 1 more is short (rows r1-2, 4-5)",
        "warning: 3 rows: off by −1.5 to 11 K (rows r0-2)",
        "reading: column 'time' in use",
    ]
    assert lines_of([Said(WARNING, "same", row="a")] * 3) == ["warning: a: same"]


def test_cups_and_formulas_are_not_taken_for_amounts():
    said = [Said(WARNING, f"KNO3 in {cup} at 2026-09-0{i}", row=str(i)) for i, cup in
            enumerate(("P1", "P2"), start=1)]  # fmt: skip
    assert lines_of(said) == [
        "warning: 2 rows: KNO3 in P1, P2 at 2026-09-01, 2026-09-02 (rows 1-2)"
    ]


def test_serious_words_are_words_that_the_program_says():
    sources = "".join(
        path.read_text(encoding="utf-8")
        for room in ("calib", "fitting")
        for path in (TOP / room).rglob("*.py")
        if path.name != "said.py"
    )
    sources = " ".join(sources.replace('"\n', "").replace('f"', "").replace('"', "").split())
    assert [words for words in SERIOUS_WORDS if words not in sources] == []


HOSTILE = "a\x1b[31mb\u202ec\nd\x07\u200be\x9bf\ud800"


def test_what_a_terminal_would_obey_is_shown():
    assert shown(HOSTILE) == r"a\x1b[31mb\u202ec\nd\x07\u200be\x9bf\ud800"
    assert shown("20 °C ± 0.1, ΔH, Ä, 塩, 50 mL") == "20 °C ± 0.1, ΔH, Ä, 塩, 50 mL"


def test_hostile_names_reach_no_terminal(cupledger, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    hostile = HOSTILE.replace("\ud800", "")
    calls = [
        ["apparatus", "add", "P1", "--kind", hostile, "--note", hostile],
        ["apparatus", "show", "P1"], ["apparatus", "list"], ["constants", "--history"],
        ["apparatus", "retire", "P1", "--reason", hostile], ["apparatus", "show", "P1"],
        ["apparatus", "show", hostile], ["correct", hostile], ["enthalpy", hostile],
        ["calibrate", hostile], ["reference", hostile], ["plan", hostile, hostile],
        ["constants", "--apparatus", hostile], ["constants", "import", hostile],
        ["correct", "x", "--method", hostile], [hostile], ["correct", f"--{hostile}"],
        ["template", f"{hostile}.csv", "--labels", hostile], ["demo", hostile],
    ]  # fmt: skip
    for words in calls[:-1]:
        done = cupledger(*words)
        seen = done.out + done.err
        assert not [c for c in seen if c != "\n" and shown(c) != c], words
    table = "run,apparatus,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C\n"
    Path("t.csv").write_text(table + f'"{hostile}","{hostile}",water,KNO3(s),{hostile[:4]},5,20,20,17\n',
                             encoding="utf-8")  # fmt: skip
    for command in ("enthalpy", "calibrate", "mark"):
        done = cupledger(command, "t.csv")
        assert not [c for c in done.out + done.err if c != "\n" and shown(c) != c], command


def test_folding_keeps_every_word_and_the_inset():
    text = "  " + "what was found, what was expected and what to do " * 6
    lines = folded(text.rstrip(), 40)
    assert all(len(line) <= 40 for line in lines)
    assert all(line.startswith("    ") for line in lines[1:])
    assert " ".join(lines).split() == text.split()
    address = "x" * 90
    assert address in folded(f"written: {address}", 40)[1]


def test_a_wide_table_leaves_nothing_out():
    headers = ["run", *(f"amount {i} J/K" for i in range(9)), "remarks"]
    row = [["bench 1", *(f"{i}.2345 ± 0.0{i}1" for i in range(9)), "a long remark " * 9]]
    for width in (40, 60, 80, 200):
        lines = list(table_lines(headers, row, width))
        assert all(len(line) <= width for line in lines), width
        text = " ".join(lines)
        assert all(cell in text for cell in row[0][:-1])
        assert text.count("remark") >= 9


PLAIN = [
    ["correct", "sample_runs/curves/class_bench07.csv", "--mixed-at", "180"],
    ["correct", "sample_runs/curves/class_bench07.csv", "--compare"],
    ["cooldown", "sample_runs/curves/cooling_P1.csv", "--room", "21", "--heat-capacity", "890"],
    ["calibrate", "sample_runs/calibrations.csv"],
    ["enthalpy", "sample_runs/class_readings.csv", "--mishaps", "--budget"],
    ["cycles", "sample_runs/class_readings.csv"],
    ["mark", "sample_runs/class_answers.csv"],
    ["mark", "sample_runs/class_answers.csv", "--depth", "full"],
    ["key", "sample_runs/class_answers.csv", "--run", "pair 1"],
    ["plan", "100 mL 1.0 mol/L HNO3(aq)", "100 mL 1.1 mol/L KOH(aq)", "--apparatus", "P1"],
    ["constants"], ["constants", "--history"], ["constants", "drift"], ["constants", "recheck"],
    ["constants", "plan", "--apparatus", "P1", "--wanted", "1"],
    ["constants", "check", "sample_runs/calibrations.csv"],
    ["constants", "certificate", "--folder", "c"], ["constants", "impact", "1"],
    ["apparatus", "list"], ["apparatus", "show", "P1"],
    ["reference"], ["reference", "cups"], ["reference", "KNO3"], ["reference", "reactions"],
    ["reference", "balance"], ["practice", "p.csv", "--seed", "4"],
    ["template", "t.xlsx", "--benches", "12", "--in-cup", "HNO3(aq)", "--added", "KOH(aq)"],
]  # fmt: skip


@pytest.mark.parametrize("words", PLAIN, ids=" ".join)
def test_eighty_columns(cupledger, calibrated, words):
    done = cupledger(*words, columns=80)
    assert done.code in (0, 1), done.err
    assert done.out.strip()
    assert [line for line in (done.out + done.err).splitlines() if len(line) > 80] == []


def test_a_refusal_ends_its_sentence_and_says_what_was_guessed(cupledger, tmp_path):
    curve = tmp_path / "minutes.csv"
    lines = [f"{0.05 * i:.2f},{20 + 6 * min(1, max(0, (i - 1) / 30)):.2f}" for i in range(120)]
    curve.write_text("time,temperature\n" + "\n".join(lines), encoding="utf-8")
    done = cupledger("correct", curve, "--json")
    assert done.code == 2
    assert "taken as s" in done.err
    assert done.err.splitlines()[-1].startswith("error: ")
    told = json.loads(done.out)
    assert any("taken as s" in one["text"] for one in told["said"])
    assert "mixing What" not in done.err
    from fitting.periods import CurveRefused

    refused = CurveRefused(curve_named("a.csv"), "give the moment of mixing", ("It fell.",))
    assert str(refused) == "a.csv: give the moment of mixing. What can still be said: It fell."


def curve_named(name):
    from types import SimpleNamespace

    return SimpleNamespace(source=name)


@pytest.mark.parametrize(("value", "words"), [("-5", "is -5 J/K; expected more than 0"),
                                              ("0", "is 0 J/K; expected more than 0")])  # fmt: skip
def test_zero_and_less_are_refused_in_one_way(cupledger, value, words):
    curve = TOP / "sample_runs" / "curves" / "class_bench07.csv"
    assert words in cupledger("correct", curve, "--heat-capacity", value).err
