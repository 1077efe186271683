"""Workbooks: merged and hidden cells, errors, formulas, sheets, and packages that must not unpack."""

from __future__ import annotations

import datetime as dt
import io
import struct
import time
import zipfile
import zlib

import openpyxl
import pytest

from calib.errors import TableError
from calib.runs import read_table

HEAD = ["run", "apparatus", "date", "in_cup", "added", "in_cup_g", "added_mL", "in_cup_C"]
HEAD += ["added_C", "extreme_C", "remark"]
DAY = dt.date(2026, 11, 25)
ROWS = [
    ["K1", "H1", DAY, "water", "water", 50.12, 50.0, 21.3, 45.2, 32.6, "first"],
    ["K2", "H1", DAY, "water", "water", 49.98, 50.5, 21.4, 45.0, 32.5, None],
    ["K3", "H2", DAY, "water", "water", 50.02, 50.0, 21.4, 45.1, 32.4, 3],
]


@pytest.fixture
def book(tmp_path):
    """A workbook with the three rows; what is done to its sheet is left to the test."""

    class Book:
        def __init__(self):
            self.path = tmp_path / "table.xlsx"
            self.workbook = openpyxl.Workbook()
            self.sheet = self.workbook.active
            self.sheet.title = "Readings"
            for row in [HEAD, *ROWS]:
                self.sheet.append(row)

        def read(self, **options):
            self.workbook.save(self.path)
            return read_table(self.path, **options)

    return Book()


def test_plain_workbook(book):
    table = book.read()
    assert table.labels == ("K1", "K2", "K3")
    assert table.rows[0].date == DAY
    assert [run.extra["remark"] for run in table.rows] == ["first", "", 3]
    assert table.sheet == "Readings"
    assert table.problems == ()


def test_merged_cells_hold_for_every_row(book):
    for column in "BCDE":
        book.sheet.merge_cells(f"{column}2:{column}4")
    table = book.read()
    assert [run.apparatus for run in table.rows] == ["H1", "H1", "H1"]
    assert [run.date for run in table.rows] == [DAY] * 3
    assert any("merged cells B2:B4: their value holds" in note for note in table.notes)


def test_merged_labels_name_several_runs(book):
    book.sheet.merge_cells("A2:A4")
    table = book.read()
    assert table.labels == ("K1", "K1 (2)", "K1 (3)")
    assert table.problems == ()


def test_one_temperature_for_both_liquids(book):
    book.sheet.merge_cells("H2:I2")
    run = book.read().rows[0]
    assert (run.in_cup_C, run.added_C) == (21.3, 21.3)


def test_a_merge_across_mass_and_volume_does_not_copy(book):
    book.sheet.merge_cells("F2:G2")
    table = book.read()
    assert [(p.row, p.column) for p in table.problems] == [("K1", "added_mL")]


def test_headings_merged_over_two_rows(book):
    book.sheet.delete_rows(1)
    book.sheet.insert_rows(1, 2)
    upper = ["Run", "Apparatus", "Date", "Substances", None, "In cup", "Added"]
    upper += ["Temperatures before mixing", None, "Extreme", "Remark"]
    lower = [None, None, None, "In cup", "Added", "g", "mL", "in cup (°C)", "added (°C)", "°C"]
    for row, texts in enumerate((upper, lower), start=1):
        for column, text in enumerate(texts, start=1):
            book.sheet.cell(row, column, text)
    book.sheet.merge_cells("D1:E1")
    book.sheet.merge_cells("H1:I1")
    for column in "ABCK":
        book.sheet.merge_cells(f"{column}1:{column}2")
    table = book.read()
    assert table.labels == ("K1", "K2", "K3")
    assert (table.rows[0].in_cup_C, table.rows[0].added_C) == (21.3, 45.2)
    assert table.rows[0].in_cup == "water"
    assert table.problems == ()


def test_hidden_rows_and_columns_are_read_and_said(book):
    book.sheet.row_dimensions[3].hidden = True
    book.sheet.column_dimensions["H"].hidden = True
    table = book.read()
    assert table.labels == ("K1", "K2", "K3")
    assert "hidden rows are read like the others: 3" in table.notes
    assert "hidden columns are read like the others: in_cup_C" in table.notes


