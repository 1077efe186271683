"""Single wrong readings, set aside and named; all others are used.

A reading, or up to four in a row, is set aside where it stands alone. With the medians b and a of
the five readings before and after the run, the run's distance d from the interval between b and a
must be larger than each of

* 10 times the readings' own scatter about their course (median of second differences, of the whole
  log or of the hundred readings around it, whichever is larger),
* 3.5 steps of the display (where none is known, four usual differences of neighbours),
* twice the local change of course: |b − a| less what the drift within the five readings on both
  sides makes of itself (their inner range is two intervals long), and what the ranges differ by.

The third keeps the jump of mixing, a steep release and an overshoot of the size of the change. A
sensor that truly sees something shows readings in transit, since it lags: so the readings next to
the run must already lie within a quarter of d of b and a.

First and last readings have neighbours on one side only. They are set aside only where they show
one of the values that converters give when they have nothing to tell (85, 0, −127, 127, 850 and
full scales; common practice, no source), 10 K and more off what is next to them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fitting.curve import Curve, FloatArray, LeftOut
from fitting.errors import CurveError
from fitting.periods import CurveRefused

LONGEST_RUN = 4
_SIDE = 5  # readings whose median is the course on one side
_TIMES_NOISE = 10.0
_STEPS, _TIMES_NEIGHBOURS = 3.5, 4.0
_TIMES_COURSE = 2.0
_NEAR = 0.25  # of the distance: how close the readings next to the run must lie to the course
_BLOCK = 50  # readings over which the scatter is taken to be one
_MANY_SHARE, _FEW = 0.05, 4
_FAILED_C = (85.0, 0.0, -127.0, 127.0, 128.0, 850.0, -242.0, 0.1)
_FAILED_APART_K = 10.0
_FEWEST = 8
_PART, _OVERLAP = 100_000, 60  # readings

Flags = npt.NDArray[np.bool_]


def without_glitches(curve: Curve) -> Curve:
    """The curve without its isolated wrong readings; these stand in its ``left_out``.

    Raises:
        CurveRefused: more than a twentieth of the readings (and more than four) stand alone: the
            sensor's contact is bad, and nobody can say which readings are the right ones.
    """
    flags = isolated(curve)
    count = int(flags.sum())
    if count == 0:
        return curve
    if count > max(_FEW, _MANY_SHARE * len(curve)):
        first = int(np.argmax(flags))
        raise CurveRefused(
            curve,
            f"{count} of {len(curve)} readings stand far off the readings before and after them "
            f"(first: {curve.temperature_C[first]:g} °C at {curve.time_s[first]:g} s): the sensor's"
            " contact is bad; mend it and log again, or name the stretches to leave out",
        )
    kept = curve.temperature_C[~flags]
    course = np.interp(curve.time_s[flags], curve.time_s[~flags], kept)
    found = tuple(
        LeftOut(t, y, f"{y - at:+.3g} K off the readings before and after it")
        for t, y, at in zip(
            curve.time_s[flags].tolist(), curve.temperature_C[flags].tolist(), course.tolist(),
            strict=True,
        )
    )  # fmt: skip
    return _kept(curve, ~flags, found)


def leave_out(curve: Curve, spans: tuple[tuple[float, float], ...]) -> Curve:
    """The curve without the readings of the named spans, seconds on its clock, ends included.

    Raises:
        CurveError: a span that holds no reading or is none, or fewer than three readings left.
    """
    flags = np.zeros(len(curve), dtype=bool)
    for low, high in spans:
        inside = (curve.time_s >= low) & (curve.time_s <= high)
        if not (np.isfinite(low) and np.isfinite(high) and low <= high) or not inside.any():
            raise CurveError(
                f"no reading lies between {low:g} s and {high:g} s; the curve runs from "
                f"{curve.time_s[0]:g} s to {curve.time_s[-1]:g} s: name a span that holds one"
            )
        flags |= inside
    if len(curve) - int(flags.sum()) < 3:
        raise CurveError("fewer than three readings are left; leave out less")
    found = tuple(
        LeftOut(t, y, "left out by hand")
        for t, y in zip(curve.time_s[flags].tolist(), curve.temperature_C[flags].tolist(),
                        strict=True)
    )  # fmt: skip
    return _kept(curve, ~flags, found) if found else curve


def said(curve: Curve) -> tuple[str, ...]:
    """One sentence each on where the curve was cut and on what was set aside."""
    left_out = curve.left_out
    cut = () if curve.cut is None else (curve.cut.why,)
    if not left_out:
        return cut
    shown = "; ".join(
        f"{one.temperature_C:g} °C at {one.time_s:g} s ({one.why})" for one in left_out[:4]
    )
    more = f"; and {len(left_out) - 4} more" if len(left_out) > 4 else ""
    word = "reading was" if len(left_out) == 1 else "readings were"
    return (
        *cut,
        f"{len(left_out)} {word} set aside, all others are used: {shown}{more}",
    )


def isolated(curve: Curve) -> Flags:
    """Which readings stand alone, shape (n,); see the module's docstring.

    Long logs are looked at in parts that overlap, so that memory stays small.
    """
    y = curve.temperature_C
    if y.size <= _PART:
        return _isolated(y, curve.resolution_K)
    out = np.zeros(y.size, dtype=bool)
    for start in range(0, y.size, _PART):
        low, high = max(start - _OVERLAP, 0), min(start + _PART + _OVERLAP, y.size)
        part = _isolated(y[low:high], curve.resolution_K)
        out[start : start + _PART] = part[start - low : start - low + _PART]
    return out


def _isolated(y: FloatArray, resolution_K: float) -> Flags:
    if y.size < _FEWEST:
        return np.zeros(y.size, dtype=bool)
    limit = _least_distance(y, resolution_K)
    flags = _failed_ends(y)
    jumps = np.abs(np.diff(y))
    if float(jumps.max()) <= 0.5 * float(limit.min()) and not flags.any():
        return flags  # no run can stand off without a jump to it
    padded = np.pad(y, _SIDE, mode="edge")
    ordered = np.sort(np.lib.stride_tricks.sliding_window_view(padded, _SIDE), axis=1)
    middle, range_K = ordered[:, 2], ordered[:, 3] - ordered[:, 1]
    for length in range(1, LONGEST_RUN + 1):
        flags |= _runs(y, limit, middle, range_K, length)
    return flags


def _runs(
    y: FloatArray, limit: FloatArray, middle: FloatArray, range_K: FloatArray, length: int
) -> Flags:
    """Readings that belong to a run of ``length`` which stands alone.

    ``middle`` and ``range_K`` hold median and range of the five padded readings from j − 5 on.
    """
    count = y.size - length  # the run starts at 1 .. count − 1, so that one reading is on each side
    out = np.zeros(y.size, dtype=bool)
    if count < 2:
        return out
    start = np.arange(1, count)
    before, after = middle[start], middle[start + length + _SIDE]
    low, high = np.minimum(before, after), np.maximum(before, after)
    away = np.full(start.size, np.inf)
    for i in range(length):
        inside = y[start + i]
        away = np.minimum(away, np.maximum(low - inside, inside - high))
    one, other = range_K[start], range_K[start + length + _SIDE]
    steady = (_SIDE + length) / 2 * np.minimum(one, other)
    course = np.maximum(high - low - steady, 0.0) + np.abs(one - other)
    alone = away > np.maximum(limit[start], _TIMES_COURSE * course)
    alone &= np.abs(y[start - 1] - before) < _NEAR * away
    alone &= np.abs(y[start + length] - after) < _NEAR * away
    for i in range(length):
        out[start[alone] + i] = True
    return out


def _least_distance(y: FloatArray, resolution_K: float) -> FloatArray:
    """How far a reading must stand off at least, from the scatter around it, K, shape (n,)."""
    second = np.abs(np.diff(y, 2)) / (0.6745 * np.sqrt(6))
    blocks = max(1, second.size // _BLOCK)
    edges = np.linspace(0, second.size, blocks + 1).astype(np.intp)
    local = _medians(second, edges)
    near = np.maximum(np.maximum(local, np.append(local[1:], 0.0)), np.append(0.0, local[:-1]))
    own = np.maximum(near, np.median(second)) ** 2 - resolution_K**2 / 12
    scatter = np.sqrt(np.maximum(own, 0.0))
    floor = _STEPS * resolution_K
    if resolution_K <= 0:  # a display's steps that nobody told of
        moved = np.abs(np.diff(y))
        moved = moved[moved > 0]
        floor = _TIMES_NEIGHBOURS * float(np.median(moved)) if moved.size else 0.0
    place = np.minimum(np.arange(y.size) * blocks // max(second.size, 1), blocks - 1)
    return np.asarray(np.maximum(_TIMES_NOISE * scatter, floor)[place])


def _medians(values: FloatArray, edges: npt.NDArray[np.intp]) -> FloatArray:
    """Medians of neighbouring stretches of some values, shape (stretches,)."""
    count = np.diff(edges)
    place = edges[:-1, None] + np.arange(int(count.max()))
    inside = place < edges[1:, None]
    part = np.where(inside, values[np.minimum(place, values.size - 1)], np.inf)
    part.sort(axis=1)
    rows = np.arange(count.size)
    return np.asarray((part[rows, (count - 1) // 2] + part[rows, count // 2]) / 2)


def _failed_ends(y: FloatArray) -> Flags:
    """Up to three first or last readings that show a converter's empty value."""
    out = np.zeros(y.size, dtype=bool)
    for order in (np.arange(y.size), np.arange(y.size)[::-1]):
        ends = y[order[:_SIDE]]
        length = 0
        while length < 3 and np.any(np.abs(ends[length] - np.array(_FAILED_C)) < 1e-6):
            length += 1
        rest = y[order[length : length + _SIDE]]
        if length and float(np.abs(ends[:length, None] - rest).min()) > _FAILED_APART_K:
            out[order[:length]] = True
    return out


def _kept(curve: Curve, use: Flags, found: tuple[LeftOut, ...]) -> Curve:
    listed = tuple(sorted((*curve.left_out, *found), key=lambda one: one.time_s))
    return replace(
        curve, time_s=curve.time_s[use], temperature_C=curve.temperature_C[use], left_out=listed
    )
