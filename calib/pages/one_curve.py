"""The page of one corrected curve: what a student studies and a colleague prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from calib.pages.curve_extras import release_blocks, stability_figure, stability_verdict
from calib.pages.explanations import NUMBERS, Meaning, method_meaning
from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.rendering import render
from calib.pages.typeset import minus, plus_minus, signed, span
from calib.rounding import decimals_for, figures
from fitting.corrections.result import Corrected
from fitting.plots import (
    StabilityScan,
    drawn_fits,
    plot_correction,
    plot_methods,
    plot_residuals,
)

if TYPE_CHECKING:
    from fitting.corrections.result import Correction
    from fitting.curve import Curve
    from fitting.heat_release import HeatRelease

DEFAULT_CAUTIONS = (
    "Glass thermometers and sensors break: stir with the stirrer, not with the sensor.",
    "Cups tip over: stand each in a beaker, and keep cables out of the way.",
    "Wear eye protection, also for dilute solutions.",
)
_DASH = "–"


class HasCorrected(Protocol):
    """A comparison of methods that holds the result itself."""

    @property
    def corrected(self) -> Corrected:
        """The corrected curve."""


@dataclass(frozen=True, slots=True)
class ExtraTable:
    """A further table of a page, with a sentence before it."""

    title: str
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    text: str = ""


def curve_page(
    curve: Curve,
    result: Corrected | HasCorrected,
    heat_release: HeatRelease | None = None,
    stability: Sequence[StabilityScan] | None = None,
    *,
    title: str = "",
    cautions: Sequence[str] = DEFAULT_CAUTIONS,
    more_tables: Sequence[ExtraTable] = (),
    release_refused: str = "",
) -> str:
    """One HTML page for one curve: data, lines, residuals, methods, release, stability, meanings.

    Args:
        curve: the readings.
        result: what `correct` or `compare` gave for them.
        heat_release: what `fitting.heat_release.heat_release` gave, if wanted.
        stability: scans of the rise against one choice each, if wanted.
        title: heading of the page; made from the curve's source where empty.
        cautions: sentences for the people at the bench.
        more_tables: further tables for the section on methods.
        release_refused: why there is no heat release, where it was sought.

    Returns:
        the page as text, to be written with `write_page`.
    """
    corrected: Corrected = result if isinstance(result, Corrected) else result.corrected
    scans = tuple(stability or ())
    return render(
        "curve.html.jinja",
        title=title or f"Corrected rise of {curve.source or 'a logged curve'}",
        subtitle=_subtitle(curve),
        **_result(corrected),
        curve_figure=_curve_figure(curve, corrected),
        residual_figure=_residual_figure(curve, corrected),
        **_methods(corrected),
        more_tables=tuple(more_tables),
        **release_blocks(heat_release, release_refused),
        stability_figures=[stability_figure(i, s, corrected) for i, s in enumerate(scans, 1)],
        stability_verdict=stability_verdict(scans, corrected),
        meanings=_meanings(corrected, heat_release),
        cautions=tuple(cautions),
        origin=_origin(curve, corrected),
        guesses=curve.guesses,
    )


def _subtitle(curve: Curve) -> str:
    step = f", step of the reading {curve.resolution_K:g} K" if curve.resolution_K else ""
    return (
        f"{len(curve)} readings over {curve.duration_s / 60:.1f} min, "
        f"one every {curve.step_s:g} s{step}."
    )


def _result(corrected: Corrected) -> dict[str, Any]:
    chosen = corrected.chosen
    return {
        "rise": plus_minus(chosen.rise_K, chosen.u_rise_K),
        "interval": span(chosen.interval95_K).replace(" to ", " and "),
        "method_title": _title(chosen.method),
        "rule": corrected.rule,
        "warnings": corrected.warnings,
        "facts": _facts(corrected),
        "budget": _budget(chosen),
    }


def listed_meaning(name: str) -> Meaning:
    """What a method does, under the title that the list of methods gives it."""
    from fitting.corrections import METHODS

    listed = METHODS.get(name)
    meaning = method_meaning(name, *((listed.title, listed.source) if listed else ()))
    return replace(meaning, name=listed.title) if listed else meaning


def _title(name: str) -> str:
    return listed_meaning(name).name


def _facts(corrected: Corrected) -> list[tuple[str, str, str]]:
    chosen = corrected.chosen
    places = decimals_for(chosen.u_rise_K)
    mixed = f"{corrected.mixed_at_s:.1f} ± {corrected.u_mixed_at_s:.1f}"
    how = "given" if corrected.mixing_given else "found from the curve"
    settled = corrected.settled_after_s
    return [
        ("corrected rise", plus_minus(chosen.rise_K, chosen.u_rise_K), "K"),
        ("95 % interval of the rise", span(chosen.interval95_K), "K"),
        ("temperature before mixing", minus(f"{chosen.before_C:.{places}f}"), "°C"),
        ("temperature without loss", minus(f"{corrected.final_C:.{places}f}"), "°C"),
        (
            "extreme reading",
            minus(f"{corrected.extreme_C:.{places}f} at {corrected.extreme_at_s:.0f} s"),
            "°C",
        ),
        (f"moment of mixing ({how})", mixed, "s"),
        ("settled after", _DASH if settled is None else f"{settled:.0f}", "s"),
        ("cooling rate", _rate(chosen), "1/min"),
        (
            "temperature the cup tends to",
            _DASH if chosen.t_inf_C is None else minus(f"{chosen.t_inf_C:.2f}"),
            "°C",
        ),
    ]


def _rate(method: Correction) -> str:
    k, u = method.cooling_rate_per_s, method.u_cooling_rate_per_s
    if k is None:
        return _DASH
    return plus_minus(60 * k, None if u is None else 60 * u)


def _budget(chosen: Correction) -> list[tuple[str, str, str]]:
    total = chosen.u_rise_K**2
    return [
        (name, figures(1000 * u, 2), f"{100 * u * u / total:.0f}" if total > 0 else _DASH)
        for name, u in sorted(chosen.parts, key=lambda part: -part[1])
    ]


def _curve_figure(curve: Curve, corrected: Corrected) -> FigureBlock:
    chosen, places = corrected.chosen, decimals_for(corrected.chosen.u_rise_K)
    description = (
        f"Readings against time since mixing, with the lines through the fore and after periods. "
        f"The content stood at {chosen.before_C:.{places}f} °C at the moment of mixing and would "
        f"have ended at {corrected.final_C:.{places}f} °C without loss; the extreme reading was "
        f"{corrected.extreme_C:.{places}f} °C."
    )
    ident, title = "figure-curve", "Readings, lines and the corrected end"
    svg = draw_svg(lambda ax: plot_correction(ax, curve, corrected), ident, title, description)
    return FigureBlock(ident, title, description, svg, *_curve_rows(curve, corrected))


def _curve_rows(
    curve: Curve, corrected: Corrected, most: int = 24
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Some two dozen readings, closer together after the mixing, with the lines' values."""
    fits, mixed = drawn_fits(curve, corrected), corrected.mixed_at_s
    since = curve.time_s - mixed
    ends = np.geomspace(max(curve.step_s, 1.0), max(float(since[-1]), 2.0), most - 6)
    wanted = np.concatenate([np.linspace(since[0], 0, 6), ends])
    picked = sorted({int(np.argmin(np.abs(since - at))) for at in wanted})
    residual = dict(zip(fits.residual_time_s.tolist(), fits.residual_K.tolist(), strict=True))
    rows = []
    for index in picked:
        left = residual.get(float(curve.time_s[index]))
        rows.append(
            (
                minus(f"{since[index] / 60:.2f}"),
                minus(f"{curve.temperature_C[index]:.3f}"),
                _DASH if left is None else signed(1000 * left),
            )
        )
    return ("time since mixing / min", "reading / °C", "reading − line / mK"), tuple(rows)


