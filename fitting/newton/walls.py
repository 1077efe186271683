"""A wall that warms after the content: the overshoot it leaves, and what it hides of the loss.

A wall of heat capacity C_w (share a = C_w/C of the whole) is fed through G_w, with the time
constant τ_w = C_w/G_w, and passes the share g of the loss G = k C on to the room. It settles at

    γ = G_w/(G_w + g G) = 1/(1 + g k τ_w/a)

of the content's height above the room, with the time constant τ' = γ τ_w. After a sudden change
the reading first overshoots by the share A = γ a of the change, and comes down with τ'. Newton's
integral takes the wall for warm from the start; balancing the energies from the mixing to any later
time, it counts too much by the share of the change

    ε = a (1 − γ²) = g k τ' (1 + γ),    γ = A/(A + g k τ').

A and τ' are seen on the curve where τ' is longer than sensor and pouring; g never is, and of a
quick wall neither. A distributed wall (foam) is the same to first order: it stores a part of its
heat capacity only. (own derivation; checked in the tests on a two-body cup)

ε belongs to the cup: a calibration by mixing finds a constant that is larger by ε times the whole
heat capacity, and a reaction in the same cup a rise that is smaller by ε, so that the error of ε
cancels in the enthalpy (`calib`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from fitting.cup.knowledge import Vessel, Wall
from fitting.curve import FloatArray

IntArray = npt.NDArray[np.intp]
_OVERSHOOT = 0.85  # A of a usual wall over its share a: γ for g k τ_w/a of 0.15
_STEP = 0.4  # of ln τ' between neighbours of the grid
_REACH = 1.8  # of the spread of ln τ_w, either side
_MOST_WALLS = 40
_NODE, _NODE_WEIGHT = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)]), np.array([1.0, 4.0, 1.0]) / 6
_FIVE = np.array([-2.857, -1.3556, 0.0, 1.3556, 2.857])  # Gauss-Hermite nodes, standard normal
_FIVE_WEIGHT = np.array([0.011257, 0.222076, 0.533333, 0.222076, 0.011257])
_LEAST_SHARE = 2e-4
UNSEEN_UP_TO_S = 60.0  # a thin wall leaves no mark beside sensor and pouring; a slower one would


@dataclass(frozen=True, eq=False)
class WallGrid:
    """The walls that are tried: times τ' [s], kind of each, overshoot beforehand and its u (shares
    of the change), prior weight; shapes (walls,). A time of 0: a wall that is not seen, whose own
    time constant is ``own_s``."""

    time_s: FloatArray
    own_s: FloatArray
    kind: IntArray
    overshoot: FloatArray
    u_overshoot: FloatArray
    weight: FloatArray
    kinds: tuple[Wall, ...]


@lru_cache(maxsize=16)
def wall_grid(vessel: Vessel) -> WallGrid:
    """The grid of a vessel's walls; a wall as large as glass is seen to a few per cent of τ'."""
    times, kinds, weights = [], [], []
    for at, wall in enumerate(vessel.walls):
        if not wall.seen:
            own = wall.time_s.value * np.exp(wall.time_s.u * _FIVE)
            times.append(np.minimum(own, UNSEEN_UP_TO_S))
            weights.append(wall.weight * _FIVE_WEIGHT)
            kinds.append(np.full(_FIVE.size, at))
            continue
        reach = _REACH * wall.time_s.u
        step = _STEP if wall.weight < 0.9 else 2 * reach / _MOST_WALLS
        count = max(round(2 * reach / step), 3)
        z = np.linspace(-reach, reach, count)
        density = np.exp(-((z / wall.time_s.u) ** 2) / 2)
        times.append(wall.time_s.value * np.exp(z))
        weights.append(wall.weight * density / density.sum())
        kinds.append(np.full(count, at))
    kind = np.concatenate(kinds)
    seen = np.array([wall.seen for wall in vessel.walls])[kind]
    share = np.array([wall.share.value for wall in vessel.walls])[kind]
    u_share = np.array([wall.share.u for wall in vessel.walls])[kind]
    own = np.concatenate(times)
    return WallGrid(
        np.where(seen, own, 0.0),
        own,
        kind,
        np.where(seen, _OVERSHOOT * share, 0.0),
        np.where(seen, _OVERSHOOT * u_share, 1e-9),
        np.concatenate(weights),
        vessel.walls,
    )


@dataclass(frozen=True, eq=False)
class HiddenLoss:
    """ε, its u, and the log weight that the wall's own prior gives each model; shape (M,) each."""

    share: FloatArray
    u_share: FloatArray
    log_weight: FloatArray


