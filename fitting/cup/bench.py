"""What is known of work at the bench: noting, reading by eye, pouring, planning, long logs.

The engine's own facts (walls, releases, sensors, rooms) stand in `fitting.cup.knowledge`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from fitting.cup.fact import JUDGEMENT, Fact

SIMULATED = "this project's simulations"
PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Bench:
    """Notes, readings by eye, and what was not noted.

    The three kinds of heat: ``fast`` two solutions, ``slow`` a solid, ``heated`` a heater.
    """

    usual_room_C: Fact = Fact(21.0, 2.0, "°C", "a room that nobody noted", PRACTICE)
    constant_J_per_K: Fact = Fact(
        15.0, 5.0, "J/K", "constant of two foam cups, lid and probe: 10 to 30 J/K", PRACTICE
    )
    moment_by_hand_s: Fact = Fact(0.0, 1.2, "s", "a moment of mixing that was noted by hand")
    rate_share: Fact = Fact(0.0, 0.3, "1", "a cooling rate that was given without its u, of it")
    lag_share: Fact = Fact(
        0.0, 0.1, "1", "a sensor's lag that was given without its u, of it", PRACTICE
    )
    fill_g: Fact = Fact(0.0, 0.5, "g", "a fill that was given without its u")
    pour_s: Fact = Fact(0.0, 0.8, "s", "when 'the' mixing was: pouring takes seconds", PRACTICE)
    pour_up_to_s: Fact = Fact(4.0, 0.0, "s", "how long pouring may take", PRACTICE, "exact")
    look_K: Fact = Fact(
        0.0, 0.009, "K", "noise of one look at a display; a third of its step at most", PRACTICE
    )
    extreme_fast_s: Fact = Fact(45.0, 30.0, "s", "from mixing two solutions to the extreme",
                                PRACTICE)  # fmt: skip
    extreme_slow_s: Fact = Fact(150.0, 75.0, "s", "from adding a solid to the extreme", PRACTICE)
    extreme_heated_s: Fact = Fact(30.0, 20.0, "s", "from switching off to the extreme", PRACTICE)
    missed_fast: Fact = Fact(
        0.0, 0.007, "1", "what an extreme misses that nothing corrects: two solutions", SIMULATED
    )
    missed_slow: Fact = Fact(0.0, 0.025, "1", "the same: a solid dissolves", SIMULATED)
    missed_heated: Fact = Fact(0.0, 0.025, "1", "the same: a heater on for minutes", SIMULATED)
    missed_flask_fast: Fact = Fact(
        0.0, 0.15, "1", "the same in a flask, whose glass is still cold: two solutions", SIMULATED
    )
    missed_flask_slow: Fact = Fact(
        0.0, 0.09, "1", "the same in a flask: a solid dissolves", SIMULATED
    )
    missed_flask_heated: Fact = Fact(0.0, 0.06, "1", "the same in a flask: a heater", SIMULATED)
    heater_share: Fact = Fact(
        0.0, 0.03, "1", "what a heater holds back, of a heater run's correction"
    )
    hot_beaker_per_s: Fact = Fact(
        5e-4, 1.7e-4, "1/s", "cooling rate of hot water in an open beaker: 0.02 to 0.05 1/min",
        PRACTICE,
    )  # fmt: skip
    wait_not_noted_s: Fact = Fact(
        5.0, 0.0, "s", "longest usual wait between reading and pouring", PRACTICE, "exact"
    )
    wait_s: Fact = Fact(0.0, 1.5, "s", "a wait that was noted", PRACTICE)

    def extreme_after_s(self, pace: str) -> tuple[float, float]:
        """From mixing (or switching off) to an extreme whose time was not noted, and its u [s]."""
        fact = {"fast": self.extreme_fast_s, "slow": self.extreme_slow_s,
                "heated": self.extreme_heated_s}[pace]  # fmt: skip
        return fact.value, fact.u

    def missed_share(self, pace: str, vessel: str | None) -> float:
        """u of what an extreme misses where no loss is known, as a share of the change."""
        cup = {"fast": self.missed_fast, "slow": self.missed_slow, "heated": self.missed_heated}
        flask = {"fast": self.missed_flask_fast, "slow": self.missed_flask_slow,
                 "heated": self.missed_flask_heated}  # fmt: skip
        return (flask if vessel == "flask" else cup)[pace].u


@dataclass(frozen=True, slots=True)
class OpenSurface:
    """Warm water that stands open in still air.

    Its vapour takes E A L Δe, E the flow per area and pressure difference: 6e-5 g/(s kPa) from an
    open 40 cm², and L = 2430 J/g near 30 °C, so 0.146 W/kPa.
    """

    area_m2: Fact = Fact(4.0e-3, 0.6e-3, "m²", "opening of a usual cup: 6.5 to 7.8 cm", PRACTICE)
    air_W_per_m2K: Fact = Fact(6.0, 2.0, "W/(m² K)", "still air and radiation, together", PRACTICE)
    vapour_g_per_s_kPa_m2: Fact = Fact(
        0.015, 0.4, "g/(s kPa m²)", "evaporation: 6e-5 g/(s kPa) from an open 40 cm²",
        shape="log-normal",
    )  # fmt: skip
    latent_J_per_g: Fact = Fact(
        2430.0, 20.0, "J/g", "latent heat of water near 30 °C", "steam tables (from memory)"
    )

    @property
    def vapour_W_per_kPa(self) -> float:
        """Heat that vapour takes from a usual opening, per kPa above the room's vapour. [W/kPa]

        >>> round(OpenSurface().vapour_W_per_kPa, 3)
        0.146
        """
        flow = self.area_m2.value * self.vapour_g_per_s_kPa_m2.value
        return flow * self.latent_J_per_g.value


@dataclass(frozen=True, slots=True)
class CoolingLogFacts:
    """What a cup may do during hours of cooling: ordinary, or so large that it names a law."""

    restless_room_K_per_s: Fact = Fact(0.0, 6e-4, "K/s", "drift of a restless room: 2 K/h",
                                       PRACTICE)  # fmt: skip
    restless: Fact = Fact(0.3, 0.0, "1", "probability of such a room", PRACTICE, "exact")
    steep: Fact = Fact(
        0.01, 1.0, "1", "exponent of the loss less 1: under a lid", PRACTICE, "log-normal"
    )
    steeper: Fact = Fact(0.15, 0.7, "1", "the same: open, wet or bare", PRACTICE, "log-normal")
    bare: Fact = Fact(0.2, 0.0, "1", "probability of such a surface", PRACTICE, "exact")
    heavy: Fact = Fact(0.3, 0.0, "1", "probability of a heavy wall", PRACTICE, "exact")
    settles_K: Fact = Fact(0.0, 0.8, "K", "T∞ about room and stirring: under a lid", PRACTICE)
    settles_open_K: Fact = Fact(0.0, 0.9, "K", "the same: an open, wet surface", PRACTICE)
    settles_steeper_K: Fact = Fact(
        0.0, 2.5, "K", "the same where the law itself is one of a steep loss", PRACTICE
    )
    wet_K: Fact = Fact(
        5.0, 5.0, "K", "T∞ below the room, times n − 1: 10 K if vapour makes n, 0 if convection",
    )  # fmt: skip
    anywhere_K: Fact = Fact(0.0, 8.0, "K", "a log's room that nobody noted, about a usual one")
    ln_rate: Fact = Fact(0.0, 2.0, "1", "ln k of whatever was logged, about a usual cup's")
    swing_K: Fact = Fact(0.0, 0.06, "K", "what a room does beside its drift")
    swing_s: Fact = Fact(150.0, 0.0, "s", "within so long", shape="exact")
    unseen_share: Fact = Fact(
        0.0, 0.01, "1", "of k: what neither law nor average describes (air that moves)", SIMULATED
    )


@dataclass(frozen=True, slots=True)
class Plan:
    """What a plan reckons with before anything was measured; shares are of the rise."""

    logged_share: Fact = Fact(0.0, 1e-3, "1", "a logged rise, corrected", SIMULATED)
    wall_share: Fact = Fact(
        0.0, 3.5e-4, "1", "the part of that which the wall makes, common to a cup's runs", SIMULATED
    )
    between_J_per_K: Fact = Fact(
        0.0, 0.3, "J/K", "between calibrations: drops left, beside every budget"
    )
    on_its_way: Fact = Fact(
        0.0, 0.01, "1", "what a hot or cold portion gives up on its way, of its distance"
    )
    foam_softens_C: Fact = Fact(
        80.0, 0.0, "°C", "foamed polystyrene loses its stiffness (its glass transition is near "
        "100 °C)", PRACTICE, "exact",
    )  # fmt: skip
    unstirred_share: Fact = Fact(
        0.25, 0.0, "1", "share of the water that a solid at the bottom heats", shape="exact"
    )


@dataclass(frozen=True, slots=True)
class ConstantLimits:
    """Between what a constant of a kind of cup must lie to be put in force without a reason."""

    least_J_per_K: Fact
    most_J_per_K: Fact
    most_share: Fact


def _limits(vessel: str, least: float, most: float, share: float) -> ConstantLimits:
    """Limits from numbers: J/K, J/K and the share of the content's heat capacity."""
    return ConstantLimits(
        Fact(least, 0.0, "J/K", f"least constant in force without a reason: {vessel}",
             JUDGEMENT, "exact"),
        Fact(most, 0.0, "J/K", f"largest constant in force without a reason: {vessel}",
             JUDGEMENT, "exact"),
        Fact(share, 0.0, "1", f"the same, of the content's heat capacity: {vessel}",
             JUDGEMENT, "exact"),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class InForce:
    """What a constant is held against before it is put in force (`calib.plausible`).

    The limits are wide: an honest cup outside them is approved with a reason, and each stands where
    usual slips (a factor of 2, 10 or 1000, hot water read a kelvin wrong) have left it behind.
    """

    foam: ConstantLimits = field(
        default_factory=lambda: _limits("foam or paper cup", 1.5, 36.0, 0.2)
    )
    beaker: ConstantLimits = field(default_factory=lambda: _limits("beaker", 5.0, 120.0, 0.35))
    metal: ConstantLimits = field(
        default_factory=lambda: _limits("metal mug or can", 5.0, 160.0, 0.35)
    )
    flask: ConstantLimits = field(default_factory=lambda: _limits("vacuum flask", 12.0, 280.0, 0.4))
    other: ConstantLimits = field(default_factory=lambda: _limits("any other", 1.5, 200.0, 0.35))
    range_over_u: Fact = Fact(
        4.0, 0.0, "1", "a kind's range over the u from which a constant says less than the kind",
        shape="exact",
    )  # fmt: skip
    loss_times: Fact = Fact(
        10.0, 0.0, "1", "heat loss over a usual one of its vessel, at most", shape="exact"
    )
    fill_least_mL: Fact = Fact(25.0, 0.0, "mL", "smallest fill of a calibration", shape="exact")
    fill_most_mL: Fact = Fact(1000.0, 0.0, "mL", "largest fill of a calibration", shape="exact")
    fill_over_stated: Fact = Fact(
        1.25, 0.0, "1", "fill over the volume that a cup's kind or note states", shape="exact"
    )
    fills_apart: Fact = Fact(
        3.0, 0.0, "1", "largest over smallest fill of one set of runs", shape="exact"
    )
    outlying_u: Fact = Fact(
        10.0, 0.0, "1", "a run off what the others say, in its u: something is wrong",
        shape="exact",
    )  # fmt: skip
    spread_share: Fact = Fact(
        0.25, 0.0, "1", "spread between runs that nothing explains, of the constant", shape="exact"
    )
    spread_J_per_K: Fact = Fact(2.0, 0.0, "J/K", "and at least so much", shape="exact")
    others: Fact = Fact(3.0, 0.0, "1", "cups of a kind that can tell of one more", shape="exact")
    others_apart: Fact = Fact(
        0.3, 0.0, "1", "they are of one make where none differs from the middle by more than",
        shape="exact",
    )  # fmt: skip
    others_floor: Fact = Fact(
        0.1, 0.0, "1", "cups of one make differ by (sd), of the constant", shape="exact"
    )
    far_sd: Fact = Fact(5.0, 0.0, "1", "too far from them, in such sd", shape="exact")
    far_share: Fact = Fact(0.5, 0.0, "1", "and at least so much of their middle", shape="exact")
    odd_sd: Fact = Fact(2.5, 0.0, "1", "a remark from so many sd on", shape="exact")
    hot_off_K: Fact = Fact(
        0.3, 0.0, "K", "hot water misread by at least so much, as the runs tell", shape="exact"
    )
    hot_off_u: Fact = Fact(4.0, 0.0, "1", "and so many of its u", shape="exact")
    cell_off_K: Fact = Fact(2.0, 0.0, "K", "in_cup_C against the curve's own start", shape="exact")
    most_misread_K: Fact = Fact(
        12.0, 0.0, "K", "largest misreading of hot water that is offered as the reason",
        shape="exact",
    )  # fmt: skip
    beside_factor_K: Fact = Fact(
        2.0, 0.0, "K", "the same, where a factor in an amount would do it too", shape="exact"
    )
    age_days: Fact = Fact(3660.0, 0.0, "d", "runs older than this: a typing slip", shape="exact")
    ahead_days: Fact = Fact(366.0, 0.0, "d", "first day in force after today", shape="exact")
    before_days: Fact = Fact(732.0, 0.0, "d", "first day in force before the runs", shape="exact")

    def limits(self, vessel: str | None, *, foam: bool) -> ConstantLimits:
        """Those of a vessel (`calib.runs.kind_words`), and whether a kind's words say foam."""
        if vessel == "paper" or (vessel == "cup" and foam):
            return self.foam
        named = {"beaker": self.beaker, "metal": self.metal, "flask": self.flask}
        return named.get(vessel or "", self.other)


BENCH = Bench()
IN_FORCE = InForce()
OPEN_SURFACE = OpenSurface()
COOLING_LOG = CoolingLogFacts()
PLAN = Plan()
