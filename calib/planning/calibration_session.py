"""A calibration session planned: the best ways to mix for a cup, and how many runs they take.

The mixtures that a fill allows (share of hot water, its temperature, which of the two stands in the
cup) are put through the budget of a mixing run one by one (:mod:`calib.planning.calibration_plan`).
Where a standard uncertainty is wanted they are ordered by the runs they need, then by what they
reach; else by what the given number of runs reaches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.errors import InputError
from calib.planning.calibration_plan import (
    MAX_RUNS,
    CalibrationPlan,
    MixingSetup,
    best_setups,
    plan_calibration,
)
from fitting.cup.knowledge import BENCH, PLAN

if TYPE_CHECKING:
    from calib.runs.instruments import Instruments

__all__ = ["CAUTIONS", "CalibrationSession", "SessionRequest", "plan_session"]

CAUTIONS = (
    "Hot water scalds: at 60 °C within seconds. Pour slowly with the cup standing in a beaker, "
    "keep kettles and leads at the back of the bench, cool a scald under running water and call "
    "the first aider.",
    "Foam cups soften from about 80 °C on; glass cracks when hot water meets cold: use heat-proof "
    "beakers, no chipped ones.",
    "Glass thermometers break: do not stir with them.",
    "The local rules and the qualified staff come before these lines, which are reminders only.",
)
LEAST_APART_K = 2.0
OTHER_COUNTS = (1, 2, 4, 8)


@dataclass(frozen=True, slots=True)
class SessionRequest:
    """What is known before: fill [g], temperatures [°C], what is wanted.

    ``constant_J_per_K`` is the constant expected. ``wanted_J_per_K`` is a standard uncertainty;
    ``runs`` a number of runs; with neither four runs are planned. ``wait_s`` is the time from
    reading the hot water to pouring it, None where nobody will note it. ``kind`` is the cup's kind
    in words, which tells vessel and lid.
    """

    constant_J_per_K: float
    apparatus: str = "cup"
    fill_g: float = 200.0
    cold_C: float = BENCH.usual_room_C.value
    hot_limit_C: float = 60.0
    wanted_J_per_K: float | None = None
    runs: int | None = None
    wait_s: float | None = None
    logged: bool = True
    between_J_per_K: float = PLAN.between_J_per_K.u
    kind: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationSession:
    """The plan taken, the other mixtures, and what other numbers of runs would give."""

    request: SessionRequest
    best: CalibrationPlan
    others: tuple[CalibrationPlan, ...]
    by_runs: tuple[CalibrationPlan, ...]
    advice: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The object of ``constants plan --json``."""
        return {
            "apparatus": self.request.apparatus,
            "expected_constant_J_per_K": self.request.constant_J_per_K,
            "wanted_u_J_per_K": self.request.wanted_J_per_K,
            "reached": self.best.reached,
            "plan": _plan_json(self.best),
            "other_mixtures": [_plan_json(one) for one in self.others],
            "by_number_of_runs": [
                {"runs": one.runs, "u_J_per_K": one.u_J_per_K,
                 "half_width95_J_per_K": one.half_width95_J_per_K}
                for one in self.by_runs
            ],
            "sentence": self.best.sentence,
            "advice": list(self.advice),
            "cautions": list(CAUTIONS),
        }  # fmt: skip


