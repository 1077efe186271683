"""A slow inner wall: the overshoot it leaves in the reading, and what it hides of the loss.

A wall of heat capacity C_w (share a = C_w/C of the whole) is fed through G_w, with the time
constant τ_w = C_w/G_w, and passes the share g of the loss G = k C on to the room. It settles at

    γ = G_w/(G_w + g G) = 1/(1 + g k τ_w/a)

of the content's height above the room, with the time constant τ' = γ τ_w. After a sudden change
the reading first overshoots by the share A = γ a of the change, and comes down with τ'. Newton's
integral takes the wall for warm from the start; balancing the energies from the mixing to any later
time, it counts too much by

    [counted too much]/change = a (1 − γ²) = g k τ' (1 + γ),    γ = A/(A + g k τ').

A and τ' are seen on the curve; g is not. (own derivation; checked in the tests on a two-body cup)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray


@dataclass(frozen=True, slots=True)
class WallKind:
    """What is known of one kind of wall. (common practice, no source)

    Shares of the whole heat capacity; the time constant τ_w is log-normal.
    """

    weight: float  # probability of this kind
    share: float
    u_share: float
    time_s: float
    spread: float  # of ln τ_w


@dataclass(frozen=True, eq=False)
class Walls:
    """The walls that are tried for a vessel: a grid of times τ' and the kind each belongs to.

    Attributes: time_s [s] and kind (index into ``kinds``), shape (walls,); step: of ln τ' between
    neighbours. The first entry is no wall at all.
    """

    time_s: FloatArray
    kind: npt.NDArray[np.intp]
    kinds: tuple[WallKind, ...]
    step: float = 0.37

    @cached_property
    def share(self) -> FloatArray:
        """Overshoot A beforehand, a little below the wall's share; shape (walls,)."""
        return np.array([self.kinds[kind].share * 0.75 for kind in self.kind])

    @cached_property
    def u_share(self) -> FloatArray:
        """Its standard deviation, shape (walls,)."""
        return np.array([self.kinds[kind].u_share * 0.9 for kind in self.kind])

    @cached_property
    def weight(self) -> FloatArray:
        """Prior weight of each wall, shape (walls,)."""
        return np.array(
            [self.kinds[0].weight]
            + [
                self.kinds[kind].weight
                * self.step
                / (self.kinds[kind].spread * math.sqrt(2 * math.pi))
                for kind in self.kind[1:]
            ]
        )


KINDS = (
    WallKind(0.06, 0.0, 0.005, 50.0, 1.0),  # none
    WallKind(0.925, 0.008, 0.005, 50.0, 0.35),  # foam: 1 to 8 J/K of some 500
    WallKind(0.015, 0.05, 0.05, 110.0, 0.6),  # glass, heavy plastic
)
HEAVY = 2  # of these: index of the kind that stands for glass
_FOAM_S = [11.0, 16.0, 22.0, 32.0, 46.0, 66.0, 95.0]
_GLASS_S = [46.0, 66.0, 95.0, 137.0, 200.0]
CUP_WALLS = Walls(
    np.array([0.0, *_FOAM_S, *_GLASS_S]),
    np.array([0] + len(_FOAM_S) * [1] + len(_GLASS_S) * [2]),
    KINDS,
)
"""A foam cup's inner skin and film; seldom glass or a heavy vessel."""
_FLASK_STEP = 0.04  # so large a wall is seen to a few per cent of its time
_FLASK_S = np.exp(np.arange(math.log(25.0), math.log(420.0), _FLASK_STEP))
FLASK_WALLS = Walls(
    np.concatenate([[0.0], _FLASK_S]),
    np.array([0] + _FLASK_S.size * [1]),
    (WallKind(0.02, 0.0, 0.005, 50.0, 1.0), WallKind(0.98, 0.15, 0.08, 110.0, 0.55)),
    _FLASK_STEP,
)
"""A vacuum flask's glass takes 40 to 120 J/K, over minutes."""
LOSS_SHARE, U_LOSS_SHARE = 0.3, 0.11  # g: lid and bottom lose as well
_G = np.array([0.01, 0.06, 0.12, 0.18, 0.24, 0.3, 0.36, 0.42, 0.5, 0.6])
_NODES, _NODE_WEIGHT = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)]), np.array([1, 4, 1]) / 6


@dataclass(frozen=True, eq=False)
class HiddenLoss:
    """Share of the change that Newton's integral counts too much, its u, and the log weight that
    the wall's own prior gives each model; shape (M,) each."""

    share: FloatArray
    u_share: FloatArray
    log_weight: FloatArray


def hidden_loss(
    rate_per_s: FloatArray,
    wall: npt.NDArray[np.intp],
    overshoot: FloatArray,
    u_overshoot: FloatArray,
    walls: Walls = CUP_WALLS,
) -> HiddenLoss:
    """Average over what is not seen: the wall's share g of the loss, and the overshoot's error.

    What is known of τ_w = τ' (A + g k τ')/A and of a = A + g k τ' weighs each value: a wall that
    hardly overshoots can hardly pass much of the loss.

    Args:
        rate_per_s: k, shape (M,).
        wall: index into ``walls.time_s``, shape (M,).
        overshoot, u_overshoot: A and its standard uncertainty, share of the change, shape (M,).
    """
    kind = walls.kind[wall]
    own = np.array([(k.share, k.u_share, k.time_s, k.spread) for k in walls.kinds])[kind]
    share, u_share, time_s, spread = (own[:, i, None, None] for i in range(4))
    A = np.maximum(overshoot[:, None] + u_overshoot[:, None] * _NODES, 2e-5)[:, :, None]
    fast = walls.time_s[wall][:, None, None]
    passed = _G * np.maximum(rate_per_s, 0.0)[:, None, None] * fast  # g k τ'
    whole = A + passed
    gamma = A / whole
    log_weight = -(((_G - LOSS_SHARE) / U_LOSS_SHARE) ** 2) / 2 - np.log(gamma)
    log_weight = log_weight - (np.log(np.maximum(fast, 1.0) / gamma / time_s) / spread) ** 2 / 2
    log_weight = log_weight - ((whole - share) / u_share) ** 2 / 2
    log_weight = log_weight + ((A - walls.share[wall][:, None, None]) /
                               walls.u_share[wall][:, None, None]) ** 2 / 2  # fmt: skip
    log_weight = log_weight + np.log(_NODE_WEIGHT)[:, None]
    log_weight = log_weight - np.log(np.exp(-(((_G - LOSS_SHARE) / U_LOSS_SHARE) ** 2) / 2).sum())
    top = log_weight.max(axis=(1, 2), keepdims=True)
    weight = np.exp(log_weight - top)
    total = weight.sum(axis=(1, 2))
    off = passed * (1 + gamma)
    mean = (weight * off).sum(axis=(1, 2)) / total
    spread_off = np.sqrt((weight * (off - mean[:, None, None]) ** 2).sum(axis=(1, 2)) / total)
    none = kind == 0
    return HiddenLoss(
        np.where(none, 0.0, mean),
        np.where(none, 0.0, spread_off),
        np.where(none, 0.0, top[:, 0, 0] + np.log(total)),
    )
