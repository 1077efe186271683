"""Temperature curves and their correction for heat loss: numbers only.

For notebooks::

    from fitting import read_curve, correct, compare
    curve = read_curve("bench3.csv")
    correct(curve)                       # verdict and table of methods
    found = compare(curve)               # cooling laws and stability as well
    found.verdict
    found.to_frame()                     # one line a method
    found.plot(ax, "correction")         # on an Axes of your own

What is named here is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitting.comparison import Comparison as Comparison
    from fitting.comparison import compare as compare
    from fitting.cooling import fit_cooling_log as fit_cooling_log
    from fitting.corrections import METHODS as METHODS
    from fitting.corrections import Corrected as Corrected
    from fitting.corrections import Correction as Correction
    from fitting.corrections import correct as correct
    from fitting.curve import Curve as Curve
    from fitting.errors import CupledgerError as CupledgerError
    from fitting.errors import CurveError as CurveError
    from fitting.files.curve_files import list_columns as list_columns
    from fitting.files.curve_files import read_curve as read_curve
    from fitting.files.plain_curves import write_curve as write_curve
    from fitting.practice.exercise import make_practice as make_practice
    from fitting.practice.exercise import reveal as reveal
    from fitting.release.heat_release import HeatRelease as HeatRelease

_HOME = {
    "METHODS": "fitting.corrections",
    "Comparison": "fitting.comparison",
    "Corrected": "fitting.corrections",
    "Correction": "fitting.corrections",
    "CupledgerError": "fitting.errors",
    "Curve": "fitting.curve",
    "CurveError": "fitting.errors",
    "HeatRelease": "fitting.release.heat_release",
    "compare": "fitting.comparison",
    "correct": "fitting.corrections",
    "fit_cooling_log": "fitting.cooling",
    "list_columns": "fitting.files.curve_files",
    "make_practice": "fitting.practice.exercise",
    "read_curve": "fitting.files.curve_files",
    "reveal": "fitting.practice.exercise",
    "write_curve": "fitting.files.plain_curves",
}

__all__ = [
    "METHODS", "Comparison", "Corrected", "Correction", "CupledgerError", "Curve", "CurveError",
    "HeatRelease", "compare", "correct", "fit_cooling_log", "list_columns", "make_practice",
    "read_curve", "reveal", "write_curve",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
