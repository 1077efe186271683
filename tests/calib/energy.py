"""Truth for tests: final temperatures from conservation of energy, with heat capacities of the
libraries ``chemicals`` (IAPWS-95) and ``thermo`` (Laliberté), not from cupledger."""

from __future__ import annotations

from functools import lru_cache

from scipy.optimize import brentq


@lru_cache(maxsize=1)
def _water_enthalpy():
    """Specific enthalpy of liquid water [J/g] as a fine table of IAPWS-95 (chemicals)."""
    import numpy as np
    from chemicals.iapws import iapws95_properties

    t = np.linspace(0.5, 98.5, 197)
    h = np.array([iapws95_properties(c + 273.15, 101325.0)[3] for c in t]) / 1000.0
    return t, h


def water_J_per_g(t_C):
    import numpy as np

    t, h = _water_enthalpy()
    return float(np.interp(t_C, t, h))


def mixed_water_C(cup_J_per_K, in_cup_g, in_cup_C, added_g, added_C):
    """Temperature that an insulated cup with its content settles at."""

    def left(Tf):
        return (
            in_cup_g * (water_J_per_g(Tf) - water_J_per_g(in_cup_C))
            + added_g * (water_J_per_g(Tf) - water_J_per_g(added_C))
            + cup_J_per_K * (Tf - in_cup_C)
        )

    low, high = sorted((in_cup_C, added_C))
    return brentq(left, low, high, xtol=1e-12)


def solution_J_per_K(grams, t_C):
    """Heat capacity of a solution [J/K] from its components' masses [g], by thermo."""
    from chemicals import CAS_from_any
    from thermo.electrochem import Laliberte_heat_capacity

    total = sum(grams.values())
    salts = [name for name in grams if name != "H2O"]
    if not salts:
        return grams["H2O"] * (water_J_per_g(t_C + 1) - water_J_per_g(t_C - 1)) / 2
    shares = [grams[name] / total for name in salts]
    cas = [CAS_from_any(name) for name in salts]
    return float(Laliberte_heat_capacity(t_C + 273.15, shares, cas)) / 1000.0 * total


def settled_C(heat_J, in_cup_C, after_J_per_K, cup_J_per_K, added_J_per_K=0.0, added_C=None):
    """Temperature after heat is released at the cup's starting temperature."""
    apart = 0.0 if added_C is None else added_C - in_cup_C
    return in_cup_C + (heat_J + added_J_per_K * apart) / (after_J_per_K + cup_J_per_K)


def shown_by_a_cup(settled_C, start_C, content_J_per_K, cup_J_per_K, loss_W_per_K, slow=False):
    """Extreme reading [°C] and its time after the mixing [s] of a content that would settle at that
    temperature in an insulated cup, by ``fitting/practice/simulated_cup.py``: a sensor that lags by 5 s, a
    third of the cup behind a slow wall, no noise; the cup starts at the room's temperature."""
    import numpy as np

    from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, simulate

    cup = Cup(0.7 * cup_J_per_K, 0.3 * cup_J_per_K, 45.0, loss_W_per_K, 0.3, 0.0, 0.01)
    run = simulate(
        Experiment(
            cup, Room(start_C), Sensor(5.0, 0.0, 0.0, 0.0, 0.0, 1.0), content_J_per_K - 1.0,
            start_C, 1.0, start_C, (settled_C - start_C) * (content_J_per_K + cup_J_per_K),
            (1 / 15, 1 / 50) if slow else (1.0, 0.05), 0.2 if slow else 0.0,
            fore_s=5.0, after_s=400.0, pour_s=2.0, standing_s=0.0,
        )
    )  # fmt: skip
    at = int(np.argmax(np.abs(run.temperature_C - start_C)))
    return float(run.temperature_C[at]), float(run.time_s[at] - run.mixed_at_s)