def test_a_formula_that_was_never_calculated(book):
    book.sheet["F3"] = "=25+25"
    table = book.read()
    assert table.labels == ("K1", "K3")
    (problem,) = table.problems
    assert str(problem) == (
        "row K2, column in_cup_g: cell F3 holds a formula that was never calculated; found "
        "'=25+25'; expected a value; open the workbook in a spreadsheet program and save it, or "
        "type the value"
    )


def _edit_part(path, part, old, new):
    """Change the text of one part of a package, as a spreadsheet program would have left it."""
    with zipfile.ZipFile(path) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    assert old in parts[part]
    parts[part] = parts[part].replace(old, new)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, content)


SHEET = "xl/worksheets/sheet1.xml"


def test_a_formula_with_its_value_and_one_with_an_error(book):
    book.sheet["F3"] = "=25+24.98"
    book.sheet["H4"] = "=1/0"
    book.workbook.save(book.path)
    _edit_part(book.path, SHEET, b"<f>25+24.98</f><v />", b"<f>25+24.98</f><v>49.98</v>")
    _edit_part(
        book.path, SHEET, b'r="H4"><f>1/0</f><v />', b'r="H4" t="e"><f>1/0</f><v>#DIV/0!</v>'
    )
    table = read_table(book.path)
    assert table.labels == ("K1", "K2")
    assert table.rows[1].in_cup_g == 49.98
    assert "1 cells hold formulas: the values last calculated are used" in table.notes
    assert str(table.problems[0]) == (
        "row K3, column in_cup_C: cell H4 holds a spreadsheet error; found '#DIV/0!'; expected a "
        "value; mend the formula, or type it"
    )


def test_numbers_typed_as_text_and_dates_by_mistake(book):
    book.sheet["F2"] = "50,12"
    book.sheet["H3"] = dt.date(2026, 3, 21)
    book.sheet["C4"] = 46351
    table = book.read()
    assert table.labels == ("K1", "K3")
    assert table.rows[0].in_cup_g == 50.12
    assert table.rows[1].date == DAY
    assert "cell H3 holds the date 2026-03-21" in table.problems[0].message


def test_dates_of_the_1904_system(book):
    book.workbook.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    book.sheet["C2"] = 46351 - 1462
    assert [run.date for run in book.read().rows] == [DAY] * 3


def test_the_first_sheet_with_headings_is_taken_and_said(book):
    cover = book.workbook.create_sheet("Cover", 0)
    cover["A1"] = "Our class of 2026"
    copy = book.workbook.copy_worksheet(book.sheet)
    copy.title = "Old readings"
    table = book.read()
    assert table.sheet == "Readings"
    assert table.notes[0] == (
        "sheet 'Readings' of 3 read as the table of runs; 'Old readings' could be one too: name it "
        "to read it"
    )
    assert read_table(book.path, sheet="Old readings").sheet == "Old readings"
    with pytest.raises(TableError, match=r"there is no sheet 'X'; it has Cover, Readings, Old"):
        read_table(book.path, sheet="X")


def test_hidden_sheets_come_last(book):
    copy = book.workbook.copy_worksheet(book.sheet)
    copy.title = "Shown"
    book.sheet.sheet_state = "hidden"
    book.workbook.active = 1
    assert book.read().sheet == "Shown"


def test_remarks_beside_the_table_are_carried(book):
    book.sheet["M3"] = "spilt"
    table = book.read()
    assert table.rows[1].extra["(column M)"] == "spilt"
    assert table.problems == ()


def test_the_file_says_what_it_is_whatever_its_name(book, tmp_path):
    book.workbook.save(tmp_path / "table.csv")
    assert read_table(tmp_path / "table.csv").labels == ("K1", "K2", "K3")


# --- packages that must not be unpacked ---------------------------------------------------------


def _package(parts):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return stream.getvalue()


