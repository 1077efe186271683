"""A control chart drawn: values with limits above, moving ranges below."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.registry.control_chart import ControlChart

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def draw(chart: ControlChart, axes: Axes | None = None) -> Axes:
    """Draw the values with their limits into ``axes`` (or a new figure's), and return them.

    A point at which a rule is broken is ringed and named, so that colour alone says nothing.
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
    axes.set_title(chart.name, loc="left", fontsize="medium")
    axes.set_xticks(x, [point.label for point in chart.points], rotation=30, ha="right")
    axes.tick_params(axis="x", labelsize="x-small")
    return axes


def _ring_signals(chart: ControlChart, axes: Axes) -> None:
    broken: dict[int, list[str]] = {}
    for signal in chart.signals:
        broken.setdefault(signal.at, []).append(signal.rule)
    for at, rules in broken.items():
        value = chart.points[at].value
        axes.plot(
            [at + 1], [value], marker="o", markersize=11, markerfacecolor="none", color="#b3261e"
        )
        axes.annotate(
            ", ".join(rules), (at + 1, value), xytext=(0, 9), textcoords="offset points",
            ha="center", fontsize="x-small", color="#b3261e",
        )  # fmt: skip


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
