"""Every refusal, its whole message to the end: file, line, found, expected, what to do."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fitting import files
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.files.curve_files import list_columns, read_curve

GOOD = "time_s,T (°C)\n0,20\n1,20\n2,21\n"
PNG = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"
XLSX = b"PK\x03\x04\x14\x00\x06\x00\x08\x00[Content_Types].xml"
EXPORT = "open it in the program that made it and export the readings as text (CSV)"

CASES: dict[str, tuple[str | bytes, dict[str, object], str]] = {
    "empty": (
        "",
        {},
        "c.csv: the file is empty; expected a table of time and temperature: export the readings "
        "again",
    ),
    "only blanks": (
        "\ufeff \r\n\r\n",
        {},
        "c.csv: the file is empty; expected a table of time and temperature: export the readings "
        "again",
    ),
    "picture": (PNG, {}, f"c.csv: the file is a PNG picture; expected text: {EXPORT}"),
    "workbook": (XLSX, {}, f"c.csv: the file is a spreadsheet (XLSX); expected text: {EXPORT}"),
    "archive": (
        b"PK\x03\x04rest",
        {},
        f"c.csv: the file is a ZIP archive or spreadsheet; expected text: {EXPORT}",
    ),
    "old workbook": (
        b"\xd0\xcf\x11\xe0\xa1\xb1",
        {},
        "c.csv: the file is an old-style spreadsheet or document (XLS, DOC); expected text: "
        + EXPORT,
    ),
    "binary": (
        bytes(range(256)),
        {},
        f"c.csv: the file holds binary data; expected text: {EXPORT}",
    ),
    "prose": (
        "Dear all,\nthe cup leaked.\n",
        {},
        "c.csv, line 1: no line holds two numbers (the first line reads 'Dear all'); expected a "
        "table with time and temperature in columns: export the readings as text (CSV)",
    ),
    "header only": (
        "time_s,T (°C)\n",
        {},
        "c.csv, line 1: no line holds two numbers (the first line reads 'time_s,T (°C)'); expected "
        "a table with time and temperature in columns: export the readings as text (CSV)",
    ),
    "milliseconds without a unit": (
        "t,T (°C)\n0,20\n1000,20\n2000,21\n3000,21\n",
        {},
        "c.csv, column 1 't': the unit of time is not given; taken as seconds the readings would be "
        "1000 s apart and span 0.833 hours, taken as milliseconds 1 s and 3 s; name the column "
        "time_ms or time_s, or say it with --time-unit (time_unit in Python)",
    ),
    "five readings a second without a unit": (
        "t;T (°C)\n" + "".join(f"{200 * i};2{i % 3}\n" for i in range(600)),
        {},
        "c.csv, column 1 't': the unit of time is not given; taken as seconds the readings would be "
        "200 s apart and span 33.3 hours, taken as milliseconds 0.2 s and 119.8 s; name the column "
        "time_ms or time_s, or say it with --time-unit (time_unit in Python)",
    ),
    "milliseconds with a thousands mark": (
        "time (ms);T (°C)\n0;20\n1,000;20\n2,000;21\n3,000;21\n",
        {},
        "c.csv, line 3, column 1 'time (ms)': '1,000' ms is either 1 or 1000 times as much; this "
        "looks like a thousands mark, which is never assumed: export without thousands marks",
    ),
    "one column": (
        "Temp (°C)\n20.1\n20.2\n20.3\n",
        {},
        "c.csv: only one column of numbers ('Temp (°C)', 3 values); expected two: time and "
        "temperature: export the time beside each reading",
    ),
    "one column without a name": (
        "20.1\n20.2\n20.3\n",
        {},
        "c.csv: only one column of numbers (from line 1 on, 3 values); expected two: time and "
        "temperature: export the time beside each reading",
    ),
    "two points": (
        "time_s,T (°C)\n0,20\n1,20\n2,\n",
        {},
        "c.csv: 2 readings with both a time (column 1 'time_s') and a temperature (column 2 'T "
        "(°C)'); expected at least 3: log for longer, or name other columns",
    ),
    "no time": (
        "T (°C),T_room (°C),Note\n20,20,a\n21,20,b\n20,20,c\n",
        {},
        "c.csv: no column of time; expected a column whose name says time, or whose numbers rise "
        "all the way; the file has column 1 'T (°C)', column 2 'T_room (°C)', column 3 'Note': "
        "name the time with time_column",
    ),
    "times that are none": (
        "Time;T (°C)\n10.15.00;20\n10.15.01;20\n10.15.02;21\n",
        {},
        "c.csv, line 2, column 1 'Time': the column holds dates only, such as '10.15.00'; expected "
        "elapsed times in numbers, or clock times such as 10:15:00: export the times so, or name "
        "another column with time_column",
    ),
    "a counter is no time": (
        "Reading;T (°C)\n1;20\n2;20\n3;21\n",
        {},
        "c.csv: no column of time; expected a column whose name says time, or whose numbers rise "
        "all the way; the file has column 1 'Reading', column 2 'T (°C)': name the time with "
        "time_column",
    ),
    "another table below": (
        "t (s);T (°C)\n0;20\n1;20\n2;21\n\nt (s);p (hPa)\n0;1013\n1;1013\n",
        {},
        "c.csv, line 7, column 1 't (s)': the clock starts again: '0' after '2' in line 4; "
        "expected rising times: the logger was reset or a second run was added: keep one run in a "
        "file",
    ),
    "no temperature": (
        "time_s,U (V)\n0,1\n1,1\n2,1\n",
        {},
        "c.csv: only one column of numbers is left for time and temperature (column 1 'time_s' is "
        "the time); expected a column of temperatures; the file has column 1 'time_s', column 2 "
        "'U (V)': name the temperature with temperature_column",
    ),
    "text for a temperature": (
        "time_s,T (°C)\n0,20\n1,warm\n2,21\n3,21\n",
        {},
        "c.csv, line 3, column 2 'T (°C)': 'warm' is no number; expected a number or a blank cell: "
        "correct the cell, or blank it to leave the reading out",
    ),
    "text for a time": (
        "time_s,T (°C)\n0,20\nsoon,20\n2,21\n3,21\n",
        {},
        "c.csv, line 3, column 1 'time_s': 'soon' is no number; expected a number or a blank cell: "
        "correct the cell, or blank it to leave the reading out",
    ),
    "an hour that is none": (
        "Time,T (°C)\n10:00:00,20\n10:00:75,20\n10:00:02,21\n10:00:03,21\n",
        {},
        "c.csv, line 3, column 1 'Time': '10:00:75' is no clock time; expected a clock time or a "
        "blank cell: correct the cell, or blank it to leave the reading out",
    ),
    "a date that is none": (
        "Time,T (°C)\n2026-02-28 10:00,20\n2026-02-30 10:01,20\n2026-03-01 10:02,21\n2026-03-02 1:00,2",
        {},
        "c.csv, line 3, column 1 'Time': '2026-02-30 10:01' is no clock time; expected a clock "
        "time or a blank cell: correct the cell, or blank it to leave the reading out",
    ),
    "backwards": (
        "time_s,T (°C)\n0,20\n1,20\n3,21\n2,21\n4,22\n",
        {},
        "c.csv, line 5, column 1 'time_s': time runs backwards: '2' after '3' in line 4; expected "
        "rising times: correct the line, or sort the readings by time",
    ),
    "backwards with a blank": (
        "time_s,T (°C),\n0,20,\n1,,\n10.0,21,\n5.0,21,a\n",
        {},
        "c.csv, line 5, column 1 'time_s': time runs backwards: '5.0' after '10.0' in line 4; "
        "expected rising times: correct the line, or sort the readings by time",
    ),
    "newest first": (
        "time_s,T (°C)\n3,20\n2,20\n1,21\n0,21\n",
        {},
        "c.csv, line 3, column 1 'time_s': time runs backwards from the first line to the last "
        "('2' after '3' in line 2); expected the oldest reading first: reverse the order of the "
        "lines",
    ),
    "clock reset": (
        "time_s,T (°C)\n0,20\n1,20\n2,21\n0,20\n1,21\n",
        {},
        "c.csv, line 5, column 1 'time_s': the clock starts again: '0' after '2' in line 4; "
        "expected rising times: the logger was reset or a second run was added: keep one run in a "
        "file",
    ),
    "clock set back": (
        "Time;T (°C)\n10:15:00;20\n10:15:10;20\n10:15:20;20\n10:15:15;21\n",
        {},
        "c.csv, line 5, column 1 'Time': time runs backwards: '10:15:15' after '10:15:20' in line "
        "4; expected rising times: correct the line, or sort the readings by time",
    ),
    "thousands in the time": (
        "time_s;T (°C)\n998;20,1\n999;20,1\n1,000;20,2\n1,001;20,3\n",
        {},
        "c.csv, line 4, column 1 'time_s': time falls to '1,000' after '999' in line 3; expected "
        "rising times: this looks like a thousands mark, which is never assumed: export without "
        "thousands marks",
    ),
    "thousands and decimals": (
        "time_s;T (°C)\n998,5;20,1\n999,5;20,1\n1.000,5;20,2\n",
        {},
        "c.csv, line 4, column 1 'time_s': '1.000,5' looks like a number with a thousands mark; "
        "expected digits with one decimal point or comma: export without thousands marks",
    ),
    "two decimal marks": (
        "time_s;T (°C)\n0;20,1\n1;20,1\n2;20.2\n",
        {},
        "c.csv, line 4, column 2 'T (°C)': '20.2' and, earlier, '20,1' use different decimal "
        "marks; expected one mark in a column: write all of its numbers with a point, or all with "
        "a comma",
    ),
    "decimal commas between commas": (
        "time_s,T_C\n0,0,20,1\n0,5,20,1\n1,0,20,2\n",
        {},
        "c.csv, line 2: 3 or more cells between commas where the header (line 1) has 2; expected "
        "as many: decimal commas cannot be told from the commas between columns: export with "
        "semicolons or tabs between columns, or with decimal points",
    ),
    "time stands still": (
        "time_s,T (°C)\n5,20\n5,20\n5,21\n",
        {},
        "c.csv, column 1 'time_s': the time stands still: only 1 different time; expected at least "
        "3: name the column of time with time_column, or export times with seconds",
    ),
    "time that is none": (
        "time_s,T (°C)\n0,20\n1,20\n1e999,21\n",
        {},
        "c.csv, line 4, column 1 'time_s': '1e999' cannot be a time; expected elapsed or clock times: "
        "correct the cell, or name the column of time with time_column",
    ),
    "kelvin called celsius": (
        "time_s,T (°C)\n0,293.1\n1,293.1\n2,294\n",
        {},
        "c.csv, line 2, column 2 'T (°C)': 293.1 °C is outside what a cup of liquid can have; "
        "expected −80 to 200 °C: the numbers look like K: give temperature_unit='K', or correct "
        "the header",
    ),
    "celsius called kelvin": (
        "time_s,T (K)\n0,20\n1,20\n2,21\n",
        {},
        "c.csv, line 2, column 2 'T (K)': 20 K (-253.15 °C) is outside what a cup of liquid can "
        "have; expected −80 to 200 °C: the numbers look like °C: give temperature_unit='C', or "
        "correct the header",
    ),
    "asked for kelvin": (
        "time_s,T\n0,20\n1,20\n2,21\n",
        {"temperature_unit": "K"},
        "c.csv, line 2, column 2 'T': 20 K (-253.15 °C) is outside what a cup of liquid can have; "
        "expected −80 to 200 °C: the numbers look like °C: rather give temperature_unit='C', or "
        "correct the header",
    ),
    "minus 200": (
        "time_s,T (°C)\n0,-200\n1,-200\n2,-201\n",
        {},
        "c.csv, line 2, column 2 'T (°C)': -200 °C is outside what a cup of liquid can have; "
        "expected −80 to 200 °C: no unit of temperature makes sense of it: name the column with "
        "temperature_column",
    ),
    "900": (
        "time_s,T (°C)\n0,900\n1,900\n2,901\n",
        {},
        "c.csv, line 2, column 2 'T (°C)': 900 °C is outside what a cup of liquid can have; "
        "expected −80 to 200 °C: no unit of temperature makes sense of it: name the column with "
        "temperature_column",
    ),
    "lost contact": (
        "time_s,T (°C)\n0,20\n1,20\n2,-127\n3,21\n",
        {},
        "c.csv, line 4, column 2 'T (°C)': -127 °C is outside what a cup of liquid can have; "
        "expected −80 to 200 °C: 1 of 4 readings is outside, as when a sensor loses contact: blank "
        "these cells to leave them out",
    ),
    "no such column": (
        GOOD,
        {"temperature_column": "Humidity"},
        "c.csv: there is no temperature column 'Humidity'; the file has column 1 'time_s', column 2 "
        "'T (°C)': name one of these",
    ),
    "nearly such a column": (
        GOOD,
        {"time_column": "timme_s"},
        "c.csv: there is no time column 'timme_s'; the file has column 1 'time_s', column 2 'T (°C)'"
        ": did you mean column 1 'time_s'?",
    ),
    "two such columns": (
        "t,T,T\n0,20,30\n1,20,30\n2,21,31\n",
        {"temperature_column": "T"},
        "c.csv: more than one column is named 'T' (columns 2 and 3); expected one: give its "
        "number, temperature_column=2",
    ),
    "a column of text": (
        "t,T,State\n0,20,on\n1,20,on\n2,21,off\n",
        {"temperature_column": "State"},
        "c.csv, column 3 'State': the column holds text; expected numbers for the temperature; the "
        "file has column 1 't', column 2 'T', column 3 'State': name another column",
    ),
    "no such run": (
        "t,T1,T2\n0,20,30\n1,20,30\n2,21,31\n",
        {"run": 3},
        "c.csv: there is no run '3'; the file has '1' (column 1 't' and column 2 'T1'), '2' "
        "(column 1 't' and column 3 'T2'): name one of these, or name the columns",
    ),
    "unit of temperature": (
        GOOD,
        {"temperature_unit": "kelvim"},
        "temperature unit 'kelvim' is not known; expected °C, °F or K (C and F will do); did you "
        "mean 'kelvin'?",
    ),
    "unit of time": (
        GOOD,
        {"time_unit": "fortnights"},
        "time unit 'fortnights' is not known; expected s, ms, min, h, d, h:min or min:s",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_refusal_reads_as_agreed(name: str, tmp_path: Path) -> None:
    content, options, message = CASES[name]
    file = tmp_path / "c.csv"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(CurveError) as refusal:
        read_curve(file, **options)  # type: ignore[arg-type]
    assert str(refusal.value) == message


def test_missing_file(tmp_path: Path) -> None:
    file = tmp_path / "none.csv"
    with pytest.raises(CurveError) as refusal:
        read_curve(file)
    assert str(refusal.value) == (
        f"{file}: there is no such file; expected a logger's text export: check the name and the "
        "folder"
    )


def test_folder(tmp_path: Path) -> None:
    with pytest.raises(CurveError) as refusal:
        read_curve(tmp_path)
    assert str(refusal.value) == (
        f"{tmp_path}: this is a folder; expected a logger's text export: name the file in it"
    )


def test_larger_than_the_limit(tmp_path: Path) -> None:
    file = tmp_path / "c.csv"
    with file.open("wb") as handle:
        handle.truncate(90_000_000)
    with pytest.raises(CurveError) as refusal:
        read_curve(file)
    assert str(refusal.value) == (
        f"{file}: the file has 90 MB; expected at most 80 MB: export fewer readings per second, or "
        "one run per file"
    )


def test_a_name_that_no_system_takes() -> None:
    with pytest.raises(CurveError, match=r"cannot be opened .*or close the program that holds it$"):
        read_curve("a\0b.csv")


@pytest.mark.parametrize("number", [13, 5])
def test_unreadable_file(number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "c.csv"
    file.write_text(GOOD, encoding="utf-8")

    def refuse(path: Path, flags: int) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(CurveError) as refusal:
        read_curve(file)
    assert str(refusal.value) == (
        f"{file}: the file cannot be opened ({os.strerror(number)}); expected a logger's text "
        "export that can be read: check the name and its permissions, or close the program that holds it"
    )


def test_constant_temperature_is_a_curve(tmp_path: Path) -> None:
    (tmp_path / "c.csv").write_text("time_s,T (°C)\n0,20\n1,20\n2,20\n", encoding="utf-8")
    assert read_curve(tmp_path / "c.csv").resolution_K == 0


# --- nothing but a curve or a refusal comes out of anything ----------------------------------


def only_curve_or_refusal(content: bytes, folder: Path, **options: object) -> None:
    file = folder / "c.csv"
    file.write_bytes(content)
    for reader in (lambda: read_curve(file, **options), lambda: list_columns(file)):  # type: ignore[arg-type]
        result: object = None
        with contextlib.suppress(CurveError):
            result = reader()
        assert isinstance(result, Curve | tuple | None)


FUZZ = settings(
    max_examples=400,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
CELLS = st.one_of(
    st.sampled_from(
        [
            "0",
            "1",
            "2.5",
            "3,5",
            "-1",
            "1e400",
            "-1e308",
            "nan",
            "inf",
            "1.234,5",
            "1,234",
            "10:00:00",
            "0:30",
            "99:99",
            "2026-03-02",
            "NA",
            "-",
            "2026-02-30T25:61:00Z",
            "02.03.2026",
            "°",
            "°C",
            "s",
            "min",
            '"a',
            '""',
            "T",
            "t",
            "time",
            "Temp(°C)",
            "run",
            ";",
            "#",
            "20.1°C",
            "٣",
            "²",
            "1_0",
            "0x1",
            "+5",
            "--5",
            "...",
            ",,",
            ":",
            "/",
            "1/2/3",
            "99/99/9999",
            "00:00:00.000000001+99:99",
        ]
    ),
    st.text(max_size=6),
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.integers(-5, 400).map(str),
)
TABLES = st.builds(
    lambda rows, mark, end: end.join(mark.join(row) for row in rows),
    st.lists(st.lists(CELLS, min_size=1, max_size=4), max_size=12),
    st.sampled_from([",", ";", "\t", " ", "|"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
)


@FUZZ
@given(content=st.binary(max_size=400))
@example(content=b'"')
@example(content=b"\xff\xfe1")
@example(content=b"1,2\n" * 3)
@example(content=b"0,0,-1e308\n0,0,7.9e307\n")
@example(content=b"-1e308,20\n7.9e307,20\n8.9e307,20\n")
def test_random_bytes(content: bytes, tmp_path: Path) -> None:
    only_curve_or_refusal(content, tmp_path)


@FUZZ
@given(table=TABLES, encoding=st.sampled_from(["utf-8", "utf-16", "utf-16-le", "cp1252"]))
def test_random_tables(table: str, encoding: str, tmp_path: Path) -> None:
    only_curve_or_refusal(table.encode(encoding, errors="replace"), tmp_path)


@FUZZ
@given(
    rows=st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=8),
    options=st.fixed_dictionaries(
        {},
        optional={
            "time_column": st.one_of(st.integers(-1, 5), st.text(max_size=4)),
            "temperature_column": st.one_of(st.integers(-1, 5), st.text(max_size=4)),
            "time_unit": st.sampled_from(["s", "min:s", "h", "x"]),
            "temperature_unit": st.sampled_from(["K", "F", ""]),
            "run": st.one_of(st.integers(-1, 5), st.text(max_size=4)),
        },
    ),
)
def test_random_rows_below_good_ones(
    rows: list[tuple[str, str, str]], options: dict[str, object], tmp_path: Path
) -> None:
    good = "time_s;T (°C);state\n0;20;a\n1;20;b\n2;21;c\n"
    text = good + "\n".join(";".join(row) for row in rows)
    only_curve_or_refusal(text.encode("utf-8", errors="replace"), tmp_path, **options)


@FUZZ
@given(data=st.data())
def test_truncated_and_damaged_files(data: st.DataObject, tmp_path: Path) -> None:
    files = sorted((Path(__file__).parent / "curves").glob("*.[ct][sx][vt]"))
    content = data.draw(st.sampled_from(files)).read_bytes()
    content = content[: data.draw(st.integers(0, len(content)))]
    for _ in range(data.draw(st.integers(0, 3))):
        place = data.draw(st.integers(0, len(content)))
        content = content[:place] + data.draw(st.binary(max_size=3)) + content[place:]
    only_curve_or_refusal(content, tmp_path)


def test_the_steps_say_where_they_live() -> None:
    """The package's front page names its modules."""
    folder = Path(files.__file__).parent
    modules = {file.stem for file in folder.glob("*.py")} - {"__init__"}
    assert modules == {name for name in modules if f"`{name}`" in (files.__doc__ or "")}
