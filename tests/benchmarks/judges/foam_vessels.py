"""The foam judge's vessels: a wall of sheets, a liquid inside, a room outside, as heat capacities [J/K]
and conductances [W/K].

The wall is plane (its outer area taken equal to the wetted one) and cut into cells with a node on
each face. The part wetted from the start and the part that the second portion wets are two walls: the
upper one is dry before the pour and feels the liquid through moist air only. What lies above the final
fill only adds to the loss through the top. Nodes: 0 liquid, 1 the follower (a probe's body or a lid),
then the lower wall from inside to outside, then the upper one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from tests.benchmarks.judges.materials import (
    Layer,
    air_gap_W_per_m2_K,
    convection_W_per_m2_K,
    latent_J_per_g,
    radiation_W_per_m2_K,
    vapour_kPa,
)
from tests.benchmarks.judges.record import FloatArray

FINEST_M = 0.55e-3  # no cell is longer; a sheet has two at least
LEAST_J_PER_K = 1e-6  # a follower that is none


@dataclass(frozen=True, slots=True)
class Cup:
    """A vessel apart from its fill. ``gaps_m[i]`` is the air between sheet i and i + 1 (0: none)."""

    vessel: str
    lid: str
    layers: tuple[Layer, ...]
    gaps_m: tuple[float, ...]
    radius_m: float
    inside_W_per_m2_K: float
    dry_inside_W_per_m2_K: float
    emissivity: float
    outside_factor: float  # of the textbook's convection: draughts, a holder around the cup
    top_W_per_K: float  # directly from the liquid through lid or open surface, vapour apart
    vapour_g_per_s_kPa: float
    follower_J_per_K: float
    follower_s: float
    follower_loss_W_per_K: float
    stirrer_W: float

    def wetted_m2(self, volume_mL: float) -> float:
        """Base and side up to the fill."""
        base = math.pi * self.radius_m**2
        return base + 2.0 * volume_mL * 1e-6 / self.radius_m

    def wall_J_per_K(self, volume_mL: float) -> float:
        """Heat capacity of the wall that this fill wets, up to its outer surface."""
        per_m2 = sum(layer.capacity_J_per_m2_K for layer in self.layers)
        return self.wetted_m2(volume_mL) * per_m2

    def constant_J_per_K(self, volume_mL: float) -> float:
        """Wall and follower counted as warmed through."""
        return self.wall_J_per_K(volume_mL) + self.follower_J_per_K


def one_wall(cup: Cup, finest_m: float = FINEST_M) -> tuple[FloatArray, FloatArray]:
    """Capacities [J/(m² K)] of the nodes, shape (n,), and conductances between them, (n - 1,)."""
    capacities, links = [0.0], []
    for i, layer in enumerate(cup.layers):
        cells = max(2, math.ceil(layer.thickness_m / finest_m))
        half = 0.5 * layer.capacity_J_per_m2_K / cells
        for _ in range(cells):
            capacities[-1] += half
            capacities.append(half)
            links.append(layer.conductivity_W_per_m_K * cells / layer.thickness_m)
        if i < len(cup.gaps_m) and cup.gaps_m[i] > 0:
            links.append(air_gap_W_per_m2_K(cup.gaps_m[i]))
            capacities.append(0.0)
    return np.array(capacities), np.array(links)


@dataclass(frozen=True)
class Filled:
    """A cup with a fill: the network of heat capacities and conductances."""

    cup: Cup
    first_mL: float
    final_mL: float
    film_W_per_m2_K: float  # outer film about which the rest is a small deviation
    finest_m: float = FINEST_M

    @cached_property
    def wall(self) -> tuple[FloatArray, FloatArray]:
        """Per m², as `one_wall`."""
        return one_wall(self.cup, self.finest_m)

    @cached_property
    def areas_m2(self) -> tuple[float, float]:
        """Lower and upper wall; the upper is 0 where nothing more is wetted."""
        low = self.cup.wetted_m2(self.first_mL)
        return low, max(self.cup.wetted_m2(self.final_mL) - low, 0.0)

    @cached_property
    def height_m(self) -> float:
        """Of the final fill."""
        return self.final_mL * 1e-6 / (math.pi * self.cup.radius_m**2)

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """First node of each wall that there is."""
        n = len(self.wall[0])
        return (2, 2 + n) if self.areas_m2[1] > 1e-6 else (2,)

    @cached_property
    def outer(self) -> tuple[int, ...]:
        """Node of each wall's outer surface."""
        return tuple(start + len(self.wall[0]) - 1 for start in self.starts)

    @cached_property
    def capacities(self) -> FloatArray:
        """Of all nodes, that of the liquid left 0. [J/K]"""
        per_m2 = self.wall[0]
        follower = max(self.cup.follower_J_per_K, LEAST_J_PER_K)
        walls = [area * per_m2 for area, _ in zip(self.areas_m2, self.starts, strict=False)]
        return np.concatenate([[0.0, follower], *walls])

    def conductances(self, upper_wet: float) -> FloatArray:
        """Symmetric matrix S [W/K]: heat leaves node i at sum_j S_ij T_j, the room at 0.

        ``upper_wet`` is how much of the upper wall the liquid has reached, 0 to 1. Of the losses only
        the outer film at its reference value is in it.
        """
        s = np.zeros((len(self.capacities),) * 2)

        def link(i: int, j: int, conductance: float) -> None:
            s[i, i] += conductance
            s[j, j] += conductance
            s[i, j] -= conductance
            s[j, i] -= conductance

        follower = max(self.cup.follower_J_per_K, LEAST_J_PER_K)
        link(0, 1, follower / self.cup.follower_s)
        wet = (1.0, upper_wet)
        for which, start in enumerate(self.starts):
            area = self.areas_m2[which]
            inside = self.cup.inside_W_per_m2_K * wet[which]
            inside += self.cup.dry_inside_W_per_m2_K * (1.0 - wet[which])
            link(0, start, area * inside)
            for k, conductance in enumerate(self.wall[1]):
                link(start + k, start + k + 1, area * conductance)
            s[self.outer[which], self.outer[which]] += area * self.film_W_per_m2_K
        return s

    def outer_loss_W(self, which: int, surface_C: float, room_C: float) -> float:
        """Convection and radiation of one wall's outer surface."""
        excess = surface_C - room_C
        h = self.cup.outside_factor * convection_W_per_m2_K(excess, self.height_m)
        h += radiation_W_per_m2_K(surface_C, room_C, self.cup.emissivity)
        return self.areas_m2[which] * h * excess

    def top_loss_W(self, liquid_C: float, room_C: float, room_vapour_kPa: float) -> float:
        """From the liquid upwards: dry, and the vapour's latent heat."""
        vapour = self.cup.vapour_g_per_s_kPa * (vapour_kPa(liquid_C) - room_vapour_kPa)
        return self.cup.top_W_per_K * (liquid_C - room_C) + vapour * latent_J_per_g(liquid_C)

    def follower_loss_W(self, follower_C: float, room_C: float) -> float:
        """From the lid or the probe's stem."""
        return self.cup.follower_loss_W_per_K * (follower_C - room_C)

    def steady(self, liquid_C: float, room_C: float, room_vapour_kPa: float) -> Steady:
        """The wetted cup with its liquid held at a temperature for good."""
        s = self.conductances(1.0)
        temperatures = np.full(len(s), room_C)
        temperatures[0] = liquid_C
        free = np.arange(1, len(s))
        for _ in range(8):
            source = np.zeros(len(s))
            matrix = s.copy()
            for which, node in enumerate(self.outer):
                area = self.areas_m2[which]
                excess = float(temperatures[node]) - room_C
                lost = self.outer_loss_W(which, float(temperatures[node]), room_C)
                film = lost / excess / area if abs(excess) > 1e-9 else self.film_W_per_m2_K
                matrix[node, node] += area * (film - self.film_W_per_m2_K)
                source[node] = area * film * room_C
            matrix[1, 1] += self.cup.follower_loss_W_per_K
            source[1] = self.cup.follower_loss_W_per_K * room_C
            right = source[free] - matrix[free, 0] * liquid_C
            temperatures[free] = np.linalg.solve(matrix[np.ix_(free, free)], right)
        lost = self.top_loss_W(liquid_C, room_C, room_vapour_kPa)
        lost += self.follower_loss_W(float(temperatures[1]), room_C)
        for which, node in enumerate(self.outer):
            lost += self.outer_loss_W(which, float(temperatures[node]), room_C)
        share = (temperatures[free] - room_C) / (liquid_C - room_C)
        return Steady(lost, float(self.capacities[free] @ share))


@dataclass(frozen=True, slots=True)
class Steady:
    """Loss [W] of a steady cup, and what its apparatus stores per kelvin of the liquid. [J/K]"""

    loss_W: float
    stored_J_per_K: float


def loss_slope_W_per_K(filled: Filled, room_C: float, room_vapour_kPa: float) -> float:
    """Slope of the steady loss 10 K above the room."""
    above = filled.steady(room_C + 10.5, room_C, room_vapour_kPa).loss_W
    return above - filled.steady(room_C + 9.5, room_C, room_vapour_kPa).loss_W


def with_reference_film(filled: Filled, liquid_C: float, room_C: float) -> Filled:
    """The fill with its outer film linearised where a steady wall would have its surface."""
    excess = 0.35 * (liquid_C - room_C) + 0.3
    film = filled.outer_loss_W(0, room_C + excess, room_C) / excess / filled.areas_m2[0]
    return replace(filled, film_W_per_m2_K=film)
