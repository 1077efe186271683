"""What speaks against putting a constant in force.

Held against: its own uncertainty and runs; the content's heat capacity; what cups of its vessel may
have, and the kind's other cups; its heat loss and fill; its days; its curves; the hot water's
reading, which the runs themselves contradict where

    C_i = C + d s_i,     s_i = C_2 / rise_i        [J/K²]

fits with a misreading d of ``added_C`` that is not zero: a reading d too high makes a mixing run's
constant larger by d times its sensitivity s_i, which differs from run to run.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import TYPE_CHECKING

from calib.plausible.facts import (
    Beside,
    Doubt,
    OneRun,
    curves_of,
    details_of,
    number,
    runs_of,
)
from calib.plausible.slips import explain, explain_one, sensitivity
from calib.rounding import figures, with_u
from calib.runs.kind_words import vessel_of_kind
from fitting.cup.bench import IN_FORCE, ConstantLimits
from fitting.cup.free_standing import CONTENT_J_PER_K
from fitting.cup.knowledge import VESSELS

if TYPE_CHECKING:
    from calib.plausible.facts import Constant

__all__ = ["doubts_about", "remarks_about"]

_FOAM = re.compile(r"foam|polystyrene|styrofoam")
_LID = re.compile(r"\b(?:with|and|under)\b.*|[,;].*")  # what comes with it
_INSIDE = re.compile(r"\b(?:beaker|glass|plastic)\b[^,;]*\bin\b")  # in foam or another cup
_STATED = re.compile(r"(\d+(?:[.,]\d+)?)\s*(ml|cm3|cm³|cl|l)\b")
_IN_ML = {"ml": 1.0, "cm3": 1.0, "cm³": 1.0, "cl": 10.0, "l": 1000.0}


def doubts_about(
    constant: Constant, beside: Beside, *, valid_from: date | None = None
) -> tuple[Doubt, ...]:
    """Why a constant should stay a draft until a person gives a reason; empty where nothing does.

    ``valid_from`` is the first day in force where it is not the constant's own. Where the value is
    doubted, one more doubt names the slips that would explain it. Nothing is raised, whatever the
    constant's stored rows look like.
    """
    case = _Case.of(constant, beside)
    about_value = [*_value(case), *_runs(case), *_loss(case), *_hot(case)]
    found = [*about_value, *_fill(case), *_moment(case), *_days(case, valid_from), *_curves(case)]
    seen = {one.check for one in found}
    negative = "negative" in constant.failed_quality
    if (about_value or negative or "fill" in seen) and not seen & {"curve", "moment", "added_C"}:
        found += _explained(case, fill="fill" in seen)
    return tuple(found)


def remarks_about(constant: Constant, beside: Beside) -> tuple[str, ...]:
    """What to know about a constant that may be in force all the same."""
    case = _Case.of(constant, beside)
    steps = [s for s in map(sensitivity, case.mixing) if s is not None]
    shift = 0.5 * median(steps) if steps else 0.0
    others = case.others
    if others is None:
        if not steps or len(beside.others) >= IN_FORCE.others.value:
            return ()
        return (
            f"there are too few other cups of its kind to hold it against ({len(beside.others)}, "
            f"{IN_FORCE.others.value:g} are needed): hot water read 0.5 K wrong would shift it by "
            f"{figures(shift, 2)} J/K without being noticed",
        )
    off = case.value - others.middle
    seen = IN_FORCE.odd_sd.value * math.hypot(others.sd, case.u)
    if abs(off) <= seen:
        told = (
            f"the other {others.cups} cups of its kind differ by {figures(others.sd, 2)} J/K (sd): "
            f"hot water read 0.5 K wrong would shift it by {figures(shift, 2)} J/K without being "
            "noticed",
        )
        return told if 0.0 < shift <= seen else ()
    word = "above" if off > 0 else "below"
    why = f"; hot water read {abs(off) / (2 * shift):.1f} K wrong would do it" if shift else ""
    return (
        f"it lies {figures(abs(off), 2)} J/K {word} the other {others.cups} cups of its kind "
        f"(middle {figures(others.middle, 3)} J/K, sd {figures(others.sd, 2)} J/K){why}",
    )


@dataclass(frozen=True, slots=True)
class _Others:
    """The kind's other cups, where they are of one make: middle and spread. [J/K]"""

    cups: int
    middle: float
    sd: float

    @staticmethod
    def of(beside: Beside) -> _Others | None:
        """None where there are too few, or where they differ so much that they tell nothing.

        One wrong cup among them therefore accuses no sound one; it is held against the sound.
        """
        values = [one.constant_J_per_K for one in beside.others]
        if len(values) < IN_FORCE.others.value:
            return None
        middle = median(values)
        apart = max(abs(value - middle) for value in values)
        if not middle > 0.0 or apart > IN_FORCE.others_apart.value * middle:
            return None
        spread = math.sqrt(sum((v - middle) ** 2 for v in values) / (len(values) - 1))
        return _Others(len(values), middle, max(spread, IN_FORCE.others_floor.value * middle))


