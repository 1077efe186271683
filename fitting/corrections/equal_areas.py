"""Equal areas: both drift lines meet a vertical line that cuts off two equal areas.

The vertical stands at the time b at which the area between the readings and the fore line (left of
it) equals that between the after line and the readings (right of it)::

    ∫_0^b (T − L1) ds = ∫_b^e (L2 − T) ds,      ΔT = L2(b) − L1(b)

s is the time since mixing [s], e the end of the main period [s], L1 and L2 the straight lines
through fore and after period [°C]. The equation is quadratic in b, since L2 − L1 is a line. The
areas stand for heat that is lost too early on one side and too late on the other: where the loss
grows in proportion to the temperature, they cancel.

Sources: A. King, H. Grover, Temperature correction methods in calorimetry, J. Appl. Phys. 12 (1941)
557, for the graphical methods (abstract found in a public index, page from memory). Six tenths of
the rise, the shortcut of H. C. Dickinson (U.S. Bureau of Standards, Scientific Paper 230, 1914),
stand for b where the heat comes as one quick exponential: there b is 1/κ, and 63 % are out.
"""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case, Line
from fitting.corrections.integral import main_period, trapezoids
from fitting.corrections.lines import DriftLines, drift_lines
from fitting.corrections.result import Balance, Correction, make, replaced

NAME = "equal-areas"


def correct(case: Case) -> Correction:
    """ΔT = L2(b) − L1(b), b from the readings of this very curve."""
    lines = drift_lines(case)
    b = balance_s(case, lines)
    at = min(max(b, 0.0), lines.start_s)
    rise = lines.after.at(at) - lines.fore.at(at)
    reach, end = float(case.s[-1]), lines.start_s
    curve = abs(lines.curvature_K_per_s2) * ((reach - end) ** 2 / 12 + end**2 / 2)
    drifts = abs(lines.after.slope_K_per_s - lines.fore.slope_K_per_s)
    parts = (
        ("fore line", lines.fore.u_at(at)),
        ("after line", lines.after.u_at(at)),
        ("time of equal areas", drifts * _u_balance_s(case, lines, rise)),
        ("curvature of the after period", curve),
    )
    straight = curve < 0.002 * abs(rise) + lines.after.u_at(at)
    one = make(
        case, NAME, rise, parts, _verdict(case, lines, b, straight), lines.after.residual_K,
        before_C=lines.fore.at(0.0),
    )  # fmt: skip
    mixed = case.mixing.time_s
    balance = Balance(
        mixed + at, mixed + end, mixed, lines.fore.at(0.0), lines.fore.slope_K_per_s,
        lines.after.at(0.0), lines.after.slope_K_per_s,
    )  # fmt: skip
    return replaced(one, balance=balance)


def balance_s(case: Case, lines: DriftLines) -> float:
    """The time b of equal areas, s since mixing; NaN where no vertical makes them equal.

    With D = L2 − L1 = d0 + d1 s both areas are equal where ∫_b^e D ds = ∫_0^e (T − L1) ds.
    """
    end = lines.start_s
    s, T = main_period(case, lines.fore.at(0.0), end, lines.after.at(end))
    area = trapezoids(s, T - _along(lines.fore, s))
    d1 = lines.after.slope_K_per_s - lines.fore.slope_K_per_s
    d0 = lines.after.at(0.0) - lines.fore.at(0.0)
    rest = d0 * end + d1 * end**2 / 2 - area  # ∫_0^b D ds = rest
    if abs(d0) < 1e-9:
        return float("nan")
    inside = 1 + 2 * d1 * rest / d0**2
    if inside < 0:
        return float("nan")
    return float(2 * rest / d0 / (1 + np.sqrt(inside)))


def _along(line: Line, s: np.ndarray) -> np.ndarray:
    return line.level_C + line.slope_K_per_s * (s - line.centre_s)


def _u_balance_s(case: Case, lines: DriftLines, rise: float) -> float:
    """Lines and readings shift the areas; the moment lies somewhere in a sampling step. s."""
    off = float(np.hypot(lines.fore.u_at(0.0), lines.after.u_at(lines.start_s)))
    of_step = case.curve.step_s / np.sqrt(12)
    return float(np.hypot(of_step, lines.start_s * off / max(abs(rise), 1e-6)))


def _verdict(case: Case, lines: DriftLines, b: float, straight: bool) -> tuple[bool, str]:
    if not 0 <= b <= lines.start_s:
        return False, "no time within the main period makes the two areas equal"
    if "not yet settled" in case.periods.why:
        return False, "the release is not seen to end, so that the after line is none of cooling"
    if not straight:
        return False, "the after period is curved"
    return True, f"both drifts are straight; the areas are equal {b:.1f} s after the mixing"
