"""What is looked at: a constant with its runs as stored, and what stands beside it.

A constant may come from this program's calibration or from a file that somebody sent, so that
nothing is taken for granted: what is missing, or of the wrong kind, is passed over.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.registry.records import NewConstant, StoredConstant

    Constant = NewConstant | StoredConstant

__all__ = [
    "Beside",
    "Doubt",
    "OneRun",
    "OtherCup",
    "UsedCurve",
    "curves_of",
    "details_of",
    "number",
    "runs_of",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a constant should not be in force without a reason. ``check``: a short word for it."""

    check: str
    message: str

    def to_json(self) -> dict[str, str]:
        """As an entry of ``doubts``."""
        return {"check": self.check, "message": self.message}


@dataclass(frozen=True, slots=True)
class OtherCup:
    """Another cup of the kind, with its constant and standard uncertainty. [J/K]"""

    apparatus: str
    constant_J_per_K: float
    u_constant_J_per_K: float


@dataclass(frozen=True, slots=True)
class UsedCurve:
    """A curve that a run of a constant rests on: SHA-256 of its file, cup, run and date."""

    sha256: str
    apparatus: str
    run: str
    date: str
    constant: str = "this table"


@dataclass(frozen=True, slots=True)
class Beside:
    """What a constant is held against.

    ``kind`` and ``note`` are the cup's words; ``others`` the kind's other cups, those in force or,
    where none is, as last calibrated; ``curves`` those that other constants in force rest on.
    """

    kind: str = ""
    note: str = ""
    others: tuple[OtherCup, ...] = ()
    curves: tuple[UsedCurve, ...] = ()
    today: date = field(default_factory=date.today)


@dataclass(frozen=True, slots=True)
class OneRun:
    """A run of a constant: what was found of it (``found``) and the raw row (``row``)."""

    label: str
    found: Mapping[str, Any]
    row: Mapping[str, Any]

    @property
    def way(self) -> str:
        """Mixing, reaction, heater or cooling; empty where it is not on file."""
        return str(self.found.get("way") or "")

    @property
    def day(self) -> date | None:
        """The run's date, None where it has none."""
        text = self.found.get("date") or self.row.get("date")
        try:
            return date.fromisoformat(str(text)[:10]) if text else None
        except ValueError:
            return None

    def value(self, name: str) -> float | None:
        """A number that was found (``rise_K``) or read (``added_g``)."""
        found = number(self.found.get(name))
        return found if found is not None else number(self.row.get(name))

    def grams(self, portion: str) -> float | None:
        """Mass of a portion of water, ``in_cup`` or ``added`` [g]; 1 mL is taken for 1 g."""
        mass = self.value(f"{portion}_g")
        return mass if mass is not None else self.value(f"{portion}_mL")

    def amount_column(self, portion: str) -> str:
        """The column in which that amount stands."""
        return f"{portion}_g" if self.value(f"{portion}_g") is not None else f"{portion}_mL"


def runs_of(constant: Constant) -> tuple[OneRun, ...]:
    """The runs of a constant, in the order of the table."""
    found = [one for one in _list(details_of(constant).get("runs")) if isinstance(one, dict)]
    rows = [one for one in _list(_json(constant.rows_json)) if isinstance(one, dict)]
    by_label = {str(row.get("run")): row for row in rows}
    if not found:
        return tuple(OneRun(label, {}, row) for label, row in by_label.items())
    return tuple(
        OneRun(label, one, by_label.get(label, {}))
        for one in found
        for label in (str(one.get("run")),)
    )


def curves_of(constant: Constant, name: str = "this table") -> tuple[UsedCurve, ...]:
    """The curves that a constant's runs rest on.

    What is kept with the constant; of one that an earlier release made, the rows that name a curve
    go with the digests after the table's, in order.
    """
    kept = [one for one in _list(details_of(constant).get("curves")) if isinstance(one, dict)]
    if kept:
        return tuple(
            UsedCurve(
                str(one.get("sha256")), constant.apparatus, str(one.get("run")),
                str(one.get("date") or ""), name,
            )
            for one in kept
        )  # fmt: skip
    rows = [one for one in _list(_json(constant.rows_json)) if isinstance(one, dict)]
    logged = [row for row in rows if row.get("curve")]
    digests = constant.digests[1:]
    if len(logged) != len(digests):
        return ()
    return tuple(
        UsedCurve(digest, constant.apparatus, str(row.get("run")), str(row.get("date") or ""), name)
        for row, digest in zip(logged, digests, strict=True)
    )


def details_of(constant: Constant) -> Mapping[str, Any]:
    """What the calibration left beside the raw rows; empty where it cannot be read."""
    found = _json(constant.details_json)
    return found if isinstance(found, dict) else {}


def number(value: object) -> float | None:
    """A finite number, or text that spells one; None for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        found = float(value)
    except (ValueError, OverflowError):
        return None
    return found if math.isfinite(found) else None


def _json(text: str) -> Any:
    try:
        return json.loads(text or "null")
    except (ValueError, RecursionError):
        return None


def _list(value: object) -> Sequence[Any]:
    return value if isinstance(value, list) else ()
