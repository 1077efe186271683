"""One step of a worked answer, and how its numbers are shown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.rounding import decimals_for, figures

if TYPE_CHECKING:
    from calib.runs.model import Run
    from calib.uncertainty import Propagated

__all__ = ["Step", "as_typed", "difference", "made_of", "minus", "number", "shown"]


@dataclass(frozen=True, slots=True)
class Step:
    """A step: what is found, the formula, the group's numbers in it, the result.

    ``stage`` is one of the marker's stages (mass, rise, heat, amount, unit, sign). ``u`` and
    ``made_of`` are given in the full depth, where every number has its uncertainty.
    """

    stage: str
    title: str
    formula: str
    numbers: str
    result: str
    value: float
    unit: str
    u: float | None = None
    made_of: str = ""
    remark: str = ""


def minus(text: str) -> str:
    """A number's text with a true minus sign."""
    return text.replace("-", "−")


def number(value: float, digits: int = 4) -> str:
    """A number for people: so many significant digits, no powers of ten below a million.

    >>> number(5827.4), number(-0.10003), number(12345678.0)
    ('5827', '−0.1000', '1.235e+07')
    """
    if not math.isfinite(value):
        return "not known"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if not -4 <= size < 6:
        return minus(figures(value, digits))
    return minus(f"{value:.{max(digits - 1 - size, 0)}f}")


def as_typed(run: Run, column: str) -> str:
    """A reading with the digits it was written with."""
    written = run.written.get(column)
    if written is not None and "e" not in written.casefold():
        return minus(written)
    value = getattr(run, column)
    return "not given" if value is None else minus(f"{value:.10g}")


def difference(value: float, *texts: str) -> str:
    """A difference of readings with as many decimals as the finest of them.

    >>> difference(6.8, "27.9", "21.1"), difference(-9.5, "11.5", "21")
    ('6.8', '−9.5')
    """
    places = max(len(text.partition(".")[2]) for text in texts)
    return minus(f"{value:.{places}f}")


def shown(value: float, u: float) -> str:
    """``value ± u``, the uncertainty to two digits."""
    if not u > 0.0:
        return number(value, 5)
    places = decimals_for(u)
    return f"{minus(f'{value:.{places}f}')} ± {u:.{places}f}"


def made_of(result: Propagated, most: int = 4) -> str:
    """One line saying what an uncertainty is made of, the largest part first."""
    lines = [line for line in result.all_lines if abs(line.share_percent) >= 1.0][:most]
    if not lines:
        return "no uncertainty of its own"
    said = "; ".join(f"{line.source} {line.share_percent:.0f} %" for line in lines)
    rest = 100.0 - sum(line.share_percent for line in lines)
    return f"{said}; the rest {rest:.0f} %" if rest >= 1.0 else said
