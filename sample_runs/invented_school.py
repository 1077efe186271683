"""The invented school of the sample runs: its cups, instruments, liquids and what happens in them.

Used by ``make_sample_runs.py``, which writes the files, and by the simulations in the tests.
Nothing in here was measured by anybody; no code is shared with what computes the results.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, SimulatedRun

CUPS = ("P1", "P2", "P3", "P4", "P5", "P6")

# The truth of this invented world, at the runs' starting temperature of about 21 °C.
TRUE_KJ_PER_MOL = {"neutralization": -59.30, "KNO3": 34.10, "NH4Cl": 15.80}
MOLAR_MASS = {"HNO3": 63.012, "KOH": 56.105, "KNO3": 101.102, "NH4Cl": 53.489}


@dataclass(frozen=True)
class Probe:
    """A thermometer that is off by an offset [K] and a slope about 20 °C."""

    offset_K: float = 0.0
    slope: float = 0.0

    def shows(self, celsius: np.ndarray | float, step_K: float) -> np.ndarray:
        """What its display shows of a true temperature."""
        wrong = np.asarray(celsius) + self.offset_K + self.slope * (np.asarray(celsius) - 20.0)
        return np.round(np.round(wrong / step_K) * step_K, 6)


@dataclass(frozen=True)
class Instruments:
    """What the school reads with: one balance, a probe and a thermometer a cup, stock bottles.

    The defaults are perfect. ``stock`` is the bottles' true concentration over their label's.
    """

    balance_g: float = 0.0
    probes: dict[str, Probe] = field(default_factory=dict)
    thermometers: dict[str, Probe] = field(default_factory=dict)
    stock: dict[str, float] = field(default_factory=dict)

    def weighs(self, grams: float, rng: np.random.Generator) -> float:
        """What the balance shows: its linearity, and a display of 0.01 g at tare and at load."""
        return round(grams + self.balance_g + rng.uniform(-0.005, 0.005), 2)


def draw_instruments(rng: np.random.Generator) -> Instruments:
    """Errors within the limits that readings.toml states: ±0.02 g, ±0.1 °C, ±0.1 %, u 0.1 %."""

    def probe(slope: float) -> Probe:
        return Probe(rng.uniform(-0.1, 0.1), rng.uniform(-slope, slope))

    names = (*CUPS, "P7")
    return Instruments(
        balance_g=rng.uniform(-0.02, 0.02),
        probes={name: probe(0.001) for name in names},
        thermometers={name: probe(2 * 0.1 / 70.0) for name in names},
        stock={name: 1.0 + 0.001 * rng.normal() for name in ("HNO3", "KOH")},
    )


def heat_capacity(grams: dict[str, float], celsius: float) -> float:
    """Heat capacity of a solution [J/K] from its components' masses [g], by thermo's Laliberte."""
    from chemicals import CAS_from_any
    from thermo.electrochem import Laliberte_heat_capacity

    total = sum(grams.values())
    salts = [name for name in grams if name != "H2O"]
    if not salts:
        return grams["H2O"] * water_cp(celsius)
    cas = [CAS_from_any(name) for name in salts]
    shares = [grams[name] / total for name in salts]
    return float(Laliberte_heat_capacity(celsius + 273.15, shares, cas)) / 1000 * total


def water_cp(celsius: float) -> float:
    """Water's heat capacity [J/(g K)] from IAPWS-95 by the library chemicals."""
    from chemicals.iapws import iapws95_properties

    return float(iapws95_properties(celsius + 273.15, 101325.0)[5]) / 1000


def true_cups(rng: np.random.Generator) -> dict[str, Cup]:
    """Six double foam cups with lid, and a seventh that nobody has calibrated."""
    cups = {}
    for name in (*CUPS, "P7"):
        cups[name] = Cup(
            fast_J_per_K=rng.uniform(7.0, 11.0),
            slow_wall_J_per_K=rng.uniform(2.0, 4.0),
            slow_wall_s=rng.uniform(30.0, 60.0),
            loss_W_per_K=rng.uniform(0.03, 0.045),
            wall_loss_share=0.3,
            evaporation_g_per_s_kPa=1.5e-6,
            stirrer_W=0.015,
        )
    return cups


@dataclass
class Bench:
    """What one run has in common: its random numbers, room and sensor."""

    rng: np.random.Generator

    def start(self, cup: Cup) -> Experiment:
        room = Room(
            start_C=21.0 + self.rng.normal(0, 0.4),
            drift_K_per_s=self.rng.normal(0, 0.15) / 1200,
            swing_K=0.1,
            phase=self.rng.uniform(0, 6.28),
        )
        sensor = Sensor(lag_s=6.0, noise_K=0.008, step_K=0.0, wander_K=0.002, every_s=2.0)
        return Experiment(
            cup=cup,
            room=room,
            sensor=sensor,
            in_cup_C=room.start_C + self.rng.normal(0, 0.3),
            fore_s=180.0,
            after_s=600.0,
        )


def mixing_run(cup: Cup, rng: np.random.Generator) -> tuple[Experiment, dict[str, float]]:
    """100 g of cold water in the cup, 100 g at about 52 °C poured in."""
    e = Bench(rng).start(cup)
    cold, hot = round(100 + rng.normal(0, 1), 2), round(100 + rng.normal(0, 1), 2)
    hot_C = 52.0 + rng.normal(0, 1.0)
    middle = 0.5 * (hot_C + 36.3)
    e = replace(
        e,
        in_cup_J_per_K=cold * water_cp(28.6),
        added_J_per_K=hot * water_cp(middle),
        added_C=hot_C,
        heat_J=0.0,
    )
    return e, {"in_cup_g": cold, "added_g": hot, "added_C": hot_C}