def plan_session(request: SessionRequest, instruments: Instruments) -> CalibrationSession:
    """The best mixtures for a cup and what they reach. Raises InputError for impossible wishes."""
    if request.wanted_J_per_K is not None and request.runs is not None:
        raise InputError("give either the number of runs or the wanted uncertainty, not both")
    if request.wanted_J_per_K is not None and not 0.001 <= request.wanted_J_per_K <= 1000.0:
        raise InputError(
            f"a wanted uncertainty of {request.wanted_J_per_K:g} J/K; expected 0.001 to 1000"
        )
    for what, value, low, high in (
        ("a constant of {:g} J/K", request.constant_J_per_K, 0.0, 1e4),
        ("a fill of {:g} g", request.fill_g, 10.0, 5000.0),
        ("cold water of {:g} °C", request.cold_C, 0.0, 60.0),
        ("hot water of {:g} °C", request.hot_limit_C, 0.0, 95.0),
        ("a wait of {:g} s", request.wait_s or 0.0, 0.0, 3600.0),
    ):
        if not low <= value <= high:
            raise InputError(f"{what.format(value)}; expected {low:g} to {high:g}")
    if request.hot_limit_C - request.cold_C < LEAST_APART_K:
        raise InputError(
            f"hot water of at most {request.hot_limit_C:g} °C and cold water of "
            f"{request.cold_C:g} °C: at least {LEAST_APART_K:g} K apart are needed"
        )
    runs = request.runs if request.runs is not None else 4
    setups = _setups(request, instruments, runs)
    plans = setups
    if request.wanted_J_per_K is not None:
        plans = tuple(
            plan_calibration(
                request.constant_J_per_K, instruments, one.setup,
                wanted_u_J_per_K=request.wanted_J_per_K,
            )
            for one in setups[:6]
        )  # fmt: skip
        plans = tuple(sorted(plans, key=lambda p: (not p.reached, p.runs, p.u_J_per_K)))
    best = plans[0]
    counts = sorted({*OTHER_COUNTS, best.runs})
    by_runs = tuple(
        plan_calibration(request.constant_J_per_K, instruments, best.setup, runs=count)
        for count in counts
    )
    return CalibrationSession(request, best, plans[1:6], by_runs, _advice(request, best))


def _setups(
    request: SessionRequest, instruments: Instruments, runs: int
) -> tuple[CalibrationPlan, ...]:
    base = replace(
        MixingSetup(), apparatus=request.apparatus, kind=request.kind, wait_s=request.wait_s,
        logged=request.logged, between_J_per_K=request.between_J_per_K,
    )  # fmt: skip
    return best_setups(
        request.constant_J_per_K, instruments, fill_g=request.fill_g, room_C=request.cold_C,
        hot_limit_C=request.hot_limit_C, runs=runs, setup=base,
    )  # fmt: skip


def _advice(request: SessionRequest, best: CalibrationPlan) -> tuple[str, ...]:
    """What stands in the way and what would move it, from the largest lines of the budget."""
    found = []
    for source, _, share in best.limits[:3]:
        if share < 15.0:
            continue
        word = _remedy(source)
        if word:
            found.append(f"{source} ({share:.0f} % of u²): {word}")
    if not best.reached:
        found.append(
            f"with more than {MAX_RUNS} runs little changes: what the runs share stays at "
            f"{best.u_shared_J_per_K:.2g} J/K"
        )
    return tuple(found)


_REMEDIES: Sequence[tuple[str, str]] = (
    ("between reading and pouring", "read the hot water as it is poured (note added_read_s = 0), "
     "or log it (added_curve)"),
    ("slow wall", "no number of runs takes it away, but it cancels in the enthalpies of runs in "
     "the same cup at a like fill; a better lid makes it smaller"),
    ("planned log", "a quick probe read every 1 to 2 s, and a log of ten minutes after mixing (its "
     "rise is taken to be known to 0.1 %)"),
    ("heat lost before", "log a curve instead of reading the extreme"),
    ("correction of the extreme", "log a curve instead of reading the extreme"),
    ("extreme reading", "a finer thermometer, or a logged curve"),
    ("temperature of what is added", "a finer thermometer for the hot water"),
    ("temperature in the cup", "a finer thermometer for the cold water"),
    ("slope", "a thermometer compared at two temperatures (slope_percent in readings.toml)"),
    ("offset", "the same thermometer for both liquids"),
    ("balance", "a finer balance, or more water"),
    ("spread between runs", "dry the cup between runs, pour and stir alike every time"),
    ("cylinder", "weigh the water instead of measuring its volume"),
)  # fmt: skip


def _remedy(source: str) -> str:
    return next((word for part, word in _REMEDIES if part in source), "")


def _plan_json(plan: CalibrationPlan) -> dict[str, Any]:
    setup = plan.setup
    return {
        "runs": plan.runs,
        "cold_g": setup.cold_g,
        "cold_C": setup.cold_C,
        "hot_g": setup.hot_g,
        "hot_C": setup.hot_C,
        "in_cup": "hot water" if setup.hot_in_cup else "cold water",
        "expected_change_K": plan.expected_rise_K,
        "u_J_per_K": plan.u_J_per_K,
        "half_width95_J_per_K": plan.half_width95_J_per_K,
        "u_shared_J_per_K": plan.u_shared_J_per_K,
        "reached": plan.reached,
        "limits": [
            {"source": source, "u_J_per_K": u, "share_percent": share}
            for source, u, share in plan.limits
        ],
    }
