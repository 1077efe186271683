"""Ways in which a cup may come to its extreme reading, where no curve tells which it was.

One course is a cup of two bodies, a release of heat and a sensor that lags. With the content's
temperature T, the slow wall's T_w, both above the room, as shares of the whole heat capacity::

    (1 − a) dT/dt = D Σ p_j κ_j e^(−κ_j t) − k (1 − g) T − (a/τ)(T − T_w) + push
    a dT_w/dt     = (a/τ)(T − T_w) − g k T_w
    dS/dt         = λ (T − S)

a the wall's share of the heat capacity, τ its time constant, g its share of the loss k, D the rise
of an insulated cup, κ_j rates of release with shares p_j, λ the sensor's rate. The transfer from
the heat to the reading is

    R̂(s) = Σ p_j κ_j/(s + κ_j) · (s + β)/[(1 − a)(s + k₁)(s + k₂)] · λ/(s + λ),    β = 1/τ + g k/a

k₁ and k₂ the roots of the two bodies, so that the reading per kelvin of rise, R(t), is a sum of
five exponentials (partial fractions). What the room and the stirrer push at, K/s, adds
J(t) = [1 − e^(−k₁ t)]/k₁ a kelvin per second, the wall having followed before the mixing already.
(own derivation; the tests hold it against a closed form of their own and a numerical integration)

What is known of release, wall and sensor beforehand stands in `fitting.cup.knowledge`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from fitting.cup.knowledge import RELEASES as RELEASES_KNOWN
from fitting.cup.knowledge import SURROUNDINGS, VESSELS, Fact, Vessel
from fitting.curve import FloatArray

RELEASES = ("fast", "slow")
"""Releases that can be told apart beforehand: solutions that are mixed, solids that dissolve."""

TIMES_S = np.concatenate([np.arange(8.0, 56.0, 8.0), np.geomspace(56.0, 900.0, 19)])
_GRID_S = np.gradient(TIMES_S)  # how many seconds each of them stands for
_NUMBER = {"fast": 256, "slow": 448, None: 640}
_MOST_SHARE = 0.45
_THIN = 0.002  # of the heat capacity: through a thinner wall the loss goes straight
_FIRST_RATE, _RATIO = 1e-5, 1.15  # rates at which the courses are tabulated, 1/s
_PRIMES = np.array(
    [2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0, 37.0, 41.0, 43.0, 47.0]
)


@dataclass(frozen=True, eq=False, slots=True)
class Courses:
    """Equally likely courses, every field of shape (n,).

    Attributes:
        rate_per_s, second_per_s, second_share: rates κ of release, and the second one's share.
        wall_share, wall_s, wall_loss: a, τ [s] and g of the slow wall.
        lag_per_s: the sensor's rate λ.
        every_s: seconds between two looks at the display.
        noise: the display's noise, as a multiple of what it is taken for.
        stirring_K_per_s: what the stirrer warms by, less what vapour takes.
        late: how late the time was noted, in standard uncertainties of it.
    """

    rate_per_s: FloatArray
    second_per_s: FloatArray
    second_share: FloatArray
    wall_share: FloatArray
    wall_s: FloatArray
    wall_loss: FloatArray
    lag_per_s: FloatArray
    every_s: FloatArray
    noise: FloatArray
    stirring_K_per_s: FloatArray
    late: FloatArray

    def only(self, which: npt.NDArray[np.intp]) -> Courses:
        """Some of them."""
        return Courses(*(getattr(self, name)[which] for name in self.__slots__))


@lru_cache(maxsize=6)
def courses(release: str | None = None, vessel: str = "cup") -> Courses:
    """The courses that are tried: points of a Kronecker sequence, spread as the priors say.

    A fast release takes 1 to 4 s; a solid 6 to 50 s, mostly with a slower remainder, unless it is
    a fine powder.
    Source of the sequence: L. Kuipers, H. Niederreiter, *Uniform Distribution of Sequences* (1974).
    """
    number = _NUMBER[release]
    u = np.arange(1, number + 1)[:, None] * np.sqrt(_PRIMES) % 1.0
    normal = NormalDist().inv_cdf
    z = np.array([[normal(min(max(float(x), 1e-9), 1 - 1e-9)) for x in row] for row in u])
    slow = np.full(number, release == "slow") if release else u[:, 12] < 0.5
    powder = slow & (u[:, 13] < RELEASES_KNOWN.powder.value)
    time_s = np.where(slow, _drawn(RELEASES_KNOWN.solid_s, z[:, 0]),
                      _drawn(RELEASES_KNOWN.liquid_s, z[:, 0]))  # fmt: skip
    time_s = np.where(powder, _drawn(RELEASES_KNOWN.powder_s, z[:, 0]), time_s)
    second = np.clip(_drawn(RELEASES_KNOWN.second_share, z[:, 3]), 0.0, 0.6)
    late = RELEASES_KNOWN.solid_wide_late.value
    share = np.where(slow & ~powder & (u[:, 1] < late), second, 0.0)
    second_s = np.maximum(_drawn(RELEASES_KNOWN.second_s, z[:, 2]), 1.3 * time_s)
    wall_share, wall_s, wall_loss = _walls(VESSELS[vessel], u[:, 4], z)
    near = SURROUNDINGS
    return Courses(
        rate_per_s=1 / time_s,
        second_per_s=1 / second_s,
        second_share=share,
        wall_share=wall_share,
        wall_s=wall_s,
        wall_loss=wall_loss * np.minimum(wall_share / _THIN, 1.0),
        lag_per_s=1 / _drawn(near.sensor_lag_s, z[:, 8]),
        every_s=_drawn(near.look_every_s, z[:, 9]),
        noise=_drawn(near.look_noise, z[:, 10]),
        stirring_K_per_s=_drawn(near.stirring_K_per_s, z[:, 14]),
        late=z[:, 11],
    )


def _drawn(fact: Fact, z: FloatArray) -> FloatArray:
    """Values of a fact at standard normal numbers z."""
    if fact.shape == "log-normal":
        return np.asarray(fact.value * np.exp(fact.u * z))
    return np.asarray(fact.value + fact.u * z)


def _walls(
    vessel: Vessel, which: FloatArray, z: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share, time constant [s] and share of the loss of each course's wall, shape (n,)."""
    weight = np.cumsum([wall.weight for wall in vessel.walls])
    kind = np.searchsorted(weight[:-1] / weight[-1], which)
    share, time_s, loss = (
        np.choose(kind, [_drawn(getattr(wall, name), z[:, at]) for wall in vessel.walls])
        for name, at in (("share", 5), ("time_s", 6), ("loss_share", 7))
    )
    return np.clip(share, 2e-4, _MOST_SHARE), time_s, np.clip(loss, 0.02, 0.9)


