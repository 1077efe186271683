"""What a cooling log tells: k, T∞, G, the laws side by side, and their views for notebooks."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING

from fitting.cooling.laws import LAWS
from fitting.cooling.result import LawComparison
from fitting.cooling.stretch import Stretch
from fitting.curve import Curve, FloatArray

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

Interval = tuple[float, float]
Parts = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class CoolingLog:
    """What a cooling log tells. Standard uncertainties start with ``u_``.

    Attributes:
        curve: the readings in use.
        stretch: the same, averaged over bins: what the laws were fitted to.
        laws: the cooling laws side by side; ``laws.best`` is the one that is named.
        law: name of the law: the one the readings ask for, or the one that was forced.
        decided_by: the rule that decided, in a sentence.
        rate_per_s: loss over temperature difference at ``middle_C``, 1/s.
        t_inf_C: temperature that the cup tends to, at the start of the stretch, °C.
        rate_interval95_per_s, t_inf_interval95_C, conductance_interval95_W_per_K: 95 % intervals.
        middle_C, start_C, end_C: mean, first and last temperature of the stretch, °C.
        room_C: the noted room temperature, °C.
        heat_capacity_J_per_K: of content and cup, where it was given.
        conductance_W_per_K: G; None without a heat capacity.
        parts: what ``u_rate_per_s`` is made of, (name, 1/s); their squares add up.
        chances: (law, probability that what it stands for is there in more than its ordinary
            size); empty where a law was forced.
        warnings: sentences for people.
    """

    curve: Curve = field(repr=False)
    stretch: Stretch = field(repr=False)
    laws: LawComparison
    law: str
    decided_by: str
    rate_per_s: float
    u_rate_per_s: float
    rate_interval95_per_s: Interval
    t_inf_C: float
    u_t_inf_K: float
    t_inf_interval95_C: Interval
    room_C: float | None
    heat_capacity_J_per_K: float | None
    u_heat_capacity_J_per_K: float
    conductance_W_per_K: float | None
    u_conductance_W_per_K: float | None
    conductance_interval95_W_per_K: Interval | None
    parts: Parts
    chances: tuple[tuple[str, float], ...]
    forced: bool
    warnings: tuple[str, ...]

    @property
    def middle_C(self) -> float:
        """Mean temperature of the stretch, °C."""
        return self.stretch.span.middle_C

    @property
    def start_C(self) -> float:
        """First averaged temperature, °C."""
        return float(self.stretch.y[0])

    @property
    def end_C(self) -> float:
        """Last averaged temperature, °C."""
        return float(self.stretch.y[-1])

    @property
    def verdict(self) -> str:
        """The answer in one sentence."""
        rate = f"k = {60 * self.rate_per_s:.5f} ± {60 * self.u_rate_per_s:.5f} 1/min"
        settles = f"T∞ = {self.t_inf_C:.2f} ± {self.u_t_inf_K:.2f} °C"
        law = f"{self.laws.named(self.law).title}: {self.decided_by}"
        if self.conductance_W_per_K is None:
            return f"{rate}, {settles}; {law}"
        loss = f"G = {self.conductance_W_per_K:.4f} ± {self.u_conductance_W_per_K:.4f} W/K"
        return f"{loss}, {rate}, {settles}; {law}"

    def line_C(self, name: str, *, forecast: bool = False) -> FloatArray | None:
        """What a law says at the times of ``stretch``, °C, shape (n,).

        With ``forecast`` from the parameters found without the held-back end; None where the
        stretch was too short for that.

        Raises:
            KeyError: no such law was fitted.
        """
        import numpy as np

        one, span = self.laws.named(name), self.stretch.span
        p = tuple(value for _, value, _, _ in one.parameters)
        if forecast:
            if not one.forecast_from:
                return None
            from fitting.cooling.comparing import HELD_BACK

            p, span = one.forecast_from, self.stretch.first(1 - HELD_BACK).span
        return LAWS[name].model(np.array(p), self.stretch.t, span)

    def held_from_s(self) -> float:
        """Where the held-back end begins, seconds since the start of the stretch."""
        from fitting.cooling.comparing import HELD_BACK

        keep = self.stretch.first(1 - HELD_BACK).t.size
        return float(self.stretch.t[min(keep, self.stretch.t.size - 1)])

    def to_frame(self) -> pd.DataFrame:
        """One line a law, as a pandas table; ``chosen`` marks the one that is named."""
        table = self.laws.to_frame()
        table["chosen"] = [name == self.law for name in table.index]
        return table

    def readings_frame(self) -> pd.DataFrame:
        """The averaged readings with every law's residual, K: one line a bin."""
        import pandas as pd

        columns = {"since_start_s": self.stretch.t, "temperature_C": self.stretch.y}
        for one in self.laws.laws:
            line = self.line_C(one.name)
            assert line is not None
            columns[f"residual_{one.name}_K"] = self.stretch.y - line
        return pd.DataFrame(columns)

    def plot(self, ax: Axes, what: str = "cooling") -> None:
        """Draw on an Axes: ``cooling``, ``residuals`` or ``forecast``.

        Raises:
            ValueError: there is no such view.
        """
        from fitting.drawings.cooling import draw_cooling

        draw_cooling(ax, self, what)

    def _repr_html_(self) -> str:
        notes = "".join(f"<li>{escape(text)}</li>" for text in self.warnings)
        listed = f"<ul>{notes}</ul>" if notes else ""
        parts = ", ".join(f"{escape(name)} {60 * u:.2g}" for name, u in self.parts)
        made_of = f"<p>u of k in 1/min is made of: {parts}</p>"
        return f"<p>{escape(self.verdict)}</p>{made_of}{listed}{self.laws._repr_html_()}"
