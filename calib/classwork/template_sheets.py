"""The sheets of a template's workbook: readings, how to fill them in, lists to choose from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calib.runs.columns import COLUMNS, SOLID_C
from calib.runs.grid import column_letters
from calib.runs.model import CellValue
from calib.runs.writer import saved, set_text

BLANK_TABLE = "blank table"
"""What a template is called as an output."""

HEADINGS: Mapping[str, str] = {
    "run": "Run",
    "apparatus": "Apparatus",
    "date": "Date",
    "reaction": "Reaction",
    "in_cup": "In cup",
    "added": "Added",
    "in_cup_mL": "In cup (mL)",
    "in_cup_g": "In cup (g)",
    "in_cup_mol_per_L": "In cup (mol/L)",
    "added_mL": "Added (mL)",
    "added_g": "Added (g)",
    "added_mol_per_L": "Added (mol/L)",
    "in_cup_C": "In cup (°C)",
    "added_C": "Added (°C)",
    "extreme_C": "Extreme (°C)",
    "extreme_after_s": "Extreme after (s)",
    "curve": "Curve",
    "mixed_at_s": "Mixed at (s)",
    "room_C": "Room (°C)",
    "heater_V": "Heater (V)",
    "heater_A": "Heater (A)",
    "heater_s": "Heater (s)",
    "reported_kJ_per_mol": "Reported (kJ/mol)",
}
"""The heading of each column in a template."""

CAUTIONS = (
    "Before anything is poured: read the safety data sheet of every substance, follow the local "
    "rules and risk assessment, and ask qualified staff where in doubt.",
    "Wear eye protection. Acids, bases and oxidisers attack skin and eyes; ammonia vapour needs "
    "ventilation; dilute an acid by adding it to water, never the other way round.",
    "Hot metal, heaters and hot water scald and soften foam cups; thermometers and glass rods "
    "break: stir with something that does not.",
)
"""The usual cautions; they point to the documents and people that decide."""

_STEPS = (
    "One row per run. Fill in the sheet 'Readings'; leave blank what was not measured.",
    "Numbers alone: the unit stands in the heading. A decimal point and a decimal comma are both "
    "read. Write all the digits the display shows, zeros too.",
    "The grey row is an example and is not read.",
    "Choose the apparatus from the list in its cell; write dates as 2026-11-25.",
    "Substances carry their state: HCl(aq), KNO3(s), Cu(s), water.",
    "Read both liquids' temperatures just before mixing, each in its own vessel.",
    "Extreme is the highest (or lowest) reading after mixing; 'Extreme after' is how many seconds "
    "after mixing it was read.",
    "Columns may be moved, and columns of your own added: they are carried through.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What the sheets need beside their rows: cups to choose from, and each side's substance."""

    cups: Sequence[str]
    substances: Mapping[str, str | None]
    cautions: Sequence[str]


def workbook(columns: Sequence[str], rows: Sequence[Sequence[CellValue]], form: Form) -> bytes:
    """The bytes of a workbook with these rows under the headings of these columns."""
    from openpyxl import Workbook

    book = Workbook()
    readings = book.active
    readings.title = "Readings"
    _fill_readings(readings, columns, rows)
    _fill_help(book.create_sheet("How to fill in"), columns, form)
    cups = [" ".join(str(cup).split()) for cup in form.cups]
    if cups:
        _fill_lists(book.create_sheet("Lists"), cups)
    _restrict(readings, columns, len(rows) + 1, cups, form)
    return saved(book, BLANK_TABLE)


def _put(sheet: Any, row: int, column: int, value: CellValue) -> Any:
    cell = sheet.cell(row=row, column=column)
    if isinstance(value, str):
        set_text(cell, value)
    else:
        cell.value = value
    return cell


# At least the digits of a usual display, and never fewer than were typed.
_FORMATS = {
    "temperature": "0.0###",
    "volume": "0.0###",
    "mass": "0.00###",
    "concentration": "0.000###",
}


