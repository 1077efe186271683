"""Which meanings a curve's page needs, each with this curve's value."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib.pages import explanations, explanations_curve
from calib.pages.explanations import Meaning, method_meaning
from calib.pages.typeset import minus, plus_minus, span
from calib.rounding import decimals_for

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.release.heat_release import HeatRelease
    from fitting.release.settling import Settled

_ALL = explanations.NUMBERS | explanations_curve.NUMBERS
_RELEASE = (
    *("total_heat", "without_loss", "fraction", "flow", "release_time", "over", "lag", "misfit"),
)
_LAWS = ("aicc", "forecast", "law_rate")


def meanings(
    corrected: Corrected,
    release: HeatRelease | None,
    settled: Settled | None,
    *,
    laws: bool,
    scans: bool,
) -> list[tuple[str, Meaning]]:
    """Name and meaning of every number on the page, in the order of its sections."""
    known = _values(corrected, settled)
    names = [*known, "share", "rms", "lag1"]
    if laws:
        names += _LAWS
    if release is not None:
        names += _RELEASE
        known |= _release_values(release)
    if scans:
        names.append("stability")
    return [(name, _ALL[name].worth(known.get(name, ""))) for name in names]


def _values(corrected: Corrected, settled: Settled | None) -> dict[str, str]:
    chosen, places = corrected.chosen, decimals_for(corrected.chosen.u_rise_K)
    k, u_k = chosen.cooling_rate_per_s, chosen.u_cooling_rate_per_s
    return {
        "rise": minus(f"{chosen.rise_K:.{places}f} K"),
        "u_rise": f"{chosen.u_rise_K:.{places}f} K",
        "interval": f"{span(chosen.interval95_K)} K",
        "before": f"{plus_minus(chosen.before_C, chosen.u_before_K)} °C",
        "final": f"{plus_minus(corrected.final_C, chosen.u_final_K)} °C",
        "extreme": f"{plus_minus(corrected.extreme_C, corrected.u_extreme_K)} °C",
        "mixed_at": f"{corrected.mixed_at_s:.1f} s",
        "settled": _when(settled),
        "cooling": (
            "" if k is None else f"{plus_minus(60 * k, None if u_k is None else 60 * u_k)} 1/min"
        ),
        "t_inf": (
            "" if chosen.t_inf_C is None else f"{plus_minus(chosen.t_inf_C, chosen.u_t_inf_K)} °C"
        ),
    }


def _when(settled: Settled | None) -> str:
    if settled is None or settled.u_s is None:
        return ""
    return f"{plus_minus(settled.after_s, settled.u_s)} s after mixing"


def _release_values(release: HeatRelease) -> dict[str, str]:
    values = {"lag": f"{release.lag_removed_s:.1f} s", "misfit": f"{release.misfit:.2f}"}
    if release.release_time_s is not None:
        at = plus_minus(release.release_time_s, release.u_release_time_s)
        values["release_time"] = f"{at} s"
    if release.resolved and release.over_after_s is not None:
        values["over"] = f"{release.over_after_s:.0f} s after mixing"
    return values


def listed_meaning(name: str) -> Meaning:
    """What a method does, under the title that the list of methods gives it."""
    from fitting.corrections import METHODS

    listed = METHODS.get(name)
    meaning = method_meaning(name, *((listed.title, listed.source) if listed else ()))
    if listed is None:
        return meaning
    return replace(meaning, name=listed.title, equation=listed.equation or meaning.equation)
