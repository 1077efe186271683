"""``cupledger template``: what it writes comes back through ``cupledger enthalpy``."""

from __future__ import annotations

import shutil
import subprocess

import openpyxl
import pytest

HEADER = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C"
GOOD = "{},P1,2026-09-01,water,water,100,100,21.0,50.0,35.0"
CLASS = ("--reaction", "HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)", "--in-cup", "HNO3(aq)",
         "--added", "KOH(aq)", "--fill", "in_cup_mol_per_L=1.0", "--fill",
         "added_mol_per_L=1.05", "--date", "2026-10-01")  # fmt: skip


@pytest.fixture
def school(cups, tmp_path):
    table = tmp_path / "cal.csv"
    table.write_text("\n".join([HEADER, *(GOOD.format(n) for n in "abc")]) + "\n", "utf-8")
    assert cups("calibrate", table, "--approve", "--reason", "test").code == 0
    return cups


def fill(path, benches=3):
    """What benches type: by heading, with their own digits."""
    book = openpyxl.load_workbook(path)
    sheet = book["Readings"]
    place = {cell.value: cell.column for cell in sheet[1]}
    for number in range(benches):
        row = 3 + number
        typed = {"Apparatus": "P1", "In cup (mL)": 50.0, "Added (mL)": 50.0 + number,
                 "In cup (°C)": 21.3, "Added (°C)": 21.5, "Extreme (°C)": 27.9 + 0.1 * number,
                 "Extreme after (s)": 40, "Room (°C)": 21.0}  # fmt: skip
        for heading, value in typed.items():
            sheet.cell(row=row, column=place[heading], value=value)
    book.save(path)


def results(school, path):
    done = school("enthalpy", path, "--json")
    assert done.code == 0, done.err
    return [(r["run"], r["apparatus"], r["rise_K"], r["dH_kJ_per_mol"], r["u_dH_kJ_per_mol"])
            for r in done.json["runs"]]  # fmt: skip


def test_a_template_comes_back_as_runs(school, tmp_path):
    path = tmp_path / "class.xlsx"
    done = school("template", path, "--benches", "3", *CLASS)
    assert done.code == 0
    for words in ("3 benches", "P1, P2", "Caution", "safety data sheet"):
        assert words in done.out
    fill(path)
    found = results(school, path)
    assert [line[0] for line in found] == ["Bench 1", "Bench 2", "Bench 3"]
    assert all(-65 < line[3] < -50 for line in found)


def test_its_lists_units_limits_example_and_instructions(school, tmp_path):
    path = tmp_path / "class.xlsx"
    school("template", path, "--labels", "Larch, Fennel", *CLASS)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["Readings", "How to fill in", "Lists"]
    sheet = book["Readings"]
    headings = [cell.value for cell in sheet[1]]
    assert "In cup (°C)" in headings
    assert "Added (mol/L)" in headings
    assert [sheet.cell(row=n, column=1).value for n in (3, 4)] == ["Larch", "Fennel"]
    assert "example" in str(sheet.cell(row=2, column=1).value).casefold()
    rules = sheet.data_validations.dataValidation
    assert any(rule.type == "list" and "Lists!" in rule.formula1 for rule in rules)
    assert any(rule.type == "decimal" for rule in rules)
    assert [cell.value for cell in book["Lists"]["A"]] == ["Apparatus on the registry", "P1", "P2"]
    help_text = " ".join(str(cell.value) for row in book["How to fill in"] for cell in row)
    assert "corrosive" in help_text or "blinds" in help_text
    assert "safety data sheet" in help_text


def test_retired_cups_are_not_in_the_list(cups, tmp_path):
    assert cups("apparatus", "retire", "P2", "--reason", "cracked").code == 0
    facts = cups("template", tmp_path / "t.xlsx", "--benches", "2", "--json").json
    assert facts["cups"] == ["P1"]


