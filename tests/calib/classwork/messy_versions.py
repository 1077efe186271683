"""One filled template, and what becomes of it: twenty and more versions with the same numbers.

Each function takes the filled workbook's path and a folder, and leaves a file that a class might
hand in. The ones under LIBREOFFICE are made by LibreOffice itself.
"""

from __future__ import annotations

import csv
import datetime as dt
import shutil
import subprocess
import tempfile
from pathlib import Path

import openpyxl

LABELS = ["Ash", "Beech", "Elm", "Fir", "Larch", "Oak"]  # invented benches
DAY = dt.date(2026, 11, 25)
REACTION = "HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)"
COLUMNS = [
    "run", "apparatus", "date", "reaction", "in_cup", "added", "in_cup_mL", "in_cup_mol_per_L",
    "added_mL", "added_mol_per_L", "in_cup_C", "added_C", "extreme_C", "extreme_after_s", "room_C",
    "reported_kJ_per_mol",
]  # fmt: skip
READINGS = [
    ("H1", 50.0, 51.5, 21.3, 21.55, 27.9, 35, 21.0, -55.1),
    ("H2", 49.5, 50.0, 21.4, 21.2, 27.85, 40, 21.0, -54),
    ("H1", 50.5, 50.5, 21.25, 21.4, 27.8, 35, 21.1, None),
    ("H3", 50.0, 50.0, 21.3, 21.3, 28.1, 30, 21.1, -57.25),
    ("H2", 50.0, 49.0, 21.5, 21.1, 27.6, 45, 21.2, -53.9),
    ("H3", 51.0, 52.5, 20.9, 21.35, 27.75, 50, 21.2, -55.8),
]


def filled_rows():
    """The rows as a class would fill them in, in the columns' order."""
    return [
        [label, cup, DAY, REACTION, "HNO3(aq)", "KOH(aq)", v1, 1.0, v2, 1.0, t1, t2, t3, s, room, h]
        for label, (cup, v1, v2, t1, t2, t3, s, room, h) in zip(LABELS, READINGS, strict=True)
    ]


def fill(path):
    """Fill in a blank template, cell by cell, below its example row."""
    book = openpyxl.load_workbook(path)
    sheet = book["Readings"]
    for number, row in enumerate(filled_rows(), start=3):
        for column, value in enumerate(row, start=1):
            sheet.cell(number, column, value)
    book.save(path)


def _opened(source):
    book = openpyxl.load_workbook(source)
    return book, book["Readings"]


def _saved(book, folder, name="messy.xlsx"):
    path = folder / name
    book.save(path)
    return path


def _index(name):
    return COLUMNS.index(name) + 1


def _rows(source):
    return [[cell.value for cell in row] for row in _opened(source)[1].iter_rows()]


def _text(value, decimal="."):
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    if isinstance(value, int | float):
        return str(value).replace(".", decimal)
    return "" if value is None else str(value)


def _write(folder, rows, delimiter, encoding, decimal=".", name="messy.csv"):
    path = folder / name
    with path.open("w", encoding=encoding, newline="", errors="replace") as stream:
        writer = csv.writer(stream, delimiter=delimiter)
        writer.writerows([[_text(value, decimal) for value in row] for row in rows])
    return path


# --- workbooks ----------------------------------------------------------------------------------


def as_handed_out(source, folder):
    return Path(shutil.copy(source, folder / "filled.xlsx"))


def headings_renamed(source, folder):
    book, sheet = _opened(source)
    names = ["Group", "Cup", "Day", "Equation", "Liquid 1", "Liquid 2", "Volume of liquid 1 [ml]"]
    names += ["liquid 1 / mol L⁻¹", "LIQUID 2 (ML)", "Molarity of liquid 2 (mol/dm³)"]
    names += [
        "T liquid 1 (°C)",
        "Temperature liquid 2 / °C",
        "Highest reading",
        "extreme after [s]",
    ]
    names += ["Room temperature", "own answer (kJ/mol)"]
    for column, name in enumerate(names, start=1):
        sheet.cell(1, column, name)
    return _saved(book, folder)


def documented_names(source, folder):
    book, sheet = _opened(source)
    for column, name in enumerate(COLUMNS, start=1):
        sheet.cell(1, column, name.upper() if column % 2 else name)
    return _saved(book, folder)


def columns_reordered(source, folder):
    rows = _rows(source)
    order = sorted(range(len(COLUMNS)), key=lambda i: (i * 7) % len(COLUMNS))
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([row[i] for i in order])
    return _saved(book, folder)


