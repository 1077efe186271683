"""Planned rises against simulated cups: is the truth within the stated spread?

    python -m tests.benchmarks.planned_rises --draws 1000

Every draw plans a run in a cup whose constant is known with an uncertainty, and then lets a bench
do it: glassware and balance within their tolerances, a stock that is a little off, liquids that
are not equally warm, another start than planned. The truth shares no code with the plan: heat
capacities come from the libraries thermo and chemicals, the cup from
``fitting/practice/simulated_cup.py`` (slow wall, vapour, lagging sensor, steps), and the enthalpies are
put together below from published numbers.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np

from calib.enthalpies.sources import AppliedConstant
from calib.planning.plan import Plan, PlanRequest, make_plan
from calib.planning.request import Planned
from calib.run_model.rise import Loss
from fitting.practice.simulated_cup import (
    Experiment,
    Room,
    Sensor,
    SimulatedRun,
    draw_cup,
    simulate,
)
from sample_runs.invented_school import heat_capacity, water_cp

MASS = {"HCl": 36.461, "NaOH": 39.997, "KOH": 56.105, "NaCl": 58.443, "KCl": 74.551,
        "KNO3": 101.103, "NH4Cl": 53.491}  # IUPAC atomic weights  # fmt: skip

NEUTRALIZATION = {
    ("NaOH", 0.5): -57.12, ("NaOH", 1.0): -57.62, ("NaOH", 1.5): -58.10, ("NaOH", 2.0): -58.63,
    ("KOH", 0.5): -57.38, ("KOH", 1.0): -58.14, ("KOH", 1.5): -58.83,
}  # fmt: skip
"""kJ/mol at 25 °C, both solutions of that concentration: CODATA's -55.815 (found) with relative
apparent molar enthalpies of Parker, NSRDS-NBS 2 (found), for KOH and KCl of a published Pitzer fit
(computed from found parameters)."""
PER_K = 0.215
"""kJ/(mol K), Singh, Woolley, McCurdy & Hepler 1976 (found)."""
SALTS = {
    # enthalpy of solution at infinite dilution, 25 °C: CRC Handbook after Parker 1965 (found);
    # relative apparent molar enthalpy at about 0.6 and 0.9 mol/kg by two published Pitzer sets
    # (computed from found parameters); heat capacity change, NBS tables (from memory); c of solid
    "KNO3": (34.89, (-1.36, -1.84), -0.161, 0.953),
    "NH4Cl": (14.78, (0.56, 0.66), -0.141, 1.572),
}
DENSITY = {"HCl": {0.5: 1.0062, 1.0: 1.0148, 1.5: 1.0233, 2.0: 1.0314},
           "NaOH": {0.5: 1.0188, 1.0: 1.0394, 1.5: 1.0593, 2.0: 1.0786},
           "KOH": {0.5: 1.0213, 1.0: 1.0451, 1.5: 1.0680}}  # fmt: skip
"""g/mL at 20 to 25 °C, to a part in a thousand (CRC Handbook, from memory)."""


@dataclass
class Tally:
    """Deviations in standard uncertainties, and whether the intervals held."""

    z: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)

    def add(self, value: float, u: float, interval: tuple[float, float], truth: float) -> None:
        self.z.append((truth - value) / u)
        self.held.append(interval[0] <= truth <= interval[1])

    @property
    def share(self) -> float:
        return float(np.mean(self.held))


def the_cup(rng: np.random.Generator) -> tuple[Experiment, AppliedConstant]:
    """A true cup, and what its calibration says of it."""
    cup = draw_cup(rng)
    u = rng.uniform(0.3, 1.5)
    known = AppliedConstant(
        "H1", cup.constant_J_per_K + rng.normal(0.0, u), u, None, "constant:H1",
        Loss(cup.loss_W_per_K * (1 + rng.normal(0.0, 0.05)), 0.05 * cup.loss_W_per_K),
    )  # fmt: skip
    room = Room(start_C=21.0 + rng.normal(0.0, 0.3), drift_K_per_s=rng.normal(0, 0.2) / 1200)
    start = 21.0 + rng.normal(0.0, 0.3)
    sensor = Sensor(lag_s=5.0, noise_K=0.01, step_K=float(rng.choice([0.1, 0.2])), every_s=10.0)
    return (
        Experiment(cup=cup, room=room, sensor=sensor, in_cup_C=start, fore_s=60.0, after_s=300.0),
        known,
    )


def solutions(rng: np.random.Generator) -> tuple[PlanRequest, Experiment, AppliedConstant]:
    """An acid and a base, equally strong, one of them in excess."""
    base, c = list(NEUTRALIZATION)[rng.integers(len(NEUTRALIZATION))]
    volume = float(rng.choice([50.0, 100.0]))
    more = float(rng.choice([1.0, 1.04, 1.1]))
    request = PlanRequest(
        in_cup=Planned("HCl(aq)", mL=volume, mol_per_L=c),
        added=Planned(f"{base}(aq)", mL=round(more * volume, 1), mol_per_L=c),
    )
    e, known = the_cup(rng)
    off = rng.uniform(-0.01, 0.01)  # one cylinder of class B for both liquids
    v1 = volume * (1 + off) + rng.uniform(-0.5, 0.5)
    v2 = more * volume * (1 + off) + rng.uniform(-0.5, 0.5)
    n1 = c * (1 + rng.normal(0, 0.005)) * v1 / 1000
    n2 = c * (1 + rng.normal(0, 0.005)) * v2 / 1000
    m1, m2 = v1 * DENSITY["HCl"][c], v2 * DENSITY[base][c]
    extent = min(n1, n2)
    salt = {"NaOH": "NaCl", "KOH": "KCl"}[base]
    mixed = {salt: extent * MASS[salt]}
    mixed[base] = max(n2 - extent, 0.0) * MASS[base]
    mixed["HCl"] = max(n1 - extent, 0.0) * MASS["HCl"]
    mixed = {name: grams for name, grams in mixed.items() if grams > 0}
    mixed["H2O"] = m1 + m2 - sum(mixed.values())
    first = {"HCl": n1 * MASS["HCl"], "H2O": m1 - n1 * MASS["HCl"]}
    second = {base: n2 * MASS[base], "H2O": m2 - n2 * MASS[base]}
    before = heat_capacity(first, 21.0)
    added = heat_capacity(mixed, 24.0) * (1 + rng.normal(0, 0.0025)) - before
    apart = rng.uniform(-0.3, 0.3)
    dH = NEUTRALIZATION[base, c] + PER_K * (e.in_cup_C - 25.0) + rng.normal(0.0, 0.1)
    heat = -1000 * dH * extent + (heat_capacity(second, 21.0) - added) * apart
    e = replace(e, in_cup_J_per_K=before, added_J_per_K=added, added_C=e.in_cup_C + apart,
                heat_J=heat, rates_per_s=(rng.uniform(0.4, 2.0), 0.05))  # fmt: skip
    return request, e, known


def salts(rng: np.random.Generator) -> tuple[PlanRequest, Experiment, AppliedConstant]:
    """A salt into weighed water."""
    salt = str(rng.choice(list(SALTS)))
    standard, phi, per_K, c_solid = SALTS[salt]
    water, grams = {"KNO3": (200.0, 12.0), "NH4Cl": (100.0, 5.0)}[salt]
    request = PlanRequest(in_cup=Planned("water", g=water), added=Planned(f"{salt}(s)", g=grams))
    e, known = the_cup(rng)
    m1, m2 = water + rng.normal(0, 0.02), grams + rng.normal(0, 0.01)
    before = m1 * water_cp(21.0)
    after = heat_capacity({salt: m2, "H2O": m1}, 19.0) * (1 + rng.normal(0, 0.0025))
    apart = rng.uniform(-0.3, 0.3)
    dH = standard + rng.uniform(*sorted(phi)) + per_K * (e.in_cup_C - 25.0) + rng.normal(0, 0.1)
    heat = -1000 * dH * m2 / MASS[salt] + m2 * c_solid * apart
    e = replace(e, in_cup_J_per_K=before, added_J_per_K=after - before, added_C=e.in_cup_C,
                heat_J=heat, rates_per_s=(1 / rng.uniform(8, 20), 1 / rng.uniform(35, 80)),
                slow_share=rng.uniform(0.05, 0.3))  # fmt: skip
    return request, e, known


def metals(rng: np.random.Generator) -> tuple[PlanRequest, Experiment, AppliedConstant]:
    """A piece of hot copper into weighed water: nothing reacts. c = 0.385 J/(g K), CRC (found)."""
    grams = float(rng.choice([60.0, 100.0]))
    request = PlanRequest(in_cup=Planned("water", g=100.0), added=Planned("Cu(s)", g=grams, C=98.0))
    e, known = the_cup(rng)
    m1, C_2 = 100 + rng.normal(0, 0.02), grams * 0.385 * (1 + rng.normal(0, 0.005))
    hot = 98.0 - rng.uniform(-0.8, 0.8)
    return (
        request,
        replace(e, in_cup_J_per_K=m1 * water_cp(23.0), added_J_per_K=C_2, added_C=hot, heat_J=0.0,
                pour_s=1.0),
        known,
    )  # fmt: skip


FAMILIES = {"neutralization": solutions, "dissolution": salts, "hot copper": metals}


def one_draw(family: str, rng: np.random.Generator) -> tuple[Plan, SimulatedRun]:
    """Plan a run and let a bench do it."""
    request, experiment, known = FAMILIES[family](rng)
    request = replace(request, step_K=experiment.sensor.step_K)
    run = simulate(experiment, rng)
    return make_plan(request, lambda run, prepared: known), run


def shown_change_K(run: SimulatedRun) -> float:
    """Highest or lowest reading less the last one before mixing."""
    after = run.temperature_C[run.time_s > run.mixed_at_s]
    before = float(run.temperature_C[run.time_s < run.mixed_at_s][-1])
    return float(max(after.max() - before, after.min() - before, key=abs))


def run_draws(draws: int, seed: int = 1) -> dict[str, tuple[Tally, Tally]]:
    """Rise and shown extreme, by family; the draws go round the families."""
    rng = np.random.default_rng(seed)
    tallies = {name: (Tally(), Tally()) for name in FAMILIES}
    for number in range(draws):
        family = list(FAMILIES)[number % len(FAMILIES)]
        plan, run = one_draw(family, rng)
        rise, shown = tallies[family]
        found = plan.rise.rise
        rise.add(found.value, found.u, found.interval95, run.true_rise_K)
        start = plan.prepared.run.in_cup_C
        low, high = plan.rise.shown.interval95
        shown.add(plan.rise.shown.value - start, plan.rise.shown.u, (low - start, high - start),
                  shown_change_K(run))  # fmt: skip
    return tallies


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    tallies = run_draws(asked.draws, asked.seed)
    print("| what | draws | rise within its 95 % spread | mean z | sd z | "
          "extreme reading within its 95 % spread | mean z | sd z |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|")
    everything = tuple(
        Tally([z for t in tallies.values() for z in t[i].z],
              [h for t in tallies.values() for h in t[i].held])
        for i in (0, 1)
    )  # fmt: skip
    for name, pair in [*tallies.items(), ("all", everything)]:
        cells = " | ".join(
            f"{100 * t.share:.1f} % | {np.mean(t.z):+.2f} | {np.std(t.z):.2f}" for t in pair
        )
        print(f"| {name} | {len(pair[0].z)} | {cells} |")


if __name__ == "__main__":
    main()
