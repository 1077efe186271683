"""``cupledger enthalpy`` on a class's table: any mix, any form of file, and whatever is in it."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
import subprocess
import zipfile
from pathlib import Path

import openpyxl
import pytest

SAMPLE = Path(__file__).resolve().parents[2] / "sample_runs"
HEAD = [
    "run",
    "apparatus",
    "date",
    "in_cup",
    "in_cup_mL",
    "in_cup_mol_per_L",
    "added",
    "added_mL",
    "added_mol_per_L",
    "in_cup_g",
    "added_g",
    "in_cup_C",
    "added_C",
    "extreme_C",
    "extreme_after_s",
    "room_C",
    "curve",
    "remark",
]
ACID = ["", "P1", dt.date(2026, 10, 14), "HNO3(aq)", 50.0, 1.0, "KOH(aq)", 52.5, 1.0, None, None,
        21.3, 21.5, 27.9, 40, 21.2, None, "first try"]  # fmt: skip
SALT = ["", "P1", dt.date(2026, 10, 14), "water", None, None, "KNO3(s)", None, None, 200.1, 12.04,
        21.2, 21.2, 16.6, 90, 21.2, None, None]  # fmt: skip
METAL = ["", "P2", dt.date(2026, 10, 14), "water", None, None, "Cu(s)", None, None, 100.1, 60.2,
         21.2, 99.0, 24.9, 30, 21.2, None, None]  # fmt: skip


def row(kind, label, **changes):
    cells = [label, *kind[1:]]
    for name, value in changes.items():
        cells[HEAD.index(name)] = value
    return cells


LOGGED = row(SALT, "Curve", in_cup_C=None, added_C=21.4, extreme_C=None, extreme_after_s=None,
             in_cup_g=199.67, added_g=11.96, curve="class_bench07.csv", room_C=21.5)  # fmt: skip
CLASS = [
    row(ACID, "Larch"), row(SALT, "Fennel"), row(ACID, "Otter", extreme_C=28.0, apparatus="P2"),
    LOGGED, row(METAL, "Quartz"), row(SALT, "Heron", extreme_C=16.7, date=dt.date(2026, 10, 20)),
]  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A registry in which P1 has its heat loss from curves, and P2 a constant from readings."""
    from calib.jobs.calibrating import calibrate_table
    from calib.registry import open_registry

    folder = tmp_path_factory.mktemp("school")
    registry = str(folder / "registry.sqlite")
    with open_registry(registry) as store:
        store.register_all(["P1", "P2"], "double foam cup, foam lid")
    (folder / "curves").mkdir()
    for path in (SAMPLE / "curves").glob("mix_P1_*.csv"):
        shutil.copy(path, folder / "curves")
    shutil.copy(SAMPLE / "readings.toml", folder)
    lines = (SAMPLE / "calibrations.csv").read_text(encoding="utf-8").splitlines()
    table = folder / "curves.csv"
    own = [lines[0], *(line for line in lines if line.startswith("P1-"))]
    table.write_text("\n".join(own), encoding="utf-8")
    assert calibrate_table(table, registry, approve=True)["constants"]
    other = folder / "read.csv"
    rows = [f"{n},P2,2026-09-01,water,water,100,100,21.0,50.0,34.8" for n in "abc"]
    header = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C"
    other.write_text("\n".join([header, *rows]), encoding="utf-8")
    assert calibrate_table(other, registry, approve=True, reason="for a test")["constants"]
    return registry


@pytest.fixture
def school(cupledger, place, tmp_path):
    shutil.copy(SAMPLE / "curves" / "class_bench07.csv", tmp_path)

    def run(*words):
        return cupledger("enthalpy", *words, "--registry", place)

    return run


def as_csv(path, rows, head=HEAD):
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([head, *rows])
    return path


def as_xlsx(path, rows, head=HEAD):
    book = openpyxl.Workbook()
    for cells in [head, *rows]:
        book.active.append(cells)
    book.save(path)
    return path


def numbers(facts):
    keys = [
        "run",
        "apparatus",
        "constant_id",
        "rise_K",
        "heat_J",
        "dH_kJ_per_mol",
        "u_dH_kJ_per_mol",
        "value",
        "u_value",
    ]
    return [[r.get(key) for key in keys] for r in facts["runs"]]


# --- what is computed ----------------------------------------------------------------------------