def rows_reversed_with_gaps(source, folder):
    head, *rows = _rows(source)
    book = openpyxl.Workbook()
    for row in [
        [],
        ["Our readings"],
        [],
        head,
        *[r for pair in reversed(rows) for r in (pair, [])],
    ]:
        book.active.append(row)
    return _saved(book, folder)


def cells_merged_downwards(source, folder):
    book, sheet = _opened(source)
    for name in ("date", "reaction", "in_cup", "added", "in_cup_mol_per_L", "added_mol_per_L"):
        column = _index(name)
        sheet.merge_cells(start_row=3, end_row=8, start_column=column, end_column=column)
    room = _index("room_C")
    for first in (3, 5, 7):
        sheet.merge_cells(start_row=first, end_row=first + 1, start_column=room, end_column=room)
    return _saved(book, folder)


def headings_merged_over_two_rows(source, folder):
    head, *rows = _rows(source)
    book = openpyxl.Workbook()
    sheet = book.active
    upper = [*head[:4], "Substances", None, "In cup", None, "Added", None]
    upper += ["Before mixing", None, "Extreme", None, "Room", "Reported"]
    lower = [None] * 4 + ["in cup", "added", "mL", "mol/L", "mL", "mol/L"]
    lower += ["in cup °C", "added °C", "°C", "after (s)", "°C", "kJ/mol"]
    for row in [upper, lower, *rows]:
        sheet.append(row)
    for block in ("A1:A2", "B1:B2", "C1:C2", "D1:D2", "E1:F1", "G1:H1", "I1:J1", "K1:L1", "M1:N1"):
        sheet.merge_cells(block)
    return _saved(book, folder)


def numbers_as_text_with_commas(source, folder):
    book, sheet = _opened(source)
    for row in sheet.iter_rows(min_row=3):
        for cell in row:
            if isinstance(cell.value, int | float):
                cell.value = str(cell.value).replace(".", ",")
    return _saved(book, folder)


def units_typed_in(source, folder):
    book, sheet = _opened(source)
    units = {"in_cup_mL": " mL", "added_mL": "mL", "in_cup_C": " °C", "extreme_C": "°C"}
    units |= {"extreme_after_s": " s", "in_cup_mol_per_L": " M", "reported_kJ_per_mol": " kJ/mol"}
    for name, unit in units.items():
        for row in range(3, 9):
            cell = sheet.cell(row, _index(name))
            cell.value = None if cell.value is None else f"{cell.value}{unit}"
    return _saved(book, folder)


def other_units(source, folder):
    book, sheet = _opened(source)
    changes = {
        "in_cup_mL": ("In cup (L)", lambda v: v / 1000),
        "added_mL": ("Added / cL", lambda v: v / 10),
        "in_cup_C": ("in_cup_K", lambda v: v + 273.15),
        "added_C": ("Added (°F)", lambda v: v * 1.8 + 32),
        "extreme_after_s": ("Extreme after (min)", lambda v: v / 60),
        "reported_kJ_per_mol": ("Reported (J/mol)", lambda v: v * 1000),
        "in_cup_mol_per_L": ("In cup (mmol/L)", lambda v: v * 1000),
    }
    for name, (heading, convert) in changes.items():
        column = _index(name)
        sheet.cell(1, column, heading)
        for row in range(3, 9):
            value = sheet.cell(row, column).value
            sheet.cell(row, column).value = None if value is None else convert(value)
    return _saved(book, folder)


def dates_in_many_forms(source, folder):
    book, sheet = _opened(source)
    forms = ["25.11.2026", "25/11/2026", "25 Nov 2026", 46351, "2026-11-25T10:30", "Nov 25, 2026"]
    for row, form in enumerate(forms, start=3):
        cell = sheet.cell(row, _index("date"))
        cell.value, cell.number_format = form, "General"
    return _saved(book, folder)


def hidden_and_remarked(source, folder):
    book, sheet = _opened(source)
    sheet.row_dimensions[4].hidden = True
    sheet.column_dimensions["K"].hidden = True
    sheet.cell(1, 17, "Remark")
    sheet.cell(5, 17, "=spilt a drop")
    sheet.cell(5, 17).data_type = "s"
    sheet.cell(10, 1, "# checked by the teacher")
    sheet.cell(6, 20, "late")
    return _saved(book, folder)


def other_sheets_first(source, folder):
    book, _ = _opened(source)
    book.create_sheet("Cover", 0)["A1"] = "Thermochemistry, autumn"
    data = book.create_sheet("Logger", 1)
    data.append(["time", "temperature"])
    data.append([0, 21.3])
    return _saved(book, folder)


