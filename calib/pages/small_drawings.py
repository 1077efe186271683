"""Small drawings for pages with hundreds of them: plain SVG, a few kilobytes and no delay each.

matplotlib needs some 0.1 s and 100 kB for a figure; a class of 300 groups would cost half a minute
and tens of megabytes. These two drawings are made of a handful of elements instead. Their
colours are the page's CSS variables.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from markupsafe import Markup

from fitting.drawings.curves import thinned
from fitting.drawings.lines import drawn_fits

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.curve import Curve, FloatArray

_LETTER = 6.4  # width of a letter of 11 units, on the safe side


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round values that divide a range: steps of 1, 2 or 5 times a power of ten.

    >>> ticks(0.0, 10.0, 6)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    span = high - low
    if not (math.isfinite(span) and span > 0):
        return [low]
    raw = span / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(i * step, 12) for i in range(first, last + 1)]


def number(value: float) -> str:
    """A tick's label with a true minus sign."""
    return f"{value:.10g}".replace("-", "−")


@dataclass(frozen=True, slots=True)
class _Frame:
    """Maps data to the drawing's units; y grows upwards."""

    left: float
    top: float
    width: float
    height: float
    x: tuple[float, float]
    y: tuple[float, float]

    def px(self, value: float) -> float:
        low, high = self.x
        return self.left + self.width * (value - low) / (high - low)

    def py(self, value: float) -> float:
        low, high = self.y
        return self.top + self.height * (high - value) / (high - low)

    def path(self, x: FloatArray, y: FloatArray) -> str:
        points = [
            f"{self.px(a):.1f} {self.py(b):.1f}"
            for a, b in zip(x.tolist(), y.tolist(), strict=True)
        ]
        return "M" + "L".join(points)


def _padded(values: Sequence[float], share: float = 0.06) -> tuple[float, float]:
    low, high = min(values), max(values)
    pad = share * (high - low) or max(abs(high) * 0.01, 0.5)
    return low - pad, high + pad


def _open_svg(
    width: float, height: float, ident: str, form: str, title: str, description: str
) -> str:
    return (
        f'<svg class="drawing {form}" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'style="max-width:{width:.0f}px" aria-labelledby="{ident}-t {ident}-d" font-size="11" '
        'font-family="var(--letters)" fill="var(--ink)" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{ident}-t">{escape(title)}</title>'
        f'<desc id="{ident}-d">{escape(description)}</desc>'
    )


def _x_axis(frame: _Frame, most: int, label: str) -> str:
    bottom = frame.top + frame.height
    parts = []
    for value in ticks(*frame.x, most):
        x = frame.px(value)
        parts.append(
            f'<path d="M{x:.1f} {frame.top:.1f}V{bottom:.1f}" stroke="var(--faint)"/>'
            f'<text x="{x:.1f}" y="{bottom + 14:.1f}" text-anchor="middle">{number(value)}</text>'
        )
    middle = frame.left + frame.width / 2
    parts.append(
        f'<text x="{middle:.1f}" y="{bottom + 30:.1f}" text-anchor="middle">{escape(label)}</text>'
        f'<path d="M{frame.left:.1f} {bottom:.1f}h{frame.width:.1f}" stroke="var(--ink)"/>'
    )
    return "".join(parts)


def _y_axis(frame: _Frame, most: int, label: str) -> str:
    parts = [f'<text x="2" y="{frame.top - 8:.1f}">{escape(label)}</text>']
    for value in ticks(*frame.y, most):
        y = frame.py(value)
        parts.append(
            f'<path d="M{frame.left:.1f} {y:.1f}h{frame.width:.1f}" stroke="var(--faint)"/>'
            f'<text x="{frame.left - 5:.1f}" y="{y + 4:.1f}" text-anchor="end">'
            f"{number(value)}</text>"
        )
    return "".join(parts)


