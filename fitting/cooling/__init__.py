"""Which law a cup cools by: Newton's, one with a slow wall, a steeper one, a drifting room.

What is named here is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitting.cooling.comparing import compare_laws as compare_laws
    from fitting.cooling.comparing import laws_of as laws_of
    from fitting.cooling.cooling_log import CoolingLog as CoolingLog
    from fitting.cooling.cooling_log import fit_cooling_log as fit_cooling_log
    from fitting.cooling.laws import LAWS as LAWS
    from fitting.cooling.result import LawComparison as LawComparison
    from fitting.cooling.result import LawFit as LawFit

_HOME = {
    "LAWS": "laws",
    "CoolingLog": "log_result",
    "LawComparison": "result",
    "LawFit": "result",
    "compare_laws": "comparing",
    "fit_cooling_log": "cooling_log",
    "laws_of": "of_curve",
}
__all__ = [
    "LAWS", "CoolingLog", "LawComparison", "LawFit", "compare_laws", "fit_cooling_log", "laws_of",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
