"""Colours, line styles and markers of the drawings, chosen to be told apart in three ways.

Every kind of thing has a colour of its own, and also its own line style or marker, so that a
drawing can be read in grey, in print and with any colour vision. The colours are our own: their
contrast with the paper and their distance under simulated colour blindness are checked by a test.
Each colour has a name; a page replaces the value by its own light or dark one.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LIGHT = {
    "ink": "#1c2229",
    "faint": "#c9d0d6",
    "readings": "#4a525a",
    "fore": "#1d3fc4",
    "after": "#9c3206",
    "insulated": "#00856a",
    "release": "#b446b0",
}
DARK = {
    "ink": "#e8ecef",
    "faint": "#3d474f",
    "readings": "#8f959e",
    "fore": "#4a8ff5",
    "after": "#f58a3c",
    "insulated": "#4be3a8",
    "release": "#efd4f9",
}
INK, FAINT = LIGHT["ink"], LIGHT["faint"]
DATA_NAMES = ("readings", "fore", "after", "insulated", "release")

SINCE_MIXING = "time since mixing / min"

WIDE_INCHES = (7.4, 4.0)
NARROW_INCHES = (3.7, 3.6)


@contextmanager
def drawing_style(font_size: float = 9.5) -> Iterator[None]:
    """Settings for a drawing; everything drawn inside shares them, nothing outside changes."""
    import matplotlib as mpl

    settings = {
        "font.size": font_size,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "axes.titlecolor": INK,
        "axes.titlesize": font_size,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.linewidth": 0.8,
        "axes.formatter.useoffset": False,
        "axes.unicode_minus": True,
        "text.color": INK,
        "text.parse_math": False,
        "xtick.color": INK,
        "ytick.color": INK,
        "grid.color": FAINT,
        "grid.linewidth": 0.6,
        "legend.frameon": False,
        "legend.fontsize": font_size,
        "lines.linewidth": 1.6,
        "svg.fonttype": "none",
        "svg.hashsalt": "cupledger",
    }
    with mpl.rc_context(settings):  # type: ignore[arg-type]
        yield


def new_figure(
    inches: tuple[float, float] = WIDE_INCHES, *, arranged: bool = True
) -> tuple[Figure, Axes]:
    """A figure that no global list keeps, with one set of axes; transparent paper.

    ``arranged=False`` leaves the margins to the caller, who may set them once and save time.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=inches, layout="constrained" if arranged else None)
    figure.patch.set_alpha(0.0)
    axes = figure.subplots()
    axes.patch.set_alpha(0.0)
    return figure, axes


def tidy_axes(ax: Axes, x: str, y: str) -> None:
    """Labels and a faint grid behind the data."""
    ax.set_xlabel(x)
    ax.set_ylabel(y)
    ax.grid(visible=True, color=FAINT, linewidth=0.6)
    ax.set_axisbelow(True)


def legend_above(ax: Axes) -> None:
    """A legend outside the data, where it hides nothing, in as many columns as the figure holds."""
    handles, labels = ax.get_legend_handles_labels()
    if not handles:
        return
    letter = 0.6 * float(ax.xaxis.label.get_fontsize())  # width of a letter, on the safe side
    column = letter * (max(map(len, labels)) + 6.5)
    room = 72.0 * 0.86 * float(ax.get_figure(root=True).get_figwidth())  # type: ignore[union-attr]
    ax.legend(
        handles,
        labels,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=int(min(max(room // column, 1), len(handles))),
        borderaxespad=0.2,
        handlelength=2.2,
        columnspacing=1.2,
    )
