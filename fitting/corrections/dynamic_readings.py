"""The dynamic model's parameters, what is known of them beforehand, and the readings it expects.

What is known of cups (`fitting.newton.Knowledge`, `fitting.slow_wall.Walls`) serves as in the other
methods. The readings' covariance holds noise with its memory, the display's steps and what the
model lacks (`fitting.newton.covariance_of`), in the first seconds stirring and pouring as well.
Where a solid dissolves, the readings are trusted less, as in `fitting.averaging`.
Vapour is taken from the readings themselves (`fitting.newton.vapour_excess`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fitting.averaging import TRUST_SOLID
from fitting.corrections.binning import bin_whole_case
from fitting.corrections.case import Case
from fitting.corrections.lines import prior_of
from fitting.curve import FloatArray
from fitting.dynamic_model import Rates, drift_shape, idle_shape, modes_of, unit_readings
from fitting.newton import SOLID_RATIO, VESSELS, Knowledge, covariance_of
from fitting.noise import Noise, noise_of
from fitting.slow_wall import LOSS_SHARE, U_LOSS_SHARE, WallKind

NAMES = (
    "before_K", "rise_K", "stirring_K_per_s", "room_K", "vapour_share", "room_drift_K_per_s",
    "fore_drift_K_per_s",
    "log_share", "log_rate", "log_lag", "log_pour", "log_release", "log_second",
    "log_wall_share", "log_wall_s", "wall_loss",
)  # fmt: skip
LINEAR = 7  # so many of them enter the reading linearly
AT = {name: i for i, name in enumerate(NAMES)}
_WALL = ("log_wall_share", "log_wall_s", "wall_loss")
_SECOND = ("log_share", "log_second")

LAG_S, POUR_S = 6.5, 2.5
_QUICK_S, _SOLID_S, _SECOND_S = 1.5, 15.0, 48.0
# of the change: what the model lacks right after the mixing; more where much liquid is poured,
# whose heat first warms what is there already
_START_SHARE, _START_POURED, _START_S = 0.003, 0.03, 8.0
_QUIET_FROM_S = 45.0  # readings from then on tell the noise
_ENOUGH = 30


@dataclass(frozen=True, eq=False)
class Problem:
    """Averaged readings of a case, whitened; rows before the mixing come first.

    s [s since mixing], y [K above the temperature before], vapour [K s], fore (1 or 0), each of
    shape (n,); root: of the inverse covariance, shape (n, n); ratio: heat capacity before / after;
    rate: known k and its standard uncertainty, 1/s; known: mean and standard deviation by name;
    noise: of single readings; kinds: of wall that the vessel may have, the first none.
    """

    s: FloatArray
    y: FloatArray
    vapour: FloatArray
    fore: FloatArray
    root: FloatArray
    ratio: float
    change_K: float
    rate: tuple[float, float] | None
    known: dict[str, tuple[float, float]]
    noise: Noise
    kinds: tuple[WallKind, ...]


def problem_of(case: Case, noise: Noise | None = None) -> Problem:
    """Average the readings, and whiten them; ``noise`` None: as the readings themselves tell it."""
    rows, level = bin_whole_case(case)
    noise = noise or _noise(case)
    know, change = VESSELS[case.vessel or "cup"], case.swing_K or 1e-3
    own = covariance_of(rows, noise, level, change, know, 1.0)
    start = (_START_SHARE + _START_POURED * max(1 - case.capacity_ratio, 0.0)) * change
    size = start * rows.after * np.exp(-np.maximum(rows.s, 0) / _START_S)
    apart = np.log(np.maximum(rows.s, 0.5))
    own = own + np.outer(size, size) * np.exp(-2 * (apart[:, None] - apart[None, :]) ** 2)
    trust = TRUST_SOLID if case.capacity_ratio > SOLID_RATIO else 1.0
    root = np.sqrt(trust) * np.linalg.inv(np.linalg.cholesky(own))
    prior, u_prior = prior_of(case)
    rate = None if prior is None else (prior, max(u_prior, 1e-3 * prior, 1e-9))
    return Problem(
        rows.s, rows.y, rows.vapour, 1 - rows.after, root, case.capacity_ratio, change, rate,
        _known(case, know), noise, know.walls.kinds,
    )  # fmt: skip


def _noise(case: Case) -> Noise:
    """Noise of the readings; the sensor's own course in the first minute must not pass for it."""
    quiet = (case.s > _QUIET_FROM_S) & (np.arange(case.s.size) >= case.after.start)
    if quiet.sum() < _ENOUGH:
        return case.noise
    return noise_of([case.y[case.fore], case.y[quiet]], case.noise.resolution_K)


