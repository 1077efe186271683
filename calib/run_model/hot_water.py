"""The temperature of a warm liquid at the moment it is poured.

Between its last reading and the pouring a liquid in an open beaker cools towards the room,

    T_2 = T_room + (T_read − T_room) e^(−k_b t_w)

with k_b of 0.02 to 0.05 1/min for hot water in the open (common practice, no source). A column
``added_read_s`` tells the wait t_w and the cooling is taken off; ``added_curve`` names the liquid's
own log, which is extrapolated to the pouring (its last reading, or ``added_poured_at_s`` on its
clock). Where neither is given nothing is taken off, and the budget holds what a usual wait
would cost. That line is shared by the table's runs: a habit does not
average away.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from calib.errors import RowProblem
from calib.run_model.refusal import RowRefusedError
from calib.uncertainty import Input
from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from calib.estimate import Estimate
    from calib.runs.model import Run
    from fitting.curve import Curve

__all__ = ["pouring_input", "temperature_at_pouring"]

_BEAKER = BENCH.hot_beaker_per_s
NEAR_ROOM_K = 5.0
U_FROM_LOG = "added_pour_u_K"


def pouring_input(run: Run, room_C: float) -> Input | None:
    """The change between reading and pouring as an input [K]; None where it is nothing.

    None for a liquid near the room's temperature, and where ``u_added_C`` says all. Raises
    RowRefusedError where ``added_read_s`` is no number of seconds.
    """
    if run.added_C is None or "added_C" in run.u:
        return None
    above = run.added_C - room_C
    if U_FROM_LOG in run.extra:
        u = float(str(run.extra[U_FROM_LOG]))
        return Input("pouring", 0.0, u, source="added liquid's own log, extrapolated to pouring")
    wait = _wait(run)
    if wait is None:
        if abs(above) < NEAR_ROOM_K:
            return None
        longest = BENCH.wait_not_noted_s.value
        u = abs(above) * _BEAKER.value * longest / math.sqrt(3.0)
        return Input(
            "pouring", 0.0, u, key="wait before pouring, not noted",
            source=f"cooling between reading and pouring (0 to {longest:g} s, not noted)",
        )  # fmt: skip
    if wait == 0.0:
        return None
    change = above * (math.exp(-_BEAKER.value * wait) - 1.0)
    u = abs(above) * math.hypot(_BEAKER.u * wait, _BEAKER.value * BENCH.wait_s.u)
    source = f"cooling during the {wait:g} s between reading and pouring"
    return Input("pouring", change, u, key="beaker's cooling rate", source=source)


def _wait(run: Run) -> float | None:
    raw = run.extra.get("added_read_s")
    if raw is None or str(raw).strip() == "":
        return None
    try:
        wait = float(str(raw).strip().replace(",", "."))
    except ValueError:
        wait = -1.0
    if 0.0 <= wait <= 3600.0:
        return wait
    raise RowRefusedError(
        RowProblem(run.run, "added_read_s", "the wait between reading and pouring cannot be read",
                   repr(raw), "seconds, 0 to 3600", "correct it, or leave it empty")
    )  # fmt: skip


def temperature_at_pouring(curve: Curve, poured_at_s: float | None = None) -> Estimate:
    """A cooling liquid's own log extrapolated to the moment it is poured. [°C]

    A straight line through ln|T − T_low| is not needed for a few seconds: a parabola is fitted to
    the last 120 s before pouring (at least five readings) and evaluated there. u holds the fit's,
    with residuals' autocorrelation, and the reading's step. Raises ValueError for too few readings
    or a pouring more than two minutes after the log's end.
    """
    import numpy as np

    from calib.estimate import Estimate

    end = float(curve.time_s[-1]) if poured_at_s is None else poured_at_s
    if end > float(curve.time_s[-1]) + 120.0:
        msg = f"pouring at {end:g} s lies more than 120 s after the log's end"
        raise ValueError(msg)
    used = (curve.time_s <= end) & (curve.time_s >= min(end, float(curve.time_s[-1])) - 120.0)
    if int(used.sum()) < 5:
        msg = f"{int(used.sum())} readings in the last 120 s before pouring; at least 5 are needed"
        raise ValueError(msg)
    t, T = curve.time_s[used] - end, curve.temperature_C[used]
    degree = 2 if t.size >= 12 else 1
    basis = np.vander(t, degree + 1, increasing=True)
    beta, *_ = np.linalg.lstsq(basis, T, rcond=None)
    residual = T - basis @ beta
    s2 = float(residual @ residual) / (t.size - degree - 1)
    rho = float(residual[1:] @ residual[:-1] / max(float(residual @ residual), 1e-30))
    inflation = (1.0 + max(rho, 0.0)) / (1.0 - min(max(rho, 0.0), 0.95))
    cov = s2 * inflation * np.linalg.inv(basis.T @ basis)
    u = math.sqrt(float(cov[0, 0]) + curve.resolution_K**2 / 12.0 / math.sqrt(t.size))
    return Estimate(float(beta[0]), u, "°C", f"own log of {t.size} readings", "measured")