def looks(some: Courses) -> FloatArray:
    """How many looks at the display each time of the grid stands for, shape (n, times)."""
    return np.asarray(_GRID_S / some.every_s[:, None])


def responses(
    some: Courses, rate_per_s: float, since_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """R and J of the courses at times [s] of shape (times,) or (n, times); both (n, times).

    R is the reading per kelvin of rise, J [s] the reading per K/s that room and stirrer push at.
    """
    t = np.atleast_2d(since_s)
    share, k, g = some.wall_share, rate_per_s, some.wall_loss
    own = (k * (1 - g) + share / some.wall_s) / (1 - share)
    beta = 1 / some.wall_s + g * k / share
    product = own * beta - share / some.wall_s**2 / (1 - share)
    middle = (own + beta) / 2
    fast = middle + np.sqrt(np.maximum(middle**2 - product, 0.0))
    slow = product / fast
    common = np.stack([slow, fast, some.lag_per_s], axis=1)
    decays = np.exp(-common[:, :, None] * t[:, None, :])
    top = some.lag_per_s / (1 - share)
    per_kelvin = np.zeros(decays.shape[::2])
    second = some.second_share
    for part, kappa in ((1 - second, some.rate_per_s), (second, some.second_per_s)):
        if not part.any():
            continue
        poles = np.column_stack([common, kappa])
        residues = (part * kappa * top)[:, None] * (beta[:, None] - poles) / _spacings(poles)
        per_kelvin += np.einsum("np,npt->nt", residues[:, :3], decays)
        per_kelvin += residues[:, 3:] * np.exp(-kappa[:, None] * t)
    through = slow[:, None] * t
    pushed = t * np.where(through < 1e-9, 1.0, -np.expm1(-through) / np.maximum(through, 1e-9))
    return per_kelvin, pushed


def _spacings(poles: FloatArray) -> FloatArray:
    """Product of each rate's distances from the others, shape (n, 4). Rates that coincide are held
    apart by a millionth, which costs no digit that counts."""
    found = np.ones_like(poles)
    for i in range(4):
        for j in range(i):
            apart, least = poles[:, i] - poles[:, j], 1e-6 * (poles[:, i] + poles[:, j])
            apart = np.where(np.abs(apart) < least, least, apart)
            found[:, j] *= apart
            found[:, i] *= -apart
    return found


@lru_cache(maxsize=96)
def _tabulated(release: str | None, vessel: str, step: int) -> tuple[float, FloatArray, FloatArray]:
    rate = _FIRST_RATE * _RATIO**step if step >= 0 else 0.0
    per_kelvin, pushed = responses(courses(release, vessel), rate, TIMES_S)
    grown = np.exp(rate * TIMES_S)
    return rate, per_kelvin * grown, pushed * grown


def on_grid(
    release: str | None, rate_per_s: float, vessel: str = "cup"
) -> tuple[FloatArray, FloatArray]:
    """R and J of all courses at `TIMES_S`: e^(k t) R is linear enough in k to be interpolated."""
    step = -1
    if rate_per_s >= _FIRST_RATE:
        step = int(math.log(rate_per_s / _FIRST_RATE) / math.log(_RATIO))
    low, first_R, first_J = _tabulated(release, vessel, step)
    high, second_R, second_J = _tabulated(release, vessel, step + 1)
    share = (rate_per_s - low) / (high - low)
    shrunk = np.exp(-rate_per_s * TIMES_S)
    return (
        (first_R + share * (second_R - first_R)) * shrunk,
        (first_J + share * (second_J - first_J)) * shrunk,
    )
