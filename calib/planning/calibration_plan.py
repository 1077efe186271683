"""Planning a calibration: how many mixing runs, of which masses and temperatures, reach a wanted u.

Each plan is computed by the same budget engine that the calibration itself uses, on the readings
that a cup of the expected constant would give; what several runs share does not fall with their
number, so a wanted uncertainty may be out of reach, and the plan then says what stands in the way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from calib import balance
from calib.calibration.combine import combine, independent_variances
from calib.calibration.per_cup import budget_of
from calib.calibration.ways import constant_of_run
from calib.errors import InputError
from calib.run_model.measured import measure
from calib.run_model.prepared import prepare
from calib.run_model.rise import Rise, find_rise
from calib.runs.kind_words import lid_of_kind, vessel_of_kind
from calib.runs.model import Run
from fitting.cup.knowledge import BENCH, PLAN

if TYPE_CHECKING:
    from calib.calibration.combine import Combined
    from calib.runs.instruments import Instruments
    from calib.uncertainty import Propagated

__all__ = ["CalibrationPlan", "MixingSetup", "best_setups", "plan_calibration", "runs_needed"]

MAX_RUNS = 40
RISE_SHARE = PLAN.logged_share.u


@dataclass(frozen=True, slots=True)
class MixingSetup:
    """One way to mix: masses [g], temperatures [°C], and how well the corrected rise will be known.

    ``u_rise_K`` is a logged rise's own standard uncertainty, unless given 0.1 % of it (this
    project's simulations) and what a usual wall hides of it; where nothing is logged the extreme
    reading's budget is taken.
    ``between_J_per_K`` is the spread between runs that no budget holds, such as drops left in the
    cup. ``kind`` is the cup's kind in words, which tells vessel and lid;
    ``heat_loss_W_per_K`` its loss conductance, that of a usual vessel unless given: a wall hides in
    proportion to it.
    """

    cold_g: float = 100.0
    hot_g: float = 100.0
    cold_C: float = BENCH.usual_room_C.value
    hot_C: float = 50.0
    hot_in_cup: bool = False
    u_rise_K: float | None = None
    between_J_per_K: float = PLAN.between_J_per_K.u
    apparatus: str = "cup"
    u_added_C: float | None = None
    wait_s: float | None = None
    logged: bool = True
    kind: str = ""
    heat_loss_W_per_K: float | None = None

    @property
    def fill_g(self) -> float:
        """Water in the cup after mixing. [g]"""
        return self.cold_g + self.hot_g


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationPlan:
    """What a number of such runs will give."""

    setup: MixingSetup
    runs: int
    u_J_per_K: float
    half_width95_J_per_K: float
    expected_rise_K: float
    limits: tuple[tuple[str, float, float], ...]
    u_shared_J_per_K: float
    reached: bool
    sentence: str


def plan_calibration(
    constant_J_per_K: float,
    instruments: Instruments,
    setup: MixingSetup | None = None,
    *,
    runs: int | None = None,
    wanted_u_J_per_K: float | None = None,
) -> CalibrationPlan:
    """What ``runs`` mixing runs will give, or how many reach ``wanted_u_J_per_K``.

    ``constant_J_per_K`` is the constant expected of the cup. Raises InputError for masses or
    temperatures that cannot be meant, and where neither or both of the last two are given.
    """
    if (runs is None) == (wanted_u_J_per_K is None):
        raise InputError("give either the number of runs or the wanted uncertainty")
    plan = setup if setup is not None else MixingSetup()
    _check(plan)
    if runs is not None:
        return _planned(constant_J_per_K, instruments, plan, runs, None)
    assert wanted_u_J_per_K is not None
    count = runs_needed(constant_J_per_K, instruments, plan, wanted_u_J_per_K)
    return _planned(constant_J_per_K, instruments, plan, count or MAX_RUNS, wanted_u_J_per_K)


def runs_needed(
    constant_J_per_K: float, instruments: Instruments, setup: MixingSetup, wanted_u_J_per_K: float
) -> int | None:
    """Smallest number of runs that reaches the wanted u; None where ``MAX_RUNS`` do not."""
    one = _one_run(constant_J_per_K, instruments, setup)

    def reaches(count: int) -> bool:
        return _combined(one, count, setup).u <= wanted_u_J_per_K

    if not reaches(MAX_RUNS):
        return None
    few, enough = 0, MAX_RUNS
    while enough - few > 1:  # u falls with every run
        middle = (few + enough) // 2
        few, enough = (few, middle) if reaches(middle) else (middle, enough)
    return enough


def best_setups(
    constant_J_per_K: float,
    instruments: Instruments,
    *,
    fill_g: float = 200.0,
    room_C: float = BENCH.usual_room_C.value,
    hot_limit_C: float = 60.0,
    runs: int = 4,
    setup: MixingSetup | None = None,
) -> tuple[CalibrationPlan, ...]:
    """Plans for one fill, best first: shares of hot water and its temperature tried out."""
    base = setup if setup is not None else MixingSetup()
    found = []
    for share in (0.35, 0.5, 0.65):
        for hot in (room_C + 12.0, room_C + 20.0, room_C + 29.0, hot_limit_C):
            for hot_in_cup in (False, True):
                if not room_C + 2.0 <= hot <= hot_limit_C + 1e-9:
                    continue
                one = replace(
                    base, cold_g=(1 - share) * fill_g, hot_g=share * fill_g, cold_C=room_C,
                    hot_C=hot, hot_in_cup=hot_in_cup,
                )  # fmt: skip
                found.append(_planned(constant_J_per_K, instruments, one, runs, None))
    return tuple(sorted(found, key=lambda plan: plan.u_J_per_K))


def _check(setup: MixingSetup) -> None:
    for name, value, low, high in (
        ("cold_g", setup.cold_g, 1.0, 1e5),
        ("hot_g", setup.hot_g, 1.0, 1e5),
        ("cold_C", setup.cold_C, 0.0, 95.0),
        ("hot_C", setup.hot_C, 0.0, 95.0),
    ):
        if not low <= value <= high:
            raise InputError(f"{name} is {value:g}; expected {low:g} to {high:g}")
    if setup.hot_C - setup.cold_C < 2.0:
        raise InputError(
            f"hot water at {setup.hot_C:g} °C and cold at {setup.cold_C:g} °C are too near: "
            "at least 2 K apart"
        )


def _planned(
    C: float, instruments: Instruments, setup: MixingSetup, runs: int, wanted: float | None
) -> CalibrationPlan:
    if not 1 <= runs <= MAX_RUNS:
        raise InputError(f"{runs} runs cannot be planned; expected 1 to {MAX_RUNS}")
    one = _one_run(C, instruments, setup)
    c = _combined(one, runs, setup)
    limits = budget_of([one] * runs, c)
    reached = wanted is None or c.u <= wanted
    half = (c.interval95[1] - c.interval95[0]) / 2.0
    return CalibrationPlan(
        setup, runs, c.u, half, _rise(C, setup), limits, c.u_shared, reached,
        _sentence(runs, c.u, limits, wanted, reached),
    )  # fmt: skip


def _sentence(
    runs: int,
    u: float,
    limits: Sequence[tuple[str, float, float]],
    wanted: float | None,
    reached: bool,
) -> str:
    chief = f"{limits[0][0]} ({limits[0][2]:.0f} %)" if limits else "nothing"
    if reached:
        aim = f", within the {wanted:.2g} J/K asked for" if wanted is not None else ""
        return f"{runs} runs give the constant to ± {u:.2g} J/K (k = 1){aim}; limited by {chief}"
    return (
        f"{wanted:.2g} J/K is out of reach: even {runs} runs give ± {u:.2g} J/K, limited by {chief}"
    )


def _rise(C: float, setup: MixingSetup) -> float:
    """Rise [K] in the cup, negative where the hot water stands in it."""
    first, second = _portions(setup)
    cp = 4.18
    C_2, C_1 = second[0] * cp, first[0] * cp
    return balance.expected_rise_K(0.0, first[1], second[1], C_1 + C_2, C_2, C)


def _portions(setup: MixingSetup) -> tuple[tuple[float, float], tuple[float, float]]:
    cold, hot = (setup.cold_g, setup.cold_C), (setup.hot_g, setup.hot_C)
    return (hot, cold) if setup.hot_in_cup else (cold, hot)


def _one_run(C: float, instruments: Instruments, setup: MixingSetup) -> Propagated:
    """The budget of one run's constant, from the readings it would give."""
    first, second = _portions(setup)
    rise_K = _rise(C, setup)
    given = {} if setup.u_added_C is None else {"added_C": setup.u_added_C}
    run = Run(
        run="planned", apparatus=setup.apparatus, in_cup="water", added="water",
        in_cup_g=first[0], added_g=second[0], in_cup_C=first[1], added_C=second[1],
        room_C=min(setup.cold_C, setup.hot_C), u=given,
        vessel=vessel_of_kind(setup.kind), lid=lid_of_kind(setup.kind),
        extra={} if setup.wait_s is None else {"added_read_s": str(setup.wait_s)},
    )  # fmt: skip
    if setup.logged:
        u_rise, hidden, u_wall = setup.u_rise_K, 0.0, 0.0
        if u_rise is None:
            hidden, u_wall = (share * abs(rise_K) for share in _wall_shares(C, setup))
            u_rise = math.hypot(RISE_SHARE * abs(rise_K), u_wall)
        final = first[1] + rise_K
        rise = Rise(
            rise_K,
            u_rise,
            first[1],
            final,
            "planned log",
            True,
            (),
            dof=math.inf,
            u_wall_K=u_wall,
            hidden_K=hidden,
        )
    else:
        run = replace(run, extreme_C=first[1] + rise_K)
        rise = find_rise(prepare(run, instruments), C_app=C)
    measured = measure(prepare(run, instruments), rise)
    return constant_of_run(measured, "mixing")[0]


def _wall_shares(C: float, setup: MixingSetup) -> tuple[float, float]:
    """What a usual wall of such a cup hides of a logged rise, and its u, as shares of it.

    Common to all runs of the cup, and to the runs that will use its constant.
    """
    from fitting.cup.knowledge import VESSELS
    from fitting.newton.walls import hidden_share_after_log

    vessel = VESSELS[vessel_of_kind(setup.kind) or "cup"]
    rate = vessel.rate_per_s.value
    if setup.heat_loss_W_per_K is not None:
        rate = balance.cooling_rate_per_s(setup.heat_loss_W_per_K, 4.18 * setup.fill_g, C)
    return hidden_share_after_log(vessel, rate)


def _combined(one: Propagated, runs: int, setup: MixingSetup) -> Combined:
    """The constant of several such runs that scatter as typical ones do (normal scores)."""
    from scipy.special import ndtri

    results = [one] * runs
    if runs > 1:
        own = float(independent_variances(results)[0])
        scores = ndtri((np.arange(runs) + 0.5) / runs)
        scores = scores / scores.std(ddof=1) * math.sqrt(own + setup.between_J_per_K**2)
        results = [replace(one, value=one.value + float(z)) for z in scores]
    return combine(results, compare=False)