def refusal(path, data):
    path.write_bytes(data)
    start = time.process_time()
    with pytest.raises(TableError) as caught:
        read_table(path)
    assert time.process_time() - start < 10.0
    return str(caught.value).removeprefix(f"{path}: ")


def test_a_workbook_that_unpacks_to_a_gigabyte(tmp_path):
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package,
        package.open(SHEET, "w", force_zip64=True) as part,
    ):
        for _ in range(1000):
            part.write(b" " * 1_000_000)
    message = refusal(tmp_path / "bomb.xlsx", stream.getvalue())
    assert message.startswith("refused before unpacking: ")
    assert "would unpack to 1,000,000,000" in message


def test_a_directory_that_lies_about_sizes(tmp_path):
    content = b"<x/>" + b" " * 50_000_000
    data = bytearray(_package({SHEET: content}))
    directory = data.rfind(b"PK\x01\x02")
    for offset in (directory + 24, 22):  # uncompressed size, in the directory and in the header
        struct.pack_into("<I", data, offset, 100)
    short = zlib.crc32(content[:100])
    for offset in (directory + 16, 14):
        struct.pack_into("<I", data, offset, short)
    assert "larger than its directory says" in refusal(tmp_path / "liar.xlsx", bytes(data))


def test_a_package_of_thousands_of_parts(tmp_path):
    data = _package({f"part{n}.xml": b"" for n in range(6000)})
    assert "it has 6,000 parts" in refusal(tmp_path / "many.xlsx", data)


def test_a_far_off_cell_does_not_make_a_table_of_billions(book):
    book.sheet["XFD1048576"] = "x"
    book.workbook.save(book.path)
    with pytest.raises(TableError, match=r"sheet 'Readings' reaches as far as cell XFD1048576"):
        read_table(book.path)


def test_a_far_off_cell_on_another_sheet_costs_that_sheet_alone(book):
    book.workbook.create_sheet("Far")["XFD1048576"] = "x"
    table = book.read()
    assert table.labels == ("K1", "K2", "K3")
    assert any("sheet 'Far' reaches as far as" in note for note in table.notes)


def test_formatting_far_off_does_no_harm(book):
    book.sheet["XFD1048576"].number_format = "0.0"
    assert book.read().labels == ("K1", "K2", "K3")


ODS_HEAD = (
    '<?xml version="1.0"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.3">'
    '<office:body><office:spreadsheet><table:table table:name="Readings">'
)
ODS_TAIL = "</table:table></office:spreadsheet></office:body></office:document-content>"
ODS_TYPE = "application/vnd.oasis.opendocument.spreadsheet"
ODS_MANIFEST = (
    '<?xml version="1.0"?><manifest:manifest '
    'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">'
    f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{ODS_TYPE}"/>'
    "</manifest:manifest>"
)


def _ods(body):
    return _package(
        {
            "mimetype": ODS_TYPE,
            "META-INF/manifest.xml": ODS_MANIFEST,
            "content.xml": ODS_HEAD + body + ODS_TAIL,
        }
    )


def test_an_ods_cell_repeated_a_billion_times(tmp_path):
    body = (
        '<table:table-row table:number-rows-repeated="1000000"><table:table-cell '
        'table:number-columns-repeated="16000" office:value-type="float" office:value="1">'
        "<text:p>1</text:p></table:table-cell></table:table-row>"
    )
    message = refusal(tmp_path / "repeat.ods", _ods(body))
    assert message.startswith("sheet 'Readings' reaches as far as cell WQJ1000000")


