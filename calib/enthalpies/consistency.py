"""Whether the measured reactions of a class agree with one another.

Reactions that add up to nothing must have enthalpies that add up to nothing (`reactions.cycles`).
That holds at one state only, so each run is first carried to infinite dilution and 25 °C:

    ΔH° = ΔH(run) - ΔCp° (T1 - 25 °C) - Σ ν_i φ_L,i(m_i)

with the terms and uncertainties that the expected value of the run is made of. What reactions
share (a cup's constant, a stock, the table of a solute) moves all of them, and is kept as their
covariance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.enthalpies.one_run import RunResult
from calib.errors import InputError
from calib.reactions.cycles import (
    DISAGREES,
    Combination,
    Consistency,
    Measured,
    check,
    ionization_enthalpies,
)
from calib.reactions.equation import Equation
from calib.uncertainty import Propagated
from calib.uncertainty.propagation import BudgetLine, covariance_matrix

__all__ = ["Agreement", "ReactionMean", "RunVerdict", "agreement"]

U_NO_CONCENTRATION = 1.5
"""u [kJ per mole of dissolved species] where a run cannot be carried to infinite dilution."""
FAR = 3.0
"""A run beyond this many u from the adjusted value is named even where the cycles close."""
STANDARD = "infinite dilution, 25 °C"


@dataclass(frozen=True, slots=True, eq=False)
class ReactionMean:
    """Mean enthalpy of one reaction [kJ/mol as written]: in the runs, and carried to one state.

    ``shift`` is what was added to carry it; ``why_not`` says why it could not be, and its u is
    wider then. ``result`` has a line for everything that may be shared with other reactions.
    """

    name: str
    equation: Equation
    runs: tuple[RunResult, ...]
    in_runs: float
    shift: float
    why_not: str
    result: Propagated


@dataclass(frozen=True, slots=True)
class RunVerdict:
    """One run against what all reactions together say: ``off`` [kJ/mol] and ``off``/u.

    ``closes_without`` is true where leaving out this run alone lets every cycle close.
    """

    run: str
    reaction: str
    off: float
    u: float
    closes_without: bool

    @property
    def ratio(self) -> float:
        """|off| / u."""
        return abs(self.off) / self.u if self.u > 0 else math.inf


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """Means, their consistency, the runs against it, and ionizations as differences."""

    state: str
    means: tuple[ReactionMean, ...]
    found: Consistency
    runs: tuple[RunVerdict, ...]
    ionizations: tuple[Combination, ...]
    words: str


def agreement(results: Sequence[RunResult], *, as_run: bool = False) -> Agreement:
    """Check the reactions of a class against one another.

    ``as_run`` compares the enthalpies as they were measured, at the runs' own concentrations and
    temperatures. Results must be per mole of reaction as written. Reactions are told apart by
    their equations; runs without one (a metal, ice, a dilution) are left out.

    Raises InputError where no run has an equation.
    """
    means = _means(results, as_run)
    if not means:
        raise InputError(
            "no row gave the enthalpy of a reaction, so there is nothing to compare; see what"
            " 'cupledger enthalpy' says of this table"
        )
    found = _checked(means)
    verdicts = _verdicts(means, found, as_run)
    ionizations = ionization_enthalpies(_measured(means), _covariance(means))
    state = "as measured" if as_run else STANDARD
    return Agreement(state, means, found, verdicts, ionizations, _words(found, verdicts))


def _means(results: Sequence[RunResult], as_run: bool) -> tuple[ReactionMean, ...]:
    groups: dict[str, list[RunResult]] = {}
    for one in results:
        if one.molar is not None and one.measured.prepared.process.equation is not None:
            groups.setdefault(one.process, []).append(one)
    return tuple(
        _mean(f"R{number}", runs, as_run) for number, runs in enumerate(groups.values(), 1)
    )


def _mean(name: str, runs: Sequence[RunResult], as_run: bool) -> ReactionMean:
    equation = runs[0].measured.prepared.process.equation
    assert equation is not None
    n = len(runs)
    keyed: dict[str, float] = {}
    own_variance = 0.0
    for one in runs:
        parts = _keyed(one)
        rest = one.result.u**2 - sum(part**2 for part in parts.values())
        own_variance += max(rest, 0.0) / n**2
        for key, part in parts.items():
            keyed[key] = keyed.get(key, 0.0) + part / n
    values = np.array([one.result.value for one in runs])
    scatter = float(values.std(ddof=1)) / math.sqrt(n) if n > 1 else 0.0
    own = max(math.sqrt(own_variance), scatter)
    shift, why_not = 0.0, ""
    if not as_run:
        shift, why_not, terms, more = _shift(equation, runs)
        own = math.hypot(own, more)
        for key, part in terms.items():
            keyed[key] = keyed.get(key, 0.0) + part
    middle = float(values.mean())
    result = _as_result(name, middle + shift, own, keyed)
    return ReactionMean(name, equation, tuple(runs), middle, shift, why_not, result)


def _keyed(one: RunResult) -> dict[str, float]:
    """Contributions [kJ/mol] by key: what this run may share with others."""
    parts: dict[str, float] = {}
    for line in one.result.lines:
        if line.key is not None:
            parts[line.key] = parts.get(line.key, 0.0) + line.contribution
    return parts


def _shift(
    equation: Equation, runs: Sequence[RunResult]
) -> tuple[float, str, dict[str, float], float]:
    """What carries the mean to infinite dilution and 25 °C: value, why not, keyed parts, u."""
    n = len(runs)
    total, terms = 0.0, dict[str, float]()
    why_not, lacking = "", 0
    for one in runs:
        expected = one.expected
        if expected is None or expected.at_run is None:
            lacking += 1
            why_not = why_not or (expected.why if expected else "no accepted value is known")
            continue
        total -= (expected.at_run.value - expected.at_infinite_dilution.value) / n
        for line in expected.lines:
            if line.key:
                terms[line.key] = terms.get(line.key, 0.0) - line.sign * line.u / n
    dissolved = sum(abs(float(v)) for s, v in equation.net().items() if s.state == "aq")
    return total, why_not, terms, U_NO_CONCENTRATION * dissolved * lacking / n


def _as_result(name: str, value: float, own: float, keyed: dict[str, float]) -> Propagated:
    u = math.sqrt(own**2 + sum(part**2 for part in keyed.values()))
    lines = [_line("its own runs", own, u, None)]
    lines += [_line(key, part, u, key) for key, part in keyed.items()]
    return Propagated(value, u, tuple(lines))


def _line(source: str, part: float, u: float, key: str | None) -> BudgetLine:
    share = 100.0 * part**2 / u**2 if u > 0 else 0.0
    return BudgetLine(source, abs(part), math.copysign(1.0, part), part, share, key, source)


def _measured(means: Sequence[ReactionMean]) -> list[Measured]:
    return [Measured(m.name, m.equation, m.result.value, m.result.u) for m in means]


def _covariance(means: Sequence[ReactionMean]) -> Any:
    return covariance_matrix([m.result for m in means])


def _checked(means: Sequence[ReactionMean]) -> Consistency:
    return check(_measured(means), _covariance(means))


def _closes(found: Consistency) -> bool:
    return bool(found.closures) and all(one.ratio <= DISAGREES for one in found.closures)


def _verdicts(
    means: Sequence[ReactionMean], found: Consistency, as_run: bool
) -> tuple[RunVerdict, ...]:
    """Each run's distance from the value that the adjusted cycles give its reaction."""
    if not found.closures:
        return ()
    closed = _closes(found)
    adjusted = {one.name: one.adjusted for one in found.values}
    verdicts = []
    for place, mean in enumerate(means):
        for one in mean.runs:
            off = one.result.value + mean.shift - adjusted[mean.name].value
            helps = not closed and len(mean.runs) > 1 and _closes_without(means, place, one, as_run)
            verdicts.append(RunVerdict(one.run.run, mean.name, off, one.result.u, helps))
    return tuple(verdicts)


def _closes_without(
    means: Sequence[ReactionMean], place: int, left_out: RunResult, as_run: bool
) -> bool:
    mean = means[place]
    fewer = _mean(mean.name, [one for one in mean.runs if one is not left_out], as_run)
    return _closes(_checked([*means[:place], fewer, *means[place + 1 :]]))


def _words(found: Consistency, verdicts: Sequence[RunVerdict]) -> str:
    said = found.words
    blamed = [one.run for one in verdicts if one.closes_without]
    if blamed:
        said += (
            f". Without {' or without '.join(blamed)} every cycle closes: look at "
            f"{'this run' if len(blamed) == 1 else 'these runs'} first"
        )
    far = [one for one in verdicts if one.ratio > FAR and not one.closes_without]
    for one in far:
        said += (
            f". Run {one.run} lies {one.off:+.1f} kJ/mol, {one.ratio:.1f} times its u, from what "
            f"all reactions together give {one.reaction}"
        )
    return said
