"""Write a curve as a plain text file of two columns."""

from __future__ import annotations

import os
from pathlib import Path

from fitting.curve import Curve
from fitting.files.outputs import Kind, Outputs, begins_with

__all__ = ["CURVE", "curve_text", "write_curve"]

CURVE = Kind("curve file", (".csv", ".txt"), begins_with("time_s,temperature_C\n"), asks=True)
"""A curve as `write_curve` writes it; logs of any other form are never replaced."""


def write_curve(
    path: str | os.PathLike[str],
    curve: Curve,
    *,
    decimals: int | None = None,
    overwrite: bool = False,
) -> Path:
    """Write a curve as comma-separated UTF-8 text with the header ``time_s,temperature_C``.

    Args:
        path: the file to write, ending in .csv or .txt; its folder must exist.
        curve: the readings.
        decimals: decimals of the temperatures; None takes as many as tell them apart exactly.
        overwrite: replace a file that is there and was written by this function.

    Returns:
        The path written.

    Raises:
        OutputError: the file is there already, or cannot be written.
    """
    return Outputs(overwrite=overwrite).write(CURVE, path, curve_text(curve, decimals=decimals))


def curve_text(curve: Curve, *, decimals: int | None = None) -> str:
    """What `write_curve` writes."""
    lines = ["time_s,temperature_C"]
    for time, temperature in zip(curve.time_s.tolist(), curve.temperature_C.tolist(), strict=True):
        value = repr(temperature) if decimals is None else f"{temperature:.{decimals}f}"
        lines.append(f"{time!r},{value}".replace(".0,", ","))
    return "\n".join(lines) + "\n"
