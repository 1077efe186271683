"""Write the pages of a job's results."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.jobs.correcting import CurveReport


def write_curve_page(path: Path, report: CurveReport) -> Path:
    """Write the self-contained page of one curve; returns where it stands.

    Raises:
        InputError: the page cannot be written there.
    """
    from calib.pages import curve_page, write_page

    page = curve_page(report.curve, report.corrected)
    write_page(path, page)
    return path
