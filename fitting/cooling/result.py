"""What comparing cooling laws gives back: each law's fit, and the one that the curve asks for."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

Parameter = tuple[str, float, float, str]
"""Name, value, standard uncertainty, unit."""


class Meant(Enum):
    """What a fading term b e^(−t/τ) beside Newton's law stands for, by the sign of b.

    A wall takes heat after the liquid did, so that the liquid first stands too far from where it
    started: b has the rise's sign. Heat that is still being released leaves it short of that: b has
    the other sign. In a log of cooling alone there is no rise, and the term stays unnamed.
    """

    NOTHING = ""
    WALL = "slow wall"
    LATE_HEAT = "heat still being released"


def meant_by(b_K: float, rise_K: float) -> Meant:
    """What a fading term of b [K] stands for after a change of ``rise_K``.

    >>> meant_by(0.1, 6.0), meant_by(0.1, -6.0)
    (<Meant.WALL: 'slow wall'>, <Meant.LATE_HEAT: 'heat still being released'>)
    """
    product = b_K * rise_K
    return Meant.WALL if product > 0 else Meant.LATE_HEAT if product < 0 else Meant.NOTHING


@dataclass(frozen=True, slots=True)
class LawFit:
    """One cooling law fitted to one stretch of cooling. Standard uncertainties start with ``u_``.

    Attributes:
        name: short name, as in ``LAWS``.
        title: what the law is called in a sentence.
        equation: the law as text.
        parameters: (name, value, u, unit) of each fitted parameter.
        aicc: corrected Akaike criterion of the whitened residuals; less is better.
        delta_aicc: ``aicc`` minus that of the best law in the comparison.
        forecast_rms_K: root mean square of (readings − forecast) over the held-back end, K; NaN
            where the stretch is too short to hold an end back.
        rate_per_s: loss over temperature difference, in the middle of the stretch, 1/s.
        t_inf_C: temperature that the cup tends to, °C.
        residual_rms_K, lag1_autocorrelation: of the readings about the law.
        admissible, why: whether the law may be used on this stretch, and the reason.
        forecast_from: parameters found without the held-back end, in the order of ``parameters``;
            empty where the stretch is too short to hold an end back.
        meant: what the fading term stands for, where the law has one and the rise is known.
    """

    name: str
    title: str
    equation: str
    parameters: tuple[Parameter, ...]
    aicc: float
    delta_aicc: float
    forecast_rms_K: float
    rate_per_s: float
    u_rate_per_s: float
    t_inf_C: float
    u_t_inf_K: float
    residual_rms_K: float = float("nan")
    lag1_autocorrelation: float = float("nan")
    admissible: bool = True
    why: str = ""
    forecast_from: tuple[float, ...] = ()
    meant: Meant = Meant.NOTHING


@dataclass(frozen=True, slots=True)
class LawComparison:
    """Cooling laws side by side on one stretch of cooling.

    Attributes:
        laws: in the order of ``LAWS``, Newton's first.
        chosen: name of the law that the stretch asks for.
        why: the reason in one sentence.
        from_s, to_s: the stretch, seconds on the curve's clock.
    """

    laws: tuple[LawFit, ...]
    chosen: str
    why: str
    from_s: float = float("nan")
    to_s: float = float("nan")

    @property
    def best(self) -> LawFit:
        """The chosen law's fit."""
        return self.named(self.chosen)

    @property
    def meant(self) -> Meant:
        """What the chosen law's fading term stands for."""
        return self.best.meant

    @property
    def verdict(self) -> str:
        """The answer in one sentence."""
        return f"{self.best.title}: {self.why}"

    def named(self, name: str) -> LawFit:
        """The fit of one law.

        Raises:
            KeyError: it was not fitted.
        """
        for one in self.laws:
            if one.name == name:
                return one
        raise KeyError(name)

    def to_frame(self) -> pd.DataFrame:
        """One line a law, as a pandas table."""
        import pandas as pd

        names = (
            "name", "title", "aicc", "delta_aicc", "forecast_rms_K", "rate_per_s", "u_rate_per_s",
            "t_inf_C", "u_t_inf_K", "residual_rms_K", "lag1_autocorrelation", "admissible", "why",
        )  # fmt: skip
        lines = [{name: getattr(one, name) for name in names} for one in self.laws]
        table = pd.DataFrame(lines).set_index("name")
        table["chosen"] = [one.name == self.chosen for one in self.laws]
        return table

    def _repr_html_(self) -> str:
        head = "".join(
            f"<th scope='col'>{name}</th>"
            for name in ("law", "ΔAICc", "forecast rms / mK", "k / (1/min)", "T∞ / °C", "equation")
        )
        body = "".join(_law_row(one) for one in self.laws)
        table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        return f"<p>{escape(self.verdict)}</p>{table}"


def _law_row(one: LawFit) -> str:
    forecast = (
        "" if one.forecast_rms_K != one.forecast_rms_K else f"{1000 * one.forecast_rms_K:.1f}"
    )
    cells = (
        f"{one.delta_aicc:.1f}",
        forecast,
        f"{60 * one.rate_per_s:.4f} ± {60 * one.u_rate_per_s:.4f}",
        f"{one.t_inf_C:.2f} ± {one.u_t_inf_K:.2f}",
        escape(one.equation),
    )
    rest = "".join(f"<td>{cell}</td>" for cell in cells)
    return f"<tr><th scope='row'>{escape(one.title)}</th>{rest}</tr>"
