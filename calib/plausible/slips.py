"""Which slip of the hand would explain a constant that cannot be: one factor, or one misreading.

Mixing, with water's mean heat capacities c between the temperatures [J/(g K)]:

    C_app = m_2 c_2 (T_2 − T_f) / (T_f − T_1) − m_1 c_1

and a heater's C_app = V I t / (T_f − T_1) − m_1 c_1. Each amount is divided by the factor by which
it would have been typed too large; the slip is named where the runs' constants then lie where the
cup's may.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

from calib.rounding import figures
from fitting.cup.bench import IN_FORCE

if TYPE_CHECKING:
    from calib.plausible.facts import OneRun

__all__ = ["explain", "explain_one", "sensitivity"]

_FACTORS = {
    2.0: "{} looks twice too large",
    0.5: "{} looks half of what it was",
    10.0: "{} looks ten times too large",
    0.1: "{} looks ten times too small",
    100.0: "{} looks a hundred times too large (a lost decimal point?)",
    0.01: "{} looks a hundred times too small",
    1000.0: "{} looks like mg",
    1e-3: "{} looks like kg",
}
_HEATER = {
    "heater_s": {1 / 60.0: "heater_s looks like minutes",
                 60.0: "heater_s looks 60 times too large"},
    "heater_A": {1000.0: "heater_A looks like mA", 10.0: "heater_A looks ten times too large",
                 0.1: "heater_A looks ten times too small"},
    "heater_V": {1000.0: "heater_V looks like mV", 10.0: "heater_V looks ten times too large",
                 0.1: "heater_V looks ten times too small"},
}  # fmt: skip
_BOTH = {
    10.0: "both amounts look ten times too large",
    0.1: "both amounts look ten times too small",
    1000.0: "both amounts look like mg",
    1e-3: "both amounts look like kg",
}
_MOST_NAMED = 2
_FEW_RUNS = 3
_NEAR = 5.0  # J/K: runs of one cup agree better


@dataclass(frozen=True, slots=True)
class _Slip:
    """A slip: its words, and the factors by which it made what was read too large."""

    words: str
    factors: Mapping[str, float]


def explain(
    runs: Sequence[OneRun], middle: float, low: float, high: float, *, sure: bool, fill: bool
) -> list[str]:
    """Words for the slips that would explain the runs' constants, the likeliest first; at most 2.

    ``low`` to ``high`` is what the cup may have, ``middle`` what is usual [J/K]; ``sure`` where
    other cups of the kind tell it; ``fill`` where the fill is doubted too, which no misreading
    explains. A slip in one run alone comes first, a large misreading of hot water last.
    """
    known = [run for run in runs if _constant(run, {}) is not None]
    if not known:
        return []
    if alone := _in_one(known, low, high):
        return alone
    found: list[tuple[float, str]] = []
    for slip in _slips(known):
        values = [_constant(run, slip.factors) for run in known]
        if any(value is None for value in values) or not _fills(known, slip):
            continue
        left = median(value for value in values if value is not None)
        if low <= left <= high:
            found.append((abs(left - middle), f"{slip.words} ({figures(left, 3)} J/K without)"))
    named = [words for _, words in sorted(found)]
    if not fill:
        named += _misread(
            known,
            middle,
            IN_FORCE.beside_factor_K.value if named else IN_FORCE.most_misread_K.value,
            sure,
        )
    return named[:_MOST_NAMED]


def _fills(runs: Sequence[OneRun], slip: _Slip) -> bool:
    """Whether the cup would be filled as a cup is without that slip; 1 g for 1 mL."""
    filled = [
        sum((run.grams(p) or 0.0) / slip.factors.get(p, 1.0) for p in ("in_cup", "added"))
        for run in runs
    ]
    least, most = IN_FORCE.fill_least_mL.value, IN_FORCE.fill_most_mL.value
    return least <= min(filled) and max(filled) <= most


def _in_one(runs: Sequence[OneRun], low: float, high: float) -> list[str]:
    """The slip in the one run that is furthest from the others, of which all can be."""
    values = [_constant(run, {}) or 0.0 for run in runs]
    middle = median(values)
    if sum(low <= value <= high for value in values) != len(runs) - 1 or len(runs) < _FEW_RUNS:
        return []
    odd = max(range(len(runs)), key=lambda i: abs(values[i] - middle))
    if abs(values[odd] - middle) < max(abs(middle), 2.0 * _NEAR):
        return []
    words = explain_one(runs[odd], [run for run in runs if run is not runs[odd]])
    return [f"in run {runs[odd].label} {words}"] if words else []


def explain_one(run: OneRun, others: Sequence[OneRun]) -> str:
    """Words for the slip that takes one run's constant to that of the other runs; or empty."""
    rest = [value for one in others if (value := _constant(one, {})) is not None]
    if _constant(run, {}) is None or not rest:
        return ""
    middle = median(rest)
    reach = max(0.5 * abs(middle), _NEAR)
    found = [
        (abs(value - middle), slip.words)
        for slip in _slips([run])
        if (value := _constant(run, slip.factors)) is not None and abs(value - middle) < reach
    ]
    return min(found)[1] if found else ""


