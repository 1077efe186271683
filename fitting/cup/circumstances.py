"""What is known of one run beside its readings, in one record that is passed whole.

Whatever is known when a run is made (when was mixed, how warm the room was, how fast this cup
cools, what kind of cup and lid it is) belongs together: a correction, a scan of its choices, the
cooling laws beside it and the weight of a known rate must all be told the same. So they are given
this record, never single values of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from fitting.cup.knowledge import BENCH, LIDS, SURROUNDINGS, VESSELS
from fitting.errors import CurveError

VESSEL_KINDS = tuple(VESSELS)
LID_KINDS = tuple(LIDS)
ROOM_C = (-20.0, 60.0)
"""Rooms that people measure in; outside it a kelvin, a degree Fahrenheit or a slip was typed."""
MOST_U = 1e6
"""Of anything, in its unit: beyond it nothing is known, and its square drowns all others."""
MOST_HIDDEN = 0.3
"""A wall that hid more of a rise would be most of the cup."""
LEAST_RATIO, MOST_RATIO = 0.02, 1.5
"""Heat capacity only grows when something is added, hardly fiftyfold; a little above 1 is scatter
of what was weighed and of the cup's constant."""
U_RATE_SHARE = BENCH.rate_share.u
U_ROOM_K = SURROUNDINGS.room_read_K.u


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of a run beside its curve. ``u_`` are standard uncertainties (k = 1).

    Attributes:
        mixed_at_s: moment of mixing (or of switching a heater on) on the curve's clock, s; None:
            it is found from the curve.
        u_mixed_at_s: of ``mixed_at_s``, s; 0: taken as exact.
        capacity_ratio: heat capacity of cup and content before mixing over that after it; 1 where
            a solid was added, less where liquid was.
        room_C: temperature of the room's air at the cup, °C; None: not noted.
        u_room_K: of ``room_C``, K.
        rate_per_s: cooling rate k to be expected after mixing, 1/s: the cup's conductance over the
            heat capacity of cup and content; None: nothing is known of it.
        u_rate_per_s: of ``rate_per_s``, 1/s; None or 0: a share of `U_RATE_SHARE` of it, since no
            rate is known exactly.
        vessel: one of `VESSEL_KINDS`; None: not told, a cup unless the curve shows a flask.
        lid: one of `LID_KINDS`: a closed lid, one with a hole, none; None: not told.
        hidden_share, u_hidden_share: what this cup's wall hides of a rise at this filling, as a
            share of it (`fitting.newton.walls`), where its calibration tells; None: the curve's own
            estimate is taken.

    Raises:
        CurveError: a value that no run can have; the message says what was found and expected.

    >>> Circumstances(room_C=21.4).room_C
    21.4
    >>> Circumstances(room_C=294.5)
    Traceback (most recent call last):
    ...
    fitting.errors.CurveError: the room temperature is 294.5 °C; expected -20 to 60 °C: it looks \
like kelvin, give 21.35 °C
    """

    mixed_at_s: float | None = None
    u_mixed_at_s: float = 0.0
    capacity_ratio: float = 1.0
    room_C: float | None = None
    u_room_K: float = U_ROOM_K
    rate_per_s: float | None = None
    u_rate_per_s: float | None = None
    vessel: str | None = None
    lid: str | None = None
    hidden_share: float | None = None
    u_hidden_share: float = 0.0

    def __post_init__(self) -> None:
        check_room(self.room_C, self.u_room_K)
        _check_moment(self.mixed_at_s, self.u_mixed_at_s)
        _check_ratio(self.capacity_ratio)
        _check_rate(self.rate_per_s, self.u_rate_per_s)
        _check_kind("vessel", self.vessel, VESSEL_KINDS)
        _check_kind("lid", self.lid, LID_KINDS)
        _check_hidden(self.hidden_share, self.u_hidden_share)

    @property
    def expected_rate(self) -> tuple[float, float] | None:
        """The cooling rate known beforehand and its standard uncertainty, 1/s; None: unknown."""
        if self.rate_per_s is None:
            return None
        return self.rate_per_s, self.u_rate_per_s or U_RATE_SHARE * self.rate_per_s

    def without_rate(self) -> Circumstances:
        """The same run, had nothing been known of its cooling rate."""
        return replace(self, rate_per_s=None, u_rate_per_s=None)


def check_room(room_C: float | None, u_room_K: float) -> None:
    """Refuse a room temperature that nobody measures in. Raises CurveError."""
    _check_u("room temperature", u_room_K, "K")
    if room_C is None:
        return
    low, high = ROOM_C
    if not low <= room_C <= high:
        in_C = room_C - 273.15
        hint = "give it in °C, as read near the cup"
        if low <= in_C <= high:
            hint = f"it looks like kelvin, give {in_C:g} °C"
        raise CurveError(
            f"the room temperature is {room_C:g} °C; expected {low:g} to {high:g} °C: {hint}"
        )


def _check_moment(mixed_at_s: float | None, u_s: float) -> None:
    """Where it lies on a curve only the curve can tell (`fitting.periods.given_mixing`)."""
    _check_u("moment of mixing", u_s, "s")
    if mixed_at_s is None and u_s > 0:
        raise CurveError(
            f"the moment of mixing has an uncertainty of {u_s:g} s but no value; give both, or "
            "neither: it is then found from the curve"
        )
    if mixed_at_s is not None and not np.isfinite(mixed_at_s):
        raise CurveError(
            f"the moment of mixing is {mixed_at_s} s; expected seconds on the curve's clock"
        )


def _check_ratio(ratio: float) -> None:
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        raise CurveError(
            f"the ratio of heat capacities is {ratio:g}; expected {LEAST_RATIO:g} to "
            f"{MOST_RATIO:g}: that of cup and content before mixing over that after it (1 where a "
            "solid was added, 0.5 where as much liquid again was)"
        )


def _check_rate(rate: float | None, u: float | None) -> None:
    if rate is None:
        if u is not None:
            raise CurveError("an uncertainty of the cooling rate without its value; give both")
        return
    if not (np.isfinite(rate) and rate >= 0):
        raise CurveError(f"the cooling rate is {rate:g} 1/s; expected a number of 1/s, 0 or more")
    if u is not None:
        _check_u("cooling rate", u, "1/s")


def _check_hidden(share: float | None, u: float) -> None:
    _check_u("hidden share", u, "")
    if share is not None and not abs(share) <= MOST_HIDDEN:
        raise CurveError(
            f"the wall's hidden share of a rise is {share:g}; expected at most {MOST_HIDDEN:g}"
        )


def _check_u(what: str, u: float, unit: str) -> None:
    if not 0 <= u <= MOST_U:
        raise CurveError(
            f"the standard uncertainty of the {what} is {u:g} {unit}; expected 0 {unit} or more, "
            f"up to {MOST_U:g}"
        )


def _check_kind(what: str, kind: str | None, known: Iterable[str]) -> None:
    if kind is not None and kind not in known:
        raise CurveError(f"there is no {what} {kind!r}; expected one of {', '.join(known)}")


NOTHING_KNOWN = Circumstances()