@dataclass(frozen=True, slots=True)
class _Case:
    """One constant, its runs and what stands beside it."""

    constant: Constant
    beside: Beside
    runs: tuple[OneRun, ...]
    vessel: str | None
    limits: ConstantLimits
    others: _Others | None

    @staticmethod
    def of(constant: Constant, beside: Beside) -> _Case:
        words = beside.kind.casefold()
        vessel = vessel_of_kind(words)
        foam = bool(_FOAM.search(_LID.sub("", words)))
        named = "beaker" if _INSIDE.search(words) else vessel
        limits = IN_FORCE.limits(named, foam=foam)
        return _Case(constant, beside, runs_of(constant), vessel, limits, _Others.of(beside))

    @property
    def value(self) -> float:
        return self.constant.constant_J_per_K

    @property
    def u(self) -> float:
        return self.constant.u_constant_J_per_K

    @property
    def mixing(self) -> tuple[OneRun, ...]:
        return tuple(run for run in self.runs if run.way == "mixing")

    @property
    def shown(self) -> str:
        return f"{with_u(self.value, self.u)} J/K"


# --- the value ----------------------------------------------------------------------------------


def _value(case: _Case) -> Iterator[Doubt]:
    """The constant against its u, the kind's other cups, its vessel or the content: one of them."""
    value, limits, sure = case.value, case.limits, 2.0 * case.u
    if value <= 0.0:
        if "negative" not in case.constant.failed_quality:
            yield Doubt("negative", f"the constant, {case.shown}, is not above zero")
        return
    range_u = IN_FORCE.range_over_u.value * case.u
    if value <= case.u and range_u > limits.most_J_per_K.value - limits.least_J_per_K.value:
        yield Doubt(
            "uncertainty",
            f"the constant, {case.shown}, is not larger than its own standard uncertainty, and "
            f"says less than the kind alone ({limits.least_J_per_K.value:g} to "
            f"{limits.most_J_per_K.value:g} J/K)",
        )
        return
    far = _far_from_others(case)
    if far is not None:
        yield far
    elif value - sure > limits.most_J_per_K.value:
        yield Doubt(
            "range",
            f"the constant, {case.shown}, is more than is known of the kind {case.beside.kind!r} "
            f"(up to {limits.most_J_per_K.value:g} J/K)",
        )
    elif value + sure < limits.least_J_per_K.value:
        yield Doubt(
            "range",
            f"the constant, {case.shown}, is less than is known of the kind {case.beside.kind!r} "
            f"(from {limits.least_J_per_K.value:g} J/K)",
        )
    elif (content := _content_J_per_K(case)) and value - sure > limits.most_share.value * content:
        yield Doubt(
            "content",
            f"the constant, {case.shown}, is {100 * value / content:.0f} % of the content's heat "
            f"capacity ({figures(content, 3)} J/K), and at most "
            f"{100 * limits.most_share.value:.0f} % are expected",
        )


def _content_J_per_K(case: _Case) -> float | None:
    """Heat capacity of the largest content, as water. [J/K]"""
    from calib.substances.water import cp_J_per_gK

    fill = case.constant.fill_mL
    return None if fill is None else fill[1] * cp_J_per_gK(20.0)


def _far_from_others(case: _Case) -> Doubt | None:
    others = case.others
    if others is None:
        return None
    off = case.value - others.middle
    far = max(
        IN_FORCE.far_sd.value * others.sd,
        IN_FORCE.far_share.value * others.middle,
        IN_FORCE.far_sd.value * case.u,
    )
    if abs(off) <= far:
        return None
    return Doubt(
        "kind",
        f"the constant, {case.shown}, lies far {'above' if off > 0 else 'below'} the other "
        f"{others.cups} cups of its kind (middle {figures(others.middle, 3)} J/K, sd "
        f"{figures(others.sd, 2)} J/K)",
    )


def _loss(case: _Case) -> Iterator[Doubt]:
    loss = case.constant.heat_loss_W_per_K
    if loss is None:
        return
    u = case.constant.u_heat_loss_W_per_K or 0.0
    usual = VESSELS[case.vessel or "cup"].rate_per_s.value * CONTENT_J_PER_K
    most = IN_FORCE.loss_times.value * usual
    if loss <= 0.0:
        yield Doubt(
            "heat loss", f"the heat loss found, {figures(loss, 2)} W/K, is not above zero, as when "
            "the moment of mixing or the room is wrong",
        )  # fmt: skip
    elif loss - u > most:
        yield Doubt(
            "heat loss",
            f"the heat loss found, {with_u(loss, u)} W/K, is more than "
            f"{IN_FORCE.loss_times.value:g} times a usual one ({figures(usual, 2)} W/K)",
        )


