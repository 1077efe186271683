"""Figures of a curve's page that show readings and lines: whole, enlarged, residuals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.typeset import minus, plus_minus, signed
from fitting.drawings.curves import (
    drawn_fits,
    plot_correction,
    plot_end,
    plot_equal_areas,
    plot_residuals,
)
from fitting.drawings.lines import areas_Ks

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.curve import Curve

_DASH = "–"


def curve_figure(curve: Curve, corrected: Corrected) -> FigureBlock:
    """Readings with the lines through both periods and the rise at the moment of mixing."""
    chosen = corrected.chosen
    description = (
        f"Readings against time since mixing, with the lines through the fore and after periods. "
        f"The content stood at {plus_minus(chosen.before_C, chosen.u_before_K)} °C at the moment "
        f"of mixing and would have ended at {plus_minus(corrected.final_C, chosen.u_final_K)} °C "
        f"without loss; the extreme reading was "
        f"{plus_minus(corrected.extreme_C, corrected.u_extreme_K)} °C."
    )
    ident, title = "figure-curve", "Readings, lines and the corrected end"
    svg = draw_svg(lambda ax: plot_correction(ax, curve, corrected), ident, title, description)
    return FigureBlock(ident, title, description, svg, *_curve_rows(curve, corrected))


def end_figure(curve: Curve, corrected: Corrected) -> FigureBlock:
    """The corrected end enlarged, so that the correction itself can be seen."""
    chosen = corrected.chosen
    lacks = corrected.extreme_C - corrected.final_C
    u_lacks = float(np.hypot(corrected.u_extreme_K, chosen.u_final_K or chosen.u_rise_K))
    description = (
        f"The same curve, enlarged about its end. Without loss it would stand at "
        f"{plus_minus(corrected.final_C, chosen.u_final_K)} °C. The extreme reading lies "
        f"{plus_minus(abs(1000 * lacks), 1000 * u_lacks)} mK "
        f"{'above' if lacks > 0 else 'below'} that: {_what_it_means(corrected)}."
    )
    ident, title = "figure-end", "The end at the moment of mixing, enlarged"
    svg = draw_svg(lambda ax: plot_end(ax, curve, corrected), ident, title, description)
    return FigureBlock(ident, title, description, svg)


def _what_it_means(corrected: Corrected) -> str:
    """Whether the correction puts something back or takes something off."""
    raw = abs(corrected.extreme_C - corrected.chosen.before_C)
    if raw <= abs(corrected.chosen.rise_K):
        return "this is what the correction puts back"
    return "the corrected change is smaller than the one that was read"


def areas_figure(curve: Curve, corrected: Corrected) -> FigureBlock | None:
    """The classical figure: both lines, the vertical, and two equal areas; None without them."""
    one = next((m for m in corrected.methods if m.balance is not None), None)
    if one is None or one.balance is None:
        return None
    left, right = (abs(area) for area in areas_Ks(curve, one.balance))
    since = one.balance.at_s - one.balance.mixed_at_s
    description = (
        f"Both drift lines, drawn to the vertical {since:.1f} s after the mixing. Left of it the "
        f"readings and the fore line enclose {left:.3g} K s, right of it after line and readings "
        f"{right:.3g} K s. The vertical's length, {plus_minus(one.rise_K, one.u_rise_K)} K, is the "
        "rise by this method."
    )
    ident, title = "figure-areas", "Equal areas"
    svg = draw_svg(
        lambda ax: plot_equal_areas(ax, curve, corrected), ident, title, description,
        wide=(7.4, 2.9), narrow=(3.7, 3.0),
    )  # fmt: skip
    return FigureBlock(ident, title, description, svg)


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


def residual_figure(curve: Curve, corrected: Corrected) -> FigureBlock:
    """What is left of the readings after the lines."""
    fits = drawn_fits(curve, corrected)
    before = fits.residual_time_s < corrected.mixed_at_s
    rows = []
    for name, part in (("fore", fits.residual_K[before]), ("after", fits.residual_K[~before])):
        if part.size:
            rms = 1000 * float(np.sqrt(np.mean(part**2)))
            rows.append((name, str(part.size), f"{rms:.1f}", f"{1000 * np.abs(part).max():.1f}"))
    said = "; ".join(f"{row[0]} period {row[2]} mK rms over {row[1]} readings" for row in rows)
    description = (
        f"What is left of the readings after the fore line and the fit in use: {said}. A slow "
        "wave means that the law does not quite hold; steps come from the display."
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
