"""The commands ``mark`` and ``key`` as a teacher types them, with good input and with bad."""

from __future__ import annotations

from pathlib import Path

import pytest

SAMPLE = Path(__file__).resolve().parents[2] / "sample_runs"
HEADER = (
    "run,apparatus,date,in_cup,in_cup_mol_per_L,added,added_mol_per_L,in_cup_mL,added_mL,added_g,"
    "in_cup_C,added_C,extreme_C,reported_kJ_per_mol"
)
ACID = "P1,2026-10-14,HCl(aq),1.00,NaOH(aq),1.20,100,110,,21.1,21.5,27.9"
SALT = "P1,2026-10-14,water,,KNO3(s),,100,,15.0,21.0,21.0,11.5"
HOT = "P1,2026-10-14,water,,water,,100,100,,21.0,50.0,35.0"


def write(tmp_path, *rows, header=HEADER, name="class.csv"):
    path = tmp_path / name
    path.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def calibrated(cups, tmp_path):
    rows = [f"c{i},P1,2026-09-0{i},water,,water,,100,100,,21.0,50.0,34.8," for i in (1, 2)]
    assert cups("calibrate", write(tmp_path, *rows, name="cal.csv"), "--approve").code == 0
    return cups


def test_mark_names_the_slip_and_leaves_the_right_alone(cups, tmp_path):
    table = write(
        tmp_path, f"one,{ACID},-59.7", f"two,{ACID},59.7", f"three,{ACID},-28.4",
        f"four,{SALT},30.8", f"five,{SALT},-12.9", f"six,{SALT},",
    )  # fmt: skip
    done = cups("mark", table, "--json")
    assert done.code == 0
    verdicts = {row["run"]: row["verdict"] for row in done.json["runs"]}
    assert verdicts == {
        "one": "right", "two": "slip", "three": "slip", "four": "right", "five": "not explained",
        "six": "no answer",
    }  # fmt: skip
    three = done.json["runs"][2]["fits"]
    assert [fit["slips"] for fit in three] == [["one mass only"]]
    assert three[0]["gives"] == pytest.approx(-28.424)
    assert done.json["counts"]["slip"] == 2
    text = cups("mark", table)
    assert text.code == 0
    assert "the sign is the other way round" in text.out
    assert "no answer" in text.out


def test_the_full_depth_uses_the_constant(calibrated, tmp_path):
    table = write(tmp_path, f"one,{ACID},-57.5", f"two,{ACID},-59.7")
    simple = calibrated("mark", table, "--json").json
    full = calibrated("mark", table, "--depth", "full", "--json").json
    assert full["depth"] == "full"
    assert simple["runs"][1]["verdict"] == "right"
    assert full["runs"][1]["verdict"].startswith("right")
    assert full["runs"][1]["fits"] == []
    enthalpy = calibrated("enthalpy", table, "--json").json["runs"][0]["dH_kJ_per_mol"]
    assert full["runs"][0]["own_readings_give"] == pytest.approx(enthalpy, rel=1e-9)


def test_a_cup_without_a_constant_is_named_at_the_full_depth(cups, tmp_path):
    table = write(tmp_path, f"one,{ACID},-57.5")
    done = cups("mark", table, "--depth", "full", "--json")
    assert done.code == 2
    assert "cupledger calibrate" in str(done.json["errors"])


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        (f"x,{ACID},sixty", "reported_kJ_per_mol", "text"),
        (f"x,{ACID},=1+1", "reported_kJ_per_mol", "formula"),
        (f"x,{HOT},-5.0", "added", "cannot be marked"),
        ("x,P1,2026-10-14,HCl(aq),1.0,NaOH(aq),,100,110,,21.1,21.5,27.9,-59.7",
         "added_mol_per_L", "needs it"),
        ("x,P1,2026-10-14,HCl(aq),1.0,NaOH(aq),1.2,100,110,,,,27.9,-59.7", "in_cup_C", "needed"),
        ("x,P1,2026-10-14,HCl(aq),1.0,NaOH(aq),1.2,100,110,,21.1,21.5,,-59.7", "extreme_C",
         "needed"),
    ],
    ids=["text", "formula", "mixing", "concentration", "start", "extreme"],
)  # fmt: skip
def test_a_bad_row_is_named_and_the_others_are_marked(cups, tmp_path, row, column, says):
    done = cups("mark", write(tmp_path, f"good,{ACID},-59.7", row), "--json")
    assert done.code == 1
    (error,) = done.json["errors"]
    assert (error["row"], error["column"]) == ("x", column)
    assert says in error["message"]
    assert done.json["runs"][0]["verdict"] == "right"


