"""No pair of the published lists goes through a command without its warning; few false alarms."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import pytest

from calib.hazards.asking import asked_of_equation, asked_of_row, asked_of_words
from calib.reactions.catalogue import catalogue
from calib.reactions.equation import Equation

LIST = Path(__file__).with_name("incompatible.tsv")


def rows():
    lines = [
        one for one in LIST.read_text(encoding="utf-8").splitlines() if not one.startswith("#")
    ]
    return list(csv.DictReader(lines, delimiter="\t"))


ROWS = rows()
IDS = [f"{one['added']} into {one['in_cup']}" for one in ROWS]


def portion(row, side):
    amount = "5 g" if row[side].endswith("(s)") else "50 mL"
    strength = f" {row[f'{side}_mol_per_L']} mol/L" if row[f"{side}_mol_per_L"] else ""
    return f"{amount}{strength} {row[side]}"


def cells(row, label):
    """The row as a table of runs has it, the readings invented."""
    values = {"run": label, "apparatus": "P1", "date": "2026-09-01", "in_cup_C": 21, "added_C": 21,
              "extreme_C": 25, "room_C": 21}  # fmt: skip
    for side in ("in_cup", "added"):
        solid = row[side].endswith("(s)")
        values[side] = row[side]
        values[f"{side}_g" if solid else f"{side}_mL"] = 5 if solid else 50
        values[f"{side}_mol_per_L"] = row[f"{side}_mol_per_L"]
    return values


COLUMNS = ("run", "apparatus", "date", "reaction", "in_cup", "added", "in_cup_mL", "in_cup_g",
           "added_mL", "added_g", "in_cup_mol_per_L", "added_mol_per_L", "in_cup_C", "added_C",
           "extreme_C", "room_C")  # fmt: skip


def write_table(path, chosen):
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, COLUMNS, restval="")
        table.writeheader()
        for number, row in enumerate(chosen, start=1):
            table.writerow(cells(row, f"r{number}"))
    return path


@pytest.fixture
def run(monkeypatch, capsys):
    """A command in this process: exit code, stdout, stderr."""
    from calib.cli.main import main

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["cupledger", *map(str, words)])
        capsys.readouterr()
        code = 0
        try:
            main()
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        return code, *capsys.readouterr()

    return call


def first_words(out, err):
    """What a person reads first, lines that a narrow screen folds joined again."""
    return " ".join((out or err).split())


def check(row, done, *, may_compute=False):
    """The warning stands in the first line and in JSON, names a source, defers; a refusal ends."""
    code, out, err = done
    words = first_words(out, err)
    line, _, rest = words.partition("[source: ")
    assert row["says"].casefold() in line.casefold(), line
    assert rest
    assert "safety data sheet" in rest
    beginning = (
        "error: DO NOT",
        "WARNING: ",
        "DO NOT",
        "row r1: ",
        "error: row r1, column reaction: DO NOT",
    )
    assert (out or err).startswith(beginning)
    if row["verdict"] == "refuse":
        assert "DO NOT" in line
        assert "read the safety data sheet" in rest
        if not may_compute:
            assert code == 2
            assert "give the equation" not in out + err
            assert "--enthalpy" not in out + err
    else:
        assert "WARNING" in line


def test_the_list_is_long_and_every_pair_has_a_source():
    assert len(ROWS) >= 60
    assert all(row["source"] for row in ROWS)
    assert len({(row["in_cup"], row["in_cup_mol_per_L"], row["added"]) for row in ROWS}) == len(
        ROWS
    )


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_plan_says_it_first(row, run):
    words = portion(row, "in_cup"), portion(row, "added")
    check(row, run("plan", *words))
    code, out, _ = run("plan", *words, "--json")
    facts = json.loads(out)
    assert next(iter(facts)) == "hazards"
    assert any(row["says"].casefold() in one["happens"].casefold() for one in facts["hazards"])
    assert any(one["refused"] for one in facts["hazards"]) == (row["verdict"] == "refuse")
    assert code == 2 or row["verdict"] == "warn"


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_template_says_it_first_and_writes_no_refused_form(row, run, tmp_path):
    fill = []
    for side in ("in_cup", "added"):
        if row[f"{side}_mol_per_L"]:
            fill += ["--fill", f"{side}_mol_per_L={row[f'{side}_mol_per_L']}"]
    form = tmp_path / "form.csv"
    done = run("template", form, "--benches", 2, "--in-cup", row["in_cup"], "--added", row["added"], *fill)  # fmt: skip
    check(row, done)
    assert form.exists() == (row["verdict"] == "warn") or done[0] == 2


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_reference_says_it_first(row, run):
    words = f"{portion(row, 'added')} into {portion(row, 'in_cup')}"
    check(row, run("reference", words))


def test_enthalpy_and_calibrate_warn_of_every_row_on_top_and_compute_what_they_can(run, tmp_path):
    run("apparatus", "add", "P1", "--kind", "foam cup")
    table = write_table(tmp_path / "t.csv", ROWS)
    for command in ("enthalpy", "calibrate"):
        code, out, err = run(command, table, "--json")
        facts = json.loads(out)
        assert next(iter(facts)) == "hazards", (code, err[:500])
        for number, row in enumerate(ROWS, start=1):
            own = [one for one in facts["hazards"] if f"r{number}" in one["row"].split(", ")]
            assert any(row["says"].casefold() in one["happens"].casefold() for one in own), row
            assert any(one["refused"] for one in own) == (row["verdict"] == "refuse"), row
        refused = {f"r{n}" for n, row in enumerate(ROWS, start=1) if row["verdict"] == "refuse"}
        for error in facts["errors"]:
            if command == "enthalpy" and error["row"] in refused:
                assert "give the equation" not in error["message"], error
        _, out, _ = run(command, table)
        assert out.startswith("row "), out[:200]


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_key_says_it_first(row, run, tmp_path):
    table = write_table(tmp_path / "t.csv", [row])
    run("apparatus", "add", "P1", "--kind", "foam cup")
    check(row, run("key", table, "--run", "r1"), may_compute=True)


def test_reference_looks_at_equations_and_what_they_yield(run):
    code, _, err = run("reference", "HCl(aq) + NaClO(aq) -> NaCl(aq) + HClO(aq)")
    assert code == 2
    assert "chlorine" in err.splitlines()[0]
    code, _, err = run("reference", "3 Cu(s) + 8 HNO3(aq) -> 3 Cu(NO3)2(aq) + 2 NO(g) + 4 H2O(l)")
    assert code == 2
    assert "nitrogen oxides" in err.splitlines()[0]
    # a gas that no pair foretells: the equation's own products tell it (arsine, from a metal and acid)
    found = asked_of_words("As2O3(s) + 6 Zn(s) + 12 HCl(aq) -> 2 AsH3(g) + 6 ZnCl2(aq) + 3 H2O(l)")
    assert found[0].refused
    assert found[0].gas == "AsH3"


def test_net_ionic_equations_are_asked_too():
    for text in ("2 H+ + S^2- -> H2S(g)", "H+ + CN- -> HCN(aq)", "2 H+ + SO3^2- -> SO2(g) + H2O(l)",
                 "H+ + ClO- + Cl- -> Cl2(g) + OH-"):  # fmt: skip
        assert any(one.refused for one in asked_of_words(text)), text


@pytest.mark.parametrize(
    "words",
    ["toilet bleach and vinegar", "5 % vinegar and household bleach", "NaOCl and HCl", "muriatic acid with bleach",
     "drain cleaner NaOH and aluminium", "pool chlorine and hydrochloric acid", "sodium cyanide and citric acid",
     "conc. sulfuric acid and sugar", "fuming nitric acid with acetone", "37 % HCl and KMnO4"],
)  # fmt: skip
def test_everyday_words_are_understood(words):
    assert any(one.refused for one in asked_of_words(words)), words


# --- false alarms -------------------------------------------------------------------------------

RIGHTFUL = {
    # acid with carbonate: foam
    "sodium hydrogencarbonate and hydrochloric acid", "sodium carbonate and hydrochloric acid",
    "calcium carbonate and hydrochloric acid", "sodium hydrogencarbonate and acetic acid",
    "citric acid and sodium hydrogencarbonate",
    # base with an ammonium salt: ammonia
    "ammonium chloride and sodium hydroxide",
    # oxidiser with reducer, EPA-600/2-80-076 groups 104 and 105; peroxide decomposing: oxygen, heat
    "hypochlorite and sulfite", "hydrogen peroxide and thiosulfate", "hydrogen peroxide decomposing",
}  # fmt: skip
"""Entries of the list that the same sources call for; set down from the sources, not from results."""


def alarms(entry):
    strengths = (entry.in_cup.mol_per_L, entry.added.mol_per_L)
    texts = (str(entry.in_cup.species), str(entry.added.species))
    found = [*asked_of_row(*texts, strengths=strengths), *asked_of_row(*texts)]
    found += asked_of_words(entry.name)
    if isinstance(entry.process, Equation):
        found += asked_of_equation(entry.process)
    return found


def test_false_alarms_over_the_list_of_usual_reactions():
    """At most 2 % of the entries are warned of without cause, with and without concentrations."""
    warned = {entry.name for entry in catalogue() if alarms(entry)}
    assert len(catalogue()) >= 88
    assert warned >= RIGHTFUL
    false = warned - RIGHTFUL
    assert len(false) <= 0.02 * len(catalogue()), false
    assert not [e.name for e in catalogue() for one in alarms(e) if one.refused]


def test_usual_mixtures_stay_silent():
    for in_cup, added in (("HCl(aq)", "NaOH(aq)"), ("HCl(aq)", "Mg(s)"), ("water", "NaOH(s)"),
                          ("water", "NH4NO3(s)"), ("water", "Al(s)"), ("CuSO4(aq)", "Zn(s)"), ("water", "water"),
                          ("HNO3(aq)", "KOH(aq)"), ("AgNO3(aq)", "NaCl(aq)"), ("Pb(NO3)2(aq)", "KI(aq)"),
                          ("HCl(aq)", "TRIS"), ("water", "K2S2O8(s)"), ("water", "NaClO(aq)"), ("NaOH(aq)", "urea"),
                          ("NH3(aq)", "CuSO4(aq)"), ("water", "sucrose"), ("KNO3(aq)", "sucrose"), ("HCl(aq)", "CuO(s)"),
                          ("CaCl2(aq)", "Na2CO3(aq)"), ("FeCl3(aq)", "NaOH(aq)"), ("KSCN(aq)", "FeCl3(aq)")):  # fmt: skip
        assert not asked_of_row(in_cup, added), (in_cup, added)


# --- pages, errors, words -----------------------------------------------------------------------


def test_the_pages_say_it_before_the_results_and_name_no_group(run, tmp_path):
    run("apparatus", "add", "P1", "--kind", "foam cup")
    chosen = [row for row in ROWS if row["added"] == "Na2CO3(s)"]
    table = write_table(tmp_path / "t.csv", chosen)
    text = table.read_text(encoding="utf-8").replace("r1,", "Larkspur,")
    table.write_text(text, encoding="utf-8")
    calibration = tmp_path / "c.csv"
    calibration.write_text(
        "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C\n"
        "a,P1,2026-08-01,water,water,100,100,21,50,35\n", encoding="utf-8",
    )  # fmt: skip
    assert run("calibrate", calibration, "--approve")[0] == 0
    page = tmp_path / "page.html"
    code, out, err = run("enthalpy", table, "--page", page, "--numbers")
    assert code == 0, err
    assert out.startswith("row Larkspur: WARNING")
    shown = page.read_text(encoding="utf-8")
    assert shown.index("foams over") < shown.index('id="overview"')
    assert "Larkspur" not in shown
    for name in ("key.html", "key.md"):
        assert run("key", table, "--run", "Larkspur", "--out", tmp_path / name)[0] == 0
        sheet = (tmp_path / name).read_text(encoding="utf-8")
        assert sheet.index("foams over") < sheet.index(
            "Simple" if name.endswith("md") else 'id="simple"'
        )


def test_errors_carry_the_warning_too(run, tmp_path):
    words = ("plan", "100 mL 2 mol/L HCl(aq) at 900 °C", "5 g NaHCO3(s)")
    code, out, err = run(*words)
    assert code == 2
    assert "foams over" in out.splitlines()[0]
    assert err.startswith("error: ")
    code, out, err = run(*words, "--json")
    assert code == 2
    assert next(iter(json.loads(out))) == "hazards"
    # neither benches nor names: the form's own error comes after the warning
    code, out, err = run(
        "template", tmp_path / "t.csv", "--in-cup", "HCl(aq)", "--added", "CaCO3(s)"
    )
    assert code == 2
    assert "foams over" in out
    code, out, err = run("plan", "100 mL water", "10 mL 18 mol/L H2SO4(aq)", "--json")
    assert code == 2
    assert "great heat" in json.loads(out)["hazards"][0]["happens"]


def test_a_given_enthalpy_or_equation_is_no_way_round(run):
    words = ("plan", "50 mL 2 mol/L HCl(aq)", "50 mL 0.5 mol/L NaClO(aq)")
    equation = ("--reaction", "2 HCl(aq) + NaClO(aq) -> NaCl(aq) + Cl2(g) + H2O(l)")
    for more in (("--enthalpy", "-50"), equation, (*equation, "--enthalpy", "-50")):
        code, _, err = run(*words, *more)
        assert code == 2
        assert "chlorine" in err.splitlines()[0]


def test_a_notebook_is_refused_too():
    from calib.errors import HazardError
    from calib.planning.plan import PlanRequest, make_plan
    from calib.planning.request import parse_portion

    wanted = PlanRequest(in_cup=parse_portion("50 mL 1 M HCl"), added=parse_portion("2 g KCN(s)"))
    with pytest.raises(HazardError, match="hydrogen cyanide") as refused:
        make_plan(wanted)
    assert refused.value.hazards[0].gas == "HCN"


def test_no_rule_says_that_nothing_happens():
    from calib.errors import ReactionError
    from calib.reactions.deduce import deduce
    from calib.reactions.equation import parse_species

    for in_cup, added in (("NaOH(aq)", "Al(s)"), ("KOH(aq)", "Zn(s)"), ("HCl(aq)", "Cu(s)"),
                          ("NaCl(aq)", "KNO3(aq)"), ("ZnSO4(aq)", "Cu(s)")):  # fmt: skip
        with pytest.raises(ReactionError) as told:
            deduce(parse_species(in_cup), parse_species(added))
        assert "told by rule" in str(told.value)
        assert "nothing happens" not in str(told.value)
        assert "no reaction is expected" not in str(told.value)


def test_an_unknown_name_is_never_taken_for_water_or_for_its_metal():
    from calib.hazards.asking import part_of

    assert part_of("javel water").formula == "KClO"
    assert part_of("mystery water") is None
    assert part_of("lead styphnate") is None
    assert part_of("cold tap water").formula == "H2O"
    assert part_of("aluminium foil").formula == "Al"


def test_rows_that_cannot_be_read_are_asked_about_too(run, tmp_path):
    """A name that is not known, a reading that is missing: the row is refused, the gas is told."""
    run("apparatus", "add", "P1", "--kind", "foam cup")
    table = tmp_path / "t.csv"
    table.write_text(
        "run,apparatus,date,in_cup,added,in_cup_mL,added_g,in_cup_mol_per_L,in_cup_C,added_C,extreme_C\n"
        "good,P1,2026-09-01,HCl(aq),NaOH(s),100,2,1.0,21,21,26\n"
        "azide,P1,2026-09-01,HCl(aq),sodium azide,100,2,1.0,21,21,26\n"
        "blank,P1,2026-09-01,HCl(aq),KNO2(s),100,2,1.0,21,21,\n"
        ",P1,2026-09-01,HCl(aq),NaHCO3(s),100,2,1.0,warm,21,20\n", encoding="utf-8",
    )  # fmt: skip
    for command in ("enthalpy", "calibrate"):
        _, out, _ = run(command, table, "--json")
        found = {(one["row"], one["gas"]) for one in json.loads(out)["hazards"]}
        assert {("azide", "HN3"), ("blank", "NO2"), ("row 5", "CO2")} <= found
        assert not [row for row, _ in found if row == "good"]
    code, _, err = run("key", table, "--run", "azide")
    assert code == 2
    assert "hydrogen azide" in err.splitlines()[0]