def _known(case: Case, know: Knowledge) -> dict[str, tuple[float, float]]:
    """Mean and standard deviation of what is known beforehand, walls apart.

    (common practice, no source)
    """
    room = (0.0, know.u_room_unknown_K)
    if case.room_C is not None:
        room = (case.room_C - case.before_C, max(case.u_room_K, 1e-3))
    solid = case.capacity_ratio > SOLID_RATIO
    return {
        "log_share": _log_normal(0.2, 0.12),
        "stirring_K_per_s": (know.stirring_K_per_s, know.u_stirring_K_per_s),
        "room_K": room,
        "vapour_share": (know.vapour_share, know.u_vapour_share),
        "room_drift_K_per_s": (0.0, know.room_drift_K_per_s),
        "fore_drift_K_per_s": (0.0, know.fore_mismatch_K_per_s),
        "log_rate": (float(np.log(know.rate_per_s)), know.rate_spread),
        "log_lag": (float(np.log(LAG_S)), 0.5),
        "log_pour": (float(np.log(POUR_S)), 0.5),
        "log_release": (float(np.log(_SOLID_S)), 0.8) if solid else (float(np.log(_QUICK_S)), 1.0),
        "log_second": (float(np.log(_SECOND_S)), 0.45),
    }


def wall_known(wall: WallKind) -> dict[str, tuple[float, float]]:
    """What is known of one kind of wall; its share is log-normal, of the mean and spread stated."""
    return {
        "log_wall_share": _log_normal(wall.share, wall.u_share),
        "log_wall_s": (float(np.log(wall.time_s)), wall.spread),
        "wall_loss": (LOSS_SHARE, U_LOSS_SHARE),
    }


def _log_normal(mean: float, sd: float) -> tuple[float, float]:
    """Mean and standard deviation of ln x, from those of x."""
    spread2 = float(np.log1p((sd / mean) ** 2))
    return float(np.log(mean)) - spread2 / 2, float(np.sqrt(spread2))


@dataclass(frozen=True, slots=True)
class Model:
    """One of the nested models: second release or none, kind of wall (0: none), name held fixed."""

    second: bool
    wall: int
    held: str = ""

    @property
    def free(self) -> tuple[str, ...]:
        """Names of the parameters that are fitted."""
        return _names(self.second, bool(self.wall), self.held)

    @property
    def all_names(self) -> tuple[str, ...]:
        """Names of the parameters that it has."""
        return _names(self.second, bool(self.wall), "")


@lru_cache(maxsize=32)
def _names(second: bool, wall: bool, held: str) -> tuple[str, ...]:
    left_out = (() if second else _SECOND) + (() if wall else _WALL) + (held,)
    return tuple(name for name in NAMES if name not in left_out)


def known_of(problem: Problem, model: Model) -> dict[str, tuple[float, float]]:
    """Mean and standard deviation of what is known of a model's parameters."""
    known = problem.known | (wall_known(problem.kinds[model.wall]) if model.wall else {})
    return {name: known[name] for name in NAMES if name in known and name in model.all_names}


def readings(p: FloatArray, problem: Problem, model: Model) -> tuple[FloatArray, FloatArray]:
    """Readings of B sets of parameters, shape (B, n); derivatives of the first by the linear ones.

    Args:
        p: shape (B, 16), in the order of ``NAMES``.
    """
    q = _rates(p, model)
    modes = modes_of(q)
    slow, steady = modes.rate[:, 0], modes.steady_rate[:, None]
    s, ahead = problem.s, problem.fore == 0
    after = np.zeros((slow.size, s.size))
    by_release = unit_readings(s[ahead], q, modes)
    after[:, ahead] = by_release[:, 0]
    if model.second:
        share = np.exp(np.minimum(p[:, AT["log_share"], None], 0.0))
        after[:, ahead] += share * (by_release[:, 1] - by_release[:, 0])
    less = np.where(ahead, 1.0, 1 / problem.ratio)
    moved = np.where(ahead, idle_shape(s, slow), idle_shape(s, slow / problem.ratio)) * less
    wandered = np.where(ahead, drift_shape(s, slow), drift_shape(s, slow / problem.ratio))
    steam = -steady * problem.vapour * less
    by = {
        "before_K": 1 - steady * moved,
        "rise_K": after,
        "stirring_K_per_s": moved,
        "room_K": steady * moved,
        "vapour_share": steam,
        "room_drift_K_per_s": wandered,
        "fore_drift_K_per_s": problem.fore * s + np.zeros_like(after),
    }
    parts = np.stack([by[name] for name in NAMES[:LINEAR]])
    return np.einsum("lbn,bl->bn", parts, p[:, :LINEAR]), parts[:, 0]


def _rates(p: FloatArray, model: Model) -> Rates:
    log = np.clip(p[:, AT["log_rate"] : AT["wall_loss"]], -20.0, 8.0)
    k, lag, pour, release, second, share, wall_s = np.exp(log).T
    releases = np.stack([release, second], axis=1) if model.second else release[:, None]
    return Rates(
        np.minimum(k, 0.05), lag, pour, releases, np.minimum(share, 0.6) if model.wall else None,
        wall_s, np.clip(p[:, AT["wall_loss"]], 0.0, 0.98),
    )  # fmt: skip