def neutralization(
    cup: Cup, rng: np.random.Generator, cp_factor: float, stock: dict[str, float]
) -> tuple[Experiment, dict[str, float]]:
    """Nitric acid in the cup, potassium hydroxide poured in, both about 1 mol/L."""
    e = Bench(rng).start(cup)
    acid, base = round(103 + rng.normal(0, 0.8), 2), round(107 + rng.normal(0, 0.8), 2)
    acid_mol = acid * 1.000 * stock.get("HNO3", 1.0) / 1031.9  # mol/L over density in g/L
    base_mol = base * 1.000 * stock.get("KOH", 1.0) / 1046.5
    extent = min(acid_mol, base_mol)
    acid_g = {"HNO3": acid_mol * MOLAR_MASS["HNO3"]}
    base_g = {"KOH": base_mol * MOLAR_MASS["KOH"]}
    acid_g["H2O"], base_g["H2O"] = acid - acid_g["HNO3"], base - base_g["KOH"]
    mixed = {"KNO3": extent * MOLAR_MASS["KNO3"]}
    if base_mol > extent:
        mixed["KOH"] = (base_mol - extent) * MOLAR_MASS["KOH"]
    if acid_mol > extent:
        mixed["HNO3"] = (acid_mol - extent) * MOLAR_MASS["HNO3"]
    mixed["H2O"] = acid + base - sum(mixed.values())
    before = heat_capacity(acid_g, 21.0)
    added = cp_factor * heat_capacity(mixed, 24.0) - before
    added_C = e.in_cup_C + rng.normal(0, 0.3)
    heat = -1000 * TRUE_KJ_PER_MOL["neutralization"] * extent
    # the simulated pour brings in the mixture's capacity; the base's own is a little different
    heat += (heat_capacity(base_g, 21.0) - added) * (added_C - e.in_cup_C)
    e = replace(
        e,
        in_cup_J_per_K=before,
        added_J_per_K=added,
        added_C=added_C,
        heat_J=heat,
        rates_per_s=(1.0, 0.05),
    )
    return e, {"in_cup_g": acid, "added_g": base, "added_C": added_C}


def dissolution(
    salt: str, grams: float, cup: Cup, rng: np.random.Generator, cp_factor: float
) -> tuple[Experiment, dict[str, float]]:
    """A salt stirred into 200 g of water; some of it dissolves slowly."""
    e = Bench(rng).start(cup)
    water = round(200 + rng.normal(0, 0.8), 2)
    grams = round(grams + rng.normal(0, 0.1), 2)
    before = water * water_cp(21.0)
    after = cp_factor * heat_capacity({salt: grams, "H2O": water}, 20.0)
    solid_J_per_K = grams * {"KNO3": 0.953, "NH4Cl": 1.572}[salt]
    added_C = e.room.start_C
    heat = -1000 * TRUE_KJ_PER_MOL[salt] * grams / MOLAR_MASS[salt]
    # the balance in terms of the final liquid: the solid's own warmth is a correction to the heat
    heat += solid_J_per_K * (added_C - e.in_cup_C)
    e = replace(
        e,
        in_cup_J_per_K=before,
        added_J_per_K=after - before,
        added_C=e.in_cup_C,
        heat_J=heat,
        rates_per_s=(1 / rng.uniform(8, 14), 1 / rng.uniform(35, 60)),
        slow_share=0.15,
    )
    return e, {"in_cup_g": water, "added_g": grams, "added_C": added_C}


def write_curve(path: Path, run: SimulatedRun, form: str) -> None:
    """One logged curve, in one of three forms that loggers export."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = zip(run.time_s, run.temperature_C, strict=True)
    if form == "plain":
        lines = ["time_s,temperature_C", *(f"{t:.0f},{c:.2f}" for t, c in rows)]
    elif form == "comma":
        lines = ["Bench tablet 2", "", "time / min;water / °C"]
        lines += [f"{t / 60:.4f};{c:.2f}".replace(".", ",") for t, c in rows]
    else:
        lines = ["clock\ttemperature (°F)\tmark"]
        for t, c in rows:
            s = int(t) + 14 * 3600 + 5 * 60
            clock = f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"
            mark = "poured" if abs(t - run.mixed_at_s) < 1 else ""
            lines.append(f"{clock}\t{c * 1.8 + 32:.3f}\t{mark}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def write_rows(path: Path, rows: list[dict[str, object]]) -> None:
    """A table of runs as CSV."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def as_read(
    run: SimulatedRun,
    true: dict[str, float],
    cup: str,
    tools: Instruments,
    rng: np.random.Generator,
) -> tuple[SimulatedRun, dict[str, object]]:
    """A run as the school's instruments show it: the curve, masses and ``added_C``."""
    probe = tools.probes.get(cup, Probe())
    curve = replace(run, temperature_C=probe.shows(run.temperature_C, 0.01))
    return curve, {
        "in_cup_g": f"{tools.weighs(true['in_cup_g'], rng):.2f}",
        "added_g": f"{tools.weighs(true['added_g'], rng):.2f}",
        "added_C": f"{probe.shows(true['added_C'], 0.01):.2f}",
    }
