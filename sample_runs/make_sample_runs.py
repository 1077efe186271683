"""Make the sample runs: invented readings of invented cups, from a simulated cup.

Run from the top of the checkout: ``python -m sample_runs.make_sample_runs``. The same seed always
writes the same files. Nothing in here was measured by anybody. The simulated cup
(``fitting/practice/simulated_cup.py``) has what the fitted models lack: a slow inner wall, vapour
that escapes, a room that drifts, a sensor that lags and shows steps, a pour that takes seconds.

The heat capacities of the liquids come from the libraries ``thermo`` (Laliberte 2009) and
``chemicals`` (IAPWS-95), not from cupledger. The enthalpies that the invented substances release
are written below; they were chosen near handbook values so that the scenario looks real.

Nor are the school's instruments right: balance, probes and stock solutions are off by as much as
``readings.toml`` says that they may be, each by an error of its own that stays with it.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np

from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, draw_cup, simulate
from sample_runs.invented_school import (
    CUPS,
    TRUE_KJ_PER_MOL,
    Instruments,
    Probe,
    as_read,
    dissolution,
    draw_instruments,
    mixing_run,
    neutralization,
    true_cups,
    water_cp,
    write_curve,
    write_rows,
)

HERE = Path(__file__).resolve().parent


def make_calibrations(
    folder: Path, cups: dict[str, Cup], rng: np.random.Generator, tools: Instruments
) -> None:
    """Six cups, four mixing runs each, every one with its curve."""
    rows: list[dict[str, object]] = []
    for name in CUPS:
        for number in range(1, 5):
            e, true = mixing_run(cups[name], rng)
            run, read = as_read(simulate(e, rng), true, name, tools, rng)
            file = f"curves/mix_{name}_{number}.csv"
            write_curve(folder / file, run, "plain")
            rows.append(
                {
                    "run": f"{name}-{number}",
                    "apparatus": name,
                    "date": f"2026-09-{number:02d}",
                    "in_cup": "water",
                    "added": "water",
                    **read,
                    "added_read_s": "0",  # the probe stood in the hot water until it was poured
                    "curve": file,
                    "mixed_at_s": f"{run.mixed_at_s:.0f}",
                    "room_C": f"{run.room_C:.1f}",
                }
            )
    write_rows(folder / "calibrations.csv", rows)


def make_class_with_curves(
    folder: Path,
    cups: dict[str, Cup],
    rng: np.random.Generator,
    cp_spread: float,
    tools: Instruments,
) -> None:
    """Six benches neutralize, six dissolve potassium nitrate; all log their curves."""
    factors = 1 + rng.normal(0.0, cp_spread, 2)
    rows: list[dict[str, object]] = []
    for index in range(12):
        cup = CUPS[index % 6]
        acid_run = index < 6
        cp_factor = float(factors[0 if acid_run else 1])
        e, true = (
            neutralization(cups[cup], rng, cp_factor, tools.stock)
            if acid_run
            else dissolution("KNO3", 12.0, cups[cup], rng, cp_factor)
        )
        run, read = as_read(simulate(e, rng), true, cup, tools, rng)
        form = ("plain", "comma", "clock")[index % 3]
        file = f"curves/class_bench{index + 1:02d}.{'csv' if form != 'clock' else 'txt'}"
        write_curve(folder / file, run, form)
        rows.append(
            {
                "run": f"bench {index + 1}",
                "apparatus": cup,
                "date": "2026-10-14",
                "in_cup": "HNO3(aq)" if acid_run else "water",
                "in_cup_mol_per_L": "1.000" if acid_run else "",
                "added": "KOH(aq)" if acid_run else "KNO3(s)",
                "added_mol_per_L": "1.000" if acid_run else "",
                **read,
                "curve": file,
                "mixed_at_s": f"{run.mixed_at_s:.0f}" if index % 4 else "",
                "room_C": f"{run.room_C:.1f}",
            }
        )
    write_rows(folder / "class_curves.csv", rows)


def make_class_with_readings(
    folder: Path, cups: dict[str, Cup], rng: np.random.Generator, tools: Instruments
) -> None:
    """Eight benches with a thermometer only: before, lowest after. Bench 8 has a new cup."""
    rows: list[dict[str, object]] = []
    for index in range(8):
        cup = (*CUPS, "P1", "P7")[index]
        e, true = dissolution("NH4Cl", 10.0, cups[cup], rng, 1.0)
        run, read = as_read(simulate(e, rng), true, cup, Instruments(tools.balance_g), rng)
        thermometer = tools.thermometers.get(cup, Probe())
        after = run.time_s > run.mixed_at_s
        lowest = int(np.argmin(run.temperature_C[after]))
        rows.append(
            {
                "run": f"table {index + 1}",
                "apparatus": cup,
                "date": "2026-10-21",
                "in_cup": "water",
                "added": "NH4Cl(s)",
                **read,
                "added_C": f"{thermometer.shows(true['added_C'], 0.1):.1f}",
                "in_cup_C": f"{thermometer.shows(run.true_before_C, 0.1):.1f}",
                "extreme_C": f"{thermometer.shows(run.temperature_C[after][lowest], 0.1):.1f}",
                "extreme_after_s": f"{run.time_s[after][lowest] - run.mixed_at_s:.0f}",
                "room_C": f"{run.room_C:.1f}",
                "remark": "new cup, not calibrated yet" if cup == "P7" else "",
            }
        )
    write_rows(folder / "class_readings.csv", rows)


def as_answered(slips: str, m: float, own: float, rise: float, end: float, mol: float) -> str:
    """What an invented group makes of its readings; m is the whole mass, own the first liquid's."""
    mass = own if "one mass" in slips else m
    change = rise + 273.15 if "kelvin" in slips else end if "final" in slips else rise
    heat = mass * (1.0 if "calories" in slips else 4.18) * change
    answer = -heat / (1.0 if "joules" in slips else 1000.0) / (1.0 if "undivided" in slips else mol)
    answer = -answer if "sign" in slips else answer
    if "misread" in slips:
        answer *= 0.73
    places = 3 if abs(answer) < 10 else 1 if abs(answer) < 1000 else 0
    return "" if "none" in slips else f"{answer:.{places}f}"


