"""The verdict on one answer: right, right within rounding, or the slip that reproduces it.

Honest ways are tried first and as widely as honest groups differ; only a number that none of them
gives is held against slips. A slip is named only if a calculation with it, every number on the way
either kept or rounded to so many digits, gives the number within its printed digits: to half a
unit of the last, or with the rest cut off. One slip is preferred to two. Where several fit, all are
given and none is chosen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from calib.classwork.marking.path import Path, Rounding
from calib.classwork.marking.slips import Slip
from calib.classwork.marking.typed import TypedAnswer
from calib.classwork.marking.ways import COARSE, Way

__all__ = ["Fit", "HonestFit", "exact_fit", "find_slips", "honest_fit"]

NEAR, NOT_FAR = 0.03, 0.10
"""Slips that move the answer by less than these shares of it are named only where they reproduce it
without coarse rounding on the way, the nearest only behind three digits: honest rounding is as far.
Two slips that nearly make up for each other are not named at all.
"""
ROOM = 0.35
"""A slip is looked into where one of a few ways with it comes within this share of the answer."""
SLIP_DIGITS = 2
PAIR_DIGITS = 3
"""Two slips together are only looked for behind a number of at least so many digits."""
FINE = tuple(
    Rounding(None, capacity, heat, amount)
    for capacity, heat, amount in product((None, 4, 3), (None, 4, 3), (None, 4, 3))
)
ROUGH = tuple(
    Rounding(rise, None, heat, amount)
    for rise, heat, amount in product((None, 3, 2), (None, 3, 2), (None, 3, 2))
    if 2 in (rise, heat, amount)
)
_SLIVER = 1e-9


@dataclass(frozen=True, slots=True)
class HonestFit:
    """An honest way that gives the answer; ``exact`` without rounding on the way."""

    way: Way
    exact: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """Slips that reproduce the answer, with the calculation that does so."""

    slips: tuple[Slip, ...]
    way: Way
    path: Path
    rounding: Rounding
    value: float
    cut_off: bool = False

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of the slips, in the order of the calculation's steps."""
        return tuple(slip.kind for slip in self.slips)


def honest_fit(answer: TypedAnswer, ways: Sequence[Way]) -> HonestFit | None:
    """The first honest way that gives the answer exactly, else one that rounding can have led to.

    Exactly: to half a unit of the last digit typed. Within rounding: as far as keeping three digits
    of every number on the way can lead, or two of some of them, the last digit cut off or rounded.
    """
    exact = exact_fit(answer, ways)
    if exact is not None:
        return exact
    for coarse in COARSE:
        for way in ways:
            room = (
                way.path.three_digits() + way.spread * abs(way.path.value()) + way.path.slack()
                + answer.loose_place
            )  # fmt: skip
            if _near(answer, way.path.value(coarse), room):
                return HonestFit(way, False)
    return None


def exact_fit(
    answer: TypedAnswer, ways: Sequence[Way], *, with_slack: bool = True
) -> HonestFit | None:
    """The first honest way that gives the answer to half a unit of its last digit."""
    for way in ways:
        room = answer.half + (way.path.slack() if with_slack else 0.0)
        if _near(answer, way.path.value(), room):
            return HonestFit(way, True)
    return None


def _near(answer: TypedAnswer, value: float, room: float) -> bool:
    return abs(answer.value - value) <= room * (1.0 + _SLIVER) + _SLIVER * abs(answer.value)


