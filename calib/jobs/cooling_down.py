"""A log of a cup that only cools, from the file to the facts that scripts rely on.

The heat capacity that turns k into the loss conductance G = k C is given by hand, or is that of a
registered cup filled with water, C = m c_p(T) + C_cup, c_p at the mean temperature of the log.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError
from calib.jobs.correcting import guesses_told
from fitting.cup.circumstances import U_ROOM_K
from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from calib.registry import StoredConstant
    from fitting.cooling import CoolingLog, LawFit
    from fitting.curve import Curve

U_FILL_G = BENCH.fill_g.u
"""Of a weighed fill: drops on the wall, vapour lost during the log (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HeatCapacity:
    """Of content and cup, with where it came from. J/K; the registered loss in W/K."""

    value: float
    u: float
    source: str
    parts: tuple[tuple[str, float], ...]
    registered_loss: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class CooldownReport:
    """A cooling log and what it tells. ``agreement`` compares G with the registered one."""

    curve: Curve
    log: CoolingLog
    capacity: HeatCapacity | None
    agreement: str
    conductance_parts: tuple[tuple[str, float], ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """All warnings."""
        return self.log.warnings

    def to_json(self) -> dict[str, Any]:
        """The object of ``cooldown --json``."""
        log = self.log
        return {
            "cooling_rate_per_s": log.rate_per_s,
            "u_cooling_rate_per_s": log.u_rate_per_s,
            "interval95_per_s": log.rate_interval95_per_s,
            "made_of": [{"source": name, "u_per_s": u} for name, u in log.parts],
            "at_C": log.middle_C,
            "settles_C": log.t_inf_C,
            "u_settles_C": log.u_t_inf_K,
            "settles_interval95_C": log.t_inf_interval95_C,
            "heat_loss_W_per_K": log.conductance_W_per_K,
            "u_heat_loss_W_per_K": log.u_conductance_W_per_K,
            "interval95_W_per_K": log.conductance_interval95_W_per_K,
            "heat_loss_made_of": [
                {"source": name, "u_W_per_K": u} for name, u in self.conductance_parts
            ],
            "heat_capacity_J_per_K": None if self.capacity is None else self.capacity.value,
            "u_heat_capacity_J_per_K": None if self.capacity is None else self.capacity.u,
            "heat_capacity_from": None if self.capacity is None else self.capacity.source,
            "registered": self._registered(),
            "room_C": log.room_C,
            "law": log.law,
            "law_forced": log.forced,
            "decided_by": log.decided_by,
            "laws": [_law(one) for one in log.laws.laws],
            "chances": dict(log.chances),
            "from_s": log.laws.from_s,
            "to_s": log.laws.to_s,
            "start_C": log.start_C,
            "end_C": log.end_C,
            "warnings": list(self.warnings),
            "guesses": list(self.curve.guesses),
            "source": self.curve.source,
            "points": len(log.curve),
        }

    def _registered(self) -> dict[str, Any] | None:
        if self.capacity is None or self.capacity.registered_loss is None:
            return None
        G, u = self.capacity.registered_loss
        return {"heat_loss_W_per_K": G, "u_heat_loss_W_per_K": u, "agreement": self.agreement}


def _law(one: LawFit) -> dict[str, Any]:
    names = (
        "name", "title", "equation", "admissible", "why", "aicc", "delta_aicc", "forecast_rms_K",
        "residual_rms_K", "lag1_autocorrelation",
    )  # fmt: skip
    return {name: getattr(one, name) for name in names} | {
        "cooling_rate_per_s": one.rate_per_s,
        "u_cooling_rate_per_s": one.u_rate_per_s,
        "settles_C": one.t_inf_C,
        "u_settles_C": one.u_t_inf_K,
        "parameters": [
            {"name": name, "value": value, "u": u, "unit": unit}
            for name, value, u, unit in one.parameters
        ],
    }


def cool_down(
    path: Path,
    *,
    reading: dict[str, Any] | None = None,
    heat_capacity: tuple[float | None, float | None] = (None, None),
    apparatus: str | None = None,
    fill_g: float | None = None,
    u_fill_g: float | None = None,
    registry: str | None = None,
    room_C: float | None = None,
    u_room_K: float = U_ROOM_K,
    from_s: float | None = None,
    to_s: float | None = None,
    law: str | None = None,
) -> CooldownReport:
    """Read a log of nothing but cooling and find law, rate, end and heat loss.

    ``reading`` overrides the reader's guesses (keywords of ``fitting.read_curve``); room, part of
    the log and law are as for ``fitting.fit_cooling_log``. The heat
    capacity is ``heat_capacity`` (value and u, J/K), or that of ``fill_g`` grams of water in a
    registered cup.

    Raises:
        InputError: numbers that cannot be meant, or that do not go together.
        RegistryError: an apparatus without a constant in force.
        CurveError: the file is no curve, or no cooling log; the message says why.
    """
    from fitting.cooling import fit_cooling_log
    from fitting.files.curve_files import read_curve

    given = _given_capacity(heat_capacity, apparatus, fill_g, u_fill_g)
    stored = None
    if apparatus is not None:
        from calib.registry import open_registry

        with open_registry(registry, create=False) as store:
            stored = store.constant_for(apparatus)
    curve = read_curve(path, **(reading or {}))
    capacity = given
    if stored is not None and fill_g is not None:
        used = curve.window(
            -math.inf if from_s is None else from_s, math.inf if to_s is None else to_s
        )
        middle_C = float(used.temperature_C.mean())
        capacity = _filled(stored, fill_g, U_FILL_G if u_fill_g is None else u_fill_g, middle_C)
    with guesses_told(curve):
        log = fit_cooling_log(
            curve, from_s=from_s, to_s=to_s, room_C=room_C, u_room_K=u_room_K, law=law,
            heat_capacity_J_per_K=None if capacity is None else capacity.value,
            u_heat_capacity_J_per_K=0.0 if capacity is None else capacity.u,
        )  # fmt: skip
    return CooldownReport(curve, log, capacity, _agreement(log, capacity), _parts(log, capacity))


def _given_capacity(
    heat_capacity: tuple[float | None, float | None], apparatus: str | None,
    fill_g: float | None, u_fill_g: float | None,
) -> HeatCapacity | None:  # fmt: skip
    """The heat capacity that was given by hand, and the checks of what goes with what."""
    value, u = heat_capacity
    if value is not None and apparatus is not None:
        raise InputError("--heat-capacity and --apparatus exclude each other; give one of them")
    if value is None and u is not None:
        raise InputError("an uncertainty of the heat capacity without its value; give both")
    if apparatus is not None and fill_g is None:
        raise InputError(
            "--apparatus needs --fill, the grams of water in the cup: without the heat capacity of "
            "the content no heat loss follows from a cooling rate"
        )
    if apparatus is None and (fill_g is not None or u_fill_g is not None):
        raise InputError("--fill needs --apparatus, the cup that was filled")
    for what, number, least in (("the fill", fill_g, 1.0), ("u of the fill", u_fill_g, 0.0)):
        if number is not None and not least <= number <= 1e5:
            raise InputError(f"{what} is {number:g} g; expected {least:g} to 100000 g")
    if value is None:
        return None
    if not 0.1 <= value <= 1e6:
        raise InputError(
            f"the heat capacity is {value:g} J/K; expected 0.1 to a million: that of content and"
            " cup"
        )
    if u is not None and not 0 <= u <= 1e6:
        raise InputError(f"u of the heat capacity is {u:g} J/K; expected 0 to a million")
    parts = () if not u else (("heat capacity", u),)
    return HeatCapacity(value, u or 0.0, "given by hand", parts)


def _filled(stored: StoredConstant, fill_g: float, u_fill_g: float, at_C: float) -> HeatCapacity:
    """Water and a registered cup."""
    from calib.substances.water import cp_J_per_gK, density_g_per_mL

    cp = float(cp_J_per_gK(at_C))
    cup, slope = stored.constant_J_per_K, stored.fill_slope_J_per_K_per_mL
    if slope is not None and stored.fill_reference_mL is not None:
        cup += slope * (fill_g / float(density_g_per_mL(at_C)) - stored.fill_reference_mL)
    parts = (("fill", cp * u_fill_g), ("cup's constant", stored.u_constant_J_per_K))
    loss = None
    if stored.heat_loss_W_per_K is not None and stored.u_heat_loss_W_per_K is not None:
        loss = (stored.heat_loss_W_per_K, stored.u_heat_loss_W_per_K)
    source = (
        f"{fill_g:g} g of water at {at_C:.1f} °C ({cp:.4f} J/(g K)) and constant {stored.id} of "
        f"{stored.apparatus} ({cup:.1f} J/K)"
    )
    return HeatCapacity(
        fill_g * cp + cup, math.hypot(*(u for _, u in parts)), source, parts, loss
    )  # fmt: skip


def _parts(log: CoolingLog, capacity: HeatCapacity | None) -> tuple[tuple[str, float], ...]:
    """What u of G is made of, W/K."""
    if capacity is None:
        return ()
    rate = tuple((name, u * capacity.value) for name, u in log.parts)
    return (*rate, *((name, u * log.rate_per_s) for name, u in capacity.parts))


def _agreement(log: CoolingLog, capacity: HeatCapacity | None) -> str:
    """How the registered loss agrees, in a sentence; empty where there is none."""
    if capacity is None or capacity.registered_loss is None:
        return ""
    if log.conductance_W_per_K is None or log.u_conductance_W_per_K is None:
        return ""
    G, u = capacity.registered_loss
    apart, u_apart = log.conductance_W_per_K - G, math.hypot(u, log.u_conductance_W_per_K)
    words = "agree" if abs(apart) <= 2 * u_apart else "do not agree"
    return (
        f"the registered heat loss is {G:.4f} ± {u:.4f} W/K; this log's lies {apart:+.4f} W/K from "
        f"it, {abs(apart) / u_apart:.1f} times the standard uncertainty of the difference: they "
        f"{words}"
    )
