"""How the corrected rise moves with choices that somebody else might have made.

Three choices are scanned, one at a time, the others kept: the moment of mixing, by as much as it
may be off (two of its u, a sampling step at least); the end of the main period; and how long the
log is. The value in use is among those scanned and is never computed again, so that every scan
passes through it; the others are few, since each costs a correction. The spread of the rises is
then set against the stated uncertainty: a choice that moves the rise by more than its uncertainty
says is one to report.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from fitting.corrections.binning import QUICK_OVER_S
from fitting.corrections.case import build_case
from fitting.corrections.choice import as_used
from fitting.corrections.newton_integral import NAME as AVERAGING
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.periods import MixingMoment

if TYPE_CHECKING:
    import pandas as pd

    from fitting.corrections.result import Corrected

_LENGTHS = (0.6,)  # of the time from mixing to the last reading
_SHORTEST_S = 60.0


@dataclass(frozen=True, slots=True)
class Scan:
    """The rise against one choice.

    Attributes:
        title: what is varied, with its unit.
        unit: the unit of ``values``.
        values: the choice's values, n of them.
        rise_K, u_rise_K: the rise and its stated standard uncertainty at each; NaN where none.
        used: the value that the result rests on; None where it is not among those scanned.
        note: what the scan means for the method in use, in one sentence.
    """

    title: str
    unit: str
    values: tuple[float, ...]
    rise_K: tuple[float, ...]
    used: float | None
    u_rise_K: tuple[float, ...] = ()
    note: str = ""

    @property
    def spread_K(self) -> float:
        """Largest minus smallest rise, K; NaN where fewer than two were found."""
        found = [rise for rise in self.rise_K if np.isfinite(rise)]
        return max(found) - min(found) if len(found) > 1 else float("nan")

    def moved_K(self, rise_K: float) -> float:
        """Largest distance of the scanned rises from ``rise_K``, K; 0 where none was found."""
        found = [abs(rise - rise_K) for rise in self.rise_K if np.isfinite(rise)]
        return max(found, default=0.0)

    def to_frame(self) -> pd.DataFrame:
        """One line a value: the value, the rise, its uncertainty."""
        import pandas as pd

        columns = {self.title: self.values, "rise_K": self.rise_K, "u_rise_K": self.u_rise_K}
        return pd.DataFrame({name: list(column) for name, column in columns.items() if column})


@dataclass(frozen=True, slots=True)
class Stability:
    """All scans and what they say together.

    Attributes:
        scans: one for each choice.
        spread_K: the largest distance of any scanned rise from the one in use, K.
        u_rise_K: the stated standard uncertainty that it is set against, K.
        verdict: whether the choices matter, in one sentence.
    """

    scans: tuple[Scan, ...]
    spread_K: float
    u_rise_K: float
    verdict: str

    def to_frame(self) -> pd.DataFrame:
        """One line a scan: its spread and largest move against the stated uncertainty."""
        import pandas as pd

        lines = [
            {"choice": scan.title, "spread_K": scan.spread_K, "u_rise_K": self.u_rise_K}
            for scan in self.scans
        ]
        return pd.DataFrame(lines).set_index("choice")

    def _repr_html_(self) -> str:
        body = "".join(
            f"<tr><th scope='row'>{escape(scan.title)}</th><td>{1000 * scan.spread_K:.1f}</td>"
            f"<td>{escape(scan.note)}</td></tr>"
            for scan in self.scans
        )
        head = "".join(f"<th scope='col'>{name}</th>" for name in ("choice", "spread / mK", "note"))
        table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        return f"<p>{escape(self.verdict)}</p>{table}"


def scan_stability(curve: Curve, corrected: Corrected) -> Stability:
    """Scan the moment of mixing, the end of the main period and the after period's length.

    Args:
        curve: the readings.
        corrected: what `fitting.correct` gave for them, with the circumstances that it was told:
            every scan passes through the value in use.
    """
    tried = _Tried(curve, corrected)
    scans = (_moments(tried), _ends(tried), _lengths(tried))
    chosen = corrected.chosen
    spread = max(scan.moved_K(chosen.rise_K) for scan in scans)
    return Stability(scans, spread, chosen.u_rise_K, _verdict(scans, corrected))


@dataclass(frozen=True, eq=False)
class _Tried:
    """One curve and its result, which holds what the corrections were told."""

    curve: Curve
    corrected: Corrected

    @property
    def name(self) -> str:
        """The method whose rise is followed."""
        return self.corrected.chosen.method

    @property
    def in_use(self) -> tuple[float, float]:
        """The rise in use and its standard uncertainty, K."""
        return self.corrected.chosen.rise_K, self.corrected.chosen.u_rise_K

    def rise(
        self, *, shift_s: float = 0.0, main_end_s: float | None = None, until_s: float | None = None
    ) -> tuple[float, float]:
        """Rise and its standard uncertainty under one changed choice, K; NaN where refused."""
        c, curve = self.corrected, self.curve
        moment = MixingMoment(c.mixed_at_s + shift_s, c.u_mixed_at_s, c.mixing_given, "scanned")
        try:
            if until_s is not None:
                curve = curve.window(float(curve.time_s[0]), c.mixed_at_s + until_s)
            case = build_case(curve, moment, c.known, main_end_s=main_end_s)
            found = as_used(case, self.name)
        except (CurveError, ValueError, np.linalg.LinAlgError):
            return float("nan"), float("nan")
        return found.rise_K, found.u_rise_K


def _scan(
    title: str, unit: str, values: list[float], found: list[tuple[float, float]],
    used: float | None, note: str,
) -> Scan:  # fmt: skip
    return Scan(
        title, unit, tuple(values), tuple(r for r, _ in found), used, tuple(u for _, u in found),
        note,
    )  # fmt: skip


def _moments(tried: _Tried) -> Scan:
    """The rise with the moment of mixing earlier or later by what it may be off."""
    c, time = tried.corrected, tried.curve.time_s
    reach = max(2 * c.u_mixed_at_s, tried.curve.step_s)
    room = (float(time[0]) - c.mixed_at_s, float(time[-1]) - c.mixed_at_s)
    shifts = [shift for shift in (-reach, 0.0, reach) if room[0] <= shift < room[1]]
    found = [tried.in_use if shift == 0 else tried.rise(shift_s=shift) for shift in shifts]
    how = "noted" if c.mixing_given else "found from the curve"
    note = (
        f"the moment was {how} with u {c.u_mixed_at_s:.1f} s; tried is twice that, a sampling step "
        f"({tried.curve.step_s:g} s) at least"
    )
    values = [round(shift, 2) for shift in shifts]
    return _scan("shift of the moment of mixing / s", "s", values, found, 0.0, note)


def _ends(tried: _Tried) -> Scan:
    """The rise with the main period taken to end later; and earlier, where a line is drawn."""
    last = float(tried.curve.time_s[-1]) - tried.corrected.mixed_at_s
    latest = max(min(0.67 * last, last - _SHORTEST_S), 0.3 * last)
    averaging = tried.name == AVERAGING
    settled = tried.corrected.settled_after_s
    used = QUICK_OVER_S if averaging else settled
    later = min(2 * (settled or 0.3 * last), latest)
    values = [used, later] if used is not None else [later]
    if not averaging and used is not None:
        values.insert(0, max(0.7 * used, 5.0))
    found = [tried.in_use if end == used else tried.rise(main_end_s=end) for end in values]
    note = (
        "readings from here on are used; those before it only through their integral"
        if averaging
        else "the line or law is fitted to the readings from here on"
    )
    title = "end of the main period, since mixing / s"
    return _scan(title, "s", [round(v, 1) for v in values], found, used, note)


def _lengths(tried: _Tried) -> Scan:
    """The rise with the end of the log cut off."""
    last = float(tried.curve.time_s[-1]) - tried.corrected.mixed_at_s
    values = [share * last for share in _LENGTHS if share * last >= _SHORTEST_S]
    found = [*(tried.rise(until_s=length + 1e-6) for length in values), tried.in_use]
    note = "a shorter log knows less: each value's own uncertainty is larger than the full log's"
    title = "log used, since mixing / s"
    values = [round(v, 1) for v in (*values, last)]
    return _scan(title, "s", values, found, round(last, 1), note)


def _verdict(scans: tuple[Scan, ...], corrected: Corrected) -> str:
    """The largest moves against the uncertainty stated for them, in one sentence.

    A value's own uncertainty counts where it is larger than that of the value in use: a shorter
    log may well give another rise, since it says itself that it knows less.
    """
    chosen = corrected.chosen
    names = [scan.title.rsplit(" / ", 1)[0] for scan in scans]
    moved = [scan.moved_K(chosen.rise_K) for scan in scans]
    times = [_times(scan, chosen.rise_K, chosen.u_rise_K) for scan in scans]
    which = int(np.argmax(moved))
    there = _stated_where_it_moves_most(scans[which], chosen.rise_K)
    start = (
        f"of the choices tried, the {names[which]} moves the rise most: by "
        f"{1000 * moved[which]:.1f} mK, with a standard uncertainty of "
        f"{1000 * chosen.u_rise_K:.1f} mK"
    )
    if max(times) <= 1:
        return f"{start}: no choice matters"
    if max(times) <= 2:
        said = ""
        if there > 1.2 * chosen.u_rise_K:
            said = f" ({1000 * there:.1f} mK under that choice)"
        return f"{start}{said}: the 95 % intervals hold it"
    leaving = ", ".join(name for k, name in zip(times, names, strict=True) if k > 2)
    return f"{start}: more than the stated intervals cover; report what was chosen for: {leaving}"


def _stated_where_it_moves_most(scan: Scan, rise_K: float) -> float:
    """Standard uncertainty stated by the value that lies farthest from the one in use, K."""
    away = np.nan_to_num(np.abs(np.asarray(scan.rise_K) - rise_K), nan=-1.0)
    return float(np.asarray(scan.u_rise_K)[int(np.argmax(away))]) if away.size else 0.0


def _times(scan: Scan, rise_K: float, u_K: float) -> float:
    """Largest move over the uncertainty stated for it; 0 where nothing was found."""
    moves = [
        abs(rise - rise_K) / max(u, u_K, 1e-9)
        for rise, u in zip(scan.rise_K, scan.u_rise_K, strict=True)
        if np.isfinite(rise)
    ]
    return max(moves, default=0.0)
