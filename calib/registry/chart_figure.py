"""A control chart drawn: values with limits above, moving ranges below."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.registry.control_chart import ControlChart, first_of_each

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CAPTION = (
    "bars: 1.96 standard uncertainties of each value; dashed: limits at 3 sigma; ring: a rule is"
    " broken there"
)


def draw(chart: ControlChart, axes: Axes | None = None) -> Axes:
    """Draw the values with their limits into ``axes`` (or a new figure's), and return them.

    A point at which a rule is broken is ringed and numbered, so that colour alone says nothing; the
    rules' names and meanings stand above.
    """
    if axes is None:
        from matplotlib.figure import Figure

        axes = Figure(figsize=(7.0, 3.2), layout="constrained").add_subplot()
    x = list(range(1, len(chart.points) + 1))
    values = [point.value for point in chart.points]
    axes.plot(x, values, color="0.15", marker="o", markersize=4, linewidth=1.0)
    if all(point.u for point in chart.points):
        axes.errorbar(
            x, values, yerr=[1.96 * (point.u or 0.0) for point in chart.points],
            fmt="none", ecolor="0.55", capsize=2, linewidth=0.8,
        )  # fmt: skip
    if x:
        axes.axhline(chart.centre, color="0.4", linewidth=0.8)
        for side in (0, 1):
            axes.plot(
                x, [pair[side] for pair in chart.limits], color="0.4", linestyle="--",
                drawstyle="steps-mid", linewidth=0.8,
            )  # fmt: skip
    _ring_signals(chart, axes)
    axes.set_ylabel(chart.unit)
    axes.set_title(f"{chart.name}{_broken_rules(chart)}", loc="left", fontsize="small")
    ticks = [str(point.day or point.label) for point in chart.points]
    axes.set_xticks(x, ticks, rotation=30, ha="right")
    axes.tick_params(axis="x", labelsize="x-small")
    return axes


def _ring_signals(chart: ControlChart, axes: Axes) -> None:
    broken: dict[int, list[str]] = {}
    for signal in chart.signals:
        broken.setdefault(signal.at, []).append(_short(signal.rule, chart.rules))
    for at, rules in broken.items():
        value = chart.points[at].value
        below = value < chart.centre
        axes.plot(
            [at + 1], [value], marker="o", markersize=11, markerfacecolor="none", color="#b3261e"
        )
        axes.annotate(
            ", ".join(rules), (at + 1, value), xytext=(0, -9 if below else 9),
            textcoords="offset points", ha="center", va="top" if below else "bottom",
            fontsize="small", color="#b3261e",
        )  # fmt: skip


def _short(rule: str, rules: str) -> str:
    return rule.removeprefix(rules).strip().replace("moving range", "range")


def _broken_rules(chart: ControlChart) -> str:
    """The rules that are broken, by name and meaning, a line each."""
    return "".join(
        f"\n{signal.rule}: {signal.meaning}"
        for signal in sorted(first_of_each(chart.signals), key=lambda signal: signal.rule)
    )


def figure(chart: ControlChart) -> Figure:
    """Values above and moving ranges below, in one figure."""
    from matplotlib.figure import Figure

    made = Figure(figsize=(7.0, 5.0), layout="constrained")
    top, bottom = made.subplots(2, 1, height_ratios=(2, 1))
    draw(chart, top)
    x = list(range(2, len(chart.points) + 1))
    bottom.plot(x, chart.moving_ranges, color="0.15", marker="s", markersize=3, linewidth=1.0)
    if x:
        bottom.axhline(chart.range_mean, color="0.4", linewidth=0.8)
        bottom.axhline(chart.range_limit, color="0.4", linestyle="--", linewidth=0.8)
    bottom.set_xlim(top.get_xlim())
    bottom.set_ylabel(f"moving range, {chart.unit}")
    made.supxlabel(CAPTION, fontsize="x-small")
    return made


def sheet(charts: Sequence[ControlChart]) -> Figure:
    """Several charts in one figure, the values of each with its limits."""
    from matplotlib.figure import Figure

    columns = 1 if len(charts) < 3 else 2
    rows = -(-len(charts) // columns)
    made = Figure(figsize=(6.0 * columns, 2.9 * rows), layout="constrained")
    grid = made.subplots(rows, columns, squeeze=False).ravel()
    for axes, chart in zip(grid, charts, strict=False):
        draw(chart, axes)
    for spare in grid[len(charts) :]:
        spare.set_axis_off()
    made.supxlabel(CAPTION, fontsize="x-small")
    return made


def as_text(chart: ControlChart, width: int = 41) -> str:
    """The chart as lines of plain text: each value on its scale, limits as bars, signals named."""
    if not chart.points:
        return chart.verdict
    values = [point.value for point in chart.points]
    low = min([*values, *(pair[0] for pair in chart.limits)])
    high = max([*values, *(pair[1] for pair in chart.limits)])
    span = (high - low) or 1.0

    def column(value: float) -> int:
        return round((value - low) / span * (width - 1))

    size = max(len(point.label) for point in chart.points)
    lines = []
    for at, point in enumerate(chart.points):
        cells = [" "] * width
        for limit in chart.limits[at]:
            cells[column(limit)] = "|"
        cells[column(chart.centre)] = ":"
        cells[column(point.value)] = "o"
        told = ", ".join(signal.rule for signal in chart.signals if signal.at == at)
        line = f"{point.label:<{size}} {point.value:9.2f} {''.join(cells)} {told}"
        lines.append(line.rstrip())
    return "\n".join(lines)
