"""Numbers and dates as people type them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.runs.cells import CellError, Marks, last_place, read_number
from calib.runs.columns import COLUMNS
from calib.runs.dates import Order, find_order, read_date
from calib.runs.units import column_unit, find_unit

EXCEL_ZERO = dt.date(1899, 12, 30)


def number(cell, column="in_cup_mL", marks=None):
    quantity = COLUMNS[column].quantity
    return read_number(cell, quantity, column_unit(quantity), marks or Marks())


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("50", 50.0),
        ("50.0", 50.0),
        ("50,0", 50.0),
        (" 50,25 ", 50.25),
        ("+50", 50.0),
        ("−5", -5.0),
        ("0,123", 0.123),
        (".5", 0.5),
        (",5", 0.5),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1 234,5", 1234.5),
        ("1'234.5", 1234.5),
        ("1,234,567", 1234567.0),
        ("1.5e2", 150.0),
        ("1,5E2", 150.0),
        ("1.5×10^2", 150.0),
        ("1,5·10²", 150.0),
        ("５０", 50.0),
        ("50 mL", 50.0),
        ("50mL", 50.0),
        ("0.5 L", 500.0),
        ("0,5 l", 500.0),
        ("5 cL", 50.0),
        ("50 cm³", 50.0),
        (50, 50.0),
        (50.25, 50.25),
    ],
)
def test_volumes(cell, value):
    assert number(cell).value == value


@pytest.mark.parametrize(
    ("cell", "celsius"),
    [("21,3 °C", 21.3), ("70.0 °F", 190 / 9), ("294.45 K", 21.3), ("21.3°", 21.3), ("21.3C", 21.3)],
)
def test_temperatures_with_units(cell, celsius):
    assert number(cell, "in_cup_C").value == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize(
    ("cell", "seconds"),
    [("90", 90), ("1.5 min", 90), ("0:01:30", 90), (dt.time(0, 1, 30), 90), ("2 h", 7200)],
)
def test_durations(cell, seconds):
    assert number(cell, "extreme_after_s").value == seconds


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        ("x", "is text where a number belongs"),
        ("=1+1", "holds a formula as text, which is never calculated"),
        ("nan", "is not a finite number"),
        ("-inf", "is not a finite number"),
        (float("nan"), "is not a finite number"),
        (float("inf"), "is not a finite number"),
        ("1e999", "is not a finite number"),
        ("50 ± 0.5", "carries its own uncertainty"),
        ("ca. 50", "is a bound or a guess, not a reading"),
        ("<50", "is a bound or a guess, not a reading"),
        ("50 g", "is in g, a unit of mass"),
        ("50 Ml3", "ends in 'Ml3', which is no known unit"),
        ("1,2,3", "has commas or points that fit no number"),
        ("21 3", "has a blank or an apostrophe among its digits"),
        (True, "holds true or false, not a number"),
        (dt.time(1, 30), "holds the clock time 01:30:00"),
        ("5-6", "is text where a number belongs"),
        ("1_000", "is text where a number belongs"),
        ("0x10", "ends in 'x10', which is no known unit"),
        ("9" * 400, "is text where a number belongs"),
    ],
)
def test_what_is_no_volume(cell, message):
    with pytest.raises(CellError) as caught:
        number(cell)
    assert caught.value.message == message
    assert caught.value.expected == "a number in mL"
    assert caught.value.remedy


def test_a_number_taken_for_a_date_is_explained():
    with pytest.raises(CellError, match=r"holds the date 2026-03-21: .*21\.3 or 3/21 for a date$"):
        number(dt.date(2026, 3, 21), "in_cup_C")


@pytest.mark.parametrize("cell", ["1:30", dt.time(1, 30)])
def test_minutes_taken_for_hours_are_refused(cell):
    with pytest.raises(CellError, match="minutes"):
        number(cell, "extreme_after_s")


class TestThreeDigitsBehindOneMark:
    """``1,234`` is 1.234 or 1234: only the rest of the table can tell."""

    def test_a_comma_is_refused_without_evidence(self):
        with pytest.raises(CellError, match=r"could be 1\.234 or 1234") as caught:
            number("1,234")
        assert caught.value.remedy == "write 1.2340 or 1234"

    def test_a_comma_is_decimal_where_the_table_uses_it_so(self):
        marks = Marks()
        marks.see("21,3")
        assert number("1,234", marks=marks).value == 1.234

    def test_a_point_is_decimal_without_evidence(self):
        assert number("1.234").value == 1.234

    def test_a_point_is_refused_where_only_commas_are_decimal(self):
        marks = Marks()
        marks.see("21,3")
        with pytest.raises(CellError, match="could be"):
            number("1.234", marks=marks)

    def test_both_are_decimal_where_both_are_used(self):
        marks = Marks()
        marks.see("21,3")
        marks.see("21.4")
        assert number("1.234", marks=marks).value == number("1,234", marks=marks).value == 1.234

    def test_a_doubtful_cell_is_no_evidence(self):
        marks = Marks()
        marks.see("1,234")
        marks.see("2.345")
        assert not marks.comma
        assert not marks.point


@given(st.floats(min_value=0.0, max_value=999.0), st.integers(0, 6), st.sampled_from(".,"))
def test_any_plain_number_is_read_back(value, places, mark):
    text = f"{value:.{places}f}"
    marks = Marks(comma=True, point=True)
    read = number(text.replace(".", mark), marks=marks)
    assert read.value == float(text)
    assert last_place(read.written) == pytest.approx(10.0**-places)


@pytest.mark.parametrize(
    ("cell", "column", "written"),
    [
        ("55.80", "reported_kJ_per_mol", "55.80"),
        ("-55800 J/mol", "reported_kJ_per_mol", "-55.800"),
        ("-13.3 kcal/mol", "reported_kJ_per_mol", "-55.6"),
        ("0.050 L", "in_cup_mL", "50"),
        (-55.8, "reported_kJ_per_mol", "-55.8"),
        (50.0, "in_cup_mL", "50"),
        (0.1 + 0.2, "in_cup_g", "0.3"),
    ],
)
def test_digits_as_written_survive(cell, column, written):
    assert number(cell, column).written == written


def test_a_workbooks_number_keeps_every_digit():
    assert number(1 / 3, "in_cup_g").value == 1 / 3
    assert number(0.1 + 0.2, "in_cup_g").value == 0.1 + 0.2


# --- units against the standard's own definitions -----------------------------------------------


@pytest.mark.parametrize(
    ("text", "factor"),
    [
        # SI Brochure, 9th edition (2019), table 8: 1 L = 1 dm3; from memory.
        ("L", 1000.0),
        ("dm³", 1000.0),
        ("m3", 1e6),
        ("µL", 1e-3),
        # International yard and pound agreement (1959): exact; from memory.
        ("lb", 453.59237),
        ("oz", 453.59237 / 16),
        # thermochemical calorie, exact by definition (ISO 80000-5 annex): from memory.
        ("kcal/mol", 4.184),
    ],
)
def test_factors(text, factor):
    assert find_unit(text).factor == pytest.approx(factor, rel=1e-15)


def test_fahrenheit_meets_its_fixed_points():
    # Ice and steam points, 32 °F and 212 °F: the scale's definition.
    unit = find_unit("°F")
    assert unit.convert(32.0) == 0.0
    assert unit.convert(212.0) == 100.0
    assert unit.convert_step(1.8) == 1.0


def test_molar_is_not_molal():
    assert find_unit("M").quantity == "concentration"
    assert find_unit("m") is None


# --- dates --------------------------------------------------------------------------------------

DAY = dt.date(2026, 11, 25)


@pytest.mark.parametrize(
    "cell",
    [
        "2026-11-25",
        "2026-11-25T10:22:00",
        "2026-11-25 10:22",
        "2026/11/25",
        "2026.11.25",
        "20261125",
        20261125.0,
        "25.11.2026",
        "25. 11. 2026",
        "25.11.26",
        "25/11/2026",
        "11/25/2026",
        "25-11-2026",
        "25 Nov 2026",
        "25 November 2026",
        "25-Nov-26",
        "Nov 25, 2026",
        "November 25th, 2026",
        "Wed, 25 Nov 2026",
        "25. November 2026",
        "25 novembre 2026",
        DAY,
        dt.datetime(2026, 11, 25, 10, 22),
        46351,
        46351.43,
        "46351",
    ],
)
def test_dates(cell):
    assert read_date(cell, Order())[0] == DAY


@pytest.mark.parametrize(
    ("name", "month"), [("März", 3), ("mai", 5), ("août", 8), ("Dez", 12), ("ene", 1), ("juin", 6)]
)
def test_months_of_other_languages(name, month):
    assert read_date(f"3. {name} 2026", Order())[0] == dt.date(2026, month, 3)


def test_spreadsheet_day_count():
    # Day 1 of the 1900 system is 1900-01-01 and 1900 counts as a leap year (ECMA-376 part 1,
    # 18.17.4.1; from memory), so that day 61 is 1900-03-01; day 36526 is 2000-01-01.
    assert read_date(36526, Order())[0] == dt.date(2000, 1, 1)
    assert read_date(36526 - 1462, Order(base=dt.date(1904, 1, 1)))[0] == dt.date(2000, 1, 1)


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        ("3/4/2026", "could be 2026-04-03 or 2026-03-04"),
        ("03-04-26", "could be 2026-04-03 or 2026-03-04"),
        ("31.02.2026", "is no day of the calendar"),
        ("2026-13-01", "is no day of the calendar"),
        ("yesterday", "cannot be read as a date"),
        ("=TODAY()", "cannot be read as a date"),
        (7, "is a number, not a date"),
        (float("nan"), "is a number, not a date"),
        (True, "is not a date"),
        (dt.time(1, 2), "is not a date"),
        ("1825-01-01", "lies in the year 1825"),
    ],
)
def test_no_dates(cell, message):
    with pytest.raises(CellError) as caught:
        read_date(cell, Order())
    assert caught.value.message == message


@pytest.mark.parametrize(
    ("column", "order"),
    [
        (["3/4/2026", "25/4/2026"], "day first"),
        (["3/4/2026", "4/25/2026"], "month first"),
        (["3/4/2026", "25/4/2026", "4/25/2026"], None),
        (["3/4/2026"], None),
        ([], None),
    ],
)
def test_the_column_decides_the_order(column, order):
    assert find_order(column, None, EXCEL_ZERO).order == order


def test_readings_toml_decides_before_the_column():
    order = find_order(["25/4/2026"], "month first", EXCEL_ZERO)
    day, note = read_date("3/4/2026", order)
    assert day == dt.date(2026, 3, 4)
    assert note == "slashed dates read month first, by readings.toml"


def test_the_same_day_and_month_is_never_in_doubt():
    assert read_date("5/5/2026", Order())[0] == dt.date(2026, 5, 5)