def test_without_a_registry_it_is_written_and_says_what_is_missing(
    cupledger, tmp_path, monkeypatch
):
    """The default place may be empty as yet; a place that somebody named must be there."""
    words = ("template", tmp_path / "t.csv", "--benches", "4", "--in-cup", "water", "--added",
             "KNO3(s)")  # fmt: skip
    done = cupledger(*words, "--registry", tmp_path / "none.sqlite")
    assert done.code == 2
    assert "none.sqlite" in done.err
    assert not (tmp_path / "t.csv").exists()
    monkeypatch.delenv("CUPLEDGER_REGISTRY")
    monkeypatch.setattr("platformdirs.user_data_path", lambda *a, **k: tmp_path / "data")
    done = cupledger(*words)
    assert done.code == 0
    assert "apparatus add" in done.err
    assert "Added (g)" in (tmp_path / "t.csv").read_text(encoding="utf-8-sig")
    assert not (tmp_path / "data").exists()


def test_csv_for_a_continental_spreadsheet(school, tmp_path):
    path = tmp_path / "t.csv"
    done = school("template", path, "--benches", "2", "--delimiter", ";", *CLASS)
    assert done.code == 0
    assert path.read_text(encoding="utf-8-sig").splitlines()[0].startswith("Run;Apparatus;")
    done = school("enthalpy", path)
    assert done.code == 2  # nothing is filled in yet, and that is said
    assert "Traceback" not in done.err


@pytest.mark.libreoffice
@pytest.mark.parametrize("form", ["ods", "xlsx", "csv"])
def test_a_template_saved_by_another_program_gives_the_same_numbers(school, tmp_path, form):
    office = shutil.which("soffice") or shutil.which("libreoffice")
    if office is None:
        pytest.skip("LibreOffice is not installed")
    path = tmp_path / "class.xlsx"
    school("template", path, "--benches", "3", *CLASS)
    fill(path)
    out = tmp_path / "saved"
    subprocess.run(
        [office, f"-env:UserInstallation={(tmp_path / 'office').as_uri()}", "--headless",
         "--convert-to", form, "--outdir", str(out), str(path)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    assert results(school, out / f"class.{form}") == results(school, path)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["t.xlsx"], "--benches"),
        (["t.xlsx", "--benches", "0"], "0 benches"),
        (["t.xlsx", "--benches", "100000"], "2000"),
        (["t.xlsx", "--labels", "Larch, Larch"], "twice"),
        (["t.xlsx", "--benches", "2", "--labels", "a"], "--benches"),
        (["t.docx", "--benches", "2"], "ending"),
        (["t.xlsx", "--benches", "2", "--in-cup", "unobtainium"], "unobtainium"),
        (["t.xlsx", "--benches", "2", "--reaction", "HCl -> Cl2"], "H"),
        (["t.xlsx", "--benches", "2", "--fill", "colour=red"], "colour"),
        (["t.xlsx", "--benches", "2", "--fill", "in_cup_C=hot"], "no number"),
        (["t.xlsx", "--benches", "2", "--fill", "in_cup_C=900"], "0 to 100"),
        (["t.xlsx", "--benches", "2", "--date", "soon"], "soon"),
        (["missing/t.xlsx", "--benches", "2"], "missing"),
        (["t.csv", "--benches", "2", "--delimiter", "xx"], "semicolon"),
    ],
)
def test_what_cannot_be_written_is_said(cups, tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    done = cups("template", *words)
    assert done.code == 2
    assert says in done.err
    assert sorted(tmp_path.iterdir()) == before


def test_a_filled_in_file_is_not_written_over(cups, tmp_path):
    path = tmp_path / "t.xlsx"
    assert cups("template", path, "--benches", "2").code == 0
    assert cups("template", path, "--benches", "2").code == 0  # still blank
    book = openpyxl.load_workbook(path)
    book["Readings"]["B3"] = "P1"
    book.save(path)
    held = path.read_bytes()
    done = cups("template", path, "--benches", "3")
    assert done.code == 2
    assert "already" in done.err
    assert path.read_bytes() == held
    assert cups("template", path, "--benches", "3", "--overwrite").code == 0


def test_labels_that_look_like_formulas_stay_text(cups, tmp_path):
    path = tmp_path / "t.xlsx"
    assert cups("template", path, "--labels", "=1+1,<b>Larch</b>").code == 0
    sheet = openpyxl.load_workbook(path)["Readings"]
    assert sheet["A3"].data_type == "s"
    assert sheet["A3"].value == "=1+1"
