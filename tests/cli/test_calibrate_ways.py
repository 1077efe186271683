"""``calibrate`` as people type it: every way to a constant, from a table's file to the registry.

Truth: energy conserved with heat capacities of the libraries chemicals and thermo
(``tests/calib/energy.py``), extreme readings of ``fitting/practice/simulated_cup.py`` without noise, Newton's
law solved exactly, enthalpies of certificates and handbooks.
"""

from __future__ import annotations

import csv

import numpy as np
import pytest

from tests.calib.energy import (
    mixed_water_C,
    settled_C,
    shown_by_a_cup,
    solution_J_per_K,
    water_J_per_g,
)

C_CUP, G = 18.0, 0.042  # J/K, W/K: the cup that every table here was "measured" in
ROOM = 21.0

FINE = """[temperature]
u = 0.001
slope_percent = 0.0
step = 0.001
[mass]
step = 0.001
[concentration]
relative_u_percent = 0.05
[voltage]
u = 0.002
[current]
u = 0.0004
"""


@pytest.fixture
def bench(cups, tmp_path):
    """``bench(rows)`` writes a table with its instruments, calibrates, gives what was done."""
    (tmp_path / "readings.toml").write_text(FINE, encoding="utf-8")

    def calibrate(rows, *options):
        common = {"run": "", "apparatus": "P1", "date": "2026-09-01"}
        names = list(dict.fromkeys(name for row in (common, *rows) for name in row))
        path = tmp_path / "runs.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names)
            writer.writeheader()
            for i, row in enumerate(rows):
                writer.writerow({**common, "run": f"r{i}", **row})
        return cups("calibrate", path, *options)

    calibrate.folder = tmp_path
    calibrate.cups = cups
    return calibrate