def test_an_ods_made_by_a_program(tmp_path):
    """Formulas without values, merged, repeated and hidden cells, as no office program wrote them."""

    def cell(value, **attributes):
        more = "".join(f' table:{k.replace("_", "-")}="{v}"' for k, v in attributes.items())
        if value is None:
            return f"<table:table-cell{more}/>"
        if isinstance(value, float):
            more += f' office:value-type="float" office:value="{value}"'
            return f"<table:table-cell{more}><text:p>{value}</text:p></table:table-cell>"
        more += ' office:value-type="string"'
        return f"<table:table-cell{more}><text:p>{value}</text:p></table:table-cell>"

    heads = ["run", "in_cup_g", "added_g", "in_cup_C", "added_C", "extreme_C"]
    covered = "<table:covered-table-cell/>"
    twice = cell(50.0, number_columns_repeated=2)
    never = cell(None, formula="of:=[.F2]")
    rows = [
        [cell(head) for head in heads],
        [cell("A"), twice, cell(21.0, number_rows_spanned=3), cell(45.0), cell(32.0)],
        [cell("B"), twice, covered, cell(45.0), never],
        [cell("C"), twice, covered, cell(45.0), cell(33.0)],
    ]
    hidden = ["", "", "", ' table:visibility="collapse"']
    body = '<table:table-column table:number-columns-repeated="6"/>' + "".join(
        f"<table:table-row{more}>{''.join(row)}</table:table-row>"
        for more, row in zip(hidden, rows, strict=True)
    )
    body += '<table:table-row table:number-rows-repeated="1048000">'
    body += '<table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
    path = tmp_path / "made.ods"
    path.write_bytes(_ods(body))
    table = read_table(path)
    assert [(r.run, r.added_g, r.in_cup_C, r.extreme_C) for r in table.rows] == [
        ("A", 50.0, 21.0, 32.0),
        ("C", 50.0, 21.0, 33.0),
    ]
    (problem,) = table.problems
    assert (problem.row, problem.found) == ("B", "'=[.F2]'")
    assert problem.message == "cell F3 holds a formula that was never calculated"
    assert "hidden rows are read like the others: 4" in table.notes


def test_declared_entities_are_refused(tmp_path):
    content = (
        '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
        "<x>&b;</x>"
    )
    data = _package({"mimetype": ODS_TYPE, "content.xml": content})
    assert "declares entities, which is refused" in refusal(tmp_path / "entities.ods", data)


def test_an_outside_entity_fetches_nothing(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("hidden", encoding="utf-8")
    content = f'<!DOCTYPE x [<!ENTITY a SYSTEM "{secret.as_uri()}">]><x>&a;</x>'
    data = _package({"xl/workbook.xml": content, "xl/_rels/workbook.xml.rels": content})
    message = refusal(tmp_path / "outside.xlsx", data)
    assert "declares entities" in message
    assert "hidden" not in message


def test_workbooks_with_a_password(tmp_path):
    entry = '<manifest:file-entry manifest:full-path="content.xml"><manifest:encryption-data/>'
    manifest = ODS_MANIFEST.replace(
        "</manifest:manifest>", entry + "</manifest:file-entry></manifest:manifest>"
    )
    parts = {"META-INF/manifest.xml": manifest, "content.xml": bytes(range(256))}
    message = "the workbook has a password; save it without one"
    assert refusal(tmp_path / "locked.ods", _package(parts)) == message
    compound = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000)
    compound += "EncryptedPackage".encode("utf-16-le") + bytes(1000)
    assert refusal(tmp_path / "locked.xlsx", compound) == message


def test_a_zip_that_is_no_workbook(tmp_path):
    data = _package({"notes.txt": "hello"})
    assert refusal(tmp_path / "notes.xlsx", data).startswith("a zip file, but no workbook")


def test_a_cut_off_workbook(book):
    book.workbook.save(book.path)
    data = book.path.read_bytes()
    for share in (0.1, 0.5, 0.9, 0.999):
        assert "damaged workbook" in refusal(book.path, data[: int(len(data) * share)])


def test_an_old_compound_file_with_nothing_in_it(tmp_path):
    data = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2000)
    assert "cannot be read as a workbook" in refusal(tmp_path / "old.xls", data)


def test_ten_thousand_rows_take_seconds(tmp_path):
    workbook = openpyxl.Workbook(write_only=True)
    sheet = workbook.create_sheet("Readings")
    sheet.append(HEAD)
    for number in range(10_000):
        sheet.append([f"K{number}", *ROWS[0][1:]])
    path = tmp_path / "long.xlsx"
    workbook.save(path)
    start = time.process_time()
    table = read_table(path)
    assert time.process_time() - start < 25.0  # 3 to 5 s of a shared core
    assert len(table.rows) == 10_000
