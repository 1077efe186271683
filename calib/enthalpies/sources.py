"""Where a run's cup constant comes from, and what must be said about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, Protocol

from calib.errors import RegistryError, RowProblem
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import Loss
from calib.run_model.shared_wall import CupsShare

if TYPE_CHECKING:
    from calib.run_model.prepared import PreparedRun
    from calib.runs.model import Run

__all__ = ["AppliedConstant", "ConstantSource", "FixedConstants", "FromRegistry", "apply_constant"]

FILL_MARGIN = 0.10
TEMPERATURE_MARGIN_K = 5.0
"""How far a run may lie outside the range its constant was found in before it is flagged: four
runs of one size span a millilitre or two, which is no reason to warn of another."""


@dataclass(frozen=True, slots=True)
class AppliedConstant:
    """The constant that a run uses. ``key`` names its error, which all runs that use it share.

    ``wall_part_J_per_K`` is what of its u comes from the cup's own wall, with its sign (None: not
    known, or a pooled value, which rests on other cups), ``hidden`` what its calibration took for
    the share of a rise that the wall hides (see `calib.run_model.shared_wall`).
    """

    apparatus: str
    value_J_per_K: float
    u_J_per_K: float
    id: int | None = None
    key: str = ""
    loss: Loss | None = None
    pooled: bool = False
    source: str = ""
    fill_mL: tuple[float, float] | None = None
    temperature_C: tuple[float, float] | None = None
    warnings: tuple[str, ...] = ()
    constant_ids: tuple[int, ...] = ()
    wall_part_J_per_K: float | None = None
    hidden: CupsShare | None = None


class ConstantSource(Protocol):
    """What ``evaluate`` asks for a constant.

    Both raise RegistryError (``calib.errors``) where there is none; its message says what would
    mend it. The first returns what the registry calls a StoredConstant, the second its
    KindPooled, or anything with the same attributes.
    """

    def constant_for(self, apparatus: str, on: date | None) -> Any:
        """The constant in force for an apparatus on a day."""
        ...

    def kind_pooled(self, apparatus: str, on: date | None) -> Any:
        """The pooled value of the apparatus's kind on a day."""
        ...


@dataclass(frozen=True, slots=True)
class FromRegistry:
    """A registry as a source of constants, asked once for each cup and day."""

    registry: Any
    found: dict[tuple[str, date | None], Any] = field(
        default_factory=dict, repr=False, compare=False
    )

    def constant_for(self, apparatus: str, on: date | None) -> Any:
        """The constant in force."""
        key = (apparatus, on)
        if key not in self.found:
            self.found[key] = self.registry.constant_for(apparatus, on)
        return self.found[key]

    def kind_pooled(self, apparatus: str, on: date | None) -> Any:
        """The pooled value of the cup's kind; a retired cup gets none."""
        cup = self.registry.apparatus(apparatus)
        if cup.retired_on is not None and (on is None or on >= cup.retired_on):
            raise RegistryError(f"{apparatus} was retired on {cup.retired_on}")
        return self.registry.kind_pooled(cup.kind, on)


@dataclass(frozen=True, slots=True)
class FixedConstants:
    """Constants given by hand: apparatus to (value, u) in J/K, for notebooks and planning."""

    values: Mapping[str, tuple[float, float]]
    losses: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def constant_for(self, apparatus: str, on: date | None) -> AppliedConstant:
        """The given constant."""
        del on
        if apparatus not in self.values:
            known = ", ".join(self.values) or "none"
            raise RegistryError(f"no constant was given for {apparatus!r}; given were {known}")
        value, u = self.values[apparatus]
        loss = self.losses.get(apparatus)
        return AppliedConstant(
            apparatus, value, u, None, f"constant:{apparatus}",
            Loss(*loss, key=f"heat loss:{apparatus}") if loss else None,
            source="given by hand",
        )  # fmt: skip

    def kind_pooled(self, apparatus: str, on: date | None) -> AppliedConstant:
        """There are no kinds here."""
        del on
        raise RegistryError(f"no kind is known of {apparatus!r}")


