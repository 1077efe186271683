"""What a table of runs is once it has been read: its rows, its problems, its notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path

from calib.errors import RowProblem

CellValue = str | int | float | bool | date | datetime | time | timedelta | None
"""What a cell can hold, as the file gives it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One row of a table of runs. An empty cell is ``None``; units are those in the names.

    ``u`` maps a column's name to the standard uncertainty (k = 1, in that column's unit) which the
    table itself gives in ``u_<column>``. ``extra`` holds the columns that are not known, as found.
    ``written`` maps a number column to its digits as written, with a point (``"55.80"``).
    ``vessel`` and ``lid`` are no columns: the kind of the registered apparatus tells them
    (`calib.runs.kind_words`).
    ``sheet_row`` is the row's number in the file, counted from 1 as spreadsheet programs count.
    """

    run: str
    apparatus: str | None = None
    date: date | None = None
    reaction: str | None = None
    in_cup: str | None = None
    added: str | None = None
    in_cup_mL: float | None = None
    in_cup_g: float | None = None
    added_mL: float | None = None
    added_g: float | None = None
    in_cup_mol_per_L: float | None = None
    added_mol_per_L: float | None = None
    in_cup_C: float | None = None
    added_C: float | None = None
    extreme_C: float | None = None
    extreme_after_s: float | None = None
    curve: str | None = None
    curve_path: Path | None = None
    mixed_at_s: float | None = None
    room_C: float | None = None
    heater_V: float | None = None
    heater_A: float | None = None
    heater_s: float | None = None
    reported_kJ_per_mol: float | None = None
    u: Mapping[str, float] = field(default_factory=dict)
    extra: Mapping[str, CellValue] = field(default_factory=dict)
    written: Mapping[str, str] = field(default_factory=dict)
    sheet_row: int = 0
    notes: tuple[str, ...] = ()
    vessel: str | None = None
    lid: str | None = None

    @property
    def is_heater_run(self) -> bool:
        """Whether the row gives an electrical calibration."""
        return None not in (self.heater_V, self.heater_A, self.heater_s)

    @property
    def has_curve(self) -> bool:
        """Whether a logged curve belongs to the row."""
        return self.curve_path is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of runs: the rows that can be used, and why the others cannot.

    ``columns`` are the known columns found, ``extra_columns`` the ones carried through, both in the
    order of the file. ``notes`` say every guess and renaming. ``steps`` is the smallest reading
    step that the digits written in a column show. ``digest`` is the SHA-256 of the file's bytes.
    ``curves`` are the files of logged curves that the cells name, those of refused rows too.
    """

    path: Path
    columns: tuple[str, ...]
    rows: tuple[Run, ...]
    problems: tuple[RowProblem, ...] = ()
    extra_columns: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    digest: str = ""
    sheet: str = ""
    steps: Mapping[str, float] = field(default_factory=dict)
    curves: tuple[Path, ...] = ()

    @property
    def labels(self) -> tuple[str, ...]:
        """The labels of the usable rows, in the order of the file."""
        return tuple(row.run for row in self.rows)

    def row(self, label: str) -> Run:
        """The usable row of that label.

        Raises:
            KeyError: no usable row has it.
        """
        for row in self.rows:
            if row.run == label:
                return row
        raise KeyError(label)