ANSWERS = ("", "sign", "one mass", "joules", "undivided", "kelvin", "sign, calories",
           "", "one mass", "final", "misread", "none")  # fmt: skip


def make_class_answers(folder: Path, cups: dict[str, Cup], tools: Instruments) -> None:
    """Twelve groups with their own answers, some with a slip: what ``mark`` is for."""
    rng = np.random.default_rng(20261104)  # its own, so that no other file depends on this one
    rows: list[dict[str, object]] = []
    for index, slips in enumerate(ANSWERS):
        cup, acid = CUPS[index % 6], index < 7
        if acid:
            e, true = neutralization(cups[cup], rng, 1.0, tools.stock)
        else:
            e, true = dissolution("KNO3", 12.0, cups[cup], rng, 1.0)
        run, read = as_read(simulate(e, rng), true, cup, Instruments(tools.balance_g), rng)
        shows = tools.thermometers.get(cup, Probe()).shows
        start, after = float(shows(run.true_before_C, 0.1)), run.time_s > run.mixed_at_s
        course = run.temperature_C[after]
        end = float(shows(course.max() if acid else course.min(), 0.1))
        own, more = float(str(read["in_cup_g"])), float(str(read["added_g"]))
        mol = own / 1000.0 if acid else more / 101.10
        rows.append(
            {
                "run": f"pair {index + 1}",
                "apparatus": cup,
                "date": "2026-11-04",
                "in_cup": "HNO3(aq)" if acid else "water",
                "in_cup_mol_per_L": "1.000" if acid else "",
                "added": "KOH(aq)" if acid else "KNO3(s)",
                "added_mol_per_L": "1.000" if acid else "",
                **read,
                "added_C": f"{float(shows(true['added_C'], 0.1)):.1f}",
                "in_cup_C": f"{start:.1f}",
                "extreme_C": f"{end:.1f}",
                "reported_kJ_per_mol": as_answered(slips, own + more, own, end - start, end, mol),
            }
        )
    write_rows(folder / "class_answers.csv", rows)


COOLING_G = 210.0  # of warm water in P1


def make_cooling_log(folder: Path, cups: dict[str, Cup], tools: Instruments) -> None:
    """P1 with warm water and nothing else, logged for an hour and a half: what ``cooldown`` is for.

    The room stood at 21.0 °C when the log began, some minutes after the water was poured in.
    """
    rng = np.random.default_rng(20261118)  # its own, so that no other file depends on this one
    e = Experiment(
        cup=cups["P1"],
        room=Room(start_C=21.0, drift_K_per_s=1e-4, swing_K=0.1),
        sensor=Sensor(lag_s=6.0, noise_K=0.008, step_K=0.0, wander_K=0.002, every_s=10.0),
        in_cup_J_per_K=COOLING_G * water_cp(40.0),
        in_cup_C=47.0,
        added_J_per_K=0.0,
        heat_J=0.0,
        fore_s=5400.0,
        after_s=20.0,
        standing_s=600.0,
    )
    run = simulate(e, rng)
    cooling = run.time_s < e.fore_s
    shown = tools.probes.get("P1", Probe()).shows(run.temperature_C[cooling], 0.01)
    log = replace(run, time_s=run.time_s[cooling], temperature_C=shown)
    write_curve(folder / "curves/cooling_P1.csv", log, "plain")


def make_truth(folder: Path, cups: dict[str, Cup]) -> None:
    """The answers of this invented world, for whoever wants to compare."""
    rows: list[dict[str, object]] = [
        {"what": f"constant of {n}, J/K", "value": f"{c.constant_J_per_K:.2f}"}
        for n, c in cups.items()
    ]
    rows += [
        {"what": f"loss of {n}, W/K", "value": f"{c.loss_W_per_K:.4f}"} for n, c in cups.items()
    ]
    rows += [{"what": f"{n}, kJ/mol", "value": f"{v:.2f}"} for n, v in TRUE_KJ_PER_MOL.items()]
    write_rows(folder / "invented_truth.csv", rows)


def make_all(
    folder: Path, rng: np.random.Generator, *, cp_spread: float = 0.0, any_cups: bool = False
) -> dict[str, Cup]:
    """Write every file of the scenario into a folder; return the true cups.

    ``cp_spread`` is the relative standard deviation of the true heat capacities about the
    published correlation: this world's solutions need not obey it either. With ``any_cups`` the
    cups are drawn from all foam cups with a lid (`draw_cup`), not from one make.
    """
    cups = {name: draw_cup(rng) for name in (*CUPS, "P7")} if any_cups else true_cups(rng)
    tools = draw_instruments(rng)
    if folder.resolve() != HERE:
        shutil.copy(HERE / "readings.toml", folder)
    make_calibrations(folder, cups, rng, tools)
    make_class_with_curves(folder, cups, rng, cp_spread, tools)
    make_class_with_readings(folder, cups, rng, tools)
    make_class_answers(folder, cups, tools)
    make_cooling_log(folder, cups, tools)
    make_truth(folder, cups)
    return cups


if __name__ == "__main__":
    make_all(HERE, np.random.default_rng(20260901))
