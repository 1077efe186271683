"""What a heat release gives back: arrays against time, a verdict, and views for notebooks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

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
            probability (None: open end); None where it was not over within the log. An interval
            from 0 means that the release was quicker than the curve can show.
        lag_removed_s, u_lag_removed_s, lag_known: sensor lag that was taken off, and whether
            anyone knew it; ``lag_seen``: it was read off this curve.
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
    u_lag_removed_s: float
    lag_known: bool
    smoothing: float
    misfit: float
    heat_capacity_J_per_K: float | None = None
    u_heat_capacity_J_per_K: float = 0.0
    notes: tuple[str, ...] = ()
    lag_seen: bool = False

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
        share = f"{100 * self.over_share:.0f} %"
        at, u_at = self.release_time_s, self.u_release_time_s
        said = f"63 % of the heat was out {at:.1f} ± {u_at:.1f} s after mixing"
        if self.over_after_s is None or self.over_interval95_s is None:
            return f"{said}; {share} was not reached within the log."
        low, high = self.over_interval95_s
        until = "the end of the log or later" if high is None else f"{high:.0f} s"
        if low > 0:
            return (
                f"{said}; {share} after {self.over_after_s:.0f} s (95 %: {low:.0f} s to {until})."
            )
        if high is None:
            return f"{said}; when {share} was out this curve does not tell."
        how = (
            "The release was quicker than this curve can show"
            if self.lag_known
            else "How quick the release was cannot be told from this curve"
        )
        return (
            f"{how}: {share} of the heat was out within {until} of mixing (95 %), pouring, "
            "stirring and the sensor's lag included."
        )

    @property
    def resolved(self) -> bool:
        """Whether the end of the release can be told from pouring and the sensor's lag."""
        return self.over_interval95_s is not None and self.over_interval95_s[0] > 0

    def facts(self) -> dict[str, Any]:
        """The numbers for scripts; joules and watts where the heat capacity was given.

        Without it the heat is told per J/K of content and cup: the total in K (1 K = 1 J for each
        J/K), the flow in K/s (1 K/s = 1 W for each J/K).
        """
        facts: dict[str, Any] = {
            "total_K": self.total_K,
            "u_total_K": self.u_total_K,
            "heat_capacity_J_per_K": self.heat_capacity_J_per_K,
            "total_J": self.total_J,
            "u_total_J": self.u_total_J,
            "release_time_s": self.release_time_s,
            "u_release_time_s": self.u_release_time_s,
            "over_share": self.over_share,
            "over_after_s": self.over_after_s if self.resolved else None,
            "over_interval95_s": self.over_interval95_s,
            "resolved": self.resolved,
            "sensor_lag_removed_s": self.lag_removed_s,
            "u_sensor_lag_removed_s": self.u_lag_removed_s,
            "sensor_lag_known": self.lag_known,
            "sensor_lag_from": (
                "this curve" if self.lag_seen else "given" if self.lag_known else "not known"
            ),
            "misfit": self.misfit,
            "verdict": self.verdict,
            "notes": list(self.notes),
        }
        facts["released"] = [
            {"since_mixing_s": at, "fraction": f, "u_fraction": u, "flow_K_per_s": q,
             "u_flow_K_per_s": v}
            for at, f, u, q, v in self.table()
        ]  # fmt: skip
        return facts

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
        from fitting.drawings.curves import plot_heat_release

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
