"""Clock times, ISO timestamps, dates and minutes:seconds, turned into seconds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone

import numpy as np

from fitting.curve import FloatArray
from fitting.files.cell_values import DATE, STAMP, TIME, is_missing, tidy

DAY_S = 86_400.0
_HALF_DAY_S = 43_200.0
_PARTS = re.compile(r"\d+")


@dataclass(frozen=True)
class ClockTimes:
    """A column of clock times.

    ``seconds`` counts from midnight of the first date, or of the day where no date is given, or
    from zero for elapsed times; NaN where a cell is missing or cannot be read (``bad``).
    """

    seconds: FloatArray
    bad: tuple[int, ...]
    started: datetime | None
    elapsed: bool
    notes: tuple[str, ...]


def parse_clock(
    times: Sequence[str], dates: Sequence[str] | None = None, parts: str = ""
) -> ClockTimes:
    """Read clock cells, with their dates in the cells or in a column of their own.

    Args:
        times: cells such as ``10:15:00``, ``10:15:00.5 PM``, ``2026-03-02T10:15:00Z``.
        dates: cells of a separate column of dates, or None.
        parts: ``h:min`` or ``min:s`` to say what two-part times are; empty to decide from them.
    """
    cells = [tidy(cell) for cell in times]
    if dates is not None:
        pairs = zip(cells, map(tidy, dates), strict=True)
        cells = [f"{day} {cell}" if cell and day else cell for cell, day in pairs]
    stamps = [STAMP.fullmatch(cell) for cell in cells]
    if sum(match is not None for match in stamps) * 2 > sum(not is_missing(c) for c in cells):
        return _from_stamps(cells, stamps)
    return _from_times(cells, parts)


def _from_stamps(cells: list[str], stamps: list[re.Match[str] | None]) -> ClockTimes:
    order, note = _date_order([match["date"] for match in stamps if match])
    days: dict[str, int | None] = {}
    seconds = np.full(len(cells), np.nan)
    bad: list[int] = []
    zones: dict[str, None] = {}
    for index, (cell, match) in enumerate(zip(cells, stamps, strict=True)):
        if match is None:
            if not is_missing(cell):
                bad.append(index)
            continue
        text = match["date"]
        if text not in days:
            days[text] = _ordinal(text, order)
        day, zone = days[text], match["zone"] or ""
        clock = _seconds_of(match, two_parts="h:min")
        if day is None or clock is None:
            bad.append(index)
            continue
        zones[zone] = None
        seconds[index] = day * DAY_S + clock - _zone_seconds(zone)
    good = np.flatnonzero(np.isfinite(seconds))
    if not good.size:
        return ClockTimes(seconds, tuple(bad), None, False, ())
    zone_s = _zone_seconds(next(iter(zones)))
    first = float(seconds[good[0]]) + zone_s
    midnight = first // DAY_S
    started = _moment(midnight, first - midnight * DAY_S, next(iter(zones)), zone_s)
    seconds = seconds + zone_s - midnight * DAY_S
    return ClockTimes(seconds, tuple(bad), started, False, (note,) if note else ())


def _from_times(cells: list[str], parts: str) -> ClockTimes:
    matches = [TIME.fullmatch(cell) for cell in cells]
    notes: list[str] = []
    two_parts = parts or "h:min"
    known = [match for match in matches if match is not None]
    if not parts and known and all(match["third"] is None for match in known):
        two_parts, note = _two_part_meaning(known)
        notes.append(note)
    seconds = np.full(len(cells), np.nan)
    bad: list[int] = []
    for index, (cell, match) in enumerate(zip(cells, matches, strict=True)):
        value = _seconds_of(match, two_parts) if match else None
        if value is not None:
            seconds[index] = value
        elif not is_missing(cell):
            bad.append(index)
    good = seconds[np.isfinite(seconds)]
    falls = bool((np.diff(good) < -_HALF_DAY_S).any())
    elapsed = bool(
        good.size
        and (two_parts == "min:s" or (good[0] < 3600 and not falls) or good.max() >= DAY_S)
    )
    if not elapsed:
        seconds = _past_midnight(seconds, notes)
    return ClockTimes(seconds, tuple(bad), None, elapsed, tuple(notes))


def _past_midnight(seconds: FloatArray, notes: list[str]) -> FloatArray:
    """Add a day after each fall of more than half a day, half a day after 12:59 to 1:00."""
    good = np.flatnonzero(np.isfinite(seconds))
    steps = np.diff(seconds[good], prepend=seconds[good[:1]])
    to_one = (steps >= -_HALF_DAY_S) & (steps < -_HALF_DAY_S + 3600)
    if to_one.any() and seconds[good].min() >= 3600 and seconds[good].max() < 13 * 3600:
        notes.append("clock times taken from a 12-hour clock: half a day was added after 12:59")
        seconds = seconds.copy()
        seconds[good] += np.cumsum(to_one) * _HALF_DAY_S
        return seconds
    days = np.cumsum(steps < -_HALF_DAY_S)
    if days.size and days[-1]:
        seconds = seconds.copy()
        seconds[good] += days * DAY_S
        times = "once" if days[-1] == 1 else f"{days[-1]} times"
        notes.append(f"clock times pass midnight {times}: a day was added from there on")
    return seconds


def _two_part_meaning(known: list[re.Match[str]]) -> tuple[str, str]:
    first = known[0]
    if any(match["part"] or int(match["first"]) > 23 for match in known):
        return "min:s", f"times such as '{known[-1].group(0)}' taken as minutes:seconds"
    if int(first["first"]) == 0 and not first["half"]:
        return "min:s", (
            f"times such as '{known[-1].group(0)}' taken as minutes:seconds, because they begin "
            f"at '{first.group(0)}'; time_unit='h:min' would make them hours:minutes"
        )
    return "h:min", (
        f"times such as '{known[-1].group(0)}' taken as hours:minutes; time_unit='min:s' would "
        "make them minutes:seconds"
    )


def _seconds_of(match: re.Match[str], two_parts: str) -> float | None:
    """Seconds of a matched time, None where it is no time (10:75, 13:00 pm)."""
    first, second, third, fraction, half = match.group("first", "second", "third", "part", "half")
    if third is None and two_parts == "min:s":
        hours, minutes, whole = 0, int(first), int(second)
    else:
        hours, minutes, whole = int(first), int(second), int(third or 0)
        if minutes > 59:
            return None
    if whole > 59 or (third is None and fraction and two_parts == "h:min"):
        return None
    if half:
        if not 1 <= hours <= 12:
            return None
        hours = hours % 12 + (12 if half in "pP" else 0)
    part = float("0." + fraction[1:]) if fraction else 0.0
    return hours * 3600.0 + minutes * 60.0 + whole + part


def _date_order(texts: list[str]) -> tuple[str, str]:
    """Order of day, month and year in the dates, and a sentence where it had to be guessed."""
    distinct = list(dict.fromkeys(texts))
    first = distinct[0]
    if re.match(r"\d{4}", first):
        return "ymd", ""
    if "." in first:
        return "dmy", ""
    numbers = [tuple(map(int, _PARTS.findall(text))) for text in distinct]
    if any(parts[0] > 12 for parts in numbers):
        return "dmy", ""
    if any(parts[1] > 12 for parts in numbers):
        return "mdy", ""
    if len(numbers) > 1 and len({parts[0] for parts in numbers}) == 1:
        return "mdy", f"dates such as '{first}' taken as month/day/year: the second part counts on"
    return "dmy", f"dates such as '{first}' taken as day/month/year"


def _ordinal(text: str, order: str) -> int | None:
    a, b, c = map(int, _PARTS.findall(text))
    year, month, day = {"ymd": (a, b, c), "dmy": (c, b, a), "mdy": (c, a, b)}[order]
    try:
        return date(year + 2000 if year < 100 else year, month, day).toordinal()
    except ValueError:
        return None


def _zone_seconds(zone: str) -> float:
    if not zone or zone == "Z":
        return 0.0
    digits = zone[1:].replace(":", "").ljust(4, "0")
    return (-1.0 if zone[0] == "-" else 1.0) * (int(digits[:2]) * 3600 + int(digits[2:]) * 60)


def _moment(midnight: float, seconds: float, zone: str, zone_s: float) -> datetime | None:
    try:
        zone_info = timezone(timedelta(seconds=zone_s)) if zone else None
        start = datetime.fromordinal(int(midnight)).replace(tzinfo=zone_info)
        return start + timedelta(seconds=round(seconds, 6))
    except (ValueError, OverflowError):
        return None


def is_date(cell: str) -> bool:
    """Whether a tidy cell is a date without a time."""
    return DATE.fullmatch(cell) is not None