def small_curve(
    curve: Curve, corrected: Corrected, ident: str, title: str, description: str
) -> Markup:
    """Readings, both lines and the corrected end of one run, some 4 kB."""
    mixed, chosen = corrected.mixed_at_s, corrected.chosen
    time, temperature = thinned(curve, mixed, most=140)
    fits = drawn_fits(curve, corrected)
    low, high = (chosen.before_C + edge for edge in chosen.interval95_K)
    ends = [chosen.before_C, corrected.final_C]
    ends += [v for v in (low, high) if math.isfinite(v)]
    minutes = (time - mixed) / 60
    frame = _Frame(
        46,
        24,
        344,
        176,
        _padded([float(minutes[0]), float(minutes[-1]), 0.0], 0.02),
        _padded([float(temperature.min()), float(temperature.max()), *ends]),
    )
    parts = [_open_svg(400, 236, ident, "only", title, description)]
    parts += [_x_axis(frame, 7, "time since mixing / min"), _y_axis(frame, 6, "°C")]
    parts.append(_stroke(frame.path(minutes, temperature), "readings", 1.3))
    if fits.fore is not None:
        parts.append(
            _stroke(frame.path((fits.fore.time_s - mixed) / 60, fits.fore.temperature_C), "fore", 2)
        )
    every = max(1, fits.after.time_s.size // 12)
    after_x = (fits.after.time_s[::every] - mixed) / 60
    parts.append(_stroke(frame.path(after_x, fits.after.temperature_C[::every]), "after", 2))
    back = (fits.extrapolated.time_s[::10] - mixed) / 60
    parts.append(
        _stroke(frame.path(back, fits.extrapolated.temperature_C[::10]), "after", 2, "5 3")
    )
    parts.append(_rise_mark(frame, chosen.before_C, corrected.final_C))
    return Markup("".join(parts) + "</svg>")


def _stroke(path: str, name: str, width: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{path}" fill="none" stroke="var(--{name})" stroke-width="{width:g}"{dashed}/>'


def _rise_mark(frame: _Frame, before_C: float, final_C: float) -> str:
    x, y0, y1 = frame.px(0.0), frame.py(before_C), frame.py(final_C)
    return (
        f'<path d="M{x:.1f} {y0:.1f}V{y1:.1f}" stroke="var(--ink)"/>'
        f'<path d="M{x - 3:.1f} {y0 - 3:.1f}h6v6h-6z"/>'
        f'<path d="M{x:.1f} {y1 - 5:.1f}l5 5l-5 5l-5 -5z"/>'
    )


@dataclass(frozen=True, slots=True)
class Point:
    """One group in the drawing of a class. ``number`` is its number on the page."""

    number: int
    label: str
    value: float
    low: float
    high: float
    flagged: bool = False
    aside: bool = False  # left out of the mean: the scale is the others'


@dataclass(frozen=True, slots=True)
class Mark:
    """A line across the drawing of a class: a reference value or the mean, with a band ± u."""

    label: str
    value: float
    half_width: float
    style: str  # "after", "insulated" or "release": a colour with a dash pattern of its own


_DASHES = {"after": "6 3", "insulated": "", "release": "2 2"}


def class_points(
    points: Sequence[Point],
    marks: Sequence[Mark],
    ident: str,
    form: str,
    title: str,
    description: str,
    label: str,
) -> Markup:
    """Every group as a point with its interval, one line each, sorted by value.

    The scale is that of the marks and of the groups in the mean; one that was left out and lies
    beyond it is an arrow at the edge, with its value. Names stand beside the points while there is
    room for them (60 groups); the table has them all.
    """
    width = 720.0 if form == "wide" else 360.0
    named = len(points) <= 60
    row = 20.0 if named else max(3.0, 900.0 / len(points))
    letters = max((len(p.label) for p in points), default=0) if named else 0
    left = 12 + min(letters * _LETTER, 0.3 * width)
    top = 14.0 + 16 * len(marks)
    height = row * max(len(points), 1) + 8
    scaled = [p for p in points if not p.aside] or points
    spots = [p.value for p in scaled] + [m.value for m in marks]
    edges = [e for p in scaled for e in (p.low, p.high) if math.isfinite(e)]
    frame = _Frame(left, top, width - left - 14, height, _clipped(spots, edges), (0.0, 1.0))
    parts = [_open_svg(width, top + height + 38, ident, form, title, description)]
    parts.append(_x_axis(frame, 8 if form == "wide" else 4, label))
    for i, (mark, to_the_left) in enumerate(_mark_rows(frame, marks)):
        parts.append(_mark(frame, mark, to_the_left, 14.0 + 16 * i))
    for at, point in enumerate(sorted(points, key=lambda p: p.value)):
        parts.append(_point(frame, point, top + 4 + row * (at + 0.5), row, named))
    return Markup("".join(parts) + "</svg>")


def _clipped(spots: list[float], edges: list[float]) -> tuple[float, float]:
    """A range that shows all points; intervals far wider than the points' spread run out of it."""
    if not spots:
        return 0.0, 1.0
    low, high = _padded(spots, 0.15)
    reach = max(high - low, 1e-9)
    return max(min([low, *edges]), low - 1.5 * reach), min(max([high, *edges]), high + 1.5 * reach)


def _mark_rows(frame: _Frame, marks: Sequence[Mark]) -> list[tuple[Mark, bool]]:
    """Marks from the top row down, with whether the label stands left of its line.

    In this order no line starts above a label that reaches across it.
    """
    edge = frame.left + frame.width
    right = [m for m in marks if frame.px(m.value) + 6 + _LETTER * len(m.label) > edge]
    left = [m for m in marks if m not in right]
    return [(m, True) for m in sorted(right, key=lambda m: -m.value)] + [
        (m, False) for m in sorted(left, key=lambda m: m.value)
    ]


def _mark(frame: _Frame, mark: Mark, to_the_left: bool, text_y: float) -> str:
    x, bottom = frame.px(mark.value), frame.top + frame.height
    left = max(frame.px(mark.value - mark.half_width), frame.left)
    right = min(frame.px(mark.value + mark.half_width), frame.left + frame.width)
    colour, dashes = f"var(--{mark.style})", _DASHES[mark.style]
    anchor, text_x = ("end", x - 6) if to_the_left else ("start", x + 6)
    return (
        f'<path d="M{left:.1f} {frame.top:.1f}H{right:.1f}V{bottom:.1f}H{left:.1f}z" '
        f'fill="{colour}" fill-opacity="0.14"/>'
        f'<path d="M{x:.1f} {text_y - 9:.1f}V{bottom:.1f}" stroke="{colour}" stroke-width="1.6" '
        f'stroke-dasharray="{dashes or "none"}"/>'
        f'<text x="{text_x:.1f}" y="{text_y:.1f}" text-anchor="{anchor}">'
        f"{escape(mark.label)}</text>"
    )


def _beyond(frame: _Frame, point: Point, y: float, size: float, named: bool) -> str:
    """An arrow at the edge of the scale, with the value that lies beyond it."""
    left = frame.px(point.value) < frame.left
    tip, way = (frame.left, 1) if left else (frame.left + frame.width, -1)
    value = (
        f'<text x="{tip + way * (size + 8):.1f}" y="{y - 3:.1f}" '
        f'text-anchor="{"start" if left else "end"}">{number(float(f"{point.value:.4g}"))}</text>'
        if named
        else ""
    )
    return (
        f'<path d="M{tip:.1f} {y:.1f}l{way * (size + 4):.1f} {-size:.1f}v{2 * size:.1f}z" '
        f'fill="var(--paper)" stroke="var(--ink)" stroke-width="1.4"/>{value}'
    )


def _point(frame: _Frame, point: Point, y: float, row: float, named: bool) -> str:
    x, right = frame.px(point.value), frame.left + frame.width
    low = (
        min(max(frame.px(point.low), frame.left), right) if math.isfinite(point.low) else frame.left
    )
    high = max(min(frame.px(point.high), right), frame.left) if math.isfinite(point.high) else right
    size = min(4.0, 0.45 * row)
    shape = (
        _beyond(frame, point, y, size, named)
        if not frame.left <= x <= right
        else f'<path d="M{x:.1f} {y - size - 1:.1f}l{size + 1:.1f} {size + 1:.1f}'
        f'l{-size - 1:.1f} {size + 1:.1f}l{-size - 1:.1f} {-size - 1:.1f}z" fill="var(--paper)" '
        'stroke="var(--ink)" stroke-width="1.4"/>'
        if point.flagged
        else f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}" fill="var(--fore)"/>'
    )
    name = (
        f'<text class="who" data-number="{point.number}" x="{frame.left - 6:.1f}" y="{y + 4:.1f}" '
        f'text-anchor="end">{escape(point.label)}</text>'
        if named
        else ""
    )
    return (
        f'<g data-group="{point.number}">{name}<path d="M{low:.1f} {y:.1f}H{high:.1f}" '
        f'stroke="var(--fore)" stroke-width="{min(1.6, 0.35 * row + 0.4):.1f}"/>{shape}</g>'
    )
