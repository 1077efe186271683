"""The registry's records as frozen values: what is given to it and what it gives back."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Literal

from calib.registry.errors import RegistryError
from calib.registry.validation import problems
from calib.version import __version__

Status = Literal["draft", "approved", "superseded", "withdrawn"]
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Apparatus:
    """One cup (or set-up) with the identifier that tables of runs use."""

    id: str
    kind: str
    note: str
    registered_at: datetime
    registered_by: str
    retired_on: date | None = None
    retired_why: str = ""
    uid: str = ""


@dataclass(frozen=True, slots=True)
class NewConstant:
    """A constant as a calibration found it, before it is stored. Units are in the names.

    ``u_`` is a standard uncertainty (k = 1). ``valid_from`` is the date of the last calibration run
    unless the user said otherwise. ``rows_json`` holds the raw rows, ``digests`` the SHA-256 of the
    table and of each curve file. ``failed_quality`` says why a calibration should not be trusted;
    such a draft is approved only with a reason.
    ``wall_part_J_per_K`` is what the constant was found too large by where the cup's wall hides one
    ``u_hidden_share`` more of each rise than the ``hidden_share`` that was allowed for; part of
    ``u_constant_J_per_K``. None: not known.
    """

    apparatus: str
    method: str
    constant_J_per_K: float
    u_constant_J_per_K: float
    valid_from: date
    heat_loss_W_per_K: float | None = None
    u_heat_loss_W_per_K: float | None = None
    sensor_lag_s: float | None = None
    runs: int = 1
    between_run_sd_J_per_K: float | None = None
    fill_mL: Range | None = None
    temperature_C: Range | None = None
    recheck_due: date | None = None
    recheck_uses: int | None = None
    digests: tuple[str, ...] = ()
    rows_json: str = "[]"
    warnings: tuple[str, ...] = ()
    failed_quality: str = ""
    note: str = ""
    fill_slope_J_per_K_per_mL: float | None = None
    u_fill_slope_J_per_K_per_mL: float | None = None
    fill_reference_mL: float | None = None
    details_json: str = "{}"
    wall_part_J_per_K: float | None = None
    hidden_share: float | None = None
    u_hidden_share: float | None = None
    software_version: str = __version__

    def __post_init__(self) -> None:
        problems = self.problems()
        if problems:
            name = self.apparatus or "(no apparatus)"
            raise RegistryError(
                f"the constant of {name} cannot be stored: {'; '.join(problems)}; nothing was"
                " changed"
            )

    def problems(self) -> tuple[str, ...]:
        """What keeps this from being stored; empty where it can be."""
        row = {field.name.lower(): getattr(self, field.name) for field in fields(self)}
        for name in ("fill_mL", "temperature_C"):
            what, unit = name.lower().split("_")
            row[f"{what}_lo_{unit}"], row[f"{what}_hi_{unit}"] = getattr(self, name) or (None, None)
        found = problems("constants", row, coming_in=True, whole=False)
        if not self.apparatus.strip():
            found.append("the apparatus is not named")
        return tuple(found)


@dataclass(frozen=True, slots=True)
class StoredConstant:
    """A constant as the registry keeps it: never edited, with where it came from.

    In force from ``valid_from`` until the day before ``valid_to`` (None: until further notice).
    ``uses`` counts the recorded results that rest on it.
    """

    id: int
    uid: str
    apparatus: str
    kind: str
    method: str
    constant_J_per_K: float
    u_constant_J_per_K: float
    heat_loss_W_per_K: float | None
    u_heat_loss_W_per_K: float | None
    sensor_lag_s: float | None
    runs: int
    between_run_sd_J_per_K: float | None
    fill_mL: Range | None
    temperature_C: Range | None
    valid_from: date
    valid_to: date | None
    recheck_due: date | None
    recheck_uses: int | None
    status: Status
    superseded_by: int | None
    digests: tuple[str, ...]
    rows_json: str
    warnings: tuple[str, ...]
    failed_quality: str
    note: str
    made_by: str
    made_at: datetime
    software_version: str
    approved_by: str = ""
    approved_at: datetime | None = None
    approved_why: str = ""
    withdrawn_by: str = ""
    withdrawn_at: datetime | None = None
    withdrawn_why: str = ""
    fill_slope_J_per_K_per_mL: float | None = None
    u_fill_slope_J_per_K_per_mL: float | None = None
    fill_reference_mL: float | None = None
    details_json: str = "{}"
    wall_part_J_per_K: float | None = None
    hidden_share: float | None = None
    u_hidden_share: float | None = None
    uses: int = 0

    @property
    def reason(self) -> str:
        """Why it has its present status, in the words of whoever gave it."""
        return self.withdrawn_why or self.approved_why or self.note

    @property
    def doubts(self) -> tuple[dict[str, str], ...]:
        """What spoke against it when it was stored: ``check`` and ``message`` of each."""
        details = json.loads(self.details_json or "{}")
        found = details.get("doubts") if isinstance(details, dict) else None
        return tuple(
            {"check": str(one["check"]), "message": str(one["message"])}
            for one in (found if isinstance(found, list) else ())
            if isinstance(one, dict) and {"check", "message"} <= set(one)
        )

    @property
    def held_back(self) -> bool:
        """Whether it is a draft that only a reason puts in force."""
        return self.status == "draft" and bool(self.failed_quality)

    @property
    def interval95_J_per_K(self) -> Range:
        """The calibration's own 95 % interval; value ± 1.96 u where it left none. [J/K]"""
        details = json.loads(self.details_json or "{}")
        edges = details.get("interval95_J_per_K") if isinstance(details, dict) else None
        if isinstance(edges, list) and len(edges) == 2:
            return float(edges[0]), float(edges[1])
        half = 1.96 * self.u_constant_J_per_K
        return self.constant_J_per_K - half, self.constant_J_per_K + half

    def at_fill(self, fill_mL: float | None) -> tuple[float, float]:
        """Constant and its standard uncertainty at a fill. [J/K]

        C(V) = C + s (V − V_ref) and u² = u_C² + (V − V_ref)² u_s², where a slope s was found, with
        V_ref the mean fill of the calibration, at which C and s are uncorrelated; else C alone.
        """
        slope, u_slope = self.fill_slope_J_per_K_per_mL, self.u_fill_slope_J_per_K_per_mL
        if fill_mL is None or slope is None or u_slope is None or self.fill_reference_mL is None:
            return self.constant_J_per_K, self.u_constant_J_per_K
        off = fill_mL - self.fill_reference_mL
        return (
            self.constant_J_per_K + slope * off,
            math.hypot(self.u_constant_J_per_K, u_slope * off),
        )

    def in_force_on(self, day: date) -> bool:
        """Whether a run of that day would use it."""
        return (
            self.status in {"approved", "superseded"}
            and self.valid_from <= day
            and (self.valid_to is None or day < self.valid_to)
        )

    def recheck(self, day: date) -> str:
        """Why the constant is past its recheck on that day; empty where it is not."""
        if self.recheck_due is not None and day > self.recheck_due:
            return (
                f"constant {self.id} of {self.apparatus} was due for a recheck on"
                f" {self.recheck_due}"
            )
        if self.recheck_uses is not None and self.uses >= self.recheck_uses:
            return (
                f"constant {self.id} of {self.apparatus} has been used {self.uses} times;"
                f" its recheck was due after {self.recheck_uses}"
            )
        return ""

    def reservations(
        self, day: date, *, fill_mL: float | None = None, temperature_C: float | None = None
    ) -> tuple[str, ...]:
        """What a run of that day, fill and temperature must be told about this constant."""
        found = [self.recheck(day)]
        for what, unit, value, span in (
            ("fill", "mL", fill_mL, self.fill_mL),
            ("temperature", "°C", temperature_C, self.temperature_C),
        ):
            if value is not None and span is not None and not span[0] <= value <= span[1]:
                found.append(
                    f"{what} {value:.4g} {unit} lies outside {span[0]:.4g} to {span[1]:.4g} {unit},"
                    f" where constant {self.id} of {self.apparatus} was found"
                )
        return tuple(sentence for sentence in found if sentence)