def test_no_column_of_answers_and_unknown_depths_are_refused(cups, tmp_path):
    bare = write(tmp_path, f"one,{ACID}", header=HEADER.rpartition(",")[0])
    done = cups("mark", bare)
    assert done.code == 2
    assert "reported_kJ_per_mol" in done.err
    table = write(tmp_path, f"one,{ACID},-59.7")
    assert "simple or full" in cups("mark", table, "--depth", "deep").err
    assert cups("mark", table, "--solute-mass", "half").code == 2
    assert cups("mark", tmp_path / "missing.csv").code == 2
    assert cups("mark", write(tmp_path, f"hot,{HOT},-5.0"), "--json").code == 2


def test_sheets_and_marks_are_written_where_asked_and_nowhere_else(cups, tmp_path):
    label = "../../<img src=x>"
    table = write(tmp_path, f"{label},{ACID},-59.7", f"two,{ACID},59.7", f"bad,{ACID},sixty")
    folder = tmp_path / "sheets"
    before = {path.name for path in tmp_path.iterdir()}
    done = cups("mark", table, "--sheets", folder, "--out", tmp_path / "marks.xlsx")
    assert done.code == 1
    assert {path.name for path in tmp_path.iterdir()} - before == {"sheets", "marks.xlsx"}
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["feedback_1_img-src-x.html", "feedback_2_two.html"]
    page = (folder / names[0]).read_text(encoding="utf-8")
    assert "<img" not in page
    assert "Well done" in page
    second = (folder / names[1]).read_text(encoding="utf-8")
    assert "Here, on your sheet: the sign is the other way round." in second
    one_file = tmp_path / "all.md"
    assert cups("mark", table, "--sheets", one_file).code == 1
    assert one_file.read_text(encoding="utf-8").count("step by step") == 2
    for wrong in ("sheets.pdf", "class.csv"):
        assert cups("mark", table, "--sheets", tmp_path / wrong).code == 2
    assert table.read_text(encoding="utf-8").startswith(HEADER)


def test_marks_out_keep_what_came_in(cups, tmp_path):
    table = write(
        tmp_path, f"one,{ACID},-28.40,=cmd", f"lost,{ACID},sixty,x", header=f"{HEADER},remark"
    )
    out = tmp_path / "marks.csv"
    assert cups("mark", table, "--out", out).code == 1
    lines = out.read_text(encoding="utf-8-sig").splitlines()
    assert lines[0].startswith(f"{HEADER},remark,answer_as_typed,verdict,slips")
    assert "'=cmd" in lines[1]
    assert "-28.40,not explained" in lines[1] or "-28.40,slip" in lines[1]
    assert lines[2].startswith("lost")
    assert cups("mark", table, "--out", table).code == 2


def test_the_sample_answers_are_marked_as_they_were_made(cups):
    """The table that ``sample_runs/make_sample_runs.py`` made with its own arithmetic."""
    done = cups("mark", SAMPLE / "class_answers.csv", "--json")
    assert done.code == 0
    found = {
        row["run"].split()[1]: [set(fit["slips"]) for fit in row.get("fits", [])] or row["verdict"]
        for row in done.json["runs"]
    }
    mass = found.pop("3")  # acid and base weigh nearly the same, so half the mass looks alike
    assert {"one mass only"} in mass
    assert found == {
        "1": "right", "2": [{"sign"}], "4": [{"J for kJ"}], "5": [{"not divided"}],
        "6": [{"kelvin added"}], "7": [{"sign", "calories"}], "8": "right",
        "9": [{"solute left out"}], "10": [{"final temperature"}], "11": "not explained",
        "12": "no answer",
    }  # fmt: skip


