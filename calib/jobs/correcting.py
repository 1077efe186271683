"""Correct one logged curve, from the file to the facts that scripts rely on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitting.corrections import Corrected
    from fitting.curve import Curve


@dataclass(frozen=True, slots=True, eq=False)
class CurveReport:
    """A curve and what the corrections say of it."""

    curve: Curve
    corrected: Corrected

    def to_json(self) -> dict[str, Any]:
        """The keys that design.md promises for ``correct``, and what explains them."""
        corrected = self.corrected
        chosen = corrected.chosen
        return {
            "mixed_at_s": corrected.mixed_at_s,
            "u_mixed_at_s": corrected.u_mixed_at_s,
            "mixing_given": corrected.mixing_given,
            "before_C": chosen.before_C,
            "final_C": corrected.final_C,
            "rise_K": chosen.rise_K,
            "u_rise_K": chosen.u_rise_K,
            "interval95_K": chosen.interval95_K,
            "made_of": [{"source": name, "u_K": u} for name, u in chosen.parts],
            "method": chosen.method,
            "rule": corrected.rule,
            "cooling_rate_per_s": chosen.cooling_rate_per_s,
            "u_cooling_rate_per_s": chosen.u_cooling_rate_per_s,
            "settles_towards_C": chosen.t_inf_C,
            "settled_after_s": corrected.settled_after_s,
            "extreme_C": corrected.extreme_C,
            "extreme_at_s": corrected.extreme_at_s,
            "methods": [
                {
                    "name": m.method,
                    "rise_K": m.rise_K,
                    "u_rise_K": m.u_rise_K,
                    "interval95_K": m.interval95_K,
                    "cooling_rate_per_s": m.cooling_rate_per_s,
                    "residual_rms_K": m.residual_rms_K,
                    "lag1_autocorrelation": m.lag1_autocorrelation,
                    "admissible": m.admissible,
                    "why": m.why,
                }
                for m in corrected.methods
            ],
            "warnings": list(corrected.warnings),
            "guesses": list(self.curve.guesses),
            "source": self.curve.source,
            "points": len(self.curve.time_s),
            "resolution_K": self.curve.resolution_K,
        }


def correct_file(
    path: Path,
    *,
    reading: dict[str, Any] | None = None,
    mixed_at_s: float | None = None,
    compare: bool = False,
    **choices: Any,
) -> CurveReport:
    """Read a curve file and correct it.

    ``reading`` overrides the reader's guesses (keywords of ``fitting.read_curve``), ``choices``
    are keywords of ``fitting.corrections.correct``. With ``compare`` every method is tried, the
    slow dynamic model too.

    Raises:
        CurveError: the file is no curve, or no correction can be made on it; the message says why.
    """
    from fitting.corrections import correct
    from fitting.curve_files import read_curve

    curve = read_curve(path, **(reading or {}))
    corrected = correct(curve, mixed_at_s=mixed_at_s, **choices)
    if compare and all(m.method != "dynamic" for m in corrected.methods):
        slow = correct(curve, mixed_at_s=mixed_at_s, **{**choices, "method": "dynamic"})
        added = tuple(m for m in slow.methods if m.method == "dynamic")
        corrected = replace(corrected, methods=(*corrected.methods, *added))
    return CurveReport(curve, corrected)