def test_any_mix_of_reactions_and_cups(school, tmp_path):
    done = school(as_csv(tmp_path / "t.csv", CLASS), "--json")
    assert done.code == 0, done.err
    runs = {r["run"]: r for r in done.json["runs"]}
    assert len(runs) == 6
    assert len({r["constant_id"] for r in runs.values()}) == 2
    assert runs["Larch"]["limiting"] == "HNO3(aq)"
    assert runs["Quartz"]["quantity"] == "specific heat of Cu"
    assert runs["Curve"]["from_curve"]
    assert runs["Curve"]["method"] == "newton-integral"
    # no curve: corrected by the cup's stored heat loss where it has one, and said where it has not
    assert runs["Larch"]["method"] == "extreme reading, corrected with the cup's heat loss"
    assert 1e-4 < abs(runs["Larch"]["rise_K"] - (27.9 - 21.3)) < 0.1
    assert runs["Otter"]["method"] == "extreme reading, not corrected"
    assert any("heat loss is not known" in text for text in runs["Otter"]["warnings"])
    reactions = [(s["reaction"], s["runs"]) for s in done.json["summary"]]
    assert reactions == [
        ("HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)", 2), ("KNO3(s) -> KNO3(aq)", 3),
        ("specific heat: Cu(s) into H2O(l)", 1),
    ]  # fmt: skip


@pytest.mark.libreoffice
def test_csv_xlsx_and_ods_give_the_same_numbers(school, tmp_path):
    office = shutil.which("soffice") or shutil.which("libreoffice")
    if office is None:
        pytest.skip("LibreOffice is not installed")
    book = as_xlsx(tmp_path / "t.xlsx", CLASS)
    subprocess.run(
        [office, f"-env:UserInstallation={(tmp_path / 'office').as_uri()}", "--headless",
         "--convert-to", "ods", "--outdir", str(tmp_path), str(book)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    found = [
        numbers(school(path, "--json").json)
        for path in (as_csv(tmp_path / "t.csv", CLASS), book, tmp_path / "t.ods")
    ]
    assert found[0] == found[1] == found[2]


def test_csv_and_xlsx_out_hold_the_same_numbers(school, tmp_path):
    table = as_csv(tmp_path / "t.csv", CLASS)
    held = {}
    for ending in ("csv", "xlsx"):
        out, means = tmp_path / f"out.{ending}", tmp_path / f"means.{ending}"
        assert school(table, "--out", out, "--summary", means).code == 0
        held[ending] = [grid(out), grid(means)]
    for text, book in zip(held["csv"], held["xlsx"], strict=True):
        for line, other in zip(text, book, strict=True):
            for cell, same in zip(line, other, strict=True):  # XLSX is written to 16 digits
                exact = not isinstance(cell, float)
                assert same == (cell if exact else pytest.approx(cell, rel=1e-14))
    results, means = held["csv"]
    assert results[0][: len(HEAD)] == HEAD
    facts = school(table, "--json").json
    column = results[0].index("dH_kJ_per_mol")
    assert [line[column] for line in results[1:]] == [r["dH_kJ_per_mol"] for r in facts["runs"]]
    assert [line[means[0].index("robust_mean")] for line in means[1:]] == [
        s["robust_mean"] for s in facts["summary"]
    ]


def grid(path):
    """Cells of a table as numbers and text, blanks as None."""
    if path.suffix == ".xlsx":
        sheet = openpyxl.load_workbook(path).active
        rows = [list(cells) for cells in sheet.iter_rows(values_only=True)]
        return [
            [c.date().isoformat() if isinstance(c, dt.datetime) else c for c in r] for r in rows
        ]
    text = path.read_text(encoding="utf-8-sig")

    def cell(one):
        try:
            return float(one) if one else None
        except ValueError:
            return one

    return [[cell(c) for c in cells] for cells in csv.reader(io.StringIO(text))]


def test_mean_its_parts_and_who_lies_far_off(school, tmp_path):
    """Six alike and one that forgot to stir: the sums by hand are those of the JSON's numbers."""
    rows = [row(SALT, f"g{n}", extreme_C=16.6 + 0.1 * (n % 2)) for n in range(6)]
    rows.append(row(SALT, "Marten", extreme_C=18.4))
    done = school(as_csv(tmp_path / "t.csv", rows))
    (summary,) = school(tmp_path / "t.csv", "--json").json["summary"]
    assert summary["outlying"] == ["Marten"]
    (reason,) = summary["outlying_reasons"]
    assert reason["run"] == "Marten"
    assert "explained" in reason["reason"]
    total = summary["u_shared"] ** 2 + summary["u_independent"] ** 2
    assert summary["u_mean"] ** 2 == pytest.approx(total, rel=1e-9)
    assert summary["robust_mean"] > summary["mean"]
    for words in ("robust mean", "shared by all", "the groups' own", "far from the others: Marten"):
        assert words in done.out


def test_mishaps_on_request_in_text_always_in_json(school, tmp_path):
    table = as_csv(tmp_path / "t.csv", CLASS)
    assert "two drops" not in school(table).out
    done = school(table, "--mishaps")
    assert done.out.count("what usual mishaps would have done") == len(CLASS)
    assert "two drops" in done.out
    for run in school(table, "--json").json["runs"]:
        assert {"name", "change_kJ_per_mol", "change_percent", "explains"} <= set(run["mishaps"][0])
        assert run["mishap_verdict"]


def test_a_page_of_one_group_and_one_without_names(school, tmp_path):
    page = tmp_path / "p.html"
    table = as_csv(tmp_path / "t.csv", [row(SALT, "Marten")])
    assert school(table, "--page", page, "--numbers").code == 0
    text = page.read_text(encoding="utf-8")
    assert "One group:" in text
    assert "1 groups" not in text
    assert "Marten" not in text
    assert school(table, "--page", page).code == 0
    assert "Marten" in page.read_text(encoding="utf-8")


# --- whatever is in the cells --------------------------------------------------------------------

EVIL = ['=HYPERLINK("http://example.org";"x")', "+cmd|' /C calc'!A0", "@SUM(A1)", "-2+3"]


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_cells_that_look_like_formulas_go_in_and_out_as_text(school, tmp_path, ending):
    rows = [row(SALT, f"g{n}", remark=text) for n, text in enumerate(EVIL)]
    rows += [row(SALT, text) for text in EVIL]
    table = tmp_path / "t.csv"
    as_csv(table, rows)
    out, means = tmp_path / f"out.{ending}", tmp_path / f"means.{ending}"
    done = school(table, "--out", out, "--summary", means)
    assert done.code == 0, done.err
    if ending == "xlsx":
        for path in (out, means):
            for cells in openpyxl.load_workbook(path).active.iter_rows():
                assert all(cell.data_type != "f" for cell in cells)
                for cell in cells:
                    if isinstance(cell.value, str) and cell.value.startswith(("=", "+", "@")):
                        assert cell.quotePrefix
        return
    for path in (out, means):
        for cells in csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))):
            assert not [c for c in cells if c.startswith(("=", "+", "@", "\t")) or c == "-2+3"]


