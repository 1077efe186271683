"""The registry's records as frozen values: what is given to it and what it gives back."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Literal

from calib.registry.errors import RegistryError
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
        found = [
            f"{field.name} is {value}, expected a finite number"
            for field in fields(self)
            for value in _numbers(getattr(self, field.name))
            if not math.isfinite(value)
        ]
        if not self.apparatus.strip():
            found.append("the apparatus is not named")
        if not self.u_constant_J_per_K > 0:
            found.append(
                f"u_constant_J_per_K is {self.u_constant_J_per_K}, expected more than zero"
            )
        if self.runs < 1:
            found.append(f"runs is {self.runs}, expected at least 1")
        if self.recheck_uses is not None and self.recheck_uses < 1:
            found.append(f"recheck_uses is {self.recheck_uses}, expected at least 1")
        for name, pair in (("fill_mL", self.fill_mL), ("temperature_C", self.temperature_C)):
            if pair is not None and pair[0] > pair[1]:
                found.append(f"{name} runs from {pair[0]} to {pair[1]}, expected low to high")
        if (self.heat_loss_W_per_K is None) != (self.u_heat_loss_W_per_K is None):
            found.append("heat_loss_W_per_K and its uncertainty go together")
        if not _is_json(self.rows_json):
            found.append("rows_json is not JSON")
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
    uses: int = 0

    @property
    def reason(self) -> str:
        """Why it has its present status, in the words of whoever gave it."""
        return self.withdrawn_why or self.approved_why or self.note

    @property
    def interval95_J_per_K(self) -> Range:
        """The interval value ± 1.96 u, for a quantity taken as normal. [J/K]"""
        half = 1.96 * self.u_constant_J_per_K
        return self.constant_J_per_K - half, self.constant_J_per_K + half

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


def _numbers(value: object) -> tuple[float, ...]:
    if isinstance(value, bool):
        return ()
    if isinstance(value, int | float):
        return (float(value),)
    if isinstance(value, tuple):
        return tuple(float(item) for item in value if isinstance(item, int | float))
    return ()


def _is_json(text: str) -> bool:
    try:
        json.loads(text)
    except ValueError:
        return False
    return True