def _residual_figure(curve: Curve, corrected: Corrected) -> FigureBlock:
    fits = drawn_fits(curve, corrected)
    before = fits.residual_time_s < corrected.mixed_at_s
    rows = []
    for name, part in (("fore", fits.residual_K[before]), ("after", fits.residual_K[~before])):
        if part.size:
            rms = 1000 * float(np.sqrt(np.mean(part**2)))
            rows.append((name, str(part.size), f"{rms:.1f}", f"{1000 * np.abs(part).max():.1f}"))
    said = "; ".join(f"{row[0]} period {row[2]} mK rms over {row[1]} readings" for row in rows)
    description = (
        f"What is left of the readings after the lines: {said}. A slow wave means that the law "
        "does not quite hold; steps come from the display."
    )
    ident, title = "figure-residuals", "Residuals of the fore and after periods"
    svg = draw_svg(
        lambda ax: plot_residuals(ax, curve, corrected),
        ident,
        title,
        description,
        wide=(7.4, 2.9),
        narrow=(3.7, 3.0),
    )
    headers = ("period", "readings", "rms / mK", "largest / mK")
    return FigureBlock(ident, title, description, svg, headers, tuple(rows))


def _methods(corrected: Corrected) -> dict[str, Any]:
    names = {m.method: _title(m.method) for m in corrected.methods}
    admissible = [m for m in corrected.methods if m.admissible]
    description = (
        f"The rise by each of {len(corrected.methods)} methods with its 95 % interval. "
        f"{len(admissible)} can be used on this curve (filled marks); the diamond is the one in "
        "use."
    )
    ident, title = "figure-methods", "The rise by every method"
    svg = draw_svg(
        lambda ax: plot_methods(ax, corrected), ident, title, description, wide=(7.4, 3.0)
    )
    used = next(
        (i for i, m in enumerate(corrected.methods) if m.method == corrected.chosen.method), None
    )
    return {
        "method_figure": FigureBlock(ident, title, description, svg),
        "method_headers": (
            "method",
            "rise / K",
            "95 % interval / K",
            "k / (1/min)",
            "rms / mK",
            "lag-1",
            "may be used",
        ),
        "method_rows": [_method_row(m, names[m.method]) for m in corrected.methods],
        "used_row": used,
        "verdicts": [
            {
                "title": names[m.method],
                "verdict": "may be used" if m.admissible else "not to be used here",
                "why": m.why,
            }
            for m in corrected.methods
        ],
        "method_meanings": [listed_meaning(m.method) for m in corrected.methods],
    }


