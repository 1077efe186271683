"""Drawings as inline SVG that follows the page's colours, in a wide and a narrow form.

matplotlib draws with the colours of `fitting.drawings.style`; here they become CSS variables, so
that one drawing serves light and dark pages and paper. The narrow form is for phones:
the same data with letters that stay readable. Text stays text, ids are made unique on the page,
no date is written, so that the same input gives the same bytes.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from markupsafe import Markup

from fitting.drawings.style import LIGHT, NARROW_INCHES, WIDE_INCHES, drawing_style, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Draw = Callable[["Axes"], None]

_TAG = re.compile(r"<[^>]+>")
_ID = re.compile(r'\s*\bid="([^"]+)"')
_LINK = re.compile(r'(?:xlink:)?href="#([^"]+)"')
_URL = re.compile(r"url\(#([^)]+)\)")
_LONG_NUMBER = re.compile(r"(\d+\.\d{2})\d+")
_NOT_NEEDED = re.compile(r"<metadata>.*?</metadata>|<style.*?</style>", re.DOTALL)
_FONT = re.compile(r"'DejaVu Sans'[^;\"]*")


@dataclass(frozen=True, slots=True)
class FigureBlock:
    """One figure of a page: drawing, title, text alternative and the table of its numbers.

    ``headers`` and ``rows`` hold the numbers that the drawing shows, as text.
    """

    ident: str
    title: str
    description: str
    svg: Markup
    headers: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def draw_svg(
    draw: Draw,
    ident: str,
    title: str,
    description: str,
    *,
    wide: tuple[float, float] = WIDE_INCHES,
    narrow: tuple[float, float] | None = NARROW_INCHES,
) -> Markup:
    """Call ``draw`` on fresh axes, once a form, and return the SVG elements.

    Args:
        draw: draws on the Axes it is given.
        ident: letters, digits and hyphens; unique on the page.
        title: short name of the drawing, read out first.
        description: what the drawing shows, in a sentence or two.
        wide, narrow: sizes in inches; ``narrow=None`` leaves out the form for phones.
    """
    if narrow is None:
        return _one(draw, ident, "only", title, description, wide)
    return Markup("").join(
        _one(draw, f"{ident}-{form}", form, title, description, size)
        for form, size in (("wide", wide), ("narrow", narrow))
    )


def _one(
    draw: Draw, ident: str, form: str, title: str, description: str, size: tuple[float, float]
) -> Markup:
    with drawing_style():
        figure, axes = new_figure(size, arranged=False)
        draw(axes)
        figure.tight_layout(pad=0.4)
        figure.tight_layout(pad=0.4)  # again: new margins may bring longer numbers to the ticks
        buffer = io.StringIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure.savefig(buffer, format="svg", transparent=True, metadata=nothing)
    return embed(buffer.getvalue(), ident, form, title, description)


def embed(svg: str, ident: str, form: str, title: str, description: str) -> Markup:
    """An SVG document as an element of a page: named, with ids of its own, the page's colours."""
    head, inner = svg[svg.index("<svg") :].split(">", 1)
    view = re.search(r'viewBox="([^"]+)"', head)
    box = view.group(1) if view else "0 0 100 100"
    inner = _NOT_NEEDED.sub("", inner)
    needed = set(_LINK.findall(inner)) | set(_URL.findall(inner))
    inner = _TAG.sub(lambda tag: _adapted(tag.group(0), ident, needed), inner)
    inner = re.sub(r">\s+<", "><", inner.replace("<defs></defs>", ""))
    opening = (
        f'<svg class="drawing {form}" viewBox="{box}" role="img" '
        f'style="max-width:{float(box.split()[2]):.0f}pt" '
        f'aria-labelledby="{ident}-t {ident}-d" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{ident}-t">{escape(title)}</title>'
        f'<desc id="{ident}-d">{escape(description)}</desc>'
    )
    return Markup(opening + inner.strip())


def _adapted(tag: str, ident: str, needed: set[str]) -> str:
    """One tag with the page's ids, colours and letters; text between tags is never touched."""

    def own_id(match: re.Match[str]) -> str:
        return f' id="{ident}-{match.group(1)}"' if match.group(1) in needed else ""

    tag = _ID.sub(own_id, tag)
    tag = _LINK.sub(rf'href="#{ident}-\1"', tag)
    tag = _URL.sub(rf"url(#{ident}-\1)", tag)
    tag = _LONG_NUMBER.sub(r"\1", tag).replace("\n", " ")
    for name, colour in LIGHT.items():
        tag = tag.replace(colour, f"var(--{name})")
    return _FONT.sub("var(--letters)", tag)
