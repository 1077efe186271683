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

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray

# grid of walls: none; a foam cup's inner skin and film; a flask's glass or a heavy vessel (τ' in s)
WALL_S = np.array([0.0, 11.0, 16.0, 22.0, 32.0, 46.0, 66.0, 95.0, 46.0, 66.0, 95.0, 137.0, 200.0])
_KIND = np.array([0] + 7 * [1] + 5 * [2])


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


KINDS = (
    WallKind(0.06, 0.0, 0.005, 50.0, 1.0),  # none
    WallKind(0.925, 0.008, 0.005, 50.0, 0.35),  # foam: 1 to 8 J/K of some 500
    WallKind(0.015, 0.05, 0.05, 110.0, 0.6),  # glass, heavy plastic
)
LOSS_SHARE, U_LOSS_SHARE = 0.3, 0.11  # g: lid and bottom lose as well
_G = np.array([0.01, 0.06, 0.12, 0.18, 0.24, 0.3, 0.36, 0.42, 0.5, 0.6])
_NODES, _NODE_WEIGHT = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)]), np.array([1, 4, 1]) / 6
_GRID_STEP = 0.37  # of ln τ' between neighbours

WALL_SHARE = np.array([KINDS[kind].share * 0.75 for kind in _KIND])  # overshoot A, a little below a
U_WALL_SHARE = np.array([KINDS[kind].u_share * 0.9 for kind in _KIND])
WALL_WEIGHT = np.array(
    [KINDS[0].weight]
    + [
        KINDS[kind].weight * _GRID_STEP / (KINDS[kind].spread * np.sqrt(2 * np.pi))
        for kind in _KIND[1:]
    ]
)


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
) -> HiddenLoss:
    """Average over what is not seen: the wall's share g of the loss, and the overshoot's error.

    What is known of τ_w = τ' (A + g k τ')/A and of a = A + g k τ' weighs each value: a wall that
    hardly overshoots can hardly pass much of the loss.

    Args:
        rate_per_s: k, shape (M,).
        wall: index into ``WALL_S``, shape (M,).
        overshoot, u_overshoot: A and its standard uncertainty, share of the change, shape (M,).
    """
    kind = _KIND[wall]
    own = np.array([(k.share, k.u_share, k.time_s, k.spread) for k in KINDS])[kind]
    share, u_share, time_s, spread = (own[:, i, None, None] for i in range(4))
    A = np.maximum(overshoot[:, None] + u_overshoot[:, None] * _NODES, 2e-5)[:, :, None]
    fast = WALL_S[wall][:, None, None]
    passed = _G * np.maximum(rate_per_s, 0.0)[:, None, None] * fast  # g k τ'
    whole = A + passed
    gamma = A / whole
    log_weight = -(((_G - LOSS_SHARE) / U_LOSS_SHARE) ** 2) / 2 - np.log(gamma)
    log_weight = log_weight - (np.log(np.maximum(fast, 1.0) / gamma / time_s) / spread) ** 2 / 2
    log_weight = log_weight - ((whole - share) / u_share) ** 2 / 2
    log_weight = log_weight + ((A - WALL_SHARE[wall][:, None, None]) /
                               U_WALL_SHARE[wall][:, None, None]) ** 2 / 2  # fmt: skip
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