def test_a_workbook_holds_numbers_or_texts(cups, tmp_path):
    """A workbook's number has lost its final zeros; a text has kept them."""
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(HEADER.split(","))
    for label, answer in (("a", -59.7), ("b", "-59.70"), ("c", 60), ("d", -28.4), ("e", "=1+1")):
        cells = [float(x) if x.replace(".", "").isdigit() else x or None for x in ACID.split(",")]
        book.active.append([label, *cells, answer])
    path = tmp_path / "class.xlsx"
    book.save(path)
    done = cups("mark", path, "--json")
    assert done.code == 1
    rows = {row["run"]: (row["answer"], row["verdict"]) for row in done.json["runs"]}
    assert rows == {
        "a": ("-59.7", "right"), "b": ("-59.70", "right within rounding"), "c": ("60", "slip"),
        "d": ("-28.4", "slip"),
    }  # fmt: skip
    (error,) = done.json["errors"]
    assert (error["row"], error["column"]) == ("e", "reported_kJ_per_mol")


def test_answers_of_a_metal_in_their_own_column(cups, tmp_path):
    table = write(
        tmp_path, "cu,P1,2026-10-14,water,,Cu(s),,100,,60,21.0,99.0,25.0,0.377",
        header=HEADER.replace("reported_kJ_per_mol", "reported_J_per_gK"),
    )  # fmt: skip
    done = cups("mark", table, "--json")
    assert (done.code, done.json["runs"][0]["verdict"]) == (0, "right")
    wrong = write(tmp_path, "cu,P1,2026-10-14,water,,Cu(s),,100,,60,21.0,99.0,25.0,0.377")
    done = cups("mark", wrong, "--json")
    assert done.code == 2
    assert "reported_J_per_gK" in done.json["errors"][0]["remedy"]


def test_key_works_out_both_depths_and_why_they_differ(calibrated, tmp_path):
    table = write(tmp_path, f"one,{ACID},-59.7")
    done = calibrated("key", table, "--run", "one", "--json")
    assert done.code == 0
    facts = done.json
    total = facts["simple"] + sum(line["change"] for line in facts["differences"])
    assert total == pytest.approx(facts["full"], rel=1e-9)
    assert all(step["u"] > 0 and step["made_of"] for step in facts["full_steps"])
    for ending, says in ((".md", "## Why they differ"), (".html", "Why they differ</h2>")):
        out = tmp_path / f"key{ending}"
        assert calibrated("key", table, "--run", "one", "--out", out).code == 0
        text = out.read_text(encoding="utf-8")
        assert says in text
        assert "1.20 mol/L" in text  # digits as typed
        assert "data sheet" in text


def test_key_without_a_constant_gives_the_simple_depth_and_says_so(cups, tmp_path):
    table = write(tmp_path, f"one,{ACID},-59.7", f"hot,{HOT},", f"bad,{ACID},sixty")
    done = cups("key", table, "--run", "one", "--json")
    assert done.code == 1
    assert done.json["simple"] == pytest.approx(-59.6904)
    assert "calibrate" in done.json["errors"][0]["message"]
    near = cups("key", table, "--run", "onw")
    assert near.code == 2
    assert "one" in near.err
    assert "cup's constant" in cups("key", table, "--run", "hot").err
    assert "reported_kJ_per_mol" in cups("key", table, "--run", "bad").err
    for wrong in ("key.docx", "class.csv"):
        assert cups("key", table, "--run", "one", "--out", tmp_path / wrong).code == 2
