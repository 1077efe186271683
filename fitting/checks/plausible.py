"""A correction must not go against the loss's sign.

While the content lies above where it tends, the cup loses heat, so what a perfectly insulated cup
would have shown lies above what was read. Up to the time s_a at which the release is over

    rise = y(s_a) − T_i + lost(s_a),        lost(s_a) = k I(s_a) − r g s_a,

with k from the two drifts alone (`fitting.corrections.lines`), I = ∫(T − T_i) ds, the drift g
before the mixing and the ratio r of the heat capacities: the notebook's estimate, which needs no
model of wall, vapour or late heat. Where lost has the sign of the rise beyond its uncertainty, a
correction smaller than y(s_a) − T_i beyond twice the noise has put the cause in the wrong place. It
is not admissible then, and its interval is widened to reach the extreme reading with twice of what
was lost on top: vapour makes a hot cup lose up to twice and more of what the later drift tells.

A wall that still warms after s_a makes the true rise smaller than y(s_a): so the size of the wall
that the vessel may have, `slow_wall`, a share of the change, is allowed for; a flask is left alone.
"""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import drift_lines
from fitting.corrections.result import Correction, replaced
from fitting.cup.knowledge import CUP, VESSELS

_AT_MOST = 2.0  # times the loss that the drifts tell
_SURE = 2.0
_FEW_S = 15.0  # over which the reading at the end of the main period is averaged


def held_to_the_reading(case: Case, one: Correction) -> tuple[Correction, str]:
    """The correction, not admissible and widened where it goes against the loss's sign; and why.

    The sentence is empty where nothing is wrong.
    """
    if "flask" in (case.known.vessel, one.vessel):
        return one, ""
    change, u_change, at = _change_when_over(case)
    sign = float(np.sign(change))
    lines = drift_lines(case)
    integral = float(np.interp(at, case.s, case.integral_Ks))
    lost = lines.rate_per_s * integral - lines.fore.slope_K_per_s * case.known.capacity_ratio * at
    u_drift = lines.fore.u_slope_K_per_s * case.known.capacity_ratio * at
    u_lost = float(np.hypot(lines.u_rate_per_s * integral, u_drift))
    short = sign * (change - one.rise_K)
    wall = VESSELS[case.known.vessel or CUP.name].slow_wall.share.rms
    allowed = _SURE * u_change + wall * abs(change)
    if sign * lost < _SURE * u_lost or short < allowed or lines.rate_per_s <= 0:
        return one, ""
    edge = case.swing_K + _AT_MOST * lost
    low, high = one.interval95_K
    interval = (min(low, edge), max(high, edge))
    place, does = ("above", "loses") if sign > 0 else ("below", "gains")
    words = (
        f"the corrected change, {one.rise_K:+.3f} K, is smaller than the reading showed when the "
        f"release was over, {change:+.3f} K, although a cup {place} the room {does} heat: what "
        "bends the curve was taken for something else (vapour for a wall?); the two drifts alone "
        f"give {change + lost:+.3f} K"
    )
    u = max(one.u_rise_K, abs(edge - one.rise_K) / 1.96)
    return replaced(one, admissible=False, why=words, interval95_K=interval, u_rise_K=u), words


def _change_when_over(case: Case) -> tuple[float, float, float]:
    """Change of the reading at the end of the main period and its u, K; that time, s."""
    start = case.after.start
    count = max(int(np.count_nonzero(case.s[start:] <= case.s[start] + _FEW_S)), 1)
    level = float(case.y[start : start + count].mean())
    u = float(np.hypot(case.u_before_K, case.noise.u_mean(count)))
    return level - case.before_C, u, float(case.s[start : start + count].mean())