def hidden_loss(
    rate_per_s: FloatArray,
    wall: IntArray,
    overshoot: FloatArray,
    u_overshoot: FloatArray,
    grid: WallGrid,
) -> HiddenLoss:
    """ε averaged over what is not seen of each model's wall.

    Args:
        rate_per_s: k, shape (M,).
        wall: index into ``grid.time_s``, shape (M,).
        overshoot, u_overshoot: A and its standard uncertainty, share of the change, shape (M,).
    """
    share, u_share, log_weight = (np.zeros(rate_per_s.size) for _ in range(3))
    rate = np.maximum(rate_per_s, 0.0)
    for at, kind in enumerate(grid.kinds):
        mine = grid.kind[wall] == at
        if not mine.any():
            continue
        found = (
            _seen(kind, rate[mine], grid.time_s[wall[mine]], overshoot[mine], u_overshoot[mine])
            if kind.seen
            else (*_unseen(kind, rate[mine], grid.own_s[wall[mine]]), np.zeros(int(mine.sum())))
        )
        share[mine], u_share[mine], log_weight[mine] = found
    return HiddenLoss(share, u_share, log_weight)


def _loss_shares(kind: Wall) -> tuple[FloatArray, FloatArray]:
    """Nodes of g and their weights."""
    g = np.clip(kind.loss_share.value + kind.loss_share.u * _FIVE, 0.01, 0.98)
    return g, _FIVE_WEIGHT


def _unseen(kind: Wall, rate: FloatArray, tau: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of ε over what is known of a wall that is not seen, by its τ_w; (M,) each."""
    g, w_g = _loss_shares(kind)
    a = np.maximum(kind.share.value + kind.share.u * _NODE, _LEAST_SHARE)[:, None]
    weight = _NODE_WEIGHT[:, None] * w_g
    gamma = 1 / (1 + g * (tau * rate)[:, None, None] / a)
    epsilon = a * (1 - gamma**2)
    mean = (epsilon * weight).sum(axis=(1, 2))
    spread = (((epsilon - mean[:, None, None]) ** 2) * weight).sum(axis=(1, 2))
    return mean, np.sqrt(np.maximum(spread, 0.0))


def _seen(
    kind: Wall, rate: FloatArray, tau: FloatArray, overshoot: FloatArray, u_overshoot: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """ε, its spread and log weight of walls that are seen, by their A and τ'; shapes (M,).

    What is known of τ_w = τ'/γ and of a = A/γ weighs each g: a wall that hardly overshoots can
    hardly pass much of the loss. (The density of a is that of A times da/dA; the prior that the
    overshoot was solved with is taken out again.)
    """
    g, w_g = _loss_shares(kind)
    A = np.maximum(overshoot[:, None] + u_overshoot[:, None] * _NODE, 2e-5)[:, :, None]
    passed = g * rate[:, None, None] * tau[:, None, None]  # g k τ'
    whole = A + passed
    gamma = A / whole
    own_time = np.log(tau[:, None, None] / gamma / kind.time_s.value) / kind.time_s.u
    usual_time = np.log(tau[:, None, None] / kind.time_s.value) / kind.time_s.u
    a0, u_a = kind.share.value, kind.share.u
    log_weight = (usual_time**2 - own_time**2) / 2 - ((whole - a0) / u_a) ** 2 / 2
    log_weight = log_weight + ((A - _OVERSHOOT * a0) / (_OVERSHOOT * u_a)) ** 2 / 2
    log_weight = log_weight + np.log(_NODE_WEIGHT)[:, None] + np.log(w_g)
    top = log_weight.max(axis=(1, 2), keepdims=True)
    weight = np.exp(log_weight - top)
    total = weight.sum(axis=(1, 2))
    epsilon = passed * (1 + gamma)
    mean = (weight * epsilon).sum(axis=(1, 2)) / total
    spread = np.sqrt((weight * (epsilon - mean[:, None, None]) ** 2).sum(axis=(1, 2)) / total)
    return mean, spread, top[:, 0, 0] + np.log(total)


def usual_hidden_share(vessel: Vessel, rate_per_s: float) -> tuple[float, float]:
    """ε and its u where no curve was logged: a vessel's walls as they are known beforehand."""
    grid = wall_grid(vessel)
    at = np.arange(grid.time_s.size)
    found = hidden_loss(np.full(at.size, rate_per_s), at, grid.overshoot, grid.u_overshoot, grid)
    weight = grid.weight / grid.weight.sum()
    mean = float(weight @ found.share)
    return mean, math.sqrt(float(weight @ (found.u_share**2 + (found.share - mean) ** 2)))


def hidden_share_after_log(vessel: Vessel, rate_per_s: float) -> tuple[float, float]:
    """ε and its u as a log of a usual vessel leaves them: before the log, for plans.

    A log tells which wall it is, not the loss through it: the geometric means over the walls of
    ``hidden_loss``'s ε and u, since they spread over decades and a plan speaks of the usual one.
    """
    grid = wall_grid(vessel)
    at = np.arange(grid.time_s.size)
    found = hidden_loss(np.full(at.size, rate_per_s), at, grid.overshoot, grid.u_overshoot, grid)
    weight = grid.weight / grid.weight.sum()
    share, u = (
        math.exp(float(weight @ np.log(np.maximum(of, 1e-9))))
        for of in (found.share, found.u_share)
    )
    return share, u
