"""Which columns, runs and units are taken from a file, and what is said about it."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fitting.curve import Curve
from fitting.errors import OutputError
from fitting.files.curve_files import list_columns, read_curve
from fitting.files.plain_curves import write_curve

CURVES = Path(__file__).parent / "curves"


@pytest.fixture
def read(tmp_path: Path):
    def reader(text: str | bytes, **options) -> Curve:
        file = tmp_path / "curve.csv"
        file.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return read_curve(file, **options)

    return reader


def said(curve: Curve, fragment: str) -> bool:
    return any(fragment in guess for guess in curve.guesses)


# --- files with a story ---------------------------------------------------------------------


def test_first_complete_run_of_two_side_by_side():
    curve = read_curve(CURVES / "two_runs.csv")
    assert curve.time_s.tolist() == [0, 30, 60, 90, 120, 150]
    assert curve.temperature_C.tolist() == [20.1, 20.1, 20.2, 24.6, 24.9, 24.8]
    assert curve.guesses == (
        "columns in use: time from column 1 'Run 1: Time (min)' (min), temperature from column 2 "
        "'Run 1: Temp (°C)' (°C)",
        "first complete run of 2 used; not used: 'run 2' (column 3 'Run 2: Time (min)' and column "
        "4 'Run 2: Temp (°C)')",
    )


@pytest.mark.parametrize("run", [2, "2", "run 2", "Run 2"])
def test_second_run_on_request(run):
    curve = read_curve(CURVES / "two_runs.csv", run=run)
    assert curve.temperature_C.tolist() == [19.8, 19.8, 21.4, 23.9]
    assert len(curve.guesses) == 1


def test_a_run_can_be_had_by_its_temperature_column():
    curve = read_curve(CURVES / "two_runs.csv", temperature_column=4)
    assert curve.temperature_C.tolist() == [19.8, 19.8, 21.4, 23.9]


def test_clock_past_midnight_with_a_remark_in_between():
    curve = read_curve(CURVES / "midnight.txt")
    assert curve.time_s.tolist() == [0, 1, 2, 3, 4]
    assert curve.started is None
    assert said(curve, "line 5 is a remark, not a reading: 'Rührer eingeschaltet'")
    assert said(curve, "clock times pass midnight once: a day was added from there on")
    assert said(curve, "cells separated by tabs, decimal comma")


def test_preamble_blanks_fault_words_and_a_summary_line():
    curve = read_curve(CURVES / "preamble.csv")
    assert curve.time_s.tolist() == [0, 1, 2, 2.5]
    assert curve.temperature_C.tolist() == [20.1, 20.3, 20.3, 20.4]
    assert said(curve, "2 rows without a temperature left out (first: line 8; blank or 'ERR')")
    assert said(curve, "line 13 is a remark, not a reading: 'Mittelwert 20,3'")


def test_repeated_timestamps_are_averaged_and_said():
    curve = read_curve(CURVES / "status.txt")
    assert curve.time_s.tolist() == [0, 1, 2, 3]
    np.testing.assert_allclose(curve.temperature_C, (np.array([68, 68.3, 68.4, 68.6]) - 32) / 1.8)
    assert curve.started == datetime(2026, 3, 2, 10, tzinfo=UTC)
    assert curve.resolution_K == pytest.approx(0.2 / 1.8, rel=1e-5)
    assert said(
        curve,
        "2 readings share their time with another (first: lines 3 and 4): those of equal time "
        "were averaged",
    )


def test_runs_one_below_the_other():
    first = read_curve(CURVES / "stacked.csv")
    assert first.temperature_C.tolist() == [20.0, 20.1, 20.2]
    assert said(first, "first complete run of 3 used; not used: 'bench B'")
    second = read_curve(CURVES / "stacked.csv", run="B")
    assert second.temperature_C.tolist() == [21.0, 21.1, 21.2, 21.3]


@pytest.mark.parametrize("run", ["B", "b", 2, "2", "Cup B (°C)"])
def test_runs_told_apart_by_letters(read, run):
    text = "Time (s),Cup A (°C),Cup B (°C)\n0,20,30\n1,20,30\n2,21,31\n"
    assert read(text, run=run).temperature_C.tolist() == [30, 30, 31]
    assert read(text.replace("Cup", "Temp"), run=run if run != "Cup B (°C)" else "B").step_s == 1


@pytest.mark.parametrize(
    "word", ["", "-", "---", "****", "NaN", "N/A", "OverRange", "OL", "#N/A", "--.-"]
)
def test_words_for_no_reading(read, word):
    curve = read(f"time_s;T (°C)\n0;20\n1;{word}\n2;20\n3;21\n")
    assert curve.time_s.tolist() == [0, 2, 3]
    assert said(curve, "1 row without a temperature left out (first: line 3")


def test_the_room_is_not_taken_for_the_cup():
    curve = read_curve(CURVES / "room_first.csv")
    assert curve.temperature_C.tolist() == [20.1, 20.1, 20.2, 20.2]
    room = read_curve(CURVES / "room_first.csv", temperature_column="T_room / °C")
    assert room.temperature_C.tolist() == [22.5, 22.5, 22.6, 22.5]


def test_list_columns_names_what_is_there():
    columns = list_columns(CURVES / "preamble.csv")
    assert [str(c) for c in columns] == [
        "1 'Zeit': time in s, number, 6 values",
        "2 'Fühler 1': temperature in °C, number, 5 values",
        "3 'Heizung': other in V, number, 6 values",
    ]
    assert list_columns(CURVES / "two_runs.csv")[3].run == "run 2"


def test_digest_and_source():
    file = CURVES / "status.txt"
    curve = read_curve(file)
    assert curve.source == "status.txt"
    assert curve.digest == hashlib.sha256(file.read_bytes()).hexdigest()


# --- units --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temperatures", "unit", "first_C"),
    [
        ("293.15 293.15 294.15", "K", 20.0),
        ("68.0 68.0 77.0", "°F", 20.0),
        ("150.0 148.0 140.0", "°F", 118 / 1.8),
        ("20.0 20.0 25.0", "°C", 20.0),
        ("70.0 65.0 60.0", "°C", 70.0),
    ],
)
def test_a_silent_header_leaves_the_unit_to_the_range(read, temperatures, unit, first_C):
    rows = "\n".join(f"{i},{t}" for i, t in enumerate(temperatures.split()))
    curve = read(f"time_s,temperature\n{rows}\n")
    assert curve.temperature_C[0] == pytest.approx(first_C)
    assert said(
        curve, f"temperature unit of column 2 'temperature' is not given: taken as {unit}, "
    )


def test_a_header_that_speaks_is_believed_whatever_the_range(read):
    curve = read("time_s,temperature (°C)\n0,68\n1,68\n2,77\n")
    assert curve.temperature_C.tolist() == [68, 68, 77]
    assert len(curve.guesses) == 1


@pytest.mark.parametrize("unit", ["F", "°F", "f", "fahrenheit", "deg F"])
def test_an_asked_unit_goes_before_the_header(read, unit):
    curve = read("time_s,temperature (°C)\n0,68\n1,68\n2,77\n", temperature_unit=unit)
    assert curve.temperature_C.tolist() == pytest.approx([20, 20, 25])
    assert said(curve, "temperature read in °F as asked; the file says °C")


def test_time_unit_asked_for(read):
    curve = read("time (s),T (°C)\n0,20\n1,20\n2,21\n", time_unit="min")
    assert curve.time_s.tolist() == [0, 60, 120]
    assert said(curve, "time read in min as asked; the file says s")


def test_silent_time_is_seconds_and_said(read):
    curve = read("t,T (°C)\n0,20\n1,20\n2,21\n")
    assert said(
        curve,
        "time unit of column 1 't' is not given: taken as s, so that the readings span 2 s; "
        "time_unit changes it",
    )


def test_milliseconds_or_seconds_once_told(read):
    """What is refused without a unit is read with one; slow logs in seconds are not asked about."""
    text = "t,T (°C)\n0,20\n1000,20\n2000,21\n"
    assert read(text, time_unit="ms").time_s.tolist() == [0, 1, 2]
    assert read(text, time_unit="s").time_s.tolist() == [0, 1000, 2000]
    assert read("t,T (°C)\n0,40\n300,39\n600,38\n").time_s.tolist() == [0, 300, 600]


@pytest.mark.parametrize(
    "sign", [b"\xb0C", b"\xc2\xb0C", b"\xa1C", b"\xf8C", b"\xc2\xbaC", b"deg C", b"?C", b"C"]
)
def test_every_degree_sign(read, sign):
    curve = read(b"time_s;T (" + sign + b")\n0;68\n1;68\n2;77\n")
    assert curve.temperature_C.tolist() == [68, 68, 77]


def test_unit_in_the_cells(read):
    curve = read("t;T\n0 s;68,0 °F\n30 s;68,0 °F\n60 s;69,8 °F\n")
    assert curve.time_s.tolist() == [0, 30, 60]
    assert curve.temperature_C.tolist() == pytest.approx([20, 20, 21])


# --- clocks -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ("10:15:00 10:15:01 10:15:03", [0, 1, 3]),
        ("10:15:00.25 10:15:00.75 10:15:01.25", [0, 0.5, 1]),
        ("9:59 10:00 10:02", [0, 60, 180]),
        ("00:00 00:30 01:00", [0, 30, 60]),
        ("0:00:10 0:00:20 0:01:00", [10, 20, 60]),
        ("00:58.5 00:59.0 01:00.0", [58.5, 59, 60]),
        ("59:30 60:00 60:30", [3570, 3600, 3630]),
        ("11:59:59_PM 12:00:00_AM 12:00:01_AM", [0, 1, 2]),
        ("12:59:58 12:59:59 1:00:00", [0, 1, 2]),
        ("2026-03-02T10:15:00Z 2026-03-02T10:15:01Z 2026-03-02T10:15:02.5Z", [0, 1, 2.5]),
        (
            "2026-03-29T01:59:59+01:00 2026-03-29T03:00:00+02:00 2026-03-29T03:00:01+02:00",
            [0, 1, 2],
        ),
        ("2026/03/02_10:15:00 2026/03/02_10:15:01 2026/03/03_10:15:01", [0, 1, 86_401]),
        ("31/12/2026_23:59:59 01/01/2027_00:00:00 01/01/2027_00:00:01", [0, 1, 2]),
        ("12/31/2026_11:59:59_PM 01/01/2027_12:00:00_AM 01/01/2027_12:00:01_AM", [0, 1, 2]),
        ("03/04/2026_23:59:59 03/05/2026_00:00:00 03/05/2026_00:00:01", [0, 1, 2]),
        ("03/04/2026_23:59:59 04/04/2026_00:00:00 04/04/2026_00:00:01", [0, 1, 2]),
    ],
)
def test_clock_cells(read, cells, expected):
    rows = "\n".join(f"{c.replace('_', ' ')};{20 + i}" for i, c in enumerate(cells.split()))
    curve = read(f"Time;T (°C)\n{rows}\n")
    assert curve.time_s.tolist() == pytest.approx(expected)


def test_two_part_times_can_be_told(read):
    text = "Time;T (°C)\n00:00;20\n00:01;20\n00:02;21\n"
    assert read(text).time_s.tolist() == [0, 1, 2]
    assert read(text, time_unit="h:min").time_s.tolist() == [0, 60, 120]
    assert read(text.replace("Time", "Time (hh:mm)")).time_s.tolist() == [0, 60, 120]


def test_dates_in_a_column_of_their_own(read):
    text = "Datum;Zeit;T (°C)\n02.03.2026;23:59:59;20\n03.03.2026;00:00:00;20\n03.03.2026;00:00:02;21\n"
    curve = read(text)
    assert curve.time_s.tolist() == [0, 1, 3]
    assert curve.started == datetime(2026, 3, 2, 23, 59, 59)


def test_started_is_the_moment_of_zero_even_when_the_first_reading_is_blank(read):
    stamps = [f"2026-03-02 10:15:0{i}" for i in range(5)]
    temperatures = ["", "20", "20", "20", "21"]
    rows = "\n".join(f"{a};{b}" for a, b in zip(stamps, temperatures, strict=True))
    curve = read(f"Time;T (°C)\n{rows}\n")
    assert curve.started == datetime(2026, 3, 2, 10, 15, 1)
    assert curve.time_s.tolist() == [0, 1, 2, 3]


def test_seconds_since_1970(read):
    curve = read("time_s,T (°C)\n1772446500,20\n1772446501,20\n1772446502,21\n")
    assert curve.time_s.tolist() == [0, 1, 2]
    assert curve.started == datetime.fromtimestamp(1_772_446_500, UTC)


def test_spreadsheet_day_numbers(read):
    rows = "\n".join(f"{46083.5 + i * 2 / 86400:.9f},{20 + i % 3}" for i in range(10))
    curve = read(f"Time,T (°C)\n{rows}\n")
    np.testing.assert_allclose(curve.time_s, np.arange(10) * 2.0, atol=1e-3)
    # A spreadsheet's day 1 is 1 January 1900, with a 29 February 1900 that never was (ECMA-376).
    assert curve.started == datetime(2026, 3, 2, 12, 0)


def test_elapsed_seconds_go_before_a_clock_beside_them(read):
    text = "Time (s);Uhrzeit;T (°C)\n5;10:00:00;20\n6;10:00:01;20\n7;10:00:02;21\n"
    assert read(text).time_s.tolist() == [5, 6, 7]
    assert read(text, time_column="Uhrzeit").time_s.tolist() == [0, 1, 2]


# --- columns without names ----------------------------------------------------------------------


def test_no_header_at_all(read):
    curve = read("0\t20.0\n1\t20.1\n2\t20.3\n")
    assert curve.guesses == (
        "columns in use: time from column 1 (s), temperature from column 2 (°C)",
        "cells separated by tabs, decimal point",
        "column 1 taken as the time: no column says so, and its numbers rise",
        "column 2 taken as the temperature: no column says so",
        "time unit of column 1 is not given: taken as s, so that the readings span 2 s; time_unit "
        "changes it",
        "temperature unit of column 2 is not given: taken as °C, because the readings run from 20 "
        "to 20.3; temperature_unit changes it",
    )


def test_a_counter_is_not_the_time(read):
    rows = "\n".join(f"{i},{i * 0.5},{20 + 0.1 * (i % 7):.1f}" for i in range(20))
    curve = read(rows)
    assert curve.time_s[-1] == 9.5
    assert said(curve, "column 1 taken as the readings' numbers, not as a time")


def test_unknown_words_fall_back_on_the_numbers(read):
    curve = read("alfa;beta\n0;20,1\n1;20,1\n2;20,4\n")
    assert curve.temperature_C.tolist() == [20.1, 20.1, 20.4]
    assert said(curve, "column 1 'alfa' taken as the time: no column says so, and its numbers rise")


def test_time_to_the_right_of_the_temperature(read):
    assert read("T (°C),t (s)\n20,0\n21,1\n22,2\n").time_s.tolist() == [0, 1, 2]


def test_columns_by_name_tolerate_blanks_and_case(read):
    text = "t (s),T in (°C),T out (°C)\n0,20,30\n1,21,31\n2,22,32\n"
    for name in ("T out (°C)", "t out °C", "T OUT (°c)", 3, "3"):
        assert read(text, temperature_column=name).temperature_C.tolist() == [30, 31, 32]


# --- cells --------------------------------------------------------------------------------------


def test_thousands_are_never_assumed(read):
    curve = read("time_s;T (°C)\n0,125;20\n1,000;20\n1,250;21\n")
    assert curve.time_s.tolist() == [0.125, 1.0, 1.25]


def test_printers_minus_and_protected_blanks(read):
    curve = read("time_s;T (°C)\n0;\u22121,5\n1;\u00a0\u22121,4\n2;\u22121,3\n")
    assert curve.temperature_C.tolist() == [-1.5, -1.4, -1.3]


def test_quoted_header_over_two_lines(read):
    curve = read('"Time\n(s)","Temp\n(°C)"\n0,20\n1,"20.5"\n2,21\n')
    assert curve.temperature_C.tolist() == [20, 20.5, 21]


def test_gaps_are_said(read):
    rows = [f"{t},20.{t % 3}" for t in [*range(10), *range(60, 70)]]
    curve = read("time_s,T (°C)\n" + "\n".join(rows))
    assert said(curve, "no readings between 9 s and 60 s")


def test_short_rows_between_blanks_are_left_out_and_said(read):
    curve = read("time_s  T_C\n0  20\n1\n2  21\n3  22\n")
    assert curve.time_s.tolist() == [0, 2, 3]
    assert said(curve, "1 line has fewer cells than columns and was left out (first: line 3)")


@pytest.mark.parametrize("comment", ["# added the salt", "% added the salt", "added the salt"])
def test_comment_lines_are_kept_as_remarks(read, comment):
    curve = read(f"time_s,T (°C)\n0,20\n1,20\n{comment}\n2,21\n")
    assert curve.time_s.tolist() == [0, 1, 2]
    assert said(curve, f"line 4 is a remark, not a reading: '{comment}'")


def test_readings_above_the_first_complete_row_are_not_lost(read):
    curve = read("time_s;T1 (°C);T2 (°C)\n0;;20\n1;;20\n2;30;21\n3;31;\n4;32;\n")
    assert read_len(curve) == (3, [30, 31, 32])
    other = read("time_s;T1 (°C);T2 (°C)\n0;;20\n1;;20\n2;30;21\n3;31;\n4;32;\n", run=2)
    assert read_len(other) == (3, [20, 20, 21])


def read_len(curve: Curve) -> tuple[int, list[float]]:
    return len(curve), curve.temperature_C.tolist()


@pytest.mark.parametrize("step", [0.1, 0.01, 0.0625, 0.5])
def test_step_of_the_reading_is_seen(read, step):
    time = np.arange(300)
    exact = 20 + 5 * (1 - np.exp(-time / 60))
    shown = np.round(np.round(exact / step) * step, 2)
    text = "time_s,T (°C)\n" + "\n".join(f"{t},{c:.2f}" for t, c in zip(time, shown, strict=True))
    assert read(text).resolution_K == pytest.approx(step, rel=0.02)


# --- writing ------------------------------------------------------------------------------------


def test_written_curves_come_back_exactly(tmp_path):
    rng = np.random.default_rng(3)
    time = np.cumsum(rng.uniform(0.1, 2.0, 200))
    curve = Curve.from_arrays(time, 20 + rng.normal(0, 3, 200))
    path = write_curve(tmp_path / "made.csv", curve)
    back = read_curve(path)
    np.testing.assert_array_equal(back.time_s, curve.time_s)
    np.testing.assert_array_equal(back.temperature_C, curve.temperature_C)
    assert len(back.guesses) == 1


def test_written_file_is_plain_utf8_text(tmp_path):
    path = write_curve(tmp_path / "made.csv", Curve.from_arrays([0, 0.5], [20, 20.126]), decimals=2)
    assert path.read_bytes() == b"time_s,temperature_C\n0,20.00\n0.5,20.13\n"


def test_writing_into_nowhere_is_refused(tmp_path):
    path = tmp_path / "no" / "made.csv"
    with pytest.raises(OutputError) as refusal:
        write_curve(path, Curve.from_arrays([0, 1], [20, 21]))
    assert str(refusal.value) == (
        f"{path}: the curve file cannot be written: the folder {path.parent} does not exist; "
        "make it first or choose another"
    )


def test_a_written_curve_is_replaced_when_told_and_a_log_never(tmp_path):
    curve = Curve.from_arrays([0, 1, 2], [20, 20.5, 21])
    path = write_curve(tmp_path / "made.csv", curve)
    with pytest.raises(OutputError, match=r"an earlier curve file that may be in use"):
        write_curve(path, curve)
    assert write_curve(path, curve, overwrite=True).read_bytes() == path.read_bytes()
    log = tmp_path / "log.csv"
    log.write_bytes(b"Time (s);Temperature (C)\n0;20.1\n1;20.2\n2;20.3\n")
    before = log.read_bytes()
    with pytest.raises(OutputError, match=r"log\.csv: is a logged curve, and those are never"):
        write_curve(log, curve, overwrite=True)
    assert log.read_bytes() == before


def test_remarks_with_numbers_do_not_turn_tabs_into_blanks(read):
    above = "Bench 4, interval 3 s\nRoom 21.5 at 10:15\n"
    curve = read(above + "t (s)\tT1 (°C)\tT2 (°C)\n0\t\t20\n1\t\t20\n2\t30\t21\n", run=2)
    assert curve.temperature_C.tolist() == [20, 20, 21]
    assert said(curve, "cells separated by tabs")


def test_decimal_comma_is_said_on_the_quick_way_too(read):
    curve = read("Zeit (s);T (°C)\n0;20,1\n1;20,1\n2;20,4\n")
    assert curve.guesses[1] == "cells separated by semicolons, decimal comma"


def test_a_clock_that_starts_just_after_midnight_still_passes_the_next(read):
    text = "Time;T (°C)\n0:10:00;20\n12:00:00;20\n23:59:00;21\n0:01:00;21\n"
    assert read(text).time_s.tolist() == [0, 42_600, 85_740, 85_860]


@pytest.mark.parametrize("above", ["Temperature probe;P7\nStart time;10:15\n", "Zeit;Ort\n\n"])
def test_words_above_the_header_are_not_the_header(read, above):
    curve = read(above + "t;T1\ns;°C\n0;\n1;\n2;20,5\n3;20,5\n4;20,6\n")
    assert curve.time_s.tolist() == [2, 3, 4]
    assert curve.guesses[0] == (
        "columns in use: time from column 1 't' (s), temperature from column 2 'T1' (°C)"
    )
    assert said(curve, "2 rows without a temperature left out")


def test_lines_with_blanks_between_them(read):
    rows = "\n\n".join(f"{i};20,{i % 10}" for i in range(300))
    assert len(read("t (s);T (°C)\n\n" + rows)) == 300


def test_six_hundred_readings_are_read_within_20_ms(tmp_path):
    rows = "\n".join(f"2026-03-02 10:{i // 60:02}:{i % 60:02};20,{i % 10};ok" for i in range(600))
    file = tmp_path / "c.csv"
    file.write_text("Time;T (°C);State\n" + rows, encoding="utf-8")
    took = []
    for _ in range(20):
        begin = time.process_time()
        read_curve(file)
        took.append(time.process_time() - begin)
    assert min(took) < 0.020


def test_reading_needs_no_table_library(tmp_path):
    """pandas, scipy and the like stay out until a table is asked for."""
    file = write_curve(tmp_path / "c.csv", Curve.from_arrays([0, 1, 2], [20, 20, 21]))
    code = (
        "import sys; from fitting.files.curve_files import read_curve; read_curve(sys.argv[1]); "
        "print([n for n in ('pandas', 'scipy', 'matplotlib', 'lmfit') if n in sys.modules])"
    )
    run = [sys.executable, "-c", code, str(file)]
    done = subprocess.run(run, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
