"""Integral of Newton's law over the main period, k and T∞ from both periods together: the default.

See `fitting.newton` for the equation. Readings from 14 s after the mixing on are used; what is
quicker (sensor, pouring) is given free amplitudes. The models differ in the cooling rate's band, in
whether a slow wall still warms up and whether heat is still being released; each is solved exactly
and weighed by how well it predicts the readings (its evidence). The answer is the average, the
uncertainty holds the spread between models beside each model's own.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fitting.averaging import FINAL, SETTLES, Averaged, average
from fitting.corrections.binning import after_readings, bin_case
from fitting.corrections.case import Case
from fitting.corrections.result import Correction, make, replaced, u_of_reading
from fitting.curve import FloatArray
from fitting.explaining import explain
from fitting.model_grid import Setting
from fitting.newton import BEFORE, RATE, RISE, VESSELS, Binned, Knowledge
from fitting.sensor_lag import lag_of
from fitting.slow_wall import CUP_WALLS, HEAVY

NAME = "newton-integral"


def newton_rise(
    s: FloatArray, y: FloatArray, rate_per_s: float, t_inf_C: float, before_C: float, end_s: float
) -> float:
    """Rise for a known law: (T_f − T_i) + k ∫ (T − T∞) dt over the main period 0..end, K.

    Args: s [s since mixing] and y [°C], shape (n,); T_f is interpolated at ``end_s``.
    """
    inside = (s > 0) & (s < end_s)
    last = float(np.interp(end_s, s, y))
    nodes = np.concatenate([[0.0], s[inside], [end_s]])
    above = np.concatenate([[before_C], y[inside], [last]]) - t_inf_C
    area = float(np.sum(np.diff(nodes) * (above[1:] + above[:-1]) / 2))
    return last - before_C + rate_per_s * area


GLASS_SEEN = 0.02  # posterior weight of heavy walls from which on a flask is considered
FLASK_ODDS = 3.5  # of log evidence: one vessel in thirty is a flask that nobody told of


def setting_of(case: Case, know: Knowledge | None = None) -> Setting:
    """What the models are told beside the readings."""
    room = None if case.known.room_C is None else case.known.room_C - case.before_C
    return Setting(
        case.swing_K,
        case.known.capacity_ratio,
        room,
        case.known.u_room_K,
        case.known.expected_rate,
        know or VESSELS[case.known.vessel or "cup"],
    )


def averaged(case: Case) -> tuple[Averaged, Binned, FloatArray, str]:
    """Solve and weigh all models on a case.

    Returns the answers, the averaged readings, their smooth course, and what the vessel was taken
    for. Where it was not told, a cup, unless a heavy wall is seen and the readings are
    e^3.5 times as probable in a flask.
    """
    rows, level = bin_case(case)
    told = case.known.vessel
    vessel = told or "cup"
    found = average(rows, case.noise, level, setting_of(case))
    heavy = CUP_WALLS.kind[found.wall] == HEAVY if told is None else np.zeros(1, dtype=bool)
    if heavy.any() and float(found.weight[heavy].sum()) > GLASS_SEEN:
        other = average(rows, case.noise, level, setting_of(case, VESSELS["flask"]))
        if other.log_evidence > found.log_evidence + FLASK_ODDS:
            return other, rows, level, "flask"
    return found, rows, level, vessel


def correct(case: Case) -> Correction:
    """Average over the models; see the module's docstring."""
    found, rows, level, vessel = averaged(case)
    setting = setting_of(case, VESSELS[vessel])
    rise, u = found.moments(RISE)
    low, high = found.interval95(RISE)
    rate, u_rate = found.moments(RATE)
    u_moment = _moment_part(case, rise)
    widened = float(np.hypot(u, u_moment)) / u if u > 0 else 1.0
    explained = explain(found, rows, case.noise, level, setting, after_readings(case))
    result = make(
        case, NAME, rise, (*explained.parts, ("moment of mixing", u_moment)),
        _verdict(case, rate, u_rate, vessel), explained.residual_K,
        rate=(rate, u_rate), lag=lag_of(case),
    )  # fmt: skip
    interval = (rise - (rise - low) * widened, rise + (high - rise) * widened)
    more = _temperatures(case, found, known=rate > u_rate / 2)
    return replaced(result, interval95_K=interval, u_rise_K=u * widened, vessel=vessel, **more)


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


def _moment_part(case: Case, rise: float) -> float:
    """Effect of the mixing moment: the drift before it and a sampling step of the integral, K."""
    fore = case.y[case.fore]
    drift = abs(float(fore[-1] - fore[0])) / max(float(-case.s[0]), 1.0) if fore.size > 1 else 0.0
    return drift * case.mixing.u_s + 1e-6 * abs(rise) * case.curve.step_s


def _verdict(case: Case, rate: float, u_rate: float, vessel: str) -> tuple[bool, str]:
    length = float(case.s[-1])
    if length < 20 or np.count_nonzero(case.s > 0) < 8:
        return False, f"only {length:.0f} s of readings follow the mixing"
    if rate > 2 * u_rate:
        return True, f"k is known to {100 * u_rate / rate:.0f} % from both periods together"
    return True, f"k is hardly seen on this curve; usual {vessel}s' rates limit what was lost"
