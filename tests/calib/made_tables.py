"""Tables of runs made in memory, for tests: what was read, not what was true."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from calib.runs.instruments import Instruments
from calib.runs.model import Run, Table
from calib.runs.readings_file import Setting, Settings

DAY = date(2026, 9, 7)


def run(label="r", **columns):
    """One row; ``apparatus`` and ``date`` have defaults."""
    columns = {"apparatus": "A", "date": DAY, **columns}
    return Run(run=label, **columns)


def table(*rows, problems=(), path="made.csv"):
    """A table of such rows."""
    columns = tuple(
        name for name in Run.__dataclass_fields__ if any(getattr(r, name) for r in rows)
    )
    return Table(path=Path(path), columns=columns, rows=tuple(rows), problems=problems)


def instruments(**sections):
    """Instruments by section, e.g. ``temperature=dict(u=0.01)``."""
    settings = Settings(
        sections={name: Setting(**given) for name, given in sections.items()}, columns={}
    )
    return Instruments(settings)


def fine_instruments():
    """A good laboratory's: 0.001 K steps, no scale error to speak of, 0.001 g."""
    return instruments(
        temperature={"u": 0.0005, "step": 0.001, "slope_percent": 0.0},
        mass={"step": 0.001},
        concentration={"relative_u_percent": 0.02},
    )
