"""What a calibration found: each run, each cup's constant, and the rows that could not be used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from calib.calibration.one_run import CalibrationRun
from calib.calibration.ways import WAY_TITLES
from calib.errors import RowProblem

if TYPE_CHECKING:
    import pandas as pd

    from calib.calibration.combine import Combined
    from calib.calibration.consistency import Agreement
    from calib.calibration.kinds import Shrunk
    from calib.uncertainty import Propagated

__all__ = [
    "OUTLIER_RULE",
    "OUTLYING",
    "CalibrationReport",
    "CupConstant",
    "RunFinding",
    "WallPart",
    "finite",
]

OUTLYING = 3.0
"""A run is called outlying where it lies further than this many standard uncertainties (its own,
the others' and the between-run spread found from the others) from what the other runs say."""
OUTLIER_RULE = (
    f"a run is outlying where it lies more than {OUTLYING:g} standard uncertainties (its own, the "
    "others', and the spread between the others) from what the cup's other runs say; it is kept"
)


@dataclass(frozen=True, slots=True, eq=False)
class RunFinding:
    """One run in a cup's constant: its weight, and how far it lies from what the others say."""

    calibration: CalibrationRun
    weight: float
    leverage: float
    deleted: float
    outlying: bool

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the user should know about this run."""
        if not self.outlying:
            return self.calibration.warnings
        return (
            *self.calibration.warnings,
            f"outlying: {abs(self.deleted):.1f} standard uncertainties from what the cup's other "
            f"runs say (rule: more than {OUTLYING:g}); kept, not dropped",
        )


@dataclass(frozen=True, slots=True)
class WallPart:
    """What a constant shares with the runs in its cup.

    ``part_J_per_K`` is what the constant was found too large by where the wall hides
    ``u_hidden_share`` more of each rise than the ``hidden_share`` allowed for (both over the rise);
    a part of the constant's u. See `calib.run_model.shared_wall`.
    """

    part_J_per_K: float
    hidden_share: float
    u_hidden_share: float

    def to_json(self) -> dict[str, float]:
        """As ``shared_with_runs``."""
        return {
            "wall_part_J_per_K": self.part_J_per_K,
            "hidden_share": self.hidden_share,
            "u_hidden_share": self.u_hidden_share,
        }


@dataclass(frozen=True, slots=True, eq=False)
class CupConstant:
    """A cup's constant. ``combined`` is None where there were cooling logs only.

    ``slope_J_per_K_per_mL`` is its change with the liquid's volume about ``reference_fill_mL``,
    zero where the runs do not ask for one. ``budget`` sums the runs' lines with their weights.
    """

    apparatus: str
    method: str
    combined: Combined | None
    heat_loss_W_per_K: float | None
    u_heat_loss_W_per_K: float | None
    runs: tuple[RunFinding, ...]
    fill_mL: tuple[float, float]
    temperature_C: tuple[float, float]
    reference_fill_mL: float
    slope_J_per_K_per_mL: float
    u_slope_J_per_K_per_mL: float
    budget: tuple[tuple[str, float, float], ...]
    warnings: tuple[str, ...]
    failed_quality: str
    agreements: tuple[Agreement, ...] = ()
    sensor_lag_s: float | None = None
    model_choice: str = ""
    drawn: Shrunk | None = None
    wall: WallPart | None = None

    @property
    def constant_J_per_K(self) -> float:
        """The constant at the reference fill; nan where there were cooling logs only."""
        return self.combined.value if self.combined is not None else math.nan

    @property
    def u_constant_J_per_K(self) -> float:
        """Its standard uncertainty, between-run spread and shared parts included."""
        return self.combined.u if self.combined is not None else math.nan

    @property
    def last_date(self) -> date | None:
        """Date of the last run, from which the constant is valid."""
        dates = [r.calibration.run.date for r in self.runs if r.calibration.run.date is not None]
        return max(dates, default=None)

    def to_json(self) -> dict[str, Any]:
        """The keys of design.md for one constant, and what explains them."""
        c = self.combined
        return {
            "id": None,
            "apparatus": self.apparatus,
            "method": self.method,
            "constant_J_per_K": finite(self.constant_J_per_K),
            "u_constant_J_per_K": finite(self.u_constant_J_per_K),
            "interval95_J_per_K": list(c.interval95) if c is not None else None,
            "degrees_of_freedom": finite(c.dof) if c is not None else None,
            "u_shared_J_per_K": c.u_shared if c is not None else None,
            "heat_loss_W_per_K": self.heat_loss_W_per_K,
            "u_heat_loss_W_per_K": self.u_heat_loss_W_per_K,
            "sensor_lag_s": self.sensor_lag_s,
            "shared_with_runs": self.wall.to_json() if self.wall is not None else None,
            "runs": len(self.runs),
            "between_run_sd_J_per_K": finite(c.between_sd) if c is not None else None,
            "spread_of_runs_J_per_K": finite(c.spread_sd) if c is not None else None,
            "consistency_p": finite(c.p_value) if c is not None else None,
            "fill_mL": list(self.fill_mL),
            "reference_fill_mL": self.reference_fill_mL,
            "constant_slope_J_per_K_per_mL": self.slope_J_per_K_per_mL,
            "u_constant_slope_J_per_K_per_mL": self.u_slope_J_per_K_per_mL,
            "model_choice": self.model_choice,
            "temperature_C": list(self.temperature_C),
            "valid_from": self.last_date.isoformat() if self.last_date else None,
            "agreement": [one.to_json() for one in self.agreements],
            "budget": [
                {"source": source, "u_J_per_K": u, "share_percent": share}
                for source, u, share in self.budget
            ],
            "drawn_towards_kind": self.drawn.to_json() if self.drawn is not None else None,
            "failed_quality": self.failed_quality,
            "status": "not stored",
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationReport:
    """Result of ``calibrate``: constants by cup, runs, problems of rows, notes of reading."""

    constants: tuple[CupConstant, ...]
    problems: tuple[RowProblem, ...]
    notes: tuple[str, ...] = ()
    digest: str = ""

    @property
    def runs(self) -> tuple[RunFinding, ...]:
        """Every run that was used, cup by cup."""
        return tuple(run for constant in self.constants for run in constant.runs)

    def of(self, apparatus: str) -> CupConstant:
        """The constant of one cup. Raises KeyError."""
        for constant in self.constants:
            if constant.apparatus == apparatus:
                return constant
        raise KeyError(apparatus)

    def to_json(self) -> dict[str, Any]:
        """The object of ``calibrate --json``."""
        return {
            "constants": [constant.to_json() for constant in self.constants],
            "runs": [run_json(run) for run in self.runs],
            "outlier_rule": OUTLIER_RULE,
            "errors": [
                {"row": p.row, "column": p.column, "message": p.message, "found": p.found,
                 "expected": p.expected, "remedy": p.remedy}
                for p in self.problems
            ],
            "notes": list(self.notes),
        }  # fmt: skip

    def to_frame(self) -> pd.DataFrame:
        """One line a run, as a pandas table."""
        import pandas as pd

        lines = [
            {k: v for k, v in run_json(run).items() if k not in ("budget", "warnings")}
            | {"warnings": "; ".join(run.warnings)}
            for run in self.runs
        ]
        return pd.DataFrame(lines)


def lag_of_run(run: CalibrationRun) -> tuple[float, float] | None:
    """The sensor's time constant and its u that the run's curve showed [s]; None where it did not.

    >>> from types import SimpleNamespace as Is
    >>> lag_of_run(Is(rise=Is(corrected=Is(sensor_lag_s=6.1, u_sensor_lag_s=0.4))))
    (6.1, 0.4)
    >>> lag_of_run(Is(rise=Is(corrected=None))) is None
    True
    """
    corrected = run.rise.corrected
    value = getattr(corrected, "sensor_lag_s", None)
    if value is None:
        return None
    return float(value), float(getattr(corrected, "u_sensor_lag_s", None) or 0.0)


def run_json(finding: RunFinding) -> dict[str, Any]:
    """One run as an entry of ``runs``."""
    one = finding.calibration
    constant, rise = one.constant, one.rise
    interval = constant.interval95 if constant is not None else None
    lag = lag_of_run(one)
    return {
        "run": one.run.run,
        "apparatus": one.apparatus,
        "way": one.way,
        "date": one.run.date.isoformat() if one.run.date is not None else None,
        "constant_J_per_K": constant.value if constant is not None else None,
        "u_constant_J_per_K": constant.u if constant is not None else None,
        "interval95_J_per_K": list(interval) if interval is not None else None,
        "rise_K": rise.rise_K,
        "u_rise_K": rise.u_own_K,
        "method": rise.method,
        "before_C": rise.before_C,
        "final_C": rise.final_C,
        "cooling_rate_per_s": rise.cooling_rate_per_s,
        "u_cooling_rate_per_s": rise.u_cooling_rate_per_s,
        "sensor_lag_s": lag[0] if lag is not None else None,
        "fill_mL": one.prepared.fill_mL,
        "moment_off": rise.corrected.moment_off if rise.corrected is not None else "",
        "weight": finite(finding.weight),
        "leverage": finite(finding.leverage),
        "deviation_from_others": finite(finding.deleted),
        "outlying": finding.outlying,
        "warnings": list(finding.warnings),
        "budget": budget_json(constant),
    }


def budget_json(result: Propagated | None, unit: str = "u_J_per_K") -> list[dict[str, Any]]:
    """A budget as a list of lines, largest first, lines of nothing left out."""
    if result is None:
        return []
    return [
        {"source": line.source, unit: abs(line.contribution), "share_percent": line.share_percent}
        for line in result.all_lines
        if abs(line.share_percent) >= 0.005
    ]


def method_text(ways: tuple[str, ...]) -> str:
    """The ways a constant rests on, in words."""
    return " and ".join(WAY_TITLES[way] for way in ways)


def finite(value: float) -> float | None:
    """The number, or None where it is not finite: JSON knows no nan."""
    return value if math.isfinite(value) else None