def write(path, t, T):
    lines = [f"{a:g},{b:.3f}" for a, b in zip(t, T, strict=True)]
    path.write_text("time_s,temperature_C\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return path.name


def cooling_row(folder, grams=200.0, C=C_CUP, name="cool.csv"):
    """An hour of Newton's law from 45 °C on."""
    t = np.arange(0.0, 3600.0, 5.0)
    k = G / (grams * 4.179 + C)
    T = ROOM + 24.0 * np.exp(-k * t) + np.random.default_rng(0).normal(0.0, 0.003, t.size)
    return {
        "in_cup": "water",
        "in_cup_g": grams,
        "curve": write(folder / name, t, T),
        "room_C": ROOM,
    }


def read_after(settled, started, capacity, after_s):
    """What an extreme reading shows ``after_s`` after a sudden change (Newton's law, exactly)."""
    return ROOM + (settled - ROOM) * np.exp(-G / (capacity + C_CUP) * after_s)


def mixing_row(C=C_CUP, cold=100.0, hot=100.0, cold_C=21.0, hot_C=49.0, hot_in_cup=False):
    pair = ((hot, hot_C), (cold, cold_C)) if hot_in_cup else ((cold, cold_C), (hot, hot_C))
    final = mixed_water_C(C, *pair[0], *pair[1])
    if hot_in_cup:  # it goes on cooling, so that nothing turns
        after = 60.0
        shown = read_after(final, pair[0][1], (cold + hot) * 4.18, after)
    else:
        shown, after = shown_by_a_cup(final, cold_C, (cold + hot) * 4.18, C, G)
    return {
        "in_cup": "water", "added": "water", "in_cup_g": pair[0][0], "in_cup_C": pair[0][1],
        "added_g": pair[1][0], "added_C": pair[1][1], "added_read_s": 0,
        "extreme_C": f"{shown:.4f}", "extreme_after_s": after, "room_C": ROOM,
    }  # fmt: skip


def heater_row(
    folder, C=C_CUP, grams=200.0, volts=12.0, amperes=1.5, seconds=400.0, name="heat.csv"
):
    """A heater with its curve: constant power in a cup that obeys Newton's law, solved exactly."""
    capacity, t, on = grams * 4.1805 + C, np.arange(0.0, 1600.0, 2.0), 180.0
    k, hot = G / capacity, ROOM + volts * amperes / G
    off = hot + (ROOM - hot) * np.exp(-k * seconds)
    T = np.select(
        [t < on, t < on + seconds],
        [np.full_like(t, ROOM), hot + (ROOM - hot) * np.exp(-k * (t - on))],
        ROOM + (off - ROOM) * np.exp(-k * (t - on - seconds)),
    )
    T = T + np.random.default_rng(3).normal(0.0, 0.003, t.size)
    return {
        "in_cup": "water", "in_cup_g": grams, "heater_V": volts, "heater_A": amperes,
        "heater_s": seconds, "curve": write(folder / name, t, T), "mixed_at_s": on, "room_C": ROOM,
    }  # fmt: skip


def reaction_row(heat_J, after, start_C=21.0, **columns):
    """A reaction that warms or cools a cup at the room's temperature; a solid takes its time."""
    settled = settled_C(heat_J, start_C, after, C_CUP)
    slow = columns["added"].endswith("(s)")
    shown, at = shown_by_a_cup(settled, start_C, after, C_CUP, G, slow)
    return {
        "in_cup_C": start_C, "added_C": start_C, "extreme_C": f"{shown:.4f}",
        "extreme_after_s": at, "room_C": start_C, **columns,
    }  # fmt: skip


def potassium_chloride_row(grams=8.0, water=200.0):
    """SRM 1655: 235.86 J/g at 25 °C, 1 mol in 500 mol of water (M); at other molalities and 21 °C
    from the change of the apparent enthalpy, so the run is made at the certificate's conditions."""
    grams = water / 18.0153 / 500 * 74.551
    after = solution_J_per_K({"H2O": water, "KCl": grams}, 24.0)
    return reaction_row(-grams * 235.86, after, 25.0, in_cup="water", in_cup_g=water,
                        added="KCl(s)", added_g=f"{grams:.4f}")  # fmt: skip


def the_constant(done, way):
    assert done.code == 0, done.out + done.err
    (constant,) = [c for c in done.json["constants"] if way in c["method"]]
    low, high = constant["interval95_J_per_K"]
    assert low < C_CUP < high, constant
    return constant


@pytest.mark.parametrize("hot_in_cup", [False, True])
def test_mixing_with_either_liquid_in_the_cup(bench, hot_in_cup):
    rows = [mixing_row(hot_C=h, hot_in_cup=hot_in_cup) for h in (47.0, 49.0, 51.0)]
    constant = the_constant(bench([*rows, cooling_row(bench.folder)], "--json"), "hot/cold mixing")
    assert constant["constant_J_per_K"] == pytest.approx(C_CUP, abs=4.0)
    assert constant["heat_loss_W_per_K"] == pytest.approx(G, rel=0.05)
    assert constant["u_constant_J_per_K"] < 8.0  # walls that a curve would show


def test_hot_water_with_its_own_log(bench):
    """The beaker's log ends 20 s before it is poured; its last reading is 0.3 K too warm."""
    t = np.arange(0.0, 300.0, 2.0)
    k, poured = 5e-4, 320.0
    hot = ROOM + 34.0 * np.exp(-k * t)
    at_pouring = float(ROOM + 34.0 * np.exp(-k * poured))
    row = mixing_row(hot_C=at_pouring)
    row |= {"added_C": "", "added_curve": write(bench.folder / "beaker.csv", t, hot)}
    row |= {"added_poured_at_s": poured, "added_read_s": ""}
    late = {**mixing_row(hot_C=at_pouring), "added_C": f"{hot[-1]:.3f}"}
    done = bench([row, cooling_row(bench.folder)], "--json")
    constant = the_constant(done, "hot/cold mixing")
    assert constant["constant_J_per_K"] == pytest.approx(C_CUP, abs=4.0)
    wrong = bench([late, cooling_row(bench.folder)], "--json").json["constants"][0]
    assert abs(wrong["constant_J_per_K"] - constant["constant_J_per_K"]) > 3.0


def tris_row():
    """SRM 724a in 0.1 mol/L HCl: −245.76 J/g at 25 °C, slope 1.435 J/(g K) (F)."""
    solvent = {"H2O": 199.27, "HCl": 0.73}
    after = solution_J_per_K(solvent, 25.0) + 0.5 * 4.18
    heat = 245.76 - 1.435 * (21.0 - 25.0)
    return reaction_row(heat, after, reaction="TRIS in acid", in_cup="HCl(aq)", in_cup_g=200.0,
                        in_cup_mol_per_L=0.1, added="C4H11NO3(s)", added_g=1.0)  # fmt: skip


def neutralization_row():
    """2 mol/L HCl and NaOH: −58.63 kJ/mol, ΔCp 215 J/(mol K) (reference table, C from F)."""
    after = solution_J_per_K({"NaCl": 0.1 * 58.443, "H2O": 105.5 - 0.1 * 58.443}, 32.0)
    return reaction_row(0.1 * (58_630.0 + 215.0 * 4.0), after, in_cup="HCl(aq)", in_cup_mL=50.0,
                        in_cup_mol_per_L=2.0, added="NaOH(aq)", added_mL=50.0,
                        added_mol_per_L=2.0)  # fmt: skip


def nitrate_row(grams=10.0, water=200.0):
    """KNO3: 34.89 kJ/mol at infinite dilution, 25 °C (NBS tables, M); 0.5 mol/kg and 21 °C change
    it by about −0.9 and +0.5 kJ/mol, which the run's own uncertainty must cover."""
    after = solution_J_per_K({"KNO3": grams, "H2O": water}, 20.0)
    return reaction_row(-1000.0 * 34.5 * grams / 101.103, after, in_cup="water", in_cup_g=water,
                        added="KNO3(s)", added_g=grams)  # fmt: skip


@pytest.mark.parametrize(
    "make", [tris_row, potassium_chloride_row, neutralization_row, nitrate_row]
)
def test_known_reactions(bench, make):
    done = bench([make(), cooling_row(bench.folder)], "--json")
    constant = the_constant(done, "known reaction")
    sources = [line["source"] for line in constant["budget"]]
    assert any(source.startswith("correction of the extreme reading: course") for source in sources)
    if (
        make is nitrate_row
    ):  # of the others' enthalpies the certificates know more than a budget says
        assert any(source.startswith("enthalpy of the known reaction") for source in sources)


def test_a_heater_with_its_curve(bench):
    done = bench([heater_row(bench.folder)], "--json")
    constant = the_constant(done, "electrical heater")
    assert constant["constant_J_per_K"] == pytest.approx(C_CUP, abs=2.0)
    assert constant["heat_loss_W_per_K"] == pytest.approx(G, rel=0.15)
    sources = " ".join(line["source"] for line in constant["budget"])
    assert "leads" in sources
    assert "variation of the power" in sources


def test_a_heater_with_two_readings(bench):
    """The closed form again, read 30 s after 400 s of heating."""
    capacity = 200.0 * 4.1805 + C_CUP
    k, hot = G / capacity, ROOM + 18.0 / G
    off = hot + (ROOM - hot) * np.exp(-k * 400.0)
    shown = ROOM + (off - ROOM) * np.exp(-k * 30.0)
    row = {
        "in_cup": "water", "in_cup_g": 200.0, "in_cup_C": ROOM, "heater_V": 12.0, "heater_A": 1.5,
        "heater_s": 400.0, "extreme_C": f"{shown:.4f}", "room_C": ROOM,
    }  # fmt: skip
    for noted in (30.0, 430.0):
        done = bench([{**row, "extreme_after_s": noted}, cooling_row(bench.folder)], "--json")
        constant = the_constant(done, "electrical heater")
        assert constant["constant_J_per_K"] == pytest.approx(C_CUP, abs=1.5)


def test_ways_that_agree_are_combined_and_it_is_said(bench):
    rows = [
        mixing_row(),
        mixing_row(hot_C=52.0),
        heater_row(bench.folder),
        cooling_row(bench.folder),
    ]
    done = bench(rows)
    assert done.code == 0
    assert "P1: hot/cold mixing and electrical heater agree: they differ by" in done.out
    facts = bench(rows, "--json").json
    (constant,) = facts["constants"]
    assert constant["method"] == "hot/cold mixing and electrical heater"
    assert constant["agreement"][0]["consistent"] is True
    assert constant["agreement"][0]["p"] > 0.05


def test_ways_that_disagree_are_never_averaged(bench):
    """The heater's readings are those of a cup of 90 J/K."""
    rows = [mixing_row(hot_C=h) for h in (47.0, 49.0, 51.0)]
    rows += [heater_row(bench.folder, C=90.0, name=f"h{i}.csv") for i in range(2)]
    rows += [cooling_row(bench.folder)]
    done = bench(rows, "--approve")
    assert "DISAGREE" in done.out
    assert "left as a draft: the ways to the constant disagree" in done.err
    facts = bench(rows, "--json").json
    assert [c["method"] for c in facts["constants"]] == ["hot/cold mixing", "electrical heater"]
    assert {c["status"] for c in facts["constants"]} == {"draft"}
    low, high = (c["constant_J_per_K"] for c in facts["constants"])
    assert low < 30.0 < 70.0 < high


def test_an_outlying_run_is_shown_with_its_leverage_and_the_rule(bench):
    rows = [mixing_row(hot_C=h) for h in (47.0, 48.0, 49.0, 50.0, 51.0)]
    rows += [{**mixing_row(C=32.0), "run": "odd"}, cooling_row(bench.folder)]
    done = bench(rows)
    assert done.code == 0
    line = next(line for line in done.out.splitlines() if line.startswith("odd"))
    assert "outlying" in line
    assert "Rule: a run is outlying where it lies more than 3 standard uncertainties" in done.out
    assert "kept, not dropped" in done.err
    facts = bench(rows, "--json").json
    odd = next(run for run in facts["runs"] if run["run"] == "odd")
    assert odd["outlying"] is True
    assert 0.0 < odd["leverage"] < 1.0
    assert odd["deviation_from_others"] > 3.0
    assert "more than 3" in facts["outlier_rule"]


def test_dependence_on_the_fill_is_seen_and_said(bench):
    """A cup that wets 0.1 J/K more per mL: half fills from 60 to 140 g, both liquids alike."""
    rows = []
    for half in (60.0, 80.0, 100.0, 120.0, 140.0, 60.0, 140.0):
        C = C_CUP + 0.1 * (2 * half - 200.0)
        final = mixed_water_C(C, half, 21.0, half, 49.0)
        shown, at = shown_by_a_cup(final, 21.0, 2 * half * 4.18, C, G)
        rows.append({**mixing_row(), "in_cup_g": half, "added_g": half,
                     "extreme_C": f"{shown:.4f}", "extreme_after_s": at})  # fmt: skip
    rows.append(cooling_row(bench.folder))
    done = bench(rows)
    print(done.out)
    assert "P1: dependence on the fill: linear in the liquid's volume: +0" in done.out
    (constant,) = bench(rows, "--json").json["constants"]
    slope, u = (
        constant["constant_slope_J_per_K_per_mL"],
        constant["u_constant_slope_J_per_K_per_mL"],
    )
    assert slope == pytest.approx(0.1, abs=3 * u)
    assert slope > 3 * u


def many_cups(values):
    return [
        {**mixing_row(C=value, hot_C=47.0 + i), "apparatus": name, "run": f"{name}-{i}"}
        for name, value in values.items()
        for i in range(2)
    ]


SET = {"P1": 22.0, "P2": 17.0, "K3": 18.5, "K4": 16.0, "K5": 19.0}


def test_a_kind_has_a_mean_and_a_spread_and_a_cup_may_lean_on_it(bench):
    assert bench.cups("apparatus", "add", "K3", "K4", "K5", "--kind", "foam cup").code == 0
    logs = [
        {
            **cooling_row(bench.folder, grams=200.0 + i, name=f"c{n}.csv"),
            "apparatus": n,
            "run": f"c{n}",
        }
        for i, n in enumerate(SET)
    ]  # no two cups have one log
    rows = [*many_cups(SET), *logs]
    done = bench(rows)
    assert "Kind 'foam cup': mean of 5 cups" in done.out
    facts = bench(rows, "--json").json
    (kind,) = facts["kinds"]
    assert kind["mean_J_per_K"] == pytest.approx(np.mean(list(SET.values())), abs=3.0)
    # every cup's wall may be another, which explains a part of the cups' differences
    assert 0.0 <= kind["between_cup_sd_J_per_K"] < 1.3 * np.std(list(SET.values()), ddof=1)
    drawn = bench(rows, "--lean-on-kind", "P1", "--json").json
    own, after = (next(c for c in f["constants"] if c["apparatus"] == "P1") for f in (facts, drawn))
    assert own["drawn_towards_kind"] is None
    assert after["drawn_towards_kind"]["own_J_per_K"] == pytest.approx(own["constant_J_per_K"])
    assert after["drawn_towards_kind"]["other_cups"] == 4
    assert 17.0 < after["constant_J_per_K"] < own["constant_J_per_K"]
    assert after["u_constant_J_per_K"] < 1.1 * own["u_constant_J_per_K"]
    assert after["method"].endswith("drawn towards its kind")
    assert any("drawn towards the kind's" in w for w in after["warnings"])


@pytest.mark.parametrize(
    ("cup", "match"),
    [
        ("Z9", "--lean-on-kind Z9: the table gives no constant of it; it gives those of P1"),
        ("P1", "0 other cups tell too little of the kind; at least 3 needed"),
    ],
)
def test_leaning_that_cannot_be_is_refused_and_nothing_is_stored(bench, cup, match):
    rows = [mixing_row(), cooling_row(bench.folder)]
    done = bench(rows, "--lean-on-kind", cup)
    assert done.code == 2
    assert match in done.err
    assert bench.cups("constants", "--json").json["constants"] == []


def test_a_cooling_log_alone_tells_the_loss(bench):
    done = bench([cooling_row(bench.folder)], "--json")
    assert done.code == 0
    (constant,) = done.json["constants"]
    assert constant["constant_J_per_K"] is None
    assert constant["heat_loss_W_per_K"] == pytest.approx(G * 835.8 / (835.8 + C_CUP), rel=0.05)
    assert constant["status"] == "not stored"
    assert "cooling log" in bench([cooling_row(bench.folder)]).out


def test_a_later_cooling_log_gives_the_constant_in_force_a_new_loss(bench):
    assert bench([mixing_row(), mixing_row(hot_C=52.0)], "--approve").code == 0
    before = bench.cups("constants", "--json").json["constants"][0]
    done = bench([{**cooling_row(bench.folder), "date": "2026-10-01"}], "--approve", "--json")
    (constant,) = done.json["constants"]
    assert constant["heat_loss_W_per_K"] == pytest.approx(G, rel=0.05)
    assert constant["status"] == "approved"
    (now,) = bench.cups("constants", "--json").json["constants"]
    assert now["constant_J_per_K"] == before["constant_J_per_K"]
    assert now["valid_from"] == "2026-10-01"
    assert now["heat_loss_W_per_K"] == pytest.approx(G, rel=0.05)
    assert "loss from cooling log" in now["method"]
    assert f"the value is that of constant {before['id']}" in now["warnings"]


@pytest.mark.parametrize("added", ["water", ""])
def test_half_a_mixing_row_is_no_cooling_log(bench, added):
    """Something was said of what was added, so its amount is asked for."""
    done = bench([{**cooling_row(bench.folder), "added": added, "added_C": 50.0}], "--json")
    assert done.code == 2
    assert done.json["errors"][0]["column"] in ("added_g", "added_mL")


def test_water_heat_content_is_the_library_s():
    """4.1838 J/(g K) as the mean from 20 to 25 °C makes 20.9 J/g (IAPWS-95, L)."""
    assert water_J_per_g(25.0) - water_J_per_g(20.0) == pytest.approx(20.91, abs=0.02)
