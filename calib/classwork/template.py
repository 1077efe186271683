"""A blank table of runs for a class: headings with units, lists to choose from, an example row.

The workbook has three sheets: ``Readings`` (one row per bench), ``How to fill in`` and ``Lists``.
What comes back is read by :func:`calib.runs.read_table` as it is; its example row is passed over.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from calib.classwork.template_sheets import BLANK_TABLE, CAUTIONS, HEADINGS, Form, workbook
from calib.errors import InputError
from calib.outputs import TABLES, Kind, Outputs, headings_of, workbook_is
from calib.runs.columns import COLUMNS
from calib.runs.model import CellValue
from calib.runs.reader import EXAMPLE_LABEL
from calib.runs.writer import Written, write_table

__all__ = ["CAUTIONS", "HEADINGS", "TEMPLATE", "TemplatePlan", "write_template"]

MOST_BENCHES = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class TemplatePlan:
    """What a class is going to do, as far as the blank table needs to know.

    ``benches`` are labels, or a number of benches. ``weighed`` has liquids weighed instead of
    measured by volume. Values that are the same for all benches can be given in ``filled``, by
    column name, and stand in every row.
    """

    benches: int | Sequence[str]
    cups: Sequence[str] = ()
    reaction: str | None = None
    in_cup: str | None = None
    added: str | None = None
    weighed: bool = False
    curves: bool = False
    heater: bool = False
    reported: bool = True
    day: date | None = None
    filled: Mapping[str, CellValue] | None = None
    cautions: Sequence[str] = ()

    def labels(self) -> list[str]:
        """One label per bench.

        Raises:
            InputError: too few, too many, blank or repeated ones.
        """
        if isinstance(self.benches, int):
            if not 1 <= self.benches <= MOST_BENCHES:
                raise InputError(
                    f"{self.benches} benches: expected a number from 1 to {MOST_BENCHES}"
                )
            return [f"Bench {number}" for number in range(1, self.benches + 1)]
        labels = [" ".join(str(label).split()) for label in self.benches]
        if not labels or len(labels) > MOST_BENCHES or not all(labels):
            raise InputError(f"expected 1 to {MOST_BENCHES} bench labels, none of them blank")
        twice = sorted({label for label in labels if labels.count(label) > 1})
        if twice:
            raise InputError(f"bench label {twice[0]!r} is given twice; make every label unique")
        return labels

    def columns(self) -> list[str]:
        """The columns that this class needs, in the order of work."""
        columns = ["run", "apparatus", "date", "reaction", "in_cup", "added"]
        if self.heater:
            columns = ["run", "apparatus", "date", "in_cup"]
        for side in ("in_cup",) if self.heater else ("in_cup", "added"):
            substance = getattr(self, side)
            solid = substance is not None and substance.strip().endswith("(s)")
            columns.append(f"{side}_g" if solid or self.weighed else f"{side}_mL")
            if not solid and not _is_water(substance):
                columns.append(f"{side}_mol_per_L")
        columns.append("in_cup_C")
        if not self.heater:
            columns.append("added_C")
        columns += ["extreme_C", "extreme_after_s"]
        columns += ["curve", "mixed_at_s"] if self.curves else []
        columns.append("room_C")
        columns += ["heater_V", "heater_A", "heater_s"] if self.heater else []
        columns += ["reported_kJ_per_mol"] if self.reported and not self.heater else []
        return columns

    def values(self) -> dict[str, CellValue]:
        """What stands in every bench's row from the start.

        Raises:
            InputError: ``filled`` names a column that is not known.
        """
        values: dict[str, CellValue] = {
            "date": self.day,
            "reaction": self.reaction,
            "in_cup": self.in_cup,
            "added": self.added,
        }
        for name, value in (self.filled or {}).items():
            if name not in COLUMNS or name == "run":
                raise InputError(f"{name!r} is no column to fill in; known: {', '.join(COLUMNS)}")
            values[name] = value
        return {name: value for name, value in values.items() if value is not None}


def _is_water(substance: str | None) -> bool:
    return substance is not None and substance.strip().casefold() in ("water", "h2o", "h2o(l)")


def write_template(
    path: Path | str, plan: TemplatePlan, *, delimiter: str = ",", outputs: Outputs | None = None
) -> Written:
    """Write a blank table for a class, as XLSX or CSV by the ending of ``path``.

    A blank table that is there and was not touched is replaced; one that was filled in, and a file
    of somebody else's, only where ``outputs`` allow it.

    Raises:
        InputError: the plan names columns or benches that cannot be.
        OutputError: the file may not or cannot be written.
    """
    path, outputs = Path(path), outputs or Outputs()
    outputs.claim(TEMPLATE, path)
    columns = [*plan.columns()]
    values = plan.values()
    columns += [name for name in values if name not in columns]
    columns = _in_order(columns)
    rows = [_example(columns, values), *_blank_rows(columns, plan.labels(), values)]
    headings = [HEADINGS[name] for name in columns]
    if path.suffix.casefold() != ".xlsx":
        return write_table(
            path, headings, rows, delimiter=delimiter, kind=TEMPLATE, outputs=outputs
        )
    form = Form(
        cups=plan.cups,
        substances={"in_cup": plan.in_cup, "added": plan.added},
        cautions=plan.cautions,
    )
    outputs.write(TEMPLATE, path, workbook(columns, rows, form))
    return Written(path, len(rows))


def is_blank(path: Path) -> bool:
    """Whether a file is a template as it was written here, with nothing filled in since.

    That is: our headings, the example's row, and rows that hold a label and what every row and the
    example hold alike; of a workbook also that no other program saved it since.
    """
    try:
        headings, *rows = _cells_of(path)
    except (OSError, ValueError):
        return False
    if "Run" not in headings or not set(headings) <= set(HEADINGS.values()):
        return False
    named = [dict(zip(headings, row, strict=False)) for row in rows]
    labels = [row.pop("Run", "") for row in named]
    if labels[:1] != [EXAMPLE_LABEL] or len(named) < 2:
        return False
    example, first, *others = named
    alike = all(row == first for row in others)
    return alike and all(cell in (None, "", example[name]) for name, cell in first.items())


def _cells_of(path: Path) -> list[list[Any]]:
    """The cells of a template, headings first; raises ValueError where it is none."""
    if path.suffix.casefold() != ".xlsx":
        marks = {len(headings_of(path, mark)): mark for mark in ",;\t"}
        text = path.read_text(encoding="utf-8-sig")
        return list(csv.reader(text.splitlines(), delimiter=marks[max(marks)])) or [[]]
    from python_calamine import CalamineError, CalamineWorkbook

    if not workbook_is(path, BLANK_TABLE):
        raise ValueError("another program saved it")
    try:
        return CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0).to_python()
    except CalamineError as error:
        raise ValueError(str(error)) from None


TEMPLATE = Kind(BLANK_TABLE, TABLES, is_blank)


def _in_order(columns: Sequence[str]) -> list[str]:
    """Amount and concentration of each side together, everything else as it came."""
    order = {name: place for place, name in enumerate(HEADINGS)}
    return sorted(dict.fromkeys(columns), key=lambda name: order[name])


def _blank_rows(
    columns: Sequence[str], labels: Sequence[str], values: Mapping[str, CellValue]
) -> list[list[CellValue]]:
    return [[label if c == "run" else values.get(c) for c in columns] for label in labels]


_EXAMPLE: Mapping[str, CellValue] = {
    "run": EXAMPLE_LABEL,
    "apparatus": "H1",
    "date": date(2026, 11, 25),
    "reaction": "HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)",
    "in_cup": "HCl(aq)",
    "added": "KOH(aq)",
    "in_cup_mL": 50.0,
    "in_cup_g": 50.12,
    "in_cup_mol_per_L": 1.0,
    "added_mL": 50.0,
    "added_g": 5.04,
    "added_mol_per_L": 1.0,
    "in_cup_C": 21.3,
    "added_C": 21.5,
    "extreme_C": 27.9,
    "extreme_after_s": 40,
    "curve": "bench1.csv",
    "mixed_at_s": 120,
    "room_C": 21.0,
    "heater_V": 6.02,
    "heater_A": 1.98,
    "heater_s": 180,
    "reported_kJ_per_mol": -55.1,
}


def _example(columns: Sequence[str], values: Mapping[str, CellValue]) -> list[CellValue]:
    example = {**_EXAMPLE, **values, "run": EXAMPLE_LABEL}
    if "reaction" not in values and ("in_cup" in values or "added" in values):
        example["reaction"] = None
    return [example[name] for name in columns]
