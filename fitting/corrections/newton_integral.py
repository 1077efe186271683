"""Newton's law in its integral form, averaged over what else a cup may do: the default.

See `fitting.newton` for equation, models and average. Readings from 14 s after the mixing on are
used; what is quicker (sensor, pouring) has free amplitudes. The answer is the mean over models, its
uncertainty holds the spread between models beside each model's own.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from fitting.corrections import integral as textbook
from fitting.corrections.binning import after_readings, bin_case, single_readings
from fitting.corrections.case import Case
from fitting.corrections.lines import main_end_s
from fitting.corrections.result import Correction, Steps, make, replaced, u_of_reading
from fitting.cup.knowledge import VESSELS, Vessel
from fitting.newton.average import FINAL, SETTLES, Averaged, average
from fitting.newton.explain import Likely, explain, late_heat, slow_wall, terms_of
from fitting.newton.rows import BEFORE, RATE, RISE
from fitting.newton.setting import Setting, setting_for
from fitting.release.sensor_lag import lag_of

NAME = "newton-integral"


GLASS_SEEN = 0.02  # posterior weight of heavy walls from which on a flask is considered
FLASK_ODDS = 3.5  # of log evidence: one vessel in thirty is a flask that nobody told of
OFF_TIMES = 3.0  # standard uncertainties by which a known rate may lie off the curve's own


def setting_of(case: Case, vessel: Vessel | None = None) -> Setting:
    """What the models are told beside the readings; ``vessel`` in place of the one told."""
    return setting_for(case.known, case.swing_K, case.before_C, vessel=vessel)


def averaged(case: Case) -> tuple[Averaged, str, str]:
    """Solve and weigh all models on a case.

    Returns the answers, what the vessel was taken for, and a warning or nothing. Where the vessel
    was not told, it is a cup, unless a heavy wall is seen and the readings are e^3.5 times as
    probable in a flask. A known rate that lies more than 3 u off the curve's own is left out.
    """
    rows, setting = bin_case(case), setting_of(case)
    found = average(rows, case.noise, setting)
    warning = ""
    known, off = setting.rate, _rate_off(found)
    if known is not None and off > OFF_TIMES:
        warning = (
            f"the cooling rate known beforehand, {60 * known[0]:.4f} 1/min, lies {off:.1f} "
            "standard uncertainties off the curve's own and was left out: another cup, lid or "
            "filling?"
        )
        found = average(rows, case.noise, replace(setting, rate=None))
    heavy = np.array([w.name.startswith("glass") for w in setting.vessel.walls])
    grid = found.problem.walls
    seen = found.probability(heavy[grid.kind[found.wall]]) if case.known.vessel is None else 0.0
    if seen > GLASS_SEEN:
        flask = replace(found.problem.setting, vessel=VESSELS["flask"])
        other = average(rows, case.noise, flask)
        if other.log_evidence > found.log_evidence + FLASK_ODDS:
            return other, "flask", warning
    return found, case.known.vessel or "cup", warning


def _rate_off(found: Averaged) -> float:
    """By how many standard uncertainties a known rate lies off the curve's own; 0: none known."""
    rate = found.problem.setting.rate
    if rate is None:
        return 0.0
    own, u = found.first_rate_per_s
    return abs(own - rate[0]) / float(np.hypot(u, rate[1]))


def correct(case: Case) -> Correction:
    """Average over the models; see the module's docstring."""
    found, vessel, warning = averaged(case)
    if case.known.hidden_share is not None:
        found = found.with_hidden_share(case.known.hidden_share, case.known.u_hidden_share)
    rise, u = found.moments(RISE)
    low, high = found.interval95(RISE)
    rate, u_rate = found.moments(RATE)
    u_moment = _moment_part(case, rise, rate)
    misfit, after = found.misfit * found.scale, main_end_s(case)  # where lines begin to be drawn
    poor = max(misfit / _MISFIT, 1.0)  # what no model follows is not told by their spread
    widened = poor * (float(np.hypot(u, u_moment)) / u if u > 0 else 1.0)
    explained = explain(found, after_readings(case))
    result = make(
        case, NAME, rise, (*explained.parts, ("moment of mixing", u_moment)),
        _verdict(case, misfit, rate, u_rate, vessel), explained.residual_K,
        rate=(rate, u_rate), lag=lag_of(case),
    )  # fmt: skip
    interval = (rise - (rise - low) * widened, rise + (high - rise) * widened)
    more = _temperatures(case, found, known=rate > u_rate / 2)
    return replaced(
        result, interval95_K=interval, u_rise_K=u * widened, vessel=vessel,
        steps=Steps(
            partial(
                _steps, case, explained.likely, dict(explained.parts), rise, rate, found.hidden
            )
        ),
        wall_weight=slow_wall(found, after), late_weight=late_heat(found, after),
        hidden_K=found.hidden, rate_left_out=bool(warning), note=warning or _misfit_note(misfit),
        **more,
    )  # fmt: skip