# --- the runs -----------------------------------------------------------------------------------


def _runs(case: _Case) -> Iterator[Doubt]:
    blank = [run.label for run in case.mixing if run.value("added_C") is None]
    if blank:
        yield Doubt(
            "added_C",
            f"added_C is empty (run {', '.join(blank)}): it was taken equal to the cup's, and a "
            "mixing run needs the hot water's own temperature",
        )
    for run in case.runs:
        deviation = number(run.found.get("deviation_from_others"))
        if deviation is not None and abs(deviation) > IN_FORCE.outlying_u.value:
            slip = explain_one(run, [one for one in case.runs if one is not run])
            yield Doubt(
                "outlying run",
                f"run {run.label} lies {abs(deviation):.0f} of its standard uncertainties from what"
                f" the others say{f'; {slip}' if slip else ''}: correct its row, or take it out",
            )
    spread = case.constant.between_run_sd_J_per_K or 0.0
    if spread > max(IN_FORCE.spread_share.value * abs(case.value), IN_FORCE.spread_J_per_K.value):
        yield Doubt(
            "spread",
            f"the runs scatter by {figures(spread, 2)} J/K more than their budgets explain, of a "
            f"constant of {figures(case.value, 3)} J/K",
        )
    for run in case.runs:
        cell, seen = number(run.row.get("in_cup_C")), number(run.found.get("before_C"))
        if (
            run.row.get("curve")
            and cell is not None
            and seen is not None
            and abs(cell - seen) > IN_FORCE.cell_off_K.value
        ):
            yield Doubt(
                "cup's reading",
                f"run {run.label}: in_cup_C is {cell:g} °C, and the curve starts at {seen:.1f} °C",
            )


def _moment(case: _Case) -> Iterator[Doubt]:
    off = [run for run in case.runs if run.found.get("moment_off")]
    if off:
        labels = ", ".join(run.label for run in off)
        said = str(off[0].found["moment_off"])
        yield Doubt("moment", f"{said} (run {labels})")


def _hot(case: _Case) -> Iterator[Doubt]:
    """The hot water's reading against the cup's own."""
    for run in case.mixing:
        hot, cold, rise = run.value("added_C"), run.value("before_C"), run.value("rise_K")
        if hot is None or cold is None or rise is None:
            continue
        if (hot - cold - rise) * rise <= 0.0:
            yield Doubt(
                "hot water",
                f"run {run.label}: the content went from {cold:.1f} to {cold + rise:.1f} °C, which "
                f"water of {hot:g} °C (added_C) cannot do: another column?",
            )
            return
    yield from _misread(case)


def _misread(case: _Case) -> Iterator[Doubt]:
    """Least squares of C_i = C + d s_i, weights 1/u_i²; see the module."""
    points = [
        (s, value, u)
        for run in case.mixing
        if (s := sensitivity(run)) is not None
        and (value := run.value("constant_J_per_K")) is not None
        and (u := run.value("u_constant_J_per_K"))
    ]
    if len(points) < 3:
        return
    weights = [1.0 / u**2 for _, _, u in points]
    total = sum(weights)
    mean_s = sum(w * s for w, (s, _, _) in zip(weights, points, strict=True)) / total
    mean_C = sum(w * c for w, (_, c, _) in zip(weights, points, strict=True)) / total
    power = sum(w * (s - mean_s) ** 2 for w, (s, _, _) in zip(weights, points, strict=True))
    if not power > 0.0:
        return
    d = sum(
        w * (s - mean_s) * (c - mean_C) for w, (s, c, _) in zip(weights, points, strict=True)
    ) / power  # fmt: skip
    rest = sum(
        w * (c - mean_C - d * (s - mean_s)) ** 2
        for w, (s, c, _) in zip(weights, points, strict=True)
    )
    u_d = math.sqrt(max(1.0, rest / (len(points) - 2)) / power)
    if abs(d) > max(IN_FORCE.hot_off_u.value * u_d, IN_FORCE.hot_off_K.value):
        left = mean_C - d * mean_s
        yield Doubt(
            "hot water",
            f"the runs contradict added_C: they agree best where the hot water was read "
            f"{abs(d):.1f} ± {u_d:.1f} K too {'high' if d > 0 else 'low'}"
            + (f", which would leave {figures(left, 3)} J/K" if left > 0 else ""),
        )


