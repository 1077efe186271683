"""The blank table: what is in it, and that whatever comes back gives the same numbers."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import openpyxl
import pytest

from calib.classwork.template import HEADINGS, TemplatePlan, write_template
from calib.errors import InputError, OutputError
from calib.outputs import Outputs
from calib.runs import read_table
from calib.runs.columns import COLUMNS
from calib.runs.headers import read_heading

_spec = importlib.util.spec_from_file_location(
    "messy_versions", Path(__file__).with_name("messy_versions.py")
)
messy = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(messy)

PLAN = TemplatePlan(
    benches=messy.LABELS,
    cups=["H1", "H2", "H3", "=H4"],
    reaction=messy.REACTION,
    in_cup="HNO3(aq)",
    added="KOH(aq)",
    day=messy.DAY,
    filled={"in_cup_mol_per_L": 1.0, "added_mol_per_L": 1.0},
    cautions=["Potassium hydroxide solution: corrosive."],
)


@pytest.fixture
def blank(tmp_path):
    path = tmp_path / "blank.xlsx"
    write_template(path, PLAN)
    return path


@pytest.fixture
def filled(blank):
    messy.fill(blank)
    return blank


def numbers(table):
    """Every documented column of every row, in the order of the labels."""
    rows = {run.run: [getattr(run, name) for name in messy.COLUMNS] for run in table.rows}
    return {label: rows.get(label) for label in messy.LABELS}


EXPECTED = {row[0]: row for row in messy.filled_rows()}


def same(found, expected):
    for label, row in expected.items():
        assert found[label] is not None, f"{label} is lost"
        for name, one, other in zip(messy.COLUMNS, found[label], row, strict=True):
            if isinstance(other, float | int) and one is not None:
                assert one == pytest.approx(other, rel=1e-12, abs=1e-9), (label, name)
            else:
                assert one == other, (label, name)


# --- what a class hands in ----------------------------------------------------------------------


def test_there_are_twenty_versions_and_more():
    assert len(messy.VERSIONS) + len(messy.LIBREOFFICE) >= 20


@pytest.mark.parametrize("version", messy.VERSIONS, ids=lambda v: v.__name__)
def test_messy_versions_give_the_same_numbers(version, filled, tmp_path):
    (tmp_path / "out").mkdir()
    table = read_table(version(filled, tmp_path / "out"))
    assert table.problems == ()
    same(numbers(table), EXPECTED)
    assert len(table.rows) == len(messy.LABELS)


@pytest.mark.libreoffice
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
@pytest.mark.parametrize("version", messy.LIBREOFFICE, ids=lambda v: v.__name__)
def test_versions_made_by_libreoffice_give_the_same_numbers(version, filled, tmp_path):
    (tmp_path / "office").mkdir()
    table = read_table(version(filled, tmp_path / "office"))
    assert table.problems == ()
    same(numbers(table), EXPECTED)
    assert len(table.rows) == len(messy.LABELS)


@pytest.mark.libreoffice
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_an_error_cell_of_libreoffice_is_named(filled, tmp_path):
    book = openpyxl.load_workbook(filled)
    book["Readings"]["M4"] = "=1/0"
    book.save(tmp_path / "error.xlsx")
    for ending in ("xlsx", "ods"):
        (tmp_path / ending).mkdir()
        table = read_table(messy.office(tmp_path / "error.xlsx", tmp_path / ending, ending, ending))
        (problem,) = table.problems
        assert (problem.row, problem.column, problem.found) == ("Beech", "extreme_C", "'#DIV/0!'")
        assert problem.message == "cell M4 holds a spreadsheet error"


def test_the_example_row_is_not_read(filled):
    table = read_table(filled)
    assert "the template's example is passed over (row 2: 'example (not read)')" in table.notes


def test_benches_that_stayed_away_are_passed_over(blank, tmp_path):
    messy.fill(blank)
    book = openpyxl.load_workbook(blank)
    for column in range(7, 17):
        book["Readings"].cell(5, column).value = None
    book.save(blank)
    table = read_table(blank)
    assert "Elm" not in table.labels
    assert table.problems == ()
    assert "rows without any reading are passed over (Elm)" in table.notes


def test_a_bench_that_stopped_half_way_is_named(filled):
    book = openpyxl.load_workbook(filled)
    book["Readings"].cell(5, messy.COLUMNS.index("extreme_C") + 1).value = None
    book.save(filled)
    (problem,) = read_table(filled).problems
    assert (problem.row, problem.column) == ("Elm", "extreme_C")
    assert problem.message.startswith("cell M5: ")


# --- what is handed out -------------------------------------------------------------------------


@pytest.mark.parametrize("name", COLUMNS)
def test_every_heading_is_read_as_its_column(name):
    heading = read_heading(HEADINGS[name])
    assert heading.name == name
    assert heading.unit is None or heading.unit.is_column_unit


def test_the_workbook_has_readings_help_and_lists(blank):
    book = openpyxl.load_workbook(blank)
    assert book.sheetnames == ["Readings", "How to fill in", "Lists"]
    assert [cell.value for cell in book["Lists"]["A"]] == [
        "Apparatus on the registry", "H1", "H2", "H3", "=H4",
    ]  # fmt: skip
    assert {cell.data_type for cell in book["Lists"]["A"]} == {"s"}
    assert [cell.value for cell in book["Readings"][1]] == [HEADINGS[c] for c in messy.COLUMNS]
    assert [row[0].value for row in book["Readings"].iter_rows(min_row=3)] == messy.LABELS


def test_lists_and_limits_are_on_the_cells(blank):
    sheet = openpyxl.load_workbook(blank)["Readings"]
    rules = {str(rule.sqref).split("2")[0]: rule for rule in sheet.data_validations.dataValidation}
    assert rules["B"].type == "list"
    assert rules["B"].formula1 == "Lists!$A$2:$A$5"
    assert rules["C"].type == "date"
    assert (rules["K"].type, rules["K"].formula1, rules["K"].formula2) == ("decimal", "0", "100")
    assert rules["K"].error == "Expected a number from 0 to 100 °C. Keep it?"
    assert all(rule.errorStyle == "warning" for rule in rules.values())


def test_the_help_sheet_points_to_those_who_decide(blank):
    sheet = openpyxl.load_workbook(blank)["How to fill in"]
    text = " ".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value)
    for words in ("safety data sheet", "local rules", "qualified staff", "eye protection"):
        assert words in text
    assert "Potassium hydroxide solution: corrosive." in text
    assert "from 0 to 100 °C" in text


def test_nothing_in_it_starts_a_formula(tmp_path):
    plan = TemplatePlan(benches=["=1+1", "@x"], cups=["=cmd"], reaction="=x", cautions=["=y"])
    write_template(tmp_path / "t.xlsx", plan)
    for sheet in openpyxl.load_workbook(tmp_path / "t.xlsx"):
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
    assert write_template(tmp_path / "t.csv", plan).notes


def test_as_csv(tmp_path):
    write_template(tmp_path / "t.csv", PLAN, delimiter=";")
    lines = (tmp_path / "t.csv").read_text("utf-8-sig").splitlines()
    assert lines[0].split(";") == [HEADINGS[name] for name in messy.COLUMNS]
    assert len(lines) == 2 + len(messy.LABELS)
    assert read_table(tmp_path / "t.csv").columns == tuple(messy.COLUMNS)


@pytest.mark.parametrize(
    ("options", "present", "absent"),
    [
        ({"added": "KNO3(s)", "in_cup": "water"}, {"in_cup_mL", "added_g"},
         {"added_mL", "added_mol_per_L", "in_cup_mol_per_L"}),
        ({"weighed": True}, {"in_cup_g", "added_g"}, {"in_cup_mL", "added_mL"}),
        ({"curves": True}, {"curve", "mixed_at_s"}, set()),
        ({"heater": True, "in_cup": "water"}, {"heater_V", "heater_A", "heater_s", "in_cup_mL"},
         {"added", "added_C", "reaction", "reported_kJ_per_mol"}),
        ({"reported": False}, set(), {"reported_kJ_per_mol"}),
    ],
)  # fmt: skip
def test_columns_follow_the_plan(options, present, absent):
    columns = set(TemplatePlan(benches=3, **options).columns())
    assert present <= columns
    assert not absent & columns


def test_a_hot_solid_has_wider_limits(tmp_path):
    plan = TemplatePlan(benches=2, in_cup="water", added="Cu(s)")
    write_template(tmp_path / "t.xlsx", plan)
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx")["Readings"]
    errors = [rule.error for rule in sheet.data_validations.dataValidation]
    assert "Expected a number from -200 to 1200 °C. Keep it?" in errors


@pytest.mark.parametrize(
    ("benches", "message"),
    [
        (0, "0 benches: expected a number from 1 to 2000"),
        (-3, "-3 benches: expected a number from 1 to 2000"),
        (5000, "5000 benches: expected a number from 1 to 2000"),
        ([], "expected 1 to 2000 bench labels, none of them blank"),
        (["A", " "], "expected 1 to 2000 bench labels, none of them blank"),
        (["A", "B", "A "], "bench label 'A' is given twice; make every label unique"),
    ],
)
def test_impossible_benches(tmp_path, benches, message):
    with pytest.raises(InputError) as caught:
        write_template(tmp_path / "t.xlsx", TemplatePlan(benches=benches))
    assert str(caught.value) == message
    assert list(tmp_path.iterdir()) == []


def test_unknown_columns_to_fill_in(tmp_path):
    with pytest.raises(InputError, match="'colour' is no column to fill in; known: run"):
        write_template(tmp_path / "t.xlsx", TemplatePlan(benches=2, filled={"colour": "red"}))


def test_a_filled_in_file_is_not_written_over(filled):
    held = filled.read_bytes()
    with pytest.raises(OutputError, match=r"is there already and .* was changed since; .*--overw"):
        write_template(filled, PLAN)
    assert filled.read_bytes() == held
    write_template(filled, PLAN, outputs=Outputs(overwrite=True))


@pytest.mark.parametrize("name", ["t.xlsx", "t.csv", "t.tsv"])
def test_a_blank_one_is_replaced_freely_until_somebody_writes_into_it(tmp_path, name):
    plan = TemplatePlan(benches=3, in_cup="HNO3(aq)", added="KOH(aq)", filled={"room_C": 21.5})
    path = tmp_path / name
    for _ in range(2):
        write_template(path, plan, delimiter=";")
    if name == "t.xlsx":
        book = openpyxl.load_workbook(path)
        book["Readings"]["B4"] = "H1"
        book.save(path)
    else:
        text = path.read_text(encoding="utf-8-sig")
        mark = "\t" if name == "t.tsv" else ";"
        path.write_text(text.replace(f"Bench 2{mark}", f"Bench 2{mark}H1"), encoding="utf-8")
    held = path.read_bytes()
    with pytest.raises(OutputError, match="was changed since"):
        write_template(path, plan)
    assert path.read_bytes() == held


def test_many_benches(tmp_path):
    write_template(tmp_path / "t.xlsx", TemplatePlan(benches=300))
    assert openpyxl.load_workbook(tmp_path / "t.xlsx")["Readings"].max_row == 302


@pytest.mark.long
@pytest.mark.libreoffice
def test_every_version_gives_the_same_enthalpies(filled, tmp_path):
    """Not the readings alone: what the class is told is the same too."""
    from calib.enthalpy import FixedConstants, evaluate

    if shutil.which("soffice") is None and shutil.which("libreoffice") is None:
        pytest.skip("LibreOffice is not installed")
    cups = FixedConstants(dict.fromkeys(("H1", "H2", "H3"), (12.0, 0.5)))

    def results(path):
        report = evaluate(read_table(path), cups)
        assert report.results
        return {one.run.run: one.result.value for one in report.results}

    expected = results(filled)
    for version in (*messy.VERSIONS, *messy.LIBREOFFICE):
        folder = tmp_path / version.__name__
        folder.mkdir()
        found = results(version(filled, folder))
        assert found == pytest.approx(expected, rel=1e-6), version.__name__
