"""Tables of runs and the instruments they were read with."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.runs.instruments import Instruments as Instruments
    from calib.runs.instruments import Reading as Reading
    from calib.runs.instruments import u_of_difference as u_of_difference
    from calib.runs.model import Run as Run
    from calib.runs.model import Table as Table
    from calib.runs.reader import read_table as read_table
    from calib.runs.writer import Written as Written
    from calib.runs.writer import write_table as write_table

_HOME = {
    "Instruments": "calib.runs.instruments",
    "Reading": "calib.runs.instruments",
    "u_of_difference": "calib.runs.instruments",
    "Run": "calib.runs.model",
    "Table": "calib.runs.model",
    "read_table": "calib.runs.reader",
    "Written": "calib.runs.writer",
    "write_table": "calib.runs.writer",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