def test_real_formulas_are_taken_by_their_value_or_named_by_their_cell(school, tmp_path):
    path = as_xlsx(tmp_path / "t.xlsx", [row(SALT, "Larch"), row(SALT, "Otter")])
    book = openpyxl.load_workbook(path)
    book.active["N3"] = "=16+0.6"  # written by a program: there is no value beside it
    book.save(path)
    done = school(path, "--json")
    assert done.code == 1
    (error,) = done.json["errors"]
    assert (error["row"], error["column"]) == ("Otter", "extreme_C")
    assert "N3" in error["message"] + error["found"]
    assert [r["run"] for r in done.json["runs"]] == ["Larch"]


def test_markup_in_names_stays_text_on_the_page(school, tmp_path):
    names = ["<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "a&b\"'><b>", "</title>"]
    page = tmp_path / "p.html"
    done = school(
        as_csv(tmp_path / "t.csv", [row(SALT, n, remark=n) for n in names]), "--page", page
    )
    assert done.code == 0
    text = page.read_text(encoding="utf-8")
    assert text.count("<script") == 1
    assert "<img src=x" not in text
    assert "&lt;script&gt;" in text
    assert "\x1b" not in done.out


@pytest.mark.parametrize(
    "name",
    ["../secret.csv", "/etc/passwd", "C:\\own.csv", "\\\\server\\share\\x.csv",
     "https://example.org/x.csv", "file:///etc/passwd", "NUL", "..\\secret.csv"],
)  # fmt: skip
def test_curves_outside_the_tables_folder_are_refused_by_cell(school, tmp_path, name):
    (tmp_path.parent / "secret.csv").write_text("time_s,temperature_C\n0,1\n", encoding="utf-8")
    rows = [row(SALT, "Larch"), row(LOGGED, "Otter", curve=name)]
    done = school(as_csv(tmp_path / "t.csv", rows), "--json")
    assert done.code == 1
    (error,) = done.json["errors"]
    assert (error["row"], error["column"]) == ("Otter", "curve")
    assert "line 3, field 17" in error["message"]
    assert [r["run"] for r in done.json["runs"]] == ["Larch"]