@dataclass(frozen=True, slots=True)
class NewResult:
    """One result of ``enthalpy --record``, before it is kept.

    ``constant_ids`` is the constant it rests on, or all those of a kind's pooled value
    (``pooled``). ``inputs_json`` is the row as it was read, enough to compute it again;
    ``result_json`` the whole result with its budget; ``digests`` the SHA-256 of the curves.
    """

    run: str
    apparatus: str
    value: float
    u_value: float
    constant_ids: tuple[int, ...]
    run_date: date | None = None
    reaction: str = ""
    quantity: str = "dH"
    unit: str = "kJ/mol"
    pooled: bool = False
    table: str = ""
    table_digest: str = ""
    digests: tuple[str, ...] = ()
    inputs_json: str = "{}"
    result_json: str = "{}"
    software_version: str = __version__

    def __post_init__(self) -> None:
        row = {field.name: getattr(self, field.name) for field in fields(self)}
        found = problems("results", row | {"pooled": int(self.pooled)}, coming_in=True, whole=False)
        if found:
            raise RegistryError(
                f"the result of run {self.run} cannot be kept: {'; '.join(found)}; nothing was"
                " changed"
            )


@dataclass(frozen=True, slots=True)
class StoredResult:
    """A result as the registry keeps it, with who kept it and when."""

    id: int
    run: str
    apparatus: str
    run_date: date | None
    reaction: str
    quantity: str
    unit: str
    value: float
    u_value: float
    pooled: bool
    constant_ids: tuple[int, ...]
    table: str
    table_digest: str
    digests: tuple[str, ...]
    inputs_json: str
    result_json: str
    recorded_by: str
    recorded_at: datetime
    software_version: str
    uid: str


@dataclass(frozen=True, slots=True)
class AuditLine:
    """One line of the trail: who did what, when and why. Lines are added, never changed."""

    id: int
    at: datetime
    by: str
    action: str
    apparatus: str
    constant_id: int | None
    what: str
    why: str
    change: str
    imported: bool = False
