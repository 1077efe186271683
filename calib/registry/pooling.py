"""What a kind of cup is worth: mean, and how much one cup of the kind differs from another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Member:
    """One cup's share in the pool of its kind."""

    apparatus: str
    constant_id: int
    constant_J_per_K: float
    u_constant_J_per_K: float
    heat_loss_W_per_K: float | None = None
    u_heat_loss_W_per_K: float | None = None


@dataclass(frozen=True, slots=True)
class KindPooled:
    """Pooled value of a kind, for a cup of it that has no constant of its own.

    ``u_constant_J_per_K`` is the standard uncertainty of one more cup of the kind (spread between
    cups included, widened for the number of cups so that ± 1.96 u holds 95 %);
    ``u_mean_J_per_K`` that of the kind's mean alone.
    """

    kind: str
    cups: int
    constant_J_per_K: float
    u_constant_J_per_K: float
    u_mean_J_per_K: float
    between_cup_sd_J_per_K: float
    heat_loss_W_per_K: float | None
    u_heat_loss_W_per_K: float | None
    members: tuple[Member, ...]
    left_out: tuple[str, ...] = ()  # cups whose constant in force is no cup's

    @property
    def why(self) -> str:
        """One sentence that says what the value is made of."""
        names = ", ".join(member.apparatus for member in self.members)
        out = f" ({', '.join(self.left_out)} left out: no such cup)" if self.left_out else ""
        return (
            f"pooled value of the kind {self.kind!r}: mean of {self.cups} cups ({names}), which"
            " differ by"
            f" {self.between_cup_sd_J_per_K:.2g} J/K (standard deviation){out}"
        )


def moments(values: Sequence[float], u: Sequence[float]) -> tuple[float, float, float]:
    """Weighted mean, its standard uncertainty, and the spread between items (method of moments).

    With w_i = 1/u_i² and Q = Σ w_i (x_i − x̄)²:

        τ² = max(0, (Q − (n − 1)) / (Σw − Σw²/Σw)),

    then the mean with weights 1/(u_i² + τ²). Source: DerSimonian and Laird, Controlled Clinical
    Trials 7 (1986) 177-188, eq. 8 and 9.
    """
    weights = [1.0 / s**2 for s in u]
    total = sum(weights)
    mean = sum(w * x for w, x in zip(weights, values, strict=True)) / total
    q = sum(w * (x - mean) ** 2 for w, x in zip(weights, values, strict=True))
    spread = total - sum(w * w for w in weights) / total
    tau2 = max(0.0, (q - (len(values) - 1)) / spread) if spread > 0 else 0.0
    weights = [1.0 / (s**2 + tau2) for s in u]
    total = sum(weights)
    mean = sum(w * x for w, x in zip(weights, values, strict=True)) / total
    return mean, 1.0 / math.sqrt(total), math.sqrt(tau2)


def pool(kind: str, members: Sequence[Member]) -> KindPooled:
    """Pool the cups of a kind (two or more). Raises ValueError for fewer."""
    if len(members) < 2:
        raise ValueError("two cups are needed to say how cups of a kind differ")
    mean, u_mean, tau = moments(
        [m.constant_J_per_K for m in members], [m.u_constant_J_per_K for m in members]
    )
    losses = [
        (m.heat_loss_W_per_K, m.u_heat_loss_W_per_K)
        for m in members
        if m.heat_loss_W_per_K is not None and m.u_heat_loss_W_per_K
    ]
    loss, u_loss = None, None
    if len(losses) >= 2:
        values = [value for value, _ in losses]
        loss = moments(values, [u for _, u in losses])[0]
        u_loss = spread_of_one_more(values)
    return KindPooled(
        kind=kind,
        cups=len(members),
        constant_J_per_K=mean,
        u_constant_J_per_K=max(
            spread_of_one_more([m.constant_J_per_K for m in members]), math.hypot(tau, u_mean)
        ),
        u_mean_J_per_K=u_mean,
        between_cup_sd_J_per_K=tau,
        heat_loss_W_per_K=loss,
        u_heat_loss_W_per_K=u_loss,
        members=tuple(members),
    )


def spread_of_one_more(values: Sequence[float]) -> float:
    """Standard uncertainty of one more cup, from the scatter s of the n cups' constants.

    u = s √(1 + 1/n) t₀.₉₇₅(n − 1)/1.96: the interval ± 1.96 u is the usual 95 % prediction interval
    for one more observation. s holds the calibrations' own uncertainty too, so it errs on the
    wide side.
    """
    from scipy.special import stdtrit

    n = len(values)
    mean = math.fsum(values) / n
    s = math.sqrt(math.fsum((x - mean) ** 2 for x in values) / (n - 1))
    return s * math.sqrt(1.0 + 1.0 / n) * float(stdtrit(n - 1, 0.975)) / 1.96