def pasted_twice(source, folder):
    head, example, *rows = _rows(source)
    book = openpyxl.Workbook()
    for row in [head, example, *rows[:3], head, *rows[3:]]:
        book.active.append(row)
    return _saved(book, folder)


# --- text files ---------------------------------------------------------------------------------


def csv_commas(source, folder):
    return _write(folder, _rows(source), ",", "utf-8")


def csv_semicolons_decimal_commas(source, folder):
    return _write(folder, _rows(source), ";", "utf-8-sig", ",")


def csv_cp1252(source, folder):
    return _write(folder, _rows(source), ";", "cp1252", ",")


def csv_commas_quoted_decimal_commas(source, folder):
    return _write(folder, _rows(source), ",", "utf-8", ",")


def tabs_utf16(source, folder):
    return _write(folder, _rows(source), "\t", "utf-16", ",", "messy.txt")


def csv_sep_line_and_titles(source, folder):
    path = _write(folder, [["Readings of 25 November"], [], *_rows(source)], ";", "utf-8", ",")
    path.write_bytes(b"sep=;\r\n" + path.read_bytes())
    return path


def csv_units_in_second_row(source, folder):
    head, *rows = _rows(source)
    names = [h.partition(" (")[0] if "(" in h else h for h in head]
    units = [h.partition(" (")[2].rstrip(")") for h in head]
    return _write(folder, [names, units, *rows], ",", "utf-8")


def named_csv_but_a_workbook(source, folder):
    return Path(shutil.copy(source, folder / "filled.csv"))


VERSIONS = [
    as_handed_out, headings_renamed, documented_names, columns_reordered, rows_reversed_with_gaps,
    cells_merged_downwards, headings_merged_over_two_rows, numbers_as_text_with_commas,
    units_typed_in, other_units, dates_in_many_forms, hidden_and_remarked, other_sheets_first,
    pasted_twice, csv_commas, csv_semicolons_decimal_commas, csv_cp1252,
    csv_commas_quoted_decimal_commas, tabs_utf16, csv_sep_line_and_titles, csv_units_in_second_row,
    named_csv_but_a_workbook,
]  # fmt: skip


# --- made by LibreOffice ------------------------------------------------------------------------


def office(source, folder, form, ending):
    """Have LibreOffice convert a file, with a profile of its own."""
    with tempfile.TemporaryDirectory() as profile:
        command = ["soffice", f"-env:UserInstallation={Path(profile).as_uri()}", "--headless"]
        command += ["--convert-to", form, "--outdir", str(folder), str(source)]
        subprocess.run(command, check=True, capture_output=True, timeout=240)
    return folder / f"{source.stem}.{ending}"


TEXT_FILTER = "csv:Text - txt - csv (StarCalc):{delimiter},34,{charset},1,,0,false,{shown},false"


def office_ods(source, folder):
    return office(source, folder, "ods", "ods")


def office_xls(source, folder):
    return office(source, folder, "xls", "xls")


def office_xlsx(source, folder):
    return office(source, folder, "xlsx", "xlsx")


def office_csv(source, folder):
    return office(source, folder, TEXT_FILTER.format(delimiter=44, charset=76, shown="true"), "csv")


def office_csv_german(source, folder):
    """Cells shown with a decimal comma, exported as shown, in Western Windows encoding."""
    book, sheet = _opened(source)
    for row in sheet.iter_rows(min_row=3):
        for cell in row:
            if isinstance(cell.value, int | float):
                cell.number_format = "[$-407]0.0###"
            elif isinstance(cell.value, dt.datetime):
                cell.number_format = "[$-407]dd.mm.yyyy"
    path = _saved(book, folder, "german.xlsx")
    return office(path, folder, TEXT_FILTER.format(delimiter=59, charset=1, shown="true"), "csv")


def office_merged_ods(source, folder):
    path = cells_merged_downwards(source, folder)
    return office(path, folder, "ods", "ods")


def office_calculated(source, folder):
    """Readings given as formulas, which LibreOffice calculates."""
    book, sheet = _opened(source)
    for name in ("in_cup_mL", "extreme_C"):
        for row in range(3, 9):
            cell = sheet.cell(row, _index(name))
            cell.value = f"={cell.value - 1:.6g}+1"
    path = _saved(book, folder, "formulas.xlsx")
    (folder / "out").mkdir()
    return office(path, folder / "out", "ods", "ods")


LIBREOFFICE = [
    office_ods, office_xls, office_xlsx, office_csv, office_csv_german, office_merged_ods,
    office_calculated,
]  # fmt: skip
