"""What a heat release gives back: arrays against time, a verdict, and views for notebooks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import FloatArray

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


@dataclass(frozen=True, eq=False)
class HeatRelease:
    """Heat release against time since mixing. Arrays have shape (n,); ``u_`` is k = 1.

    Attributes:
        since_mixing_s: seconds since mixing, from 0.
        without_loss_C, u_without_loss_K: loss-corrected temperature, lag removed, °C and K.
        flow_K_per_s, u_flow_K_per_s: q/C, K/s; negative while heat is taken up.
        fraction, u_fraction: share of all heat released until then.
        total_K, u_total_K: the corrected rise that the fractions refer to.
        heat_capacity_J_per_K: C where it was given; then also ``flow_W``, ``total_J``.
        release_time_s, u_release_time_s: time to 1 − 1/e; None where it is not reached.
        over_share: share at which the release counts as over.
        over_after_s, over_interval95_s: time since mixing and where it lies with 95 %
            probability (None: open end); None where it was not over within the log.
        lag_removed_s: sensor lag that was removed; 0: none, the lag is part of the release.
        smoothing, misfit: λ, and root mean square of the residuals in units of the noise.
        notes: sentences for people.
    """

    since_mixing_s: FloatArray
    without_loss_C: FloatArray
    u_without_loss_K: FloatArray
    flow_K_per_s: FloatArray
    u_flow_K_per_s: FloatArray
    fraction: FloatArray
    u_fraction: FloatArray
    total_K: float
    u_total_K: float
    release_time_s: float | None
    u_release_time_s: float | None
    over_share: float
    over_after_s: float | None
    over_interval95_s: tuple[float, float | None] | None
    lag_removed_s: float
    smoothing: float
    misfit: float
    heat_capacity_J_per_K: float | None = None
    u_heat_capacity_J_per_K: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def flow_W(self) -> FloatArray | None:
        """Heat flow in watts where the heat capacity is known."""
        C = self.heat_capacity_J_per_K
        return None if C is None else C * self.flow_K_per_s

    @property
    def u_flow_W(self) -> FloatArray | None:
        """Its standard uncertainty, W."""
        C, u = self.heat_capacity_J_per_K, self.u_heat_capacity_J_per_K
        if C is None:
            return None
        return np.hypot(C * self.u_flow_K_per_s, u * self.flow_K_per_s)

    @property
    def total_J(self) -> float | None:
        """Heat released, J; for portions that start at one temperature."""
        C = self.heat_capacity_J_per_K
        return None if C is None else C * self.total_K

    @property
    def u_total_J(self) -> float | None:
        """Its standard uncertainty, J."""
        C, u = self.heat_capacity_J_per_K, self.u_heat_capacity_J_per_K
        return None if C is None else float(np.hypot(C * self.u_total_K, u * self.total_K))

    @property
    def verdict(self) -> str:
        """When it was over, in one or two sentences."""
        if self.release_time_s is None or self.u_release_time_s is None:
            return "Less than 63 % of the heat is seen to come out within the log."
        said = (
            f"63 % of the heat was out {self.release_time_s:.1f} ± {self.u_release_time_s:.1f} s "
            "after mixing"
        )
        share = f"{100 * self.over_share:.0f} %"
        if self.over_after_s is None or self.over_interval95_s is None:
            return f"{said}; {share} was not reached within the log."
        low, high = self.over_interval95_s
        until = "the end of the log or later" if high is None else f"{high:.0f} s"
        return f"{said}; {share} after {self.over_after_s:.0f} s (95 %: {low:.0f} s to {until})."

    def table(self, most: int = 16) -> Iterator[tuple[float, float, float, float, float]]:
        """Time, fraction, its u, flow [K/s], its u at ``most`` times spread over the release."""
        index = np.unique(np.linspace(0, self.since_mixing_s.size - 1, most).round().astype(int))
        columns = (
            self.since_mixing_s, self.fraction, self.u_fraction,
            self.flow_K_per_s, self.u_flow_K_per_s,
        )  # fmt: skip
        yield from zip(*(column[index].tolist() for column in columns), strict=True)

    def to_frame(self) -> pd.DataFrame:
        """All points as a pandas table."""
        import pandas as pd

        names = (
            "since_mixing_s", "without_loss_C", "u_without_loss_K", "flow_K_per_s",
            "u_flow_K_per_s", "fraction", "u_fraction",
        )  # fmt: skip
        return pd.DataFrame({name: getattr(self, name) for name in names})

    def plot(self, ax: Axes, show: str = "fraction") -> None:
        """Draw ``fraction`` or ``flow`` on an Axes."""
        from fitting.plots import plot_heat_release

        plot_heat_release(ax, self, show=show)

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{at:.0f}</td><td>{100 * f:.1f} ± {100 * u:.1f}</td>"
            f"<td>{1000 * q:.2f} ± {1000 * v:.2f}</td></tr>"
            for at, f, u, q, v in self.table()
        )
        return (
            f"<p>{escape(self.verdict)}</p><table><thead><tr><th scope='col'>time / s</th>"
            "<th scope='col'>released / %</th><th scope='col'>flow / (mK/s)</th></tr></thead>"
            f"<tbody>{rows}</tbody></table>"
        )
