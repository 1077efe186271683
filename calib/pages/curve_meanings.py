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
    from fitting.heat_release import HeatRelease

_ALL = explanations.NUMBERS | explanations_curve.NUMBERS
_RELEASE = (
    *("total_heat", "without_loss", "fraction", "flow", "release_time", "over", "lag", "misfit"),
)
_LAWS = ("aicc", "forecast", "law_rate")


def meanings(
    corrected: Corrected, release: HeatRelease | None, *, laws: bool, scans: bool
) -> list[tuple[str, Meaning]]:
    """Name and meaning of every number on the page, in the order of its sections."""
    known = _values(corrected)
    names = [*known, "share", "rms", "lag1"]
    if laws:
        names += _LAWS
    if release is not None:
        names += _RELEASE
        known |= _release_values(release)
    if scans:
        names.append("stability")
    return [(name, _ALL[name].worth(known.get(name, ""))) for name in names]


def _values(corrected: Corrected) -> dict[str, str]:
    chosen, places = corrected.chosen, decimals_for(corrected.chosen.u_rise_K)
    k, u_k, settled = (
        chosen.cooling_rate_per_s,
        chosen.u_cooling_rate_per_s,
        corrected.settled_after_s,
    )
    return {
        "rise": minus(f"{chosen.rise_K:.{places}f} K"),
        "u_rise": f"{chosen.u_rise_K:.{places}f} K",
        "interval": f"{span(chosen.interval95_K)} K",
        "before": minus(f"{chosen.before_C:.{places}f} °C"),
        "final": minus(f"{corrected.final_C:.{places}f} °C"),
        "extreme": "",
        "mixed_at": f"{corrected.mixed_at_s:.1f} s",
        "settled": "" if settled is None else f"{settled:.0f} s after mixing",
        "cooling": (
            "" if k is None else f"{plus_minus(60 * k, None if u_k is None else 60 * u_k)} 1/min"
        ),
        "t_inf": "" if chosen.t_inf_C is None else minus(f"{chosen.t_inf_C:.2f} °C"),
    }


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
    return replace(meaning, name=listed.title) if listed else meaning
