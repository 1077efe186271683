"""Drift, today's check, what is due, and certificates, by command."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from calib.registry import NewConstant, open_registry

HEADER = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C"
START = date(2025, 9, 1)


def mixing(run: str, cup: str, extreme: float, day: str = "2026-09-01") -> str:
    return f"{run},{cup},{day},water,water,100.00,100.00,21.0,50.0,{extreme}"


def write(path, *rows: str):
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return path


def store_series(cup: str, values, u: float = 0.5, every: int = 90) -> None:
    with open_registry() as store:
        for k, value in enumerate(values):
            day = START + timedelta(days=every * k)
            store.add_drafts(
                [NewConstant(cup, "hot/cold mixing", value, u, day, runs=4)], approve=True
            )


# Drift


def test_a_cup_that_moved_is_told_from_one_that_did_not(cups):
    store_series("P1", [20.0, 20.4, 19.8, 20.1])
    store_series("P2", [20.0, 20.4, 19.8, 26.0])
    done = cups("constants", "drift", "--json")
    assert done.code == 0
    facts = done.json
    assert {one["apparatus"]: one["word"] for one in facts["cups"]} == {
        "P1": "steady",
        "P2": "changed",
    }
    assert facts["rules"] == "Nelson"
    told = cups("constants", "drift", "P2").out
    assert "P2 has changed; use the newest constant" in told
    assert "a point beyond 3 sigma" in told
    assert "P1" not in told


def test_a_shift_of_the_whole_set_points_to_the_instruments(cups):
    for cup in ("P1", "P2"):
        store_series(cup, [20.0, 20.2, 19.9, 23.5])
    told = cups("constants", "drift", "--kind", "foam cup").out
    assert "above the ones before it for the whole set: look at thermometer, balance" in told


def test_rules_by_their_published_names(cups):
    """Eight in a row on one side break Western Electric 4, nine Nelson 2: eight only the former."""
    values = [20.0, 20.4, 19.0, 20.3, 19.1, 20.2, 19.2, *[20.9] * 8]
    store_series("P1", values, every=30)
    nelson = cups("constants", "drift", "P1", "--json").json["cups"][0]["broken"]
    western = cups("constants", "drift", "P1", "--rules", "western-electric", "--json")
    assert "Nelson 2" not in {one["rule"] for one in nelson}
    assert "Western Electric 4" in {one["rule"] for one in western.json["cups"][0]["broken"]}


@pytest.mark.parametrize("name", ["c.svg", "c.png", "c.PDF"])
def test_charts_are_drawn_into_a_file(cups, tmp_path, name):
    store_series("P1", [20.0, 20.4, 19.8, 26.0])
    store_series("P2", [20.0, 20.4])
    done = cups("constants", "drift", "--chart", tmp_path / name, "--json")
    assert (done.code, done.json["chart"]) == (0, str(tmp_path / name))
    assert (tmp_path / name).stat().st_size > 5000
    assert cups("constants", "drift", "P1", "--chart", tmp_path / name).code == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["P9"], "no apparatus 'P9' in the registry; registered: P1, P2"),
        (["--kind", "mug"], "no apparatus of the kind 'mug'"),
        (["--rules", "mine"], "expected one of nelson, western-electric"),
        (["--chart", "c.docx"], "expected .svg, .png or .pdf"),
        (["--chart", "none/c.svg"], "the folder none does not exist"),
    ],
)
def test_drift_that_cannot_be_told(cups, tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    store_series("P1", [20.0, 20.4])
    refused = cups("constants", "drift", *words)
    assert refused.code == 2
    assert says in refused.err
    assert list(tmp_path.iterdir()) == []


def test_one_constant_is_nothing_to_compare(cups, tmp_path):
    store_series("P1", [20.0])
    assert "P1: 1 value, nothing to compare yet" in cups("constants", "drift").out
    refused = cups("constants", "drift", "--chart", tmp_path / "c.svg")
    assert refused.code == 2
    assert "a chart begins with the second calibration" in refused.err


# Today's check


@pytest.fixture
def calibrated(cups, tmp_path):
    rows = [mixing(f"{c}{k}", c, 34.9 + 0.1 * (k % 2)) for c in ("P1", "P2") for k in range(4)]
    table = write(tmp_path / "cal.csv", *rows)
    assert cups("calibrate", table, "--approve", "--reason", "for a test").code == 0
    return cups


def test_today_s_runs_against_the_stored_constant(calibrated, tmp_path):
    """Cooler by 1 K with the same water: the cup takes up far more than before."""
    before = calibrated("constants", "--history", "--json").out
    today = write(
        tmp_path / "today.csv",
        mixing("a", "P1", 35.0, "2026-10-01"),
        mixing("b", "P1", 34.9, "2026-10-01"),
        mixing("c", "P2", 33.6, "2026-10-01"),
        mixing("d", "P2", 33.7, "2026-10-01"),
    )
    done = calibrated("constants", "check", today, "--json")
    assert done.code == 0
    same, other = done.json["checks"]
    assert (same["apparatus"], same["word"], same["agrees"]) == ("P1", "steady", True)
    assert (other["apparatus"], other["word"], other["agrees"]) == ("P2", "changed", False)
    assert other["difference_J_per_K"] > 5 * other["u_difference_J_per_K"]
    assert "calibrate anew in place of constant 2" in other["verdict"]
    assert "would be noticed four times in five" in calibrated("constants", "check", today).out
    assert calibrated("constants", "--history", "--json").out == before


def test_one_run_is_enough_where_the_spread_is_on_file(calibrated, tmp_path):
    today = write(tmp_path / "today.csv", mixing("a", "P1", 35.0, "2026-10-01"))
    done = calibrated("constants", "check", today, "--json")
    assert (done.code, done.json["checks"][0]["runs"]) == (0, 1)


def test_a_check_names_the_rows_that_it_could_not_use(calibrated, tmp_path):
    calibrated("apparatus", "add", "P3", "--kind", "foam cup")
    today = write(
        tmp_path / "today.csv",
        mixing("a", "P1", 35.0, "2026-10-01"),
        mixing("b", "P3", 35.0, "2026-10-01"),
        mixing("c", "P9", 35.0, "2026-10-01"),
    )
    done = calibrated("constants", "check", today, "--json")
    assert done.code == 1
    assert {e["row"] for e in done.json["errors"]} == {"b", "c"}
    assert any("it has never been calibrated" in e["message"] for e in done.json["errors"])
    assert [one["apparatus"] for one in done.json["checks"]] == ["P1"]
    only = write(tmp_path / "only.csv", mixing("b", "P3", 35.0, "2026-10-01"))
    assert calibrated("constants", "check", only).code == 2
    assert calibrated("constants", "check", tmp_path / "none.csv").code == 2


# What is due


def test_what_is_due_by_date_and_by_uses(cups, tmp_path):
    table = write(tmp_path / "cal.csv", mixing("a", "P1", 35.0), mixing("b", "P1", 34.9))
    other = write(tmp_path / "two.csv", mixing("a", "P2", 35.0), mixing("b", "P2", 34.9))
    words = ("--approve", "--reason", "for a test", "--json")
    made = cups("calibrate", table, *words, "--recheck-after", 30, "--valid-from", "2026-09-15")
    assert made.code == 0
    cups("calibrate", other, *words, "--recheck-after", 300, "--recheck-uses", 1)
    (first, _) = cups("constants", "--json").json["constants"]
    assert (first["valid_from"], first["recheck_due"]) == ("2026-09-15", "2026-10-01")

    def states(day: str) -> dict[str, str]:
        found = cups("constants", "recheck", "--on", day, "--json").json["constants"]
        return {one["apparatus"]: one["state"] for one in found}

    assert states("2026-09-10") == {"P2": "fine"}  # the other is not in force yet
    assert states("2026-10-01") == {"P1": "soon", "P2": "fine"}
    assert states("2026-10-02") == {"P1": "overdue", "P2": "fine"}
    runs = tmp_path / "class.csv"
    runs.write_text(
        f"{HEADER}\ng1,P2,2026-09-20,water,KNO3(s),100,5.0,21.0,21.0,17.9\n", encoding="utf-8"
    )
    assert cups("enthalpy", runs, "--record").code == 0
    assert states("2026-10-02") == {"P1": "overdue", "P2": "overdue"}
    assert "Overdue: P1, P2." in cups("constants", "recheck", "--on", "2026-10-02").out
    assert "No constant is in force" in cups("constants", "recheck", "--on", "2020-01-01").out


@pytest.mark.parametrize(
    "words", [["--recheck-after", "0"], ["--recheck-uses", "0"], ["--valid-from", "soon"]]
)
def test_a_recheck_that_cannot_be_meant(cups, tmp_path, words):
    table = write(tmp_path / "cal.csv", mixing("a", "P1", 35.0), mixing("b", "P1", 34.9))
    assert cups("calibrate", table, *words).code == 2
    assert cups("constants", "--history", "--json").json["constants"] == []
    assert cups("constants", "recheck", "--within", "-1").code == 2
    assert cups("constants", "recheck", "--on", "soon").code == 2


# Certificates


def test_a_certificate_per_cup(calibrated, tmp_path):
    folder = tmp_path / "pages"
    done = calibrated(
        "constants", "certificate", "--folder", folder, "--on", "2026-10-01", "--json"
    )
    assert done.code == 0
    assert [one["apparatus"] for one in done.json["certificates"]] == ["P1", "P2"]
    (first, _) = calibrated("constants", "--json").json["constants"]
    html = (folder / "certificate_P1_1.html").read_text(encoding="utf-8")
    assert f"{first['constant_J_per_K']:.1f}" in html
    assert "Calibration certificate: P1" in html
    some = calibrated("constants", "certificate", "P2", "P9", "--folder", folder)
    assert some.code == 1
    assert "no apparatus 'P9'" in some.err
    gone = calibrated("constants", "withdraw", 2, "--reason", "lid lost")
    assert gone.code == 0
    assert calibrated("constants", "certificate", "P2", "--folder", folder).code == 2
    by_number = calibrated("constants", "certificate", "--number", 2, "--folder", folder)
    assert by_number.code == 0
    assert "Withdrawn: lid lost" in (folder / "certificate_P2_2.html").read_text(encoding="utf-8")
    assert calibrated("constants", "certificate", "--number", 99, "--folder", folder).code == 2
    (tmp_path / "file").write_text("x", encoding="utf-8")
    assert calibrated("constants", "certificate", "--folder", tmp_path / "file").code == 2


def test_an_odd_name_of_a_cup_gives_a_name_that_every_system_takes(cups, tmp_path):
    cups("apparatus", "add", "Tasse 3/μ", "--kind", "foam cup")
    store_series("Tasse 3/μ", [20.0])
    done = cups("constants", "certificate", "--folder", tmp_path / "p", "--json")
    assert done.code == 0
    assert [p.name for p in (tmp_path / "p").iterdir()] == ["certificate_Tasse-3-μ_1.html"]