def find_slips(
    answer: TypedAnswer, layers: Sequence[Sequence[Way]], slips: Sequence[Slip]
) -> tuple[Fit, ...]:
    """Every slip that reproduces the answer; where none does, every pair of slips.

    ``layers`` are the ways of the depth taught, then those of a simpler one, if there is any.
    Empty where nothing reproduces the number.
    """
    if answer.value == 0.0 or answer.digits < SLIP_DIGITS:
        return ()  # so coarse a number is reproduced by too much
    honest = [way.path.value() for ways in layers for way in ways]
    for ways in layers:
        found = _fits(answer, ways, _singles(slips), FINE + ROUGH, honest)
        if found:
            return _best_of_each(found)
    if answer.digits < PAIR_DIGITS:
        return ()
    for ways in layers:
        few = [way for way in ways if len(way.choices) < 2]
        found = _fits(answer, few, _pairs(slips), FINE, honest)
        if found:
            return _best_of_each(found)
    return ()


def _singles(slips: Sequence[Slip]) -> list[tuple[Slip, ...]]:
    return [(slip,) for slip in slips]


def _pairs(slips: Sequence[Slip]) -> list[tuple[Slip, ...]]:
    return [pair for pair in combinations(slips, 2) if pair[0].stage != pair[1].stage]


def _fits(
    answer: TypedAnswer,
    ways: Sequence[Way],
    candidates: Sequence[tuple[Slip, ...]],
    roundings: Sequence[Rounding],
    honest: Sequence[float],
) -> list[Fit]:
    found = []
    apart = _far_apart(ways)
    for combination in candidates:
        if not any(_near(answer, v, ROOM * abs(v)) for v in _values(combination, apart)):
            continue
        for way in ways:
            path = way.path
            for slip in combination:
                path = slip.apply(path)
            exact = path.value()
            if not _near(answer, exact, 0.12 * abs(exact) + answer.loose_place + path.slack()):
                continue
            allowed = roundings
            nearest = min(abs(exact / h - 1.0) if h else math.inf for h in honest)
            if nearest <= NOT_FAR:
                allowed = FINE if nearest > NEAR or answer.digits >= PAIR_DIGITS else ()
                allowed = allowed if len(combination) == 1 else ()
            fit = _first(answer, combination, way, path, allowed)
            if fit is not None:
                found.append(fit)
    return found


def _far_apart(ways: Sequence[Way]) -> list[Way]:
    """A few of the ways, so that every other one is within a tenth of one of them."""
    chosen: list[Way] = []
    for way in ways:
        value = way.path.value()
        if all(abs(value - one.path.value()) > 0.1 * abs(value) for one in chosen):
            chosen.append(way)
    return chosen


def _values(combination: tuple[Slip, ...], ways: Sequence[Way]) -> Iterator[float]:
    for way in ways:
        path = way.path
        for slip in combination:
            path = slip.apply(path)
        yield path.value()


def _first(
    answer: TypedAnswer,
    combination: tuple[Slip, ...],
    way: Way,
    path: Path,
    roundings: Sequence[Rounding],
) -> Fit | None:
    """The first rounding on the way that leads to the number, as rounded or as cut off."""
    slack = path.slack()
    for rounding in roundings:
        value = path.value(rounding)
        if _near(answer, value, answer.half + slack):
            return Fit(combination, way, path, rounding, value)
    for rounding in roundings:
        value = path.value(rounding)
        loose = _near(answer, value, 0.5 * answer.loose_place + slack)
        if loose or 0.0 <= (value - answer.value) * _sign(answer.value) <= answer.last_place:
            return Fit(combination, way, path, rounding, value, cut_off=True)
    return None


def _sign(value: float) -> float:
    return -1.0 if value < 0.0 else 1.0


def _best_of_each(found: Sequence[Fit]) -> tuple[Fit, ...]:
    """One fit for each combination of slips as told: the one nearest to what was taught."""
    best: dict[tuple[str, ...], Fit] = {}
    for fit in found:
        told = tuple(slip.words for slip in fit.slips)
        known = best.get(told)
        if known is None or _effort(fit) < _effort(known):
            best[told] = fit
    return tuple(sorted(best.values(), key=_effort))


def _effort(fit: Fit) -> int:
    return fit.rounding.steps + len(fit.way.choices) + 2 * (fit.cut_off + fit.rounding.coarse)
