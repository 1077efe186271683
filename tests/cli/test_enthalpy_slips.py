"""A table with one row mistyped, as people get it back: named, left out, overruled."""

from __future__ import annotations

import csv

import pytest

from tests.calib.energy import mixed_water_C

HEAD = (
    *("run", "apparatus", "date", "in_cup", "in_cup_g", "added", "added_g", "in_cup_C"),
    *("added_C", "extreme_C", "extreme_after_s", "room_C"),
)
DAY = "2026-10-21"


def write(path, rows, head=HEAD):
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, head)
        table.writeheader()
        table.writerows(dict(zip(head, row, strict=True)) for row in rows)
    return path


@pytest.fixture
def calibrated(cups, tmp_path):
    rows = [
        (f"m{hot}", "P1", "2026-09-01", "water", 100, "water", 100, 21, hot,
         f"{mixed_water_C(12.0, 100, 21, 100, hot):.3f}", 5, 21)
        for hot in (50.0, 55.0, 60.0)
    ]  # fmt: skip
    assert cups("calibrate", write(tmp_path / "m.csv", rows), "--approve").code == 0
    return cups


def salt(label, grams, lowest, **more):
    cells = {"run": label, "apparatus": "P1", "date": DAY, "in_cup": "water", "in_cup_g": 200,
             "added": "KNO3(s)", "added_g": grams, "in_cup_C": 21, "added_C": 21,
             "extreme_C": lowest, "extreme_after_s": 60, "room_C": 21, **more}  # fmt: skip
    return tuple(cells[name] for name in HEAD)


ROBUST = [salt("a", 10, 17.1), salt("b", 10, 17.2), salt("c", 0.1, 17.1)]


def test_a_tenth_of_a_gram_for_ten(calibrated, tmp_path):
    table = write(tmp_path / "robust.csv", ROBUST)
    done = calibrated("enthalpy", table)
    assert done.code == 0
    told = done.out + done.err
    assert "c: left out of the mean: " in told
    assert "added_g 0.1 in place of 10" in told
    assert "3 runs, 2 of them in the mean" in told
    facts = calibrated("enthalpy", table, "--json").json
    (mean,) = facts["summary"]
    assert 30.0 < mean["mean_kJ_per_mol"] < 36.0
    assert mean["u_mean_kJ_per_mol"] < 2.0
    assert facts["runs"][2]["dH_kJ_per_mol"] > 1000.0  # kept as it is
    assert mean["mishap_verdict"].startswith(("no mishap needed", "would be explained"))


def test_keep_all_takes_it_in_and_a_mean_so_uncertain_tells_nothing(calibrated, tmp_path):
    table = write(tmp_path / "robust.csv", ROBUST)
    facts = calibrated("enthalpy", table, "--keep-all", "--json").json
    (mean,) = facts["summary"]
    assert (mean["runs"], mean["runs_in_mean"], mean["left_out"]) == (3, 3, [])
    assert mean["mean_kJ_per_mol"] > 1000.0
    assert 30.0 < mean["robust_mean"] < 36.0
    assert facts["runs"][2]["suspected"]
    assert facts["runs"][2]["mishap_verdict"].startswith("tells nothing")
    assert "agrees" not in facts["runs"][2]["mishap_verdict"]


def test_files_and_page_name_the_row_that_is_left_out(calibrated, tmp_path):
    table = write(tmp_path / "robust.csv", ROBUST)
    out, means, page = (tmp_path / name for name in ("out.csv", "means.csv", "page.html"))
    done = calibrated("enthalpy", table, "--out", out, "--summary", means, "--page", page)
    assert done.code == 0
    rows = list(csv.DictReader(out.read_text(encoding="utf-8-sig").splitlines()))
    assert [row["in_mean"] for row in rows] == ["yes", "yes", "no"]
    assert "added_g 0.1 in place of 10" in rows[2]["suspected"]
    (line,) = csv.DictReader(means.read_text(encoding="utf-8-sig").splitlines())
    assert (line["runs"], line["runs_in_mean"], line["left_out"]) == ("3", "2", "c")
    text = page.read_text(encoding="utf-8")
    assert "Left out of the mean, each with its reason in the table below: <span" in text
    assert "Mean of 2 groups" in text
    shown = tmp_path / "numbers.html"
    named = [
        (name, *row[1:]) for name, row in zip(("Larch", "Otter", "Marten"), ROBUST, strict=True)
    ]
    named.append(("Heron", *named[0][1:]))  # Larch's row again: each of the two names the other
    calibrated("enthalpy", write(table, named), "--page", shown, "--numbers")
    text = shown.read_text(encoding="utf-8")
    assert "all its cells but the label are the same as those of" in text
    assert not [name for name in ("Larch", "Otter", "Marten", "Heron") if name in text]


