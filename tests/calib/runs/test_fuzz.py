"""No input raises anything but TableError, and nothing is lost without a word."""

from __future__ import annotations

import io
import zipfile

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from openpyxl.utils.exceptions import IllegalCharacterError

from calib.errors import TableError
from calib.runs import read_table
from calib.runs.cells import CellError, Marks, read_number, unit_in
from calib.runs.columns import COLUMNS, NUMBERS
from calib.runs.curve_paths import find_curve
from calib.runs.dates import Order, find_order, read_date
from calib.runs.headers import read_heading
from calib.runs.readings_file import read_settings
from calib.runs.units import column_unit, find_unit

FILES = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150
)

odd = st.sampled_from(
    ["", " ", "-", "NaN", "inf", "=1+1", "1,234", "1.234", "1,5 mL", "21.3 °C", "H1", "water",
     "HCl(aq)", "KNO3(s)", "../x", "C:\\x", "3/4/2026", "2026-11-25", "#DIV/0!", "<b>", "1e999",
     "\x00", "\ud800", "\u202e", '"', "'", ";", "50±1", "٣", "½", "１２"]
)  # fmt: skip
texts = st.one_of(odd, st.text(max_size=12), st.from_regex(r"[-+]?[0-9., ']{0,8}[a-zA-Z°%]{0,3}"))
heads = st.one_of(st.sampled_from([*COLUMNS, *(f"u_{c}" for c in NUMBERS)]), texts)
values = st.one_of(
    texts,
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.dates(),
    st.datetimes(),
    st.times(),
    st.timedeltas(),
)


def read_or_refuse(path):
    try:
        return read_table(path)
    except TableError as error:
        refusal = str(error)
    assert str(path) in refusal
    return None


@FILES
@given(st.binary(max_size=400), st.sampled_from(["csv", "xlsx", "ods", "xls"]))
def test_any_bytes(tmp_path, data, ending):
    path = tmp_path / f"table.{ending}"
    path.write_bytes(data)
    read_or_refuse(path)


@FILES
@given(
    st.lists(heads, min_size=1, max_size=8),
    st.lists(st.lists(texts, max_size=9), max_size=6),
    st.sampled_from(",;\t|"),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_any_cells_in_a_text_file(tmp_path, head, rows, delimiter, encoding):
    path = tmp_path / "table.csv"
    lines = [delimiter.join(row) for row in (["run", "in_cup_g", *head], *rows)]
    path.write_bytes("\n".join(lines).encode(encoding, "replace"))
    table = read_or_refuse(path)
    if table is not None:
        assert len(set(table.labels)) == len(table.labels)
        assert all(problem.message and problem.row for problem in table.problems)


def _workbook(head, rows):
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    for r, row in enumerate([["run", "in_cup_g", *head], *rows], start=1):
        for c, value in enumerate(row, start=1):
            try:
                sheet.cell(r, c, value)
            except (ValueError, TypeError, OverflowError, IllegalCharacterError):
                sheet.cell(r, c).value = None
    stream = io.BytesIO()
    try:
        workbook.save(stream)
    except (ValueError, OverflowError, UnicodeError):
        return None
    return stream.getvalue()


@FILES
@given(st.lists(heads, min_size=1, max_size=8), st.lists(st.lists(values, max_size=10), max_size=6))
def test_any_cells_in_a_workbook(tmp_path, head, rows):
    data = _workbook(head, rows)
    if data is not None:
        path = tmp_path / "table.xlsx"
        path.write_bytes(data)
        read_or_refuse(path)


SAMPLE = _workbook(["added_g", "date"], [["A", 1.0, 2.0, "2026-11-25"], ["B", "=1/0", "x", 46351]])


@FILES
@given(st.data())
def test_any_damage_to_a_workbook(tmp_path, data):
    """Bytes of a package changed, and bytes of its parts changed inside a sound package."""
    path = tmp_path / "table.xlsx"
    raw = bytearray(SAMPLE)
    for _ in range(data.draw(st.integers(1, 6))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(bytes(raw))
    read_or_refuse(path)
    with zipfile.ZipFile(io.BytesIO(SAMPLE)) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    name = data.draw(st.sampled_from([n for n in parts if n.startswith("xl/")]))
    part = bytearray(parts[name])
    place = data.draw(st.integers(0, max(0, len(part) - 1)))
    part[place : place + data.draw(st.integers(0, 8))] = data.draw(st.binary(max_size=8))
    with zipfile.ZipFile(path, "w") as package:
        for other, content in {**parts, name: bytes(part)}.items():
            package.writestr(other, content)
    read_or_refuse(path)


@given(values, st.sampled_from(NUMBERS), st.booleans(), st.booleans())
def test_any_cell_of_a_number_column(cell, column, comma, point):
    quantity = COLUMNS[column].quantity
    marks = Marks(comma, point)
    if isinstance(cell, str):
        marks.see(cell)
        unit_in(cell)
    try:
        number = read_number(cell, quantity, column_unit(quantity), marks)
    except CellError as error:
        refusal = (error.message, error.expected, error.remedy)
    else:
        refusal = ("read",)
        assert abs(number.value) < float("inf")
        float(number.written)
    assert all(refusal)


@given(st.lists(values, max_size=5), st.sampled_from([None, "day first", "month first"]))
def test_any_cell_of_a_date_column(cells, given_order):
    order = find_order(cells, given_order, Order().base)
    for cell in cells:
        try:
            day, _ = read_date(cell, order)
        except CellError:
            continue
        assert 1950 <= day.year < 2100


@given(st.text(max_size=40))
@example("u_")
@example("u()")
@example("/")
@example("(mL)")
def test_any_heading(text):
    heading = read_heading(text)
    assert heading.text == text
    find_unit(text)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=40))
def test_any_curve_name(tmp_path, name):
    try:
        _, path, _ = find_curve(name, tmp_path)
    except CellError:
        return
    assert path.resolve().is_relative_to(tmp_path.resolve())


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        st.binary(max_size=60), st.text(max_size=60).map(lambda t: t.encode("utf-8", "replace"))
    )
)
def test_any_readings_toml(tmp_path, data):
    (tmp_path / "readings.toml").write_bytes(data)
    try:
        read_settings(tmp_path / "table.csv")
    except TableError as error:
        refusal = str(error)
    else:
        refusal = "readings.toml"
    assert "readings.toml" in refusal


@pytest.mark.parametrize("column", NUMBERS)
def test_no_number_is_clipped(tmp_path, column):
    """Whatever is not refused comes out as it was written."""
    path = tmp_path / "table.csv"
    path.write_text(f"run,in_cup_g,{column}\nA,50,3.25\nB,50,-1e30\n", encoding="utf-8")
    table = read_table(path)
    seen = {problem.row for problem in table.problems}
    assert "B" in seen