def _method_row(method: Correction, title: str) -> tuple[str, ...]:
    rms = method.residual_rms_K
    return (
        title,
        plus_minus(method.rise_K, method.u_rise_K),
        span(method.interval95_K),
        _rate(method),
        _DASH if rms is None else f"{1000 * rms:.1f}",
        figures(method.lag1_autocorrelation, 2),
        "yes" if method.admissible else "no",
    )


def _meanings(corrected: Corrected, release: HeatRelease | None) -> list[Meaning]:
    chosen, places = corrected.chosen, decimals_for(corrected.chosen.u_rise_K)
    known = {
        "rise": minus(f"{chosen.rise_K:.{places}f} K"),
        "u_rise": f"{chosen.u_rise_K:.{places}f} K",
        "interval": f"{span(chosen.interval95_K)} K",
        "before": minus(f"{chosen.before_C:.{places}f} °C"),
        "cooling": f"{_rate(chosen)} 1/min",
        "t_inf": "" if chosen.t_inf_C is None else f"{chosen.t_inf_C:.2f} °C",
        "settled": (
            ""
            if corrected.settled_after_s is None
            else f"{corrected.settled_after_s:.0f} s after mixing"
        ),
        "rms": "",
        "lag1": "",
    }
    listed = [NUMBERS[name].worth(value) for name, value in known.items()]
    if release is not None:
        listed += [NUMBERS[name] for name in ("flow", "release_time", "smoothing", "lag")]
    return listed


def _origin(curve: Curve, corrected: Corrected) -> list[tuple[str, str]]:
    rows = [
        ("source", curve.source or "arrays"),
        ("readings", str(len(curve))),
        ("clock", f"{curve.time_s[0]:g} to {curve.time_s[-1]:g} s"),
        ("moment of mixing", f"{corrected.mixed_at_s:.1f} s on that clock"),
    ]
    if curve.started is not None:
        rows.append(("started", curve.started.isoformat(sep=" ")))
    if curve.digest:
        rows.append(("SHA-256 of the file", curve.digest))
    return rows