VAPOUR_STEP = "loss that grows faster than linearly"
ROOM_STEP = "room that drifts"
LATE_STEP = "heat still being released"
OVERSHOOT_STEP = "overshoot of a slow wall"
WALL_STEP = "put in for a wall that no curve shows"
REST_STEP = "average over models, and what is known of cups"


def _steps(
    case: Case,
    likely: Likely,
    parts: dict[str, float],
    rise: float,
    rate: float,
    hidden: tuple[float, float],
) -> tuple[tuple[str, float, float], ...]:
    """The way from the textbook integral to this rise: cause, K, u in K.

    Each term of the most likely model is taken off the readings, one after the other, and the
    textbook integral done again on what is left; what it moves by is that cause's step. (Late heat
    and overshoot only where lines are drawn: in the main period the content had the temperature
    that was read, and lost by it.) Then comes what a wall hides of the loss; the rest is what
    neither tells.
    """
    terms = terms_of(likely, single_readings(case, slice(0, case.s.size)))
    end = main_end_s(case)
    first = textbook.rise_of(case, end, rate)
    if first is None:
        return ()
    now, k = first
    out, y = [], case.y
    drawn = (case.s <= 0) | (case.s >= end)
    causes = (
        (VAPOUR_STEP, terms.vapour, parts["loss that grows faster than linearly"]),
        (ROOM_STEP, terms.room, float(np.hypot(parts["drifting room"], parts["fore drift"]))),
        (LATE_STEP, terms.late * drawn, parts["heat still released"]),
        (OVERSHOOT_STEP, terms.wall * drawn, parts["slow wall's overshoot"]),
    )
    for cause, course, u in causes:
        y = y - course
        moved = textbook.rise_of(replace(case, y=y), end, k)
        if moved is None:
            return ()
        out.append((cause, moved[0] - now, u))
        now, k = moved
    off, u_off = hidden
    rest = rise - now + off
    return (*out, (WALL_STEP, -off, u_off), (REST_STEP, rest, parts["which model holds"]))


def _misfit_note(misfit: float) -> str:
    if misfit <= _MISFIT:
        return ""
    return (
        f"what the best model leaves over is {misfit:.1f} times the readings' noise; the "
        "uncertainty was made larger by as much: look for air that moved, a lid, a stirrer"
    )


def _temperatures(case: Case, found: Averaged, *, known: bool) -> dict[str, Any]:
    """Temperature before, without loss and tended to, each with u and interval; °C, K.

    The last is left out where the cooling rate is not known to within a factor of some two.
    """
    out: dict[str, Any] = {}
    for name, column in (("before", BEFORE), ("final", FINAL), ("t_inf", SETTLES)):
        if column == SETTLES and not known:
            continue
        value, u = found.moments(column)
        low, high = found.interval95(column)
        wider = u_of_reading(case) if column == BEFORE else 1e-4
        wide = float(np.hypot(u, wider)) / max(u, 1e-9)
        out[f"u_{name}_K"] = u * wide
        edges = (value - (value - low) * wide, value + (high - value) * wide)
        out[f"{name}_interval95_C"] = (case.before_C + edges[0], case.before_C + edges[1])
        if column != FINAL:
            out[f"{name}_C"] = case.before_C + value
    return out


def _moment_part(case: Case, rise: float, rate: float) -> float:
    """Effect of the mixing moment: the drift before it, and what the integral of the loss gains or
    loses with it, k ΔT δt, K."""
    fore = case.y[case.fore]
    drift = abs(float(fore[-1] - fore[0])) / max(float(-case.s[0]), 1.0) if fore.size > 1 else 0.0
    return drift * case.mixing.u_s + max(rate, 0.0) * abs(rise) * case.mixing.u_s


_MISFIT = 2.2
"""Residuals of the law in use over the readings' errors, beyond which u grows with them: of 800
simulated honest logs one in a hundred reaches it (`tests/benchmarks/two_judges.py`)."""
_NO_LAW = 5.0


def _verdict(
    case: Case, misfit: float, rate: float, u_rate: float, vessel: str
) -> tuple[bool, str]:
    length = float(case.s[-1])
    if length < 20 or np.count_nonzero(case.s > 0) < 8:
        return False, f"only {length:.0f} s of readings follow the mixing"
    if misfit > _NO_LAW:
        return False, (
            f"no model follows the readings: what is left is {misfit:.1f} times their noise; look "
            "for a lid that was opened, a stirrer that stopped, a second addition"
        )
    if rate > 2 * u_rate:
        return True, f"k is known to {100 * u_rate / rate:.0f} % from both periods together"
    return True, f"k is hardly seen on this curve; usual {vessel}s' rates limit what was lost"
