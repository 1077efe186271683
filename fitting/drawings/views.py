"""Views for notebooks that need a curve and its result together: a drawing, a table, HTML.

The results have views of their own (`Corrected.to_frame`, ``_repr_html_``); what is here joins them
with the readings.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING

from fitting.curve import Curve

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from fitting.corrections.result import Corrected

VIEWS = ("correction", "residuals", "methods", "equal-areas", "release")


def draw(ax: Axes, curve: Curve, corrected: Corrected, what: str = "correction") -> None:
    """Draw one view of a corrected curve on an Axes.

    Args:
        ax: where to draw.
        curve: the readings.
        corrected: what `correct` gave for them.
        what: ``correction``, ``residuals``, ``methods``, ``equal-areas`` or ``release``.

    Raises:
        ValueError: there is no such view.
    """
    from fitting.drawings import curves as plots
    from fitting.release.heat_release import heat_release

    ways: dict[str, Callable[[], None]] = {
        "correction": lambda: plots.plot_correction(ax, curve, corrected),
        "residuals": lambda: plots.plot_residuals(ax, curve, corrected),
        "methods": lambda: plots.plot_methods(ax, corrected),
        "equal-areas": lambda: plots.plot_equal_areas(ax, curve, corrected),
        "release": lambda: plots.plot_heat_release(ax, heat_release(curve, corrected)),
    }
    if what not in ways:
        raise ValueError(f"what is {what!r}; expected one of {', '.join(VIEWS)}")
    ways[what]()


def frame(curve: Curve, corrected: Corrected) -> pd.DataFrame:
    """Readings with time since mixing, the drawn lines' residuals and the temperature without loss.

    Columns: ``time_s``, ``since_mixing_s``, ``temperature_C``, ``residual_K`` (NaN in the main
    period), ``without_loss_C`` (NaN before the mixing, or where no cooling rate is known).
    """
    import numpy as np
    import pandas as pd

    from fitting.drawings.lines import drawn_fits

    fits = drawn_fits(curve, corrected)
    table = curve.to_frame()
    table.insert(1, "since_mixing_s", curve.time_s - corrected.mixed_at_s)
    residual = pd.Series(fits.residual_K, index=fits.residual_time_s)
    table["residual_K"] = residual.reindex(curve.time_s).to_numpy()
    table["without_loss_C"] = np.nan
    if fits.without_loss is not None:
        later = curve.time_s > corrected.mixed_at_s
        table.loc[later, "without_loss_C"] = fits.without_loss.temperature_C[1:]
    return table


def html(curve: Curve, corrected: Corrected, what: str = "correction") -> str:
    """A drawing and every method's numbers, as HTML for a notebook's cell."""
    from fitting.drawings.style import drawing_style, new_figure

    with drawing_style():
        figure, ax = new_figure()
        draw(ax, curve, corrected, what)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    text = buffer.getvalue()
    picture = text[text.index("<svg") :]
    label = escape(f"{what} of {curve.source or 'the curve'}: {corrected.verdict}", quote=True)
    return f'<figure role="img" aria-label="{label}">{picture}</figure>{corrected._repr_html_()}'
