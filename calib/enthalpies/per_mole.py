"""What a run's molar enthalpy is "per mole" of, and the two values to hold it against.

ΔH per mole of the basis = ΔH per mole of reaction as written / (moles of basis per reaction)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.errors import ReactionError
from calib.reactions.basis import REACTION, Basis, basis_of, default_basis

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.estimate import Estimate
    from calib.reactions.concentration import Expected
    from calib.run_model.prepared import PreparedRun

__all__ = [
    "ComparedWith",
    "chosen_basis",
    "compared_with",
    "on_basis",
    "step_to_25",
    "two_values",
]


def chosen_basis(prepared: PreparedRun, wanted: str = "") -> tuple[Basis, str]:
    """The basis of a run, and a remark where the wish cannot be had for its reaction.

    Without a wish: the reaction as written, in the words that textbooks use where that is the
    same number (per mole of water formed, per mole of salt dissolved).
    """
    equation = prepared.process.equation
    if equation is None:
        diluted = prepared.diluted
        words = f"{diluted.species} diluted" if diluted is not None else "what was added"
        return Basis(REACTION, 1.0, f"per mole of {words}"), ""
    if wanted.strip():
        try:
            return basis_of(equation, wanted), ""
        except ReactionError as error:
            usual, _ = chosen_basis(prepared)
            return usual, f"{error}. Given {usual.words}"
    return default_basis(equation), ""


def on_basis(expected: Expected, basis: Basis) -> Expected:
    """Both values and their terms, per mole of the basis."""
    factor = 1.0 / basis.moles_per_reaction
    if factor == 1.0:
        return expected

    def scaled(one: Estimate) -> Estimate:
        return replace(one, value=one.value * factor, u=one.u * factor)

    return replace(
        expected,
        at_infinite_dilution=scaled(expected.at_infinite_dilution),
        at_run=scaled(expected.at_run) if expected.at_run is not None else None,
        lines=tuple(
            replace(line, value=line.value * factor, u=line.u * factor) for line in expected.lines
        ),
    )


def two_values(expected: Expected | None, *, molar: bool = True) -> dict[str, Any]:
    """The accepted value and the one expected in this run, with what the second is made of.

    ``why_no_expected`` says why only the first can be given; ``None`` where both stand and for a
    physical quantity, which has no concentration to speak of (``molar`` false).
    """
    at_run = expected.at_run if expected is not None else None
    accepted = expected.at_infinite_dilution if expected is not None else None
    return {
        "reference_kJ_per_mol": accepted.value if accepted else None,
        "u_reference_kJ_per_mol": accepted.u if accepted else None,
        "reference_source": accepted.source if accepted else None,
        "expected_at_run_kJ_per_mol": at_run.value if at_run is not None else None,
        "u_expected_at_run_kJ_per_mol": at_run.u if at_run is not None else None,
        "expected_why": _made_of(expected),
        "expected_band": (expected.band or None) if expected is not None else None,
        "why_no_expected": _why_not(expected) if molar else None,
        "expected_lines": [
            {
                "what": line.what,
                "kJ_per_mol": line.value,
                "u_kJ_per_mol": line.u,
                "source": line.source,
            }
            for line in (expected.lines if expected is not None else ())
        ],
    }


def _made_of(expected: Expected | None) -> str | None:
    if expected is None:
        return None
    if expected.at_run is None:
        return expected.why
    parts = ", ".join(f"{line.what} {line.value:+.2f}" for line in expected.lines)
    return f"sum of {parts} kJ/mol"


def _why_not(expected: Expected | None) -> str | None:
    if expected is None:
        return "no accepted value is known, so none can be carried to this run"
    return expected.why if expected.at_run is None else None


def step_to_25(dCp: Estimate | None, at_C: float, basis: Basis) -> dict[str, Any]:
    """What ΔCp does between the run's temperature and 25 °C, or None where ΔCp is not known.

    ``to_25_C_kJ_per_mol`` is to be added to ΔH at ``at_C`` to have it at 25 °C.
    """
    factor = 1.0 / basis.moles_per_reaction
    away = 25.0 - at_C
    return {
        "dCp_kJ_per_mol_K": dCp.value * factor if dCp else None,
        "u_dCp_kJ_per_mol_K": dCp.u * factor if dCp else None,
        "dCp_source": dCp.source if dCp else None,
        "to_25_C_kJ_per_mol": dCp.value * factor * away if dCp else None,
        "u_to_25_C_kJ_per_mol": dCp.u * factor * abs(away) if dCp else None,
    }


@dataclass(frozen=True, slots=True)
class ComparedWith:
    """What a reaction's runs are to be held against, in the unit and basis of their mean.

    ``expected`` is the mean over the runs of what each is expected to give, ``expected_range`` its
    smallest and largest; ``why_no_expected`` says why only ``reference`` can be given.
    """

    reference: float | None
    u_reference: float | None
    source: str
    expected: float | None = None
    u_expected: float | None = None
    expected_range: tuple[float, float] | None = None
    made_of: str = ""
    why_no_expected: str = ""
    band: str = ""

    def to_json(self) -> dict[str, Any]:
        """Keys of a line of ``summary``."""
        return {
            "reference": self.reference,
            "u_reference": self.u_reference,
            "reference_source": self.source or None,
            "expected_at_runs": self.expected,
            "u_expected_at_runs": self.u_expected,
            "expected_range": list(self.expected_range) if self.expected_range else None,
            "expected_why": self.made_of or None,
            "expected_band": self.band or None,
            "why_no_expected": self.why_no_expected or None,
        }


def compared_with(runs: Sequence[RunResult]) -> ComparedWith:
    """The two values for the runs of one reaction; a physical quantity has the published one."""
    first = runs[0]
    if first.physical is not None:
        p = first.physical
        return ComparedWith(p.reference, None, p.reference_source)
    known = [one.expected for one in runs if one.expected is not None]
    if not known:
        return ComparedWith(None, None, "", why_no_expected=str(_why_not(None)))
    accepted = known[0].at_infinite_dilution
    at_runs = [one.at_run for one in known if one.at_run is not None]
    if len(at_runs) < len(runs):
        why = next(one.why for one in known if one.at_run is None)
        return ComparedWith(accepted.value, accepted.u, accepted.source, why_no_expected=why)
    values = [one.value for one in at_runs]
    return ComparedWith(
        accepted.value,
        accepted.u,
        accepted.source,
        sum(values) / len(values),
        max(one.u for one in at_runs),
        (min(values), max(values)),
        str(_made_of(known[0])),
        band=max((one.band for one in known), key=len),
    )