def sensitivity(run: OneRun) -> float | None:
    """How much larger 1 K more of hot water makes a mixing run's constant, C_2/rise. [J/K²]"""
    if run.way != "mixing":
        return None
    there, here = _constant(run, {}, hot_K=0.5), _constant(run, {}, hot_K=-0.5)
    return None if there is None or here is None else there - here


def _misread(runs: Sequence[OneRun], middle: float, most_K: float, sure: bool) -> list[str]:
    off = []
    for run in runs:
        step, value = sensitivity(run), _constant(run, {})
        if step is None or value is None:
            return []
        off.append((value - middle) / step)
    d = median(off)
    if not IN_FORCE.hot_off_K.value <= abs(d) <= most_K:
        return []
    about = "" if sure else "about "
    return [f"hot water (added_C) read {about}{abs(d):.1f} K too {'high' if d > 0 else 'low'}"]


def _slips(runs: Sequence[OneRun]) -> Iterator[_Slip]:
    heater = all(run.way == "heater" for run in runs)
    first = runs[0].amount_column("in_cup")
    second = runs[0].amount_column("added")
    for factor, words in _FACTORS.items():
        yield _Slip(words.format(first), {"in_cup": factor})
        if not heater:
            yield _Slip(words.format(second), {"added": factor})
    for factor, words in () if heater else _BOTH.items():
        yield _Slip(words, {"in_cup": factor, "added": factor})
    if heater:
        for column, factors in _HEATER.items():
            for factor, words in factors.items():
                yield _Slip(words, {column: factor})


def _constant(run: OneRun, factors: Mapping[str, float], hot_K: float = 0.0) -> float | None:
    """The run's constant without those slips; None for a run that is neither mixing nor heater."""
    rise, before, cold = run.value("rise_K"), run.value("before_C"), run.grams("in_cup")
    if rise is None or before is None or cold is None or abs(rise) < 1e-6:
        return None
    cold /= factors.get("in_cup", 1.0)
    if run.way == "heater":
        joule = 1.0
        for column in ("heater_V", "heater_A", "heater_s"):
            value = run.value(column)
            if value is None:
                return None
            joule *= value / factors.get(column, 1.0)
        c = _mean_cp()(before, before + rise)
        return None if c is None else joule / rise - cold * c
    hot, hot_C = run.grams("added"), run.value("added_C")
    if run.way != "mixing" or hot is None or hot_C is None:
        return None
    c_1 = _mean_cp()(before, before + rise)
    c_2 = _mean_cp()(before + rise, hot_C)
    if c_1 is None or c_2 is None:
        return None
    hot /= factors.get("added", 1.0)
    return hot * c_2 * (hot_C + hot_K - before - rise) / rise - cold * c_1


def _mean_cp() -> Callable[[float, float], float | None]:
    from calib.errors import SubstanceError
    from calib.substances.water import mean_cp_J_per_gK

    def mean(t1_C: float, t2_C: float) -> float | None:
        try:
            return float(mean_cp_J_per_gK(t1_C, t2_C))
        except SubstanceError:
            return None

    return mean
