"""Constants of cups from calibration runs: ``calibrate(table)``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.calibration.combine import combine
    from calib.calibration.from_table import calibrate, calibrate_runs
    from calib.calibration.report import CalibrationReport, CupConstant

_HOME = {
    "calibrate": "from_table",
    "calibrate_runs": "from_table",
    "combine": "combine",
    "CalibrationReport": "report",
    "CupConstant": "report",
}
__all__ = ["CalibrationReport", "CupConstant", "calibrate", "calibrate_runs", "combine"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
