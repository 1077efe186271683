"""What the averaged rise's uncertainty is made of, and what the most likely model leaves over.

With A = P + Xᵀ V⁻¹ X (`fitting.newton.average`) the rise's variance is what the readings' errors
and what each piece of prior knowledge contribute:

    A⁻¹ = W V Wᵀ + A⁻¹ P A⁻¹,      W = A⁻¹ Xᵀ V⁻¹,

and V is itself a sum. The shares of the most likely model are given to the mean variance within
models; the variance between models is a part of its own, as is what a wall hides of the loss.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray
from fitting.newton.average import Averaged
from fitting.newton.early import RELEASE_S, release_columns
from fitting.newton.rows import (
    BEFORE,
    DRIFT,
    MISMATCH,
    PARAMETERS,
    RISE,
    SHARED,
    VAPOUR,
    Rows,
    shared_columns,
)
from fitting.newton.setting import Setting
from fitting.newton.walls import WallGrid

WALL_LOSS = "loss through a slow wall"
_MODEL = "which model holds"
_LATE, _WALL = "heat still released", "slow wall's overshoot"


@dataclass(frozen=True, eq=False)
class Likely:
    """The most likely model of an average, solved, and nothing else of it.

    Attributes:
        setting, walls: what the models were told.
        at: which of the grid's columns are its own, 10 of them.
        beta: its parameters, shape (10,).
        s, early_K: times of the averaged readings [s], and what its early processes did there [K].
    """

    setting: Setting
    walls: WallGrid
    at: tuple[int, ...]
    beta: FloatArray
    s: FloatArray
    early_K: FloatArray

    def early(self, s: FloatArray) -> FloatArray:
        """What its early processes did at other times, K, shape as s."""
        return np.asarray(np.interp(s, self.s, self.early_K))

    def columns(self, readings: Rows) -> FloatArray:
        """Its columns at some readings, shape (n, 10)."""
        setting, source = self.setting, self.setting.source
        *_, release, _, wall = self.at
        slow, moved = release_columns(readings, setting, [release - SHARED])
        late = source.late(readings.s, self.walls.time_s[[wall - SHARED - 2 * RELEASE_S.size]])
        return np.column_stack([shared_columns(readings, setting.ratio, source), slow, moved, late])


@dataclass(frozen=True, eq=False)
class Explained:
    """Attributes:
    parts: standard uncertainties of the rise by source, K; their squares add up to its variance.
    residual_K: readings of the after period minus the most likely course, K, shape (n,).
    likely: the most likely model.
    """

    parts: tuple[tuple[str, float], ...]
    residual_K: FloatArray
    likely: Likely


def explain(found: Averaged, readings: Rows) -> Explained:
    """Take the most likely model apart; ``readings`` are those of the after period, one by one."""
    problem, model = found.problem, found.most_likely
    X, P = model.columns, np.linalg.inv(model.prior_covariance)
    errors = problem.errors
    V = errors.total(problem.scale) + model.early.covariance
    rest = problem.rows.y - model.early.mean
    back = np.linalg.solve(V, np.column_stack([X, rest]))
    back, back_rest = back[:, :-1], back[:, -1]
    A = P + X.T @ back
    scale = np.sqrt(np.diag(A))
    inverse = np.linalg.inv(A / np.outer(scale, scale)) / np.outer(scale, scale)
    beta = inverse @ (P @ model.prior_mean + back.T @ rest)
    early = model.early.mean + model.early.covariance @ (back_rest - back @ beta)
    likely = Likely(problem.setting, problem.walls, model.at, beta, problem.rows.s, early)
    row = inverse[RISE]
    reading = back @ row

    def share(covariance: FloatArray) -> float:
        return max(float(reading @ covariance @ reading), 0.0)

    own = problem.scale**2
    shares = {
        "noise of the reading": share((errors.noise + errors.wander) * own + errors.known),
        "steps of the reading": share(errors.steps),
        "air that moves in the room": share(errors.air),
        "sensor, pouring and release": share(model.early.covariance),
    }
    weight = np.abs(row * (P @ row))
    for at, name in enumerate(PARAMETERS):
        if at not in (BEFORE, RISE):
            shares[name] = float(weight[at])
    shares[_LATE] = float(weight[SHARED : SHARED + 2].sum()) + share(errors.shape)
    shares[_WALL] = float(weight[SHARED + 2])
    shown = likely.columns(readings) @ beta + likely.early(readings.s)
    return Explained(_scaled(found, shares), readings.y - shown, likely)


def _scaled(found: Averaged, shares: dict[str, float]) -> tuple[tuple[str, float], ...]:
    centre = float(found.weight @ found.mean[:, 1])
    between = float(found.weight @ (found.mean[:, 1] - centre) ** 2)
    within = float(found.weight @ found.sd[:, 1] ** 2)
    hidden = min(float(found.weight @ found.u_hidden_K**2), 0.95 * within)
    # what models differ by in the hidden loss belongs to the wall, not to the choice of a model
    off = float(found.weight @ found.hidden_K)
    apart = min(float(found.weight @ (found.hidden_K - off) ** 2), between)
    total = sum(shares.values()) or 1.0
    parts = [
        (name, float(np.sqrt((within - hidden) * share / total))) for name, share in shares.items()
    ]
    wall = (WALL_LOSS, float(np.sqrt(hidden + apart)))
    return (*parts, wall, (_MODEL, float(np.sqrt(between - apart))))


_SHOWS = 1e-3  # of the change: less in the after period bends no line that is drawn through it


def late_heat(found: Averaged, from_s: float) -> float:
    """Probability that heat was still being released in the after period, from ``from_s`` on."""
    tau = np.maximum(RELEASE_S[found.release], 1e-3)
    return found.probability(_still_shows(found, found.release_K, tau, from_s))


def slow_wall(found: Averaged, from_s: float) -> float:
    """Probability that a wall was still warming in the after period, from ``from_s`` on."""
    tau = np.maximum(found.problem.walls.time_s[found.wall], 1e-3)
    return found.probability(_still_shows(found, found.wall_K, tau, from_s))


def _still_shows(
    found: Averaged, amplitude_K: FloatArray, tau: FloatArray, from_s: float
) -> npt.NDArray[np.bool_]:
    left = np.abs(amplitude_K) * np.exp(-from_s / tau)
    return np.asarray(left > _SHOWS * found.problem.setting.size_K)


@dataclass(frozen=True, eq=False)
class Terms:
    """What the most likely model has beyond one body and Newton's law, at some readings.

    Attributes: vapour, room, late, wall: loss that grows faster than linearly, a room that drifts,
    heat still on its way, a wall's overshoot; K, shape (n,) each.
    """

    vapour: FloatArray
    room: FloatArray
    late: FloatArray
    wall: FloatArray


def terms_of(likely: Likely, readings: Rows) -> Terms:
    """The most likely model's terms, one by one, at some readings."""
    own = likely.columns(readings) * likely.beta
    soon = likely.early(readings.s) * (readings.s > 0)
    return Terms(
        own[:, VAPOUR], own[:, DRIFT] + own[:, MISMATCH],
        own[:, SHARED] + own[:, SHARED + 1] + soon, own[:, SHARED + 2],
    )  # fmt: skip
