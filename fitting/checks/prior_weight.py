"""How much of what is known of the cooling rate came from the registered cup, and how much it buys.

With Gaussian knowledge the pieces of information add: 1/u² = 1/u_prior² + 1/u_curve². The prior's
share of the information on k is therefore (u/u_prior)², u being what is known in the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from fitting.corrections.choice import correct_known
from fitting.corrections.result import Corrected
from fitting.curve import Curve
from fitting.errors import CurveError


@dataclass(frozen=True, slots=True)
class PriorWeight:
    """What a known cooling rate did to one result. Rates in 1/s, rises in K.

    Attributes:
        prior_per_s, u_prior_per_s: the rate that was known before.
        alone_per_s, u_alone_per_s: the rate from the curve alone; None where the method has none.
        found_per_s, u_found_per_s: the rate that the result rests on.
        share: part of the information on the rate that came from the prior, 0 to 1.
        rise_alone_K, u_rise_alone_K: the rise without the prior.
        rise_K, u_rise_K: the rise with it.
    """

    prior_per_s: float
    u_prior_per_s: float
    alone_per_s: float | None
    u_alone_per_s: float | None
    found_per_s: float | None
    u_found_per_s: float | None
    share: float
    rise_alone_K: float
    u_rise_alone_K: float
    rise_K: float
    u_rise_K: float

    @property
    def apart(self) -> float:
        """Distance of curve and prior over the uncertainty of their difference; NaN if unknown."""
        if self.alone_per_s is None or self.u_alone_per_s is None:
            return float("nan")
        u = float(np.hypot(self.u_alone_per_s, self.u_prior_per_s))
        return abs(self.alone_per_s - self.prior_per_s) / u if u > 0 else float("nan")

    @property
    def verdict(self) -> str:
        """Weight, gain and agreement, in one sentence."""
        if self.found_per_s is None:
            return "the method in use takes no cooling rate: the registered one was not used"
        text = (
            f"{100 * self.share:.0f} % of what is known of the cooling rate comes from the "
            f"registered {60 * self.prior_per_s:.4f} ± {60 * self.u_prior_per_s:.4f} 1/min; "
            f"without it the rise would be {self.rise_alone_K:+.3f} ± {self.u_rise_alone_K:.3f} K"
        )
        if self.apart > 3:
            text += (
                f"; the curve alone disagrees with it ({self.apart:.1f} standard uncertainties): "
                "another lid, another fill, or another cup?"
            )
        return text

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.verdict)}</p>"


def weigh_prior(curve: Curve, corrected: Corrected) -> PriorWeight | None:
    """Set a result beside the one that it would be without its prior rate; None without a prior."""
    expected = corrected.known.expected_rate
    if expected is None:
        return None
    rate, u_prior = expected
    try:
        alone = correct_known(curve, corrected.known.without_rate(), corrected.chosen.method).chosen
    except CurveError:  # it was corrected with the prior, so only the prior can be what it needs
        return None
    used = corrected.chosen
    u = used.u_cooling_rate_per_s
    share = float("nan") if u is None or u_prior <= 0 else min((u / u_prior) ** 2, 1.0)
    if corrected.chosen.rate_left_out:
        share = 0.0
    return PriorWeight(
        rate, u_prior, alone.cooling_rate_per_s, alone.u_cooling_rate_per_s,
        used.cooling_rate_per_s, u, share, alone.rise_K, alone.u_rise_K, used.rise_K,
        used.u_rise_K,
    )  # fmt: skip