def _fill_readings(sheet: Any, columns: Sequence[str], rows: Sequence[Sequence[CellValue]]) -> None:
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

    line = Border(bottom=Side(style="thin"))
    grey = PatternFill("solid", fgColor="FFE8E8E8")
    for index, name in enumerate(columns, start=1):
        cell = _put(sheet, 1, index, HEADINGS[name])
        cell.font, cell.border = Font(bold=True), line
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        longest = max(len(str(row[index - 1] or "")) for row in rows)
        sheet.column_dimensions[column_letters(index - 1)].width = max(11, min(44, longest + 3))
    for number, row in enumerate(rows, start=2):
        for index, value in enumerate(row, start=1):
            cell = _put(sheet, number, index, value)
            column = COLUMNS[columns[index - 1]]
            cell.number_format = (
                "yyyy-mm-dd"
                if column.kind == "date"
                else _FORMATS.get(str(column.quantity), "General")
            )
            if column.kind != "number":
                cell.alignment = Alignment(horizontal="left")
            if number == 2:
                cell.fill, cell.font = grey, Font(italic=True, color="FF404040")
    sheet.row_dimensions[1].height = 32.0
    sheet.freeze_panes = "B2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _limits(name: str, form: Form) -> tuple[float, float] | None:
    column = COLUMNS[name]
    if column.kind != "number" or column.high >= 1e6:
        return None
    substance = form.substances.get(name[:-2]) if name in ("in_cup_C", "added_C") else None
    if substance is not None and substance.strip().endswith("(s)"):
        return SOLID_C
    return column.low, column.high


def _allowed(name: str, form: Form) -> str:
    limits = _limits(name, form)
    if limits is None:
        return ""
    column = COLUMNS[name]
    first = "above" if column.low_open else "from"
    return f"{first} {limits[0]:g} to {limits[1]:g} {column.unit}"


def _restrict(
    sheet: Any, columns: Sequence[str], last: int, cups: Sequence[str], form: Form
) -> None:
    """Lists and limits on the cells of each column, with a warning that can be overruled."""
    for index, name in enumerate(columns):
        rule = _rule(name, cups, form)
        if rule is None:
            continue
        letters = column_letters(index)
        rule.add(f"{letters}2:{letters}{last + 50}")
        rule.errorStyle = "warning"
        rule.showErrorMessage = rule.showInputMessage = True
        rule.errorTitle = rule.promptTitle = HEADINGS[name][:32]
        sheet.add_data_validation(rule)


def _rule(name: str, cups: Sequence[str], form: Form) -> Any:
    from openpyxl.worksheet.datavalidation import DataValidation

    column = COLUMNS[name]
    if name == "apparatus" and cups:
        rule = DataValidation(type="list", formula1=f"Lists!$A$2:$A${len(cups) + 1}")
        rule.error = "This apparatus is not in the list. Keep it?"
        rule.prompt = "Choose from the list."
        return rule
    if name == "date":
        rule = DataValidation(type="date", operator="greaterThan", formula1="36526")
        rule.error, rule.prompt = "This is not a date. Keep it?", "A date such as 2026-11-25."
        return rule
    limits = _limits(name, form)
    if limits is None:
        return None
    low, high = (f"{limit:g}" for limit in limits)
    rule = DataValidation(type="decimal", operator="between", formula1=low, formula2=high)
    rule.error = f"Expected a number {_allowed(name, form)}. Keep it?"
    rule.prompt = f"{column.meaning[0].upper()}{column.meaning[1:]}, in {column.unit}."
    return rule


def _fill_help(sheet: Any, columns: Sequence[str], form: Form) -> None:
    from openpyxl.styles import Alignment, Font

    def line(text: str, bold: bool = False) -> None:
        number = sheet.max_row + 1 if sheet["A1"].value else 1
        cell = _put(sheet, number, 1, text)
        cell.font, cell.alignment = Font(bold=bold), Alignment(wrap_text=True, vertical="top")
        sheet.merge_cells(start_row=number, end_row=number, start_column=1, end_column=3)
        sheet.row_dimensions[number].height = 15.0 * (1 + len(text) // 85)

    line("How to fill in the readings", bold=True)
    for number, text in enumerate(_STEPS, start=1):
        line(f"{number}. {text}")
    line("Cautions", bold=True)
    for text in dict.fromkeys((*CAUTIONS, *form.cautions)):
        line(text)
    line("What each heading means", bold=True)
    for name in columns:
        row = sheet.max_row + 1
        meaning = COLUMNS[name].meaning
        for index, text in enumerate((f"{HEADINGS[name]}:", meaning, _allowed(name, form)), 1):
            _put(sheet, row, index, text)
    for letters, width in (("A", 22), ("B", 50), ("C", 32)):
        sheet.column_dimensions[letters].width = width
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _fill_lists(sheet: Any, cups: Sequence[str]) -> None:
    from openpyxl.styles import Font

    _put(sheet, 1, 1, "Apparatus on the registry").font = Font(bold=True)
    for row, cup in enumerate(cups, start=2):
        _put(sheet, row, 1, cup)
    sheet.column_dimensions["A"].width = 30