def apply_constant(source: ConstantSource, run: Run, prepared: PreparedRun) -> AppliedConstant:
    """The constant for a run: its cup's own, else its kind's pooled value.

    Raises RowRefusedError with the command that would mend it where there is neither.
    """
    if run.apparatus is None or not run.apparatus.strip():
        raise RowRefusedError(
            RowProblem(run.run, "apparatus", "the cup is not named, so no constant can be applied",
                       "an empty cell", "the cup's identifier, such as H1", "fill in apparatus")
        )  # fmt: skip
    warnings = () if run.date else ("the run has no date: today's constant was applied",)
    try:
        stored = source.constant_for(run.apparatus, run.date)
    except RegistryError as own:
        return _pooled(source, run, own, warnings)
    if isinstance(stored, AppliedConstant):
        return stored
    recheck = stored.recheck(run.date) if run.date is not None else ""
    value, u = stored.at_fill(prepared.fill_mL)
    return AppliedConstant(
        apparatus=run.apparatus,
        value_J_per_K=value,
        u_J_per_K=u,
        id=stored.id,
        key=f"constant:{run.apparatus}:{stored.id}",
        loss=_loss(stored, f"heat loss:{run.apparatus}:{stored.id}"),
        source=f"constant {stored.id} of {run.apparatus} ({stored.method})",
        fill_mL=stored.fill_mL,
        temperature_C=stored.temperature_C,
        warnings=(*warnings, *((recheck,) if recheck else ())),
        constant_ids=(stored.id,),
        wall_part_J_per_K=getattr(stored, "wall_part_J_per_K", None),
        hidden=CupsShare.of(
            getattr(stored, "hidden_share", None),
            getattr(stored, "u_hidden_share", None),
            getattr(stored, "wall_part_J_per_K", None),
        ),
    )


def _pooled(
    source: ConstantSource, run: Run, own: RegistryError, warnings: tuple[str, ...]
) -> AppliedConstant:
    cup = str(run.apparatus)
    try:
        pooled = source.kind_pooled(cup, run.date)
    except RegistryError as kind:
        more = "" if str(kind) in str(own) else f"; nor is there a pooled value: {kind}"
        day = run.date.isoformat() if run.date is not None else "no date"
        raise RowRefusedError(
            RowProblem(
                run.run, "apparatus", f"{own}{more}", f"{cup}, {day}", "a cup with a constant"
            )
        ) from None
    if isinstance(pooled, AppliedConstant):
        return pooled
    return AppliedConstant(
        apparatus=cup,
        value_J_per_K=pooled.constant_J_per_K,
        u_J_per_K=pooled.u_constant_J_per_K,
        key=f"constant:{cup}:pooled",
        loss=_loss(pooled, f"heat loss:{cup}:pooled"),
        pooled=True,
        source=str(getattr(pooled, "why", "pooled value of the kind")),
        warnings=(
            *warnings,
            f"{cup} has no constant of its own in force: {getattr(pooled, 'why', 'pooled value')}",
        ),
        constant_ids=tuple(m.constant_id for m in getattr(pooled, "members", ())),
    )


def _loss(stored: Any, key: str) -> Loss | None:
    value, u = stored.heat_loss_W_per_K, stored.u_heat_loss_W_per_K
    return Loss(value, u, key) if value is not None and u is not None else None


def range_warnings(constant: AppliedConstant, fill_mL: float, t_C: float) -> tuple[str, ...]:
    """Say where a run lies outside the fill or temperature its constant was found in."""
    found = []
    if constant.fill_mL is not None:
        low, high = constant.fill_mL
        if not low * (1 - FILL_MARGIN) <= fill_mL <= high * (1 + FILL_MARGIN):
            found.append(
                f"the fill of {fill_mL:.0f} mL lies outside {low:.0f} to {high:.0f} mL, where "
                f"{constant.source} was found"
            )
    if constant.temperature_C is not None:
        low, high = constant.temperature_C
        if not low - TEMPERATURE_MARGIN_K <= t_C <= high + TEMPERATURE_MARGIN_K:
            found.append(
                f"the mean temperature of {t_C:.1f} °C lies outside {low:.0f} to {high:.0f} °C, "
                f"where {constant.source} was found"
            )
    return tuple(found)
