"""Tables of runs as text files: what is read, what is refused, and what is said about it."""

from __future__ import annotations

import datetime as dt
import time

import pytest

from calib.errors import TableError
from calib.runs import read_table

# An invented pair of mixing runs; every form below must give these numbers.
TABLE = """\
run,apparatus,date,in_cup,added,in_cup_g,added_mL,in_cup_C,added_C,extreme_C,remark
K1,H1,2026-11-25,water,water,50.12,50.0,21.3,45.2,32.6,first
K2,H1,2026-11-25,water,water,49.98,50.5,21.4,45.0,32.5,"second, repeated"
"""


@pytest.fixture
def write(tmp_path):
    def make(text, name="table.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return path

    return make


def numbers(table):
    return [
        (
            *(r.run, r.apparatus, r.date, r.in_cup, r.added, r.in_cup_g, r.added_mL),
            *(r.in_cup_C, r.added_C, r.extreme_C),
        )
        for r in table.rows
    ]


EXPECTED = [
    ("K1", "H1", dt.date(2026, 11, 25), "water", "water", 50.12, 50.0, 21.3, 45.2, 32.6),
    ("K2", "H1", dt.date(2026, 11, 25), "water", "water", 49.98, 50.5, 21.4, 45.0, 32.5),
]


def test_plain_table(write):
    table = read_table(write(TABLE))
    assert numbers(table) == EXPECTED
    assert table.problems == ()
    assert table.columns == tuple(TABLE.splitlines()[0].split(",")[:-1])
    assert table.extra_columns == ("remark",)
    assert [run.extra["remark"] for run in table.rows] == ["first", "second, repeated"]
    assert [run.sheet_row for run in table.rows] == [2, 3]
    assert table.notes == ("heading 'remark' is not a known column: carried through untouched",)


def semicolons(text):
    return text.replace('"second, repeated"', "second").replace(",", ";").replace(".", ",")


@pytest.mark.parametrize(
    "data",
    [
        TABLE.encode("utf-8-sig"),
        TABLE.encode("utf-16"),
        TABLE.encode("utf-16-le"),
        TABLE.encode("utf-16-be"),
        TABLE.encode("utf-32"),
        TABLE.replace("first", "première °").encode("cp1252"),
        TABLE.replace("first", "première").encode("latin-1"),
        TABLE.replace("\n", "\r\n").encode(),
        TABLE.replace("\n", "\r").encode(),
        ("sep=;\r\n" + semicolons(TABLE).replace("\n", "\r\n")).encode(),
        semicolons(TABLE).encode(),
        TABLE.replace('"second, repeated"', "second").replace(",", "\t").encode(),
        TABLE.replace('"second, repeated"', "second").replace(",", "|").encode(),
        TABLE.replace(",", ", ").encode(),
        ("Mixing runs\nof our invented class, 2026\n\n" + TABLE).encode(),
        TABLE.replace("\nK2", "\n\n,,,,,,,,,,\n# weighed again, see below\nK2").encode(),
        TABLE.replace("\nK2", "\n" + TABLE.splitlines()[0] + "\nK2").encode(),
        TABLE.replace(
            "\nK1",
            "\n,,,,,(g),(mL),(°C),°C,°C,\nK1",  # a row of units under the headings
        ).encode(),
    ],
)
def test_any_form_gives_the_same_numbers(write, data):
    table = read_table(write(data))
    assert numbers(table) == EXPECTED
    assert table.problems == ()


def test_two_rows_of_headings(write):
    text = TABLE.split("\n", 1)[1]
    head = ",,,In cup,Added,In cup,Added,In cup,Added,,\n"
    head += "Run,Apparatus,Date,,,g,mL,°C,°C,extreme_C,remark\n"
    table = read_table(write(head + text))
    assert numbers(table) == EXPECTED
    assert "headings read from rows 1 and 2 together" in table.notes


def test_digest_is_that_of_the_bytes(write):
    import hashlib

    path = write(TABLE)
    assert read_table(path).digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_guesses_are_said(write):
    text = (
        "Title\n\nGroup;Cup;In cup (cL);Added (mL);in_cup_C;Highest reading\n1;H1;5,0;50;21,3;33\n"
    )
    notes = read_table(write(text)).notes
    assert notes == (
        "headings found in row 3; rows above passed over (row 1: 'Title')",
        "cells are separated by semicolon",
        "headings read: 'Group' as run, 'Cup' as apparatus, 'Added (mL)' as added_mL",
        "heading 'In cup (cL)' read as in_cup_mL, converted from cL",
        "heading 'Highest reading' read as extreme_C, its unit assumed: °C",
    )


def test_uncertainty_columns(write):
    text = TABLE.replace("remark", "u_in_cup_g").replace("first", "0.02")
    text = text.replace('"second, repeated"', "20 mg")
    table = read_table(write(text))
    assert [run.u for run in table.rows] == [{"in_cup_g": 0.02}, {"in_cup_g": 0.02}]


def test_uncertainty_in_per_cent_and_kelvin(write):
    head = "run,in_cup_g,added_g,in_cup_C,extreme_C,u_in_cup_g (%),u_in_cup_C (K),u_extreme_F\n"
    (run,) = read_table(write(head + "A,50,50,20,30,0.5,0.1,0.18\n")).rows
    assert run.u == pytest.approx({"in_cup_g": 0.25, "in_cup_C": 0.1, "extreme_C": 0.1})


# --- problems -----------------------------------------------------------------------------------


def problems(write, **cells):
    """Read one good row and one with these cells changed; the good one must survive."""
    names = TABLE.splitlines()[0].split(",")
    good = dict(zip(names, TABLE.splitlines()[1].split(","), strict=True))
    bad = {**good, "run": "BAD", **cells}
    columns = [*names, *(name for name in cells if name not in names)]
    lines = ["\t".join(str(row.get(name, "")) for name in columns) for row in (good, bad)]
    table = read_table(write("\n".join(["\t".join(columns), *lines])))
    assert [run.run for run in table.rows] == ["K1"]
    assert {p.row for p in table.problems} == {"BAD"}
    return [(p.column, p.message.partition(": ")[2] or p.message) for p in table.problems]


@pytest.mark.parametrize(
    ("cells", "column", "message"),
    [
        ({"in_cup_g": "-5"}, "in_cup_g", "mass in the cup cannot be meant"),
        ({"in_cup_g": "0"}, "in_cup_g", "mass in the cup cannot be meant"),
        ({"in_cup_g": "fifty"}, "in_cup_g", "line 3, field 6 is text where a number belongs"),
        ({"in_cup_g": "nan"}, "in_cup_g", "line 3, field 6 is not a finite number"),
        ({"in_cup_g": "inf"}, "in_cup_g", "line 3, field 6 is not a finite number"),
        (
            {"in_cup_g": "=A1*2"},
            "in_cup_g",
            "line 3, field 6 holds a formula as text, which is never calculated",
        ),
        ({"in_cup_g": "50 mL"}, "in_cup_g", "line 3, field 6 is in mL, a unit of volume"),
        ({"in_cup_g": ""}, "in_cup_g", "an amount is needed"),
        ({"in_cup_C": "294.3"}, "in_cup_C", "temperature in the cup before mixing cannot be meant"),
        (
            {"extreme_C": "-1"},
            "extreme_C",
            "highest or lowest reading after mixing cannot be meant",
        ),
        ({"extreme_C": ""}, "extreme_C", "a logged curve or the extreme reading is needed"),
        ({"in_cup_C": "", "added_C": "n/a"}, "in_cup_C", "a temperature before mixing is needed"),
        ({"date": "3/4/2026"}, "date", "line 3, field 3 could be 2026-04-03 or 2026-03-04"),
        ({"in_cup": "HCl(aq)"}, "in_cup_mol_per_L", "a solution needs it"),
        ({"added_mol_per_L": "1"}, "added_mol_per_L", "water has no concentration"),
        (
            {"added": "KNO3(s)", "added_mL": "", "added_g": "5", "added_mol_per_L": "1"},
            "added_mol_per_L",
            "a solid has no concentration",
        ),
        ({"added": "KNO3(s)"}, "added_mL", "a solid is weighed"),
        ({"added": "KNO3(x)"}, "added", "the state is not known"),
        ({"in_cup_mL": "80"}, "in_cup_g", "mass and volume do not belong together"),
        ({"room_C": "95"}, "room_C", "room temperature cannot be meant"),
        ({"u_in_cup_g": "-0.1"}, "in_cup_g", None),
        ({"curve": "nowhere.csv"}, "curve", "line 3, field 12 is not there"),
        ({"heater_V": "6"}, "heater_A", "an electrical calibration needs it"),
        ({"in_cup_g": "10 %"}, "in_cup_g", "line 3, field 6 is in per cent"),
    ],
)
def test_a_bad_cell_costs_its_row_alone(write, cells, column, message):
    if message is None:  # reported under the uncertainty column's own name
        assert ("u_in_cup_g", "line 3, field 12 is no uncertainty") in problems(write, **cells)
    else:
        assert (column, message) in problems(write, **cells)


def test_every_fault_of_a_row_is_named(write):
    found = problems(write, in_cup_g="x", in_cup_C="y", extreme_C="300")
    assert [column for column, _ in found] == ["in_cup_g", "in_cup_C", "extreme_C"]


def test_problem_says_found_expected_and_remedy(write):
    table = read_table(write(TABLE.replace("21.4", "294.55")))
    (problem,) = table.problems
    assert str(problem) == (
        "row K2, column in_cup_C: line 3, field 8: temperature in the cup before mixing cannot be "
        "meant; found 294.55 °C; expected from 0 to 100 °C; if it is in kelvin, write K in the "
        "heading or the cell"
    )


def test_hot_solids_may_be_hotter_than_water(write):
    text = TABLE.replace("water,water,50.12,50.0,21.3,45.2", "water,Cu(s),50.12,,21.3,180")
    text = text.replace("remark", "added_g").replace("first", "30.5")
    assert read_table(write(text)).rows[0].added_C == 180.0


def test_a_missing_column_is_named_for_every_row(write):
    text = "\n".join(",".join(line.split(",")[:9]) for line in TABLE.splitlines())
    table = read_table(write(text))
    assert table.rows == ()
    assert [(p.row, p.column, p.found, p.remedy) for p in table.problems] == [
        (row, "extreme_C", "no such column", "add a column extreme_C or curve")
        for row in ("K1", "K2")
    ]


def test_duplicate_labels(write):
    table = read_table(write(TABLE.replace("K2", "K1")))
    assert numbers(table) == EXPECTED[:1]
    assert str(table.problems[0]).startswith(
        "row K1, column run: row 3 has the same label as row 2; found 'K1'; expected a unique label"
    )


def test_groups_may_come_again(write):
    table = read_table(write(TABLE.replace("run,", "Group,").replace("K2", "K1")))
    assert table.labels == ("K1", "K1 (2)")
    assert any("share a label" in note for note in table.notes)


def test_rows_without_labels_get_one(write):
    text = "\n".join(line.split(",", 1)[1] for line in TABLE.splitlines())
    table = read_table(write(text))
    assert table.labels == ("row 2", "row 3")
    assert any("named by their row" in note for note in table.notes)


def test_the_run_column_goes_before_its_synonyms(write):
    table = read_table(write(TABLE.replace("remark", "Group")))
    assert table.labels == ("K1", "K2")
    assert table.rows[0].extra == {"Group": "first"}


def test_a_column_given_twice(write):
    text = (
        TABLE.replace("remark", "Added / cL")
        .replace("first", "5")
        .replace('"second, repeated"', "6")
    )
    table = read_table(write(text))
    assert numbers(table) == EXPECTED[:1]
    assert str(table.problems[0]) == (
        "row K2, column added_mL: line 3, field 7 and line 3, field 11 both mean it and contradict "
        "each other; found 50.5 and 60; expected one value; clear one of them"
    )


def test_decimal_commas_between_commas(write):
    table = read_table(write(TABLE.replace("21.4", "21,4")))
    assert numbers(table) == EXPECTED[:1]
    assert "line 3 has more cells than there are headings" in [p.message for p in table.problems]


def test_rows_of_a_form_that_nobody_filled_in(write):
    table = read_table(write(TABLE + "K3,H1,2026-11-25,water,water,,,,,,\nK4,,,,,,,,,,absent\n"))
    assert numbers(table) == EXPECTED
    assert table.problems == ()
    assert "rows without any reading are passed over (K3, K4)" in table.notes


def test_a_row_with_an_unreadable_reading_is_not_passed_over(write):
    table = read_table(write(TABLE + "K3,H1,2026-11-25,water,water,,,,,broken,\n"))
    assert "K3" in {p.row for p in table.problems}


def test_amounts_with_their_unit_in_the_cell(write):
    head = "run,In cup amount,Amount added,in_cup_C,extreme_C\n"
    table = read_table(write(head + "A,50 mL,5 g,20,30\nB,50 g,0.1 L,20,30\nC,50,5 g,20,30\n"))
    a, b = table.rows
    assert (a.in_cup_mL, a.in_cup_g, a.added_mL, a.added_g) == (50.0, None, None, 5.0)
    assert (b.in_cup_mL, b.in_cup_g, b.added_mL, b.added_g) == (None, 50.0, 100.0, None)
    assert "says no mL and no g" in table.problems[0].message


def test_names_stay_text(write):
    names = ["<b>bold</b>", "=1+1", "NA", "None", "@x", "007", "Zoë & Co", "{{7*7}}"]
    lines = [TABLE.splitlines()[1].replace("K1", name) for name in names]
    table = read_table(write("\n".join([TABLE.splitlines()[0], *lines])))
    assert table.labels == tuple(names)


def test_control_characters_never_reach_a_terminal(write):
    (run, _) = read_table(write(TABLE.replace("K1", "K\x1b[31m1"))).rows
    assert run.run == "K\ufffd[31m1"


def test_an_unclosed_quotation_mark_does_not_swallow_the_table(write):
    lines = [TABLE.splitlines()[1].replace("K1", f"G{n}").replace("first", "") for n in range(20)]
    lines[3] = lines[3].replace("G3", '"G3')
    table = read_table(write("\n".join([TABLE.splitlines()[0], *lines])))
    assert len(table.rows) == 20
    assert any("quotation mark is not closed" in note for note in table.notes)


# --- the reading step ---------------------------------------------------------------------------


def test_steps_come_from_the_digits(write):
    lines = ["run,in_cup_g,added_g,in_cup_C,extreme_C"]
    lines += [f"G{n},50.{n}3,{40 + n},2{n}.{2 * n % 10},30.{n}" for n in range(10)]
    steps = read_table(write("\n".join(lines))).steps
    assert steps == pytest.approx(
        {"in_cup_g": 0.01, "added_g": 1.0, "in_cup_C": 0.2, "extreme_C": 0.1}
    )


def test_steps_follow_the_unit(write):
    lines = ["run,in_cup_g,added_g,in_cup_F,extreme_F"]
    lines += [f"G{n},50,50,70.{n},80.{n}" for n in range(1, 4)]
    steps = read_table(write("\n".join(lines))).steps
    assert steps["in_cup_C"] == pytest.approx(0.1 * 5 / 9)


# --- files that are no tables -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "the file is empty"),
        (b"  \r\n\r\n", "the file is empty"),
        (b"\x00\x01\x02\x03" * 100, "no text file"),
        (bytes(range(256)) * 8, "no text file"),
        (b"hello\nworld\n", "no row of headings found"),
        (b"<html><table><tr><td>run</td></tr></table>", "a web page or XML"),
        (b"PK\x03\x04 and then nothing", "damaged workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "cannot be read as a workbook"),
        (b"\xff\xfer\x00u\x00n\x00", "no row of headings found"),
        (b"\xff\xfe\x00\xd8", "breaks off"),
    ],
)
def test_refused_files(write, data, message):
    path = write(data)
    with pytest.raises(TableError) as caught:
        read_table(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert message in str(caught.value)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(
        TableError, match=r"there is no such file; expected a table of runs: check the name"
    ):
        read_table(tmp_path / "none.csv")
    with pytest.raises(TableError, match="is a folder"):
        read_table(tmp_path)


def test_a_sheet_of_a_text_file(write):
    with pytest.raises(TableError, match="a text file has no sheets"):
        read_table(write(TABLE), sheet="Readings")


def test_too_many_rows(write):
    with pytest.raises(TableError, match=r"more than 200,000 rows"):
        read_table(write("run,in_cup_g\n" + "a,1\n" * 200_001))


def test_ten_thousand_rows_take_seconds(write):
    head, row, _ = TABLE.splitlines()
    text = "\n".join([head, *(row.replace("K1", f"K{n}") for n in range(10_000))])
    start = time.process_time()
    table = read_table(write(text))
    assert time.process_time() - start < 20.0  # 2 to 3 s of a shared core
    assert len(table.rows) == 10_000


def test_columns_of_the_poured_liquid_are_known_by_name(tmp_path):
    """They are carried through under their own name, and nothing says that they are not known."""
    path = tmp_path / "t.csv"
    path.write_text(
        "run,in_cup,in_cup_g,added,added_g,added_C,in_cup_C,extreme_C,Added read / s,added_curve\n"
        "a,water,100,water,100,50,21,35,12,beaker.csv\n",
        encoding="utf-8",
    )
    table = read_table(path)
    assert table.rows[0].extra["added_read_s"] in (12, "12")
    assert table.rows[0].extra["added_curve"] == "beaker.csv"
    assert table.notes == ("heading 'Added read / s' read as added_read_s",)
