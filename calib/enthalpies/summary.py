"""A class's results put together, reaction by reaction.

The mean's uncertainty has two parts. What the runs share (a stock solution, a cup's constant, one
correlation) stays whatever their number; what is each run's own falls with it, and is taken from
the scatter seen where that exceeds what the budgets say.
"""

from __future__ import annotations

import math
from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.enthalpies.one_run import RunResult
from calib.enthalpies.per_mole import ComparedWith, compared_with
from calib.uncertainty import combine_mean, coverage_factor
from calib.uncertainty.means import robust_mean, u_robust_mean

__all__ = ["ReactionSummary", "summarise"]

OUTLYING = 3.0


@dataclass(frozen=True, slots=True)
class ReactionSummary:
    """One reaction's runs. Values in ``unit`` and ``per``; ``shared`` names what does not average
    away. ``compared`` holds the accepted value and the one expected in these runs.

    ``runs`` counts all of them, ``left_out`` names those that are not in any mean
    (`calib.enthalpies.tested` says why). ``robust_mean`` with ``u_robust_mean`` is what the
    expected value is held against.
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
    u_robust_mean: float = math.nan
    left_out: tuple[str, ...] = ()

    @property
    def in_mean(self) -> int:
        """How many runs the mean is taken of."""
        return self.runs - len(self.left_out)

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
            "u_robust_mean": _number(self.u_robust_mean),
            "runs_in_mean": self.in_mean,
            "left_out": list(self.left_out),
            "interval95": list(self.interval95),
            "shared": [{"source": name, "u": u} for name, u in self.shared],
            "outlying": list(self.outlying),
            "scatter_p": _number(self.chi2_p),
            "per": self.per,
            "per_remark": self.per_remark or None,
            **self.compared.to_json(),
        }


def summarise(
    results: Sequence[RunResult], left_out: Container[int] = ()
) -> tuple[ReactionSummary, ...]:
    """One summary a reaction, in the order of first appearance.

    ``left_out`` holds the places in ``results`` of those that are in no mean. Where it holds all
    of a reaction, all are in: a mean that nobody can trust still shows that none can be trusted.
    """
    groups: dict[tuple[str, str], list[tuple[RunResult, bool]]] = {}
    for place, one in enumerate(results):
        groups.setdefault((one.process, one.unit), []).append((one, place not in left_out))
    summaries = []
    for (name, unit), own in groups.items():
        kept = [one for one, stays in own if stays] or [one for one, _ in own]
        out = tuple(one.run.run for one, _ in own if one not in kept)
        summaries.append(_summary(name, unit, kept, out))
    return tuple(summaries)


def _summary(
    name: str, unit: str, runs: list[RunResult], left_out: tuple[str, ...]
) -> ReactionSummary:
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
    u_middle = math.hypot(
        u_robust_mean(max(spread, float(np.median(stated))), n) if n > 2 else u_own, mean.u_shared
    )
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
        name, unit, n + len(left_out), mean.value, u, u_own, mean.u_shared, sd, middle, spread,
        (mean.value - half, mean.value + half), shared, outlying,
        _scatter_p(values, stated), runs[0].per, runs[0].basis_remark,
        compared_with(runs), u_middle, left_out,
    )  # fmt: skip


def _dof(u: float, u_own: float, scattered: int) -> float:
    """Welch–Satterthwaite where the independent part comes from the scatter of n runs."""
    if scattered < 2 or u_own == 0.0:
        return math.inf
    return (scattered - 1) * (u / u_own) ** 4


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