def _fill(case: _Case) -> Iterator[Doubt]:
    fill = case.constant.fill_mL
    if fill is None:
        return
    low, high = fill
    least, most = IN_FORCE.fill_least_mL.value, IN_FORCE.fill_most_mL.value
    span = figures(low, 3) if math.isclose(low, high, rel_tol=0.05) else (
        f"{figures(low, 3)} to {figures(high, 3)}"
    )  # fmt: skip
    if low < least or high > most:
        yield Doubt(
            "fill", f"the cup was filled with {span} mL, and {least:g} to {most:g} mL are expected"
        )
    stated = _stated_mL(f"{case.beside.kind} {case.beside.note}")
    if stated is not None and high > IN_FORCE.fill_over_stated.value * stated:
        yield Doubt(
            "fill", f"the cup was filled with {span} mL, and its kind or note says {stated:g} mL"
        )
    if low > 0.0 and high / low > IN_FORCE.fills_apart.value:
        yield Doubt("fill", f"the runs fill the cup very differently: {span} mL")


def _stated_mL(words: str) -> float | None:
    """The largest volume that words state [mL]; None where they state none.

    >>> _stated_mL("vacuum flask, 0.5 L"), _stated_mL("steel mug 250 mL"), _stated_mL("cup")
    (500.0, 250.0, None)
    """
    found = [
        float(digits.replace(",", ".")) * _IN_ML[unit]
        for digits, unit in _STATED.findall(words.casefold())
    ]
    return max((volume for volume in found if volume > 0.0), default=None)


# --- days and curves ----------------------------------------------------------------------------


def _days(case: _Case, valid_from: date | None) -> Iterator[Doubt]:
    today = case.beside.today
    start = valid_from or case.constant.valid_from
    days = [day for run in case.runs if (day := run.day) is not None]
    late = [day for day in days if day > today + timedelta(days=1)]
    if late:
        yield Doubt("date", f"a run is dated {max(late)}, after today ({today})")
    oldest = today - timedelta(days=int(IN_FORCE.age_days.value))
    old = [day for day in days if day < oldest]
    if old:
        yield Doubt(
            "date",
            f"a run is dated {min(old)}, more than {IN_FORCE.age_days.value / 366:.0f} years ago",
        )
    blank = [run for run in case.runs if "date" in run.found]
    if blank and not days and valid_from is None and not _told(case):
        yield Doubt(
            "date",
            f"no run has a date, so that {start} was taken for the first day in force: write the "
            "dates, or say --valid-from",
        )
    if start > today + timedelta(days=int(IN_FORCE.ahead_days.value)) and not late:
        yield Doubt("first day", f"it would be in force from {start}, far after today ({today})")
    first = min(days, default=None)
    reference = first if first is not None else today
    longest = timedelta(days=int(IN_FORCE.before_days.value))
    if start < reference - longest and not late:
        of = "its first run" if first is not None else "today"
        yield Doubt("first day", f"it would be in force from {start}, long before {of}")


def _told(case: _Case) -> bool:
    """Whether a person named the first day in force."""
    return bool(details_of(case.constant).get("valid_from_told"))


def _curves(case: _Case) -> Iterator[Doubt]:
    own = curves_of(case.constant)
    counts = Counter(one.sha256 for one in own)
    for sha, count in counts.items():
        if count > 1:
            labels = ", ".join(one.run for one in own if one.sha256 == sha)
            yield Doubt("curve", f"one curve stands in {count} rows: {labels}")
    said: set[str] = set()
    for one in own:
        for used in case.beside.curves:
            if used.sha256 != one.sha256 or one.sha256 in said:
                continue
            if (used.apparatus, used.run, used.date) != (one.apparatus, one.run, one.date):
                said.add(one.sha256)
                yield Doubt(
                    "curve",
                    f"the curve of run {one.run} is that of run {used.run} of {used.apparatus}"
                    f"{f' ({used.date})' if used.date else ''}, {used.constant}",
                )


def _explained(case: _Case, *, fill: bool) -> list[Doubt]:
    """The slips that would explain the value, where one factor or one misreading does it."""
    low, high = case.limits.least_J_per_K.value, case.limits.most_J_per_K.value
    middle, sure = math.sqrt(low * high), False
    if case.others is not None:
        middle, sure = case.others.middle, True
        reach = max(3.0 * case.others.sd, 0.25 * middle)
        low, high = middle - reach, middle + reach
    words = explain(case.runs, middle, low, high, sure=sure, fill=fill)
    return [Doubt("slip", f"it would be explained by: {'; or '.join(words)}")] if words else []