def test_merged_and_hidden_cells(school, tmp_path):
    plain = [row(SALT, "Larch"), row(SALT, "Otter", extreme_C=16.7)]
    expected = numbers(school(as_csv(tmp_path / "t.csv", plain), "--json").json)
    path = as_xlsx(tmp_path / "t.xlsx", plain)
    book = openpyxl.load_workbook(path)
    sheet = book.active
    for letter in "BCDG":
        sheet.merge_cells(f"{letter}2:{letter}3")
    sheet.column_dimensions["J"].hidden = True
    sheet.row_dimensions[3].hidden = True
    book.create_sheet("Notes", 0)["A1"] = "hand in by Friday"
    book.save(path)
    done = school(path, "--json")
    assert done.code == 0
    assert numbers(done.json) == expected
    assert any("hidden" in note for note in done.json["notes"])
    assert "hidden" in done.err


@pytest.mark.parametrize(
    "written",
    ["2026-10-14", "14.10.2026", "14 Oct 2026", "October 14, 2026", "20261014", "14-Oct-26",
     "10/14/2026"],
)  # fmt: skip
def test_dates_in_several_forms(school, tmp_path, written):
    rows = [row(SALT, "Larch", date=written)]
    done = school(as_csv(tmp_path / "t.csv", rows), "--json")
    assert done.code == 0, done.err
    assert done.json["runs"][0]["date"] == "2026-10-14"


def test_a_date_that_can_be_two_days_is_refused_with_its_cell(school, tmp_path):
    done = school(as_csv(tmp_path / "t.csv", [row(SALT, "Larch", date="03/04/2026")]), "--json")
    assert done.code == 2
    said = done.json["errors"][0]["message"]
    assert said == "line 2, field 3 could be 2026-04-03 or 2026-03-04"


def test_units_typed_into_cells(school, tmp_path):
    plain = numbers(school(as_csv(tmp_path / "t.csv", [row(ACID, "Larch")]), "--json").json)
    typed = row(ACID, "Larch", in_cup_mL="50.0 mL", in_cup_C="21.3 °C", added_mL="0.0525 L",
                extreme_C="27.9°C", added_C="294.65 K", extreme_after_s="40 s",
                in_cup_mol_per_L="1.0 M")  # fmt: skip
    found = numbers(school(as_csv(tmp_path / "t.csv", [typed]), "--json").json)
    assert found[0][5] == pytest.approx(plain[0][5], rel=2e-3)
    done = school(
        as_csv(tmp_path / "t.csv", [row(ACID, "Larch", in_cup_mL="50 furlong")]), "--json"
    )
    assert done.code == 2
    assert "furlong" in done.json["errors"][0]["found"]


def test_a_workbook_that_unpacks_to_gigabytes_is_refused(school, tmp_path):
    path = tmp_path / "bomb.xlsx"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package,
        package.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part,
    ):
        for _ in range(200):  # 150 MB are allowed
            part.write(b" " * 1_000_000)
    done = school(path, "--json")
    assert done.code == 2
    assert "would unpack to" in done.json["errors"][0]["message"]


def test_a_table_of_many_rows_goes_through(school, tmp_path):
    rows = [row(SALT, f"g{n}", extreme_C=16.5 + 0.1 * (n % 3)) for n in range(150)]
    done = school(as_csv(tmp_path / "t.csv", rows), "--json", "--out", tmp_path / "out.csv")
    assert done.code == 0
    assert done.json["summary"][0]["runs"] == 150
    assert len(grid(tmp_path / "out.csv")) == 151


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_ten_thousand_rows(school, tmp_path):
    rows = [row(ACID, f"g{n}", extreme_C=27.5 + 0.1 * (n % 5)) for n in range(10_000)]
    done = school(as_csv(tmp_path / "t.csv", rows), "--json")
    assert done.code == 0
    assert done.json["summary"][0]["runs"] == 10_000


def test_nothing_is_written_but_what_was_named(school, tmp_path):
    table = as_csv(tmp_path / "t.csv", CLASS)
    before = {p.name for p in tmp_path.iterdir()}
    assert school(table, "--out", tmp_path / "o.csv", "--page", tmp_path / "p.html").code == 0
    assert {p.name for p in tmp_path.iterdir()} - before == {"o.csv", "p.html"}


@pytest.mark.parametrize("option", ["--out", "--summary", "--page"])
def test_outputs_that_cannot_be_written_leave_everything_as_it_was(school, tmp_path, option):
    table = as_csv(tmp_path / "t.csv", CLASS[:1])
    held = table.read_bytes()
    for name in (table, tmp_path / "missing" / "x.csv", tmp_path):
        if option == "--page" and name == table:
            continue
        done = school(table, option, name)
        assert done.code == 2
        assert "error:" in done.err
    assert table.read_bytes() == held
