"""A class's results put together, reaction by reaction.

The mean's uncertainty has two parts. What the runs share (a stock solution, a cup's constant, one
correlation) stays whatever their number; what is each run's own falls with it, and is taken from
the scatter seen where that exceeds what the budgets say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.enthalpies.one_run import RunResult
from calib.enthalpies.per_mole import ComparedWith, compared_with
from calib.uncertainty import combine_mean, coverage_factor

__all__ = ["ReactionSummary", "robust_mean", "summarise"]

OUTLYING = 3.0


@dataclass(frozen=True, slots=True)
class ReactionSummary:
    """One reaction's runs. Values in ``unit`` and ``per``; ``shared`` names what does not average
    away. ``compared`` holds the accepted value and the one expected in these runs.
    """

    reaction: str
    unit: str
    runs: int
    mean: float
    u_mean: float
    u_independent: float
    u_shared: float
    sd: float
    robust_mean: float
    robust_sd: float
    interval95: tuple[float, float]
    shared: tuple[tuple[str, float], ...]
    outlying: tuple[str, ...]
    chi2_p: float
    per: str
    per_remark: str
    compared: ComparedWith

    def to_json(self) -> dict[str, Any]:
        """The keys of design.md, and what explains them."""
        molar = self.unit == "kJ/mol"
        return {
            "reaction": self.reaction,
            "unit": self.unit,
            "runs": self.runs,
            "mean_kJ_per_mol": self.mean if molar else None,
            "u_mean_kJ_per_mol": self.u_mean if molar else None,
            "sd_kJ_per_mol": _number(self.sd) if molar else None,
            "mean": self.mean,
            "u_mean": self.u_mean,
            "sd": _number(self.sd),
            "u_independent": self.u_independent,
            "u_shared": self.u_shared,
            "robust_mean": self.robust_mean,
            "robust_sd": _number(self.robust_sd),
            "interval95": list(self.interval95),
            "shared": [{"source": name, "u": u} for name, u in self.shared],
            "outlying": list(self.outlying),
            "scatter_p": _number(self.chi2_p),
            "per": self.per,
            "per_remark": self.per_remark or None,
            **self.compared.to_json(),
        }


def summarise(results: Sequence[RunResult]) -> tuple[ReactionSummary, ...]:
    """One summary a reaction, in the order of first appearance."""
    groups: dict[tuple[str, str], list[RunResult]] = {}
    for one in results:
        groups.setdefault((one.process, one.unit), []).append(one)
    return tuple(_summary(name, unit, own) for (name, unit), own in groups.items())


def _summary(name: str, unit: str, runs: list[RunResult]) -> ReactionSummary:
    results = [one.result for one in runs]
    values = np.array([one.value for one in results])
    n = len(runs)
    mean = combine_mean(results)
    sd = float(values.std(ddof=1)) if n > 1 else math.nan
    from_scatter = sd / math.sqrt(n) if n > 1 else 0.0
    u_own = max(mean.u_independent, from_scatter)
    u = math.hypot(u_own, mean.u_shared)
    dof = _dof(u, u_own, n if from_scatter > mean.u_independent else 0)
    half = coverage_factor(dof) * u
    middle, spread = robust_mean(values)
    stated = np.array([math.sqrt(max(r.u**2 - mean.u_shared**2, 1e-30)) for r in results])
    scale = np.maximum(stated, spread if n > 2 else 0.0)
    outlying = tuple(
        one.run.run
        for one, value, s in zip(runs, values, scale, strict=True)
        if n > 2 and abs(value - middle) > OUTLYING * s
    )
    sources = {line.key: line.source for r in results for line in r.lines if line.key is not None}
    shared = tuple(
        (sources.get(key, key), abs(part)) for key, part in mean.shared if abs(part) > 0.02 * u
    )
    return ReactionSummary(
        name, unit, n, mean.value, u, u_own, mean.u_shared, sd, middle, spread,
        (mean.value - half, mean.value + half), shared, outlying,
        _scatter_p(values, stated), runs[0].per, runs[0].basis_remark,
        compared_with(runs),
    )  # fmt: skip


def _dof(u: float, u_own: float, scattered: int) -> float:
    """Welch–Satterthwaite where the independent part comes from the scatter of n runs."""
    if scattered < 2 or u_own == 0.0:
        return math.inf
    return (scattered - 1) * (u / u_own) ** 4


def robust_mean(values: Sequence[float] | np.ndarray[Any, Any]) -> tuple[float, float]:
    """Robust mean and standard deviation by Algorithm A (ISO 13528:2015, annex C; from memory).

    Values further than 1.5 robust standard deviations from the mean are drawn in to that distance,
    mean and 1.134 times the standard deviation are taken again, until nothing changes.
    """
    x = np.asarray(values, dtype=np.float64)
    middle = float(np.median(x))
    spread = 1.483 * float(np.median(np.abs(x - middle)))
    if x.size < 3 or spread == 0.0:
        return float(x.mean()) if x.size < 3 else middle, spread
    for _ in range(200):
        drawn = np.clip(x, middle - 1.5 * spread, middle + 1.5 * spread)
        new, new_spread = float(drawn.mean()), 1.134 * float(drawn.std(ddof=1))
        done = abs(new - middle) < 1e-9 * spread and abs(new_spread - spread) < 1e-9 * spread
        middle, spread = new, new_spread
        if done or spread == 0.0:
            break
    return middle, spread


def _scatter_p(values: np.ndarray[Any, Any], stated: np.ndarray[Any, Any]) -> float:
    """Probability of a scatter at least this large if the runs' own uncertainties are right."""
    from scipy.special import gammaincc

    if values.size < 2:
        return math.nan
    w = 1.0 / stated**2
    q = float(np.sum(w * (values - float(np.sum(w * values) / np.sum(w))) ** 2))
    return float(gammaincc((values.size - 1) / 2.0, q / 2.0))


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
