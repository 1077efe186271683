"""Output tables: the same numbers, and no cell that a spreadsheet program would run."""

from __future__ import annotations

import csv
import datetime as dt
import math
import os
import sys

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import OutputError, TableError
from calib.outputs import Outputs
from calib.runs import read_table, write_table
from calib.runs.writer import sheet_title, starts_formula

LIVE = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", '=HYPERLINK("http://x")', " =1", "＝1", "-x"]
TEXTS = ["<b>x</b>", "-55.8", "+3", "-1,5", "1e-3", "—", "-", "007", "#N/A", "a=b", "{=1}", "Zoë"]


def cells(path):
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.reader(stream))


def test_csv_keeps_text_and_disarms_formulas(tmp_path):
    path = tmp_path / "out.csv"
    written = write_table(path, ["text"], [[text] for text in [*LIVE, *TEXTS]])
    assert [row[0] for row in cells(path)[1:]] == ["'" + text for text in LIVE] + TEXTS
    assert written.rows == len(LIVE) + len(TEXTS)
    assert written.notes == (
        "an apostrophe set before text that begins like a formula: A2, A3, A4, A5, A6, A7, A8, A9 "
        "and 1 more",
    )


def test_headings_are_disarmed_too(tmp_path):
    path = tmp_path / "out.csv"
    write_table(path, ["=cmd"], [])
    assert cells(path) == [["'=cmd"]]


def test_xlsx_holds_every_text_as_text(tmp_path):
    path = tmp_path / "out.xlsx"
    assert write_table(path, ["=cmd"], [[text] for text in [*LIVE, *TEXTS]]).notes == ()
    sheet = openpyxl.load_workbook(path).active
    assert [c.value for c in sheet["A"]] == ["=cmd", *LIVE, *TEXTS]
    assert {c.data_type for c in sheet["A"]} == {"s"}
    assert all(cell.quotePrefix for cell in sheet["A"][: len(LIVE) + 1])


VALUES = [1, 2.5, True, None, dt.date(2026, 11, 25), dt.datetime(2026, 11, 25, 10, 22), "x"]


def test_values_of_every_kind(tmp_path):
    write_table(tmp_path / "o.csv", list("abcdefg"), [VALUES])
    assert cells(tmp_path / "o.csv")[1] == [
        "1", "2.5", "true", "", "2026-11-25", "2026-11-25 10:22:00", "x",
    ]  # fmt: skip
    write_table(tmp_path / "o.xlsx", list("abcdefg"), [VALUES])
    row = [cell.value for cell in openpyxl.load_workbook(tmp_path / "o.xlsx").active[2]]
    assert row[:4] == [1, 2.5, True, None]
    assert row[5:] == [dt.datetime(2026, 11, 25, 10, 22), "x"]


@pytest.mark.parametrize("name", ["o.csv", "o.xlsx"])
def test_what_is_no_number_is_left_blank(tmp_path, name):
    write_table(tmp_path / name, ["run", "in_cup_g"], [["A", math.nan], ["B", math.inf]])
    assert read_table(tmp_path / name).problems[0].found == "an empty cell"


@pytest.mark.parametrize("name", ["o.csv", "o.xlsx"])
def test_control_characters_are_replaced_and_said(tmp_path, name):
    written = write_table(tmp_path / name, ["a"], [["x\x1b[31m\x00\ud800"]])
    assert "control characters, which the file cannot hold, replaced in A2" in written.notes


def test_decimal_comma_and_semicolon(tmp_path):
    write_table(tmp_path / "o.csv", ["a", "b"], [[1.5, -2.0]], delimiter=";", decimal=",")
    assert (tmp_path / "o.csv").read_bytes() == b"\xef\xbb\xbfa;b\r\n1,5;-2,0\r\n"


def test_without_byte_order_mark(tmp_path):
    write_table(tmp_path / "o.csv", ["ä"], [], byte_order_mark=False)
    assert (tmp_path / "o.csv").read_bytes() == "ä\r\n".encode()


def test_tabs(tmp_path):
    write_table(tmp_path / "o.tsv", ["a", "b"], [["x", "y\tz"]])
    assert (tmp_path / "o.tsv").read_text("utf-8-sig").splitlines() == ["a\tb", 'x\t"y\tz"']


def test_too_long_a_text_is_never_cut(tmp_path):
    with pytest.raises(TableError, match=r"cell A2 has 40,000 characters, XLSX holds 32,767"):
        write_table(tmp_path / "o.xlsx", ["a"], [["x" * 40_000]])
    assert list(tmp_path.iterdir()) == []
    write_table(tmp_path / "o.csv", ["a"], [["x" * 40_000]])


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("o.docx", "the ending '.docx' is not known; expected .csv, .tsv, .txt or .xlsx"),
        ("nowhere/o.csv", "cannot be written"),
        ("folder.csv", "is a folder; give the name of a file in it"),
    ],
)
def test_where_nothing_can_be_written(tmp_path, name, message):
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(OutputError, match=message):
        write_table(tmp_path / name, ["a"], [])
    assert [p.name for p in tmp_path.iterdir()] == ["folder.csv"]


def test_the_table_that_was_read_is_not_written_over(tmp_path):
    path = tmp_path / "in.csv"
    path.write_text("run\n", "utf-8")
    outputs = Outputs(overwrite=True)
    outputs.reads("the table", path)
    with pytest.raises(OutputError, match="is the table that was read"):
        write_table(tmp_path / "." / "in.csv", ["a"], [], outputs=outputs)
    assert path.read_text("utf-8") == "run\n"


@pytest.mark.skipif(sys.platform == "win32", reason="no such permissions on Windows")
def test_the_usual_permissions(tmp_path):
    before = os.umask(0o022)
    try:
        write_table(tmp_path / "o.csv", ["a"], [])
    finally:
        os.umask(before)
    assert (tmp_path / "o.csv").stat().st_mode & 0o777 == 0o644


@pytest.mark.parametrize("name", ["o.csv", "o.xlsx"])
def test_columns_carried_through_come_out_as_they_went_in(tmp_path, name):
    source = tmp_path / "in.csv"
    text = "zz,run,in_cup_g,=odd,added_g,in_cup_C,extreme_C,note,note\n"
    text += "007,A,50,=1+1,50,20,30,<i>,1e5\n"
    source.write_text(text, "utf-8")
    table = read_table(source)
    assert table.extra_columns == ("zz", "=odd", "note", "note (column I)")
    run = table.rows[0]
    write_table(
        tmp_path / name,
        ["run", "in_cup_g", "added_g", "in_cup_C", "extreme_C", *table.extra_columns],
        [[run.run, 50.0, 50.0, 20.0, 30.0, *run.extra.values()]],
    )
    back = read_table(tmp_path / name).rows[0].extra
    mark = "'" if name == "o.csv" else ""
    assert list(back.values()) == ["007", f"{mark}=1+1", "<i>", "1e5"]


@given(st.text(max_size=20))
def test_nothing_starts_a_formula(text):
    live = text.lstrip(" \u00a0")[:1] in ("=", "@", "\t", "\r", "\n")
    assert starts_formula(text) or not live or not text.strip()


@given(st.text(max_size=60))
def test_sheet_titles_are_allowed(text):
    title = sheet_title(text)
    assert 1 <= len(title) <= 31
    openpyxl.Workbook().active.title = title