def test_a_metal_without_the_cups_temperature_costs_no_other_row(calibrated, tmp_path):
    metal = salt("metal", 50, 23, added="Cu(s)", added_C=98, in_cup_C="", extreme_after_s=5)
    same = salt("sand", 50, 23, added="SiO2(s)", added_C=21)
    table = write(tmp_path / "metal.csv", [salt("good", 10, 17.1), metal, same])
    for command in ("enthalpy", "cycles"):
        done = calibrated(command, table, "--json")
        assert done.code == 1
        assert [(e["row"], e["column"]) for e in done.json["errors"]] == [
            ("metal", "in_cup_C"), ("sand", "extreme_C"),
        ]  # fmt: skip
    assert calibrated("enthalpy", table, "--json").json["runs"][0]["run"] == "good"


def test_cycles_takes_the_rows_that_the_means_take(calibrated, tmp_path):
    table = write(tmp_path / "robust.csv", ROBUST)
    done = calibrated("cycles", table)
    assert "c: left out" in done.out + done.err
    facts = calibrated("cycles", table, "--json").json
    mean = calibrated("enthalpy", table, "--json").json["summary"][0]
    assert facts["reactions"][0]["runs"] == 2
    assert facts["reactions"][0]["in_runs_kJ_per_mol"] == pytest.approx(mean["mean_kJ_per_mol"])
    assert [one["run"] for one in facts["left_out"]] == ["c"]
    every = calibrated("cycles", table, "--keep-all", "--json").json
    assert (every["reactions"][0]["runs"], every["left_out"]) == (3, [])


def test_a_room_in_fahrenheit_and_masses_that_nobody_weighs(calibrated, tmp_path):
    rows = [salt("r", 10, 17.1, room_C=69.8), salt("t", "1e-300", 17.1), salt("good", 10, 17.1)]
    done = calibrated("enthalpy", write(tmp_path / "t.csv", rows), "--json")
    assert done.code == 1
    errors = {e["row"]: e for e in done.json["errors"]}
    assert "if it is in °F" in errors["r"]["remedy"]
    assert errors["t"]["column"] == "added_g"
    assert [run["run"] for run in done.json["runs"]] == ["good"]


@pytest.mark.parametrize(
    ("scale", "shift", "words"),
    [(1.0, -60.0, "no water is liquid"), (1.0, 90.0, "no water is liquid")],
)
def test_a_curve_at_which_no_water_is_liquid(calibrated, tmp_path, scale, shift, words):
    lines = ["time_s,temperature_C"]
    for t in range(0, 900, 2):
        at = 21.0 if t < 180 else 28.0 - 0.0008 * (t - 180)
        lines.append(f"{t},{scale * at + shift + 0.003 * ((7 * t) % 5):.3f}")
    (tmp_path / "log.csv").write_text("\n".join(lines), encoding="utf-8")
    head = (*HEAD, "curve")
    row = (*salt("r", 10, "", in_cup_C="", added_C="", extreme_after_s=""), "log.csv")
    done = calibrated("enthalpy", write(tmp_path / "t.csv", [row], head), "--json")
    assert done.code == 2
    assert words in done.json["errors"][0]["message"]


def test_mark_and_key_lose_no_other_row_either(calibrated, tmp_path):
    """A metal whose water ends as warm as it: nothing flows, and a quotient is by nothing."""
    head = (*HEAD, "reported_J_per_gK")
    hot = {"added": "Cu(s)", "added_C": 98}
    bad, good = salt("bad", 50, 98, **hot), salt("good", 50, 22.7, **hot)
    table = write(tmp_path / "metal.csv", [(*bad, 0.39), (*good, 0.38)], head)
    done = calibrated("mark", table, "--json")
    assert done.code == 1
    assert {e["row"] for e in done.json["errors"]} == {"bad"}
    assert [run["run"] for run in done.json["runs"]] == ["good"]
    key = calibrated("key", table, "--run", "bad")
    assert key.code == 2
    assert "inside cupledger" not in key.out + key.err


def test_the_page_is_scaled_by_the_groups_in_the_mean_and_expects_what_the_text_expects(
    calibrated, tmp_path
):
    table = write(tmp_path / "robust.csv", ROBUST)
    page = tmp_path / "class.html"
    facts = calibrated("enthalpy", table, "--page", page, "--json").json
    (mean,) = facts["summary"]
    text = page.read_text(encoding="utf-8")
    assert "2 of 3" in text
    assert f"{mean['expected_at_runs']:.2f} ± " in text  # of the rows in the mean, on both
    value = format(float(format(facts["runs"][2]["dH_kJ_per_mol"], ".4g")), "g")
    assert f">{value}</text>" in text  # the arrow's, at the edge of the scale
    drawing = text[text.index("<svg") : text.index("</svg>")]
    assert ">5000<" not in drawing
