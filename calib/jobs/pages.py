"""Write the pages of a job's results."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.jobs.cooling_down import CooldownReport
    from calib.jobs.correcting import CurveReport
    from calib.jobs.evaluating import TableResults
    from calib.outputs import Outputs
    from calib.registry import StoredConstant
    from fitting.corrections import Corrected
    from fitting.curve import Curve


def write_curve_page(path: Path, report: CurveReport, *, outputs: Outputs | None = None) -> Path:
    """Write the self-contained page of one curve; returns where it stands.

    Raises:
        OutputError: the page may not or cannot be written there.
    """
    from calib.pages import curve_page, write_page

    page = curve_page(
        report.curve,
        report.comparison or report.corrected,
        report.release,
        release_refused=report.release_refused,
    )
    return write_page(path, page, outputs=outputs)


def write_cooldown_page(
    path: Path, report: CooldownReport, *, outputs: Outputs | None = None
) -> Path:
    """Write the self-contained page of one cooling log; returns where it stands.

    Raises:
        OutputError: the page may not or cannot be written there.
    """
    from calib.pages import cooldown_page, write_page

    return write_page(path, cooldown_page(report), outputs=outputs)


def write_class_page(
    path: Path, results: TableResults, *, numbers: bool = False, outputs: Outputs | None = None
) -> Path:
    """Write the self-contained page of one table of runs, each curve with its correction.

    ``numbers`` writes numbers in place of the groups' names, which are then nowhere in the file.

    Raises:
        OutputError: the page may not or cannot be written there.
    """
    from calib.outputs import Outputs as New
    from calib.outputs import reads_table
    from calib.pages import class_page, write_page
    from fitting.files.curve_files import read_curve

    curves: dict[str, tuple[Curve, Corrected]] = {}
    for one in results.report.results:
        rise = one.measured.rise
        if one.run.curve_path is not None and rise.corrected is not None:
            curves[one.run.run] = (read_curve(one.run.curve_path), rise.corrected)
    page = class_page(
        results.facts, curves, cautions=_cautions(results.report.results), anonymous=numbers
    )
    return write_page(path, page, outputs=reads_table(outputs or New(), results.table))


def write_certificate(
    path: Path, constant: StoredConstant, chain_head: str = "", *, outputs: Outputs | None = None
) -> Path:
    """Write the one-sheet certificate of a stored constant, with the head of the registry's chain.

    Raises:
        OutputError: the page may not or cannot be written there.
    """
    from calib.pages import certificate_page, write_page

    return write_page(path, certificate_page(constant, chain_head=chain_head), outputs=outputs)


def _cautions(results: tuple[RunResult, ...]) -> tuple[str, ...]:
    """The cautions of all substances in the runs, each once."""
    from calib.reactions.cautions import cautions
    from calib.reactions.equation import Species, parse_species
    from calib.substances.names import resolve

    species: list[Species] = []
    for one in results:
        for text in (one.run.in_cup, one.run.added):
            if text is None:
                continue
            formula, state = resolve(text)
            species.append(parse_species(f"{formula}({state})"))
    return cautions(dict.fromkeys(species))
