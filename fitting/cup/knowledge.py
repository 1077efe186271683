"""All that is taken as known of cups, vessels, lids, sensors, rooms and releases, once.

Every fitter, plan and mishap reads its numbers here; no other module holds one. A fact has a
value, a standard uncertainty, a unit and a source; ``judgement`` marks what experienced users would
say and no document states. The ranges are wide on purpose: single and double foam, paper, plastic
beakers, glass, a steel mug, a flask; a closed lid, a lid with a hole, none. No judge of the
corrections draws from this table (``tests/benchmarks/judges``, `fitting.practice`): a judge that
shares the priors' numbers judges nothing.

This module holds what the engine takes as known; `fitting.cup.bench` what is known of reading,
noting, planning and long cooling logs; `fitting.cup.free_standing` vessels without insulation.

Where the numbers of foam come from: expanded polystyrene has 15 to 40 kg/m³, 0.032 to 0.040 W/(m K)
and 1.3 J/(g K) (handbook values, from memory), so a diffusivity a near 1e-6 m²/s. A layer of
thickness L warms with the time constant L²/(a π²/4): 1 to 4 s for 2 to 3 mm, 8 s for 4.5 mm, up to
30 s for a double cup with a gap. Its mass under 100 cm² to 250 cm² of wetted wall holds 1 to 5 J/K.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fitting.cup.bench import BENCH, COOLING_LOG, IN_FORCE, OPEN_SURFACE, PLAN
from fitting.cup.fact import JUDGEMENT, Fact, Lid, Vessel, Wall, facts_in, wall_of
from fitting.cup.free_standing import BEAKER, METAL, PAPER

__all__ = [
    "BENCH", "COOLING_LOG", "CUP", "FLASK", "IN_FORCE", "JUDGEMENT", "LIDS", "LID_NOT_TOLD",
    "OPEN_SURFACE", "PLAN", "RELEASES", "SURROUNDINGS", "USUAL_RATE_PER_S", "VESSELS", "Fact",
    "Lid", "Releases", "Surroundings", "Vessel", "Wall", "all_facts", "as_markdown", "lid_of",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Rooms, stirrers and sensors."""

    stirring_K_per_s: Fact = Fact(
        6e-5, 5e-5, "K/s", "warming by the stirrer: 0.01 to 0.05 W on 300 to 900 J/K"
    )
    room_K: Fact = Fact(0.0, 2.0, "K", "room not noted: content before mixing against the room")
    room_read_K: Fact = Fact(0.0, 0.5, "K", "a noted room temperature against the air at the cup")
    room_drift_K_per_s: Fact = Fact(
        0.0, 4.5e-4, "K/s", "drift of the room: 1.6 K in an hour, as heating or a window makes it"
    )
    air_K: Fact = Fact(0.0, 0.15, "K", "the air's wander about a drifting room")
    air_s: Fact = Fact(150.0, 0.0, "s", "for how long such a wander lasts", shape="exact")
    humidity: Fact = Fact(0.45, 0.12, "1", "relative humidity of the room")
    fore_mismatch_K_per_s: Fact = Fact(
        0.0, 1.5e-5, "K/s", "drift before mixing that has nothing to do with the loss"
    )
    reading_wander_K: Fact = Fact(
        0.0, 0.003, "K", "slow wander of a reading; at most half of its noise"
    )
    reading_wander_s: Fact = Fact(50.0, 0.0, "s", "its memory", shape="exact")
    sensor_lag_s: Fact = Fact(
        5.5, 0.65, "s", "time constant of a stirred probe", shape="log-normal"
    )
    look_every_s: Fact = Fact(
        2.5, 0.6, "s", "time between two looks at a display by eye", shape="log-normal"
    )
    look_noise: Fact = Fact(
        1.0, 0.4, "1", "a display's noise over what it is taken for", shape="log-normal"
    )


@dataclass(frozen=True, slots=True)
class Releases:
    """How heat comes, and what is seen of it: quick processes, a second one, a single slow one.

    Shares are of the temperature change.
    """

    liquid_below: Fact = Fact(
        0.75,
        0.0,
        "1",
        "heat capacity before over after, below which a liquid was added",
        shape="exact",
    )
    solid_above: Fact = Fact(
        0.92,
        0.0,
        "1",
        "the same, above which a solid was added: 12 g of salt in 100 g",
        shape="exact",
    )
    quick_share: Fact = Fact(
        1.2, 0.3, "1", "slowest quick process (sensor, pouring), carried back to the mixing"
    )
    quick_each: Fact = Fact(0.0, 0.4, "1", "of each of the three exponentials that stand for it")
    quicker_share: Fact = Fact(0.0, 0.6, "1", "of what is quicker still")
    unseen_share: Fact = Fact(0.0, 0.12, "1", "where no release is left to be seen")
    liquid_s: Fact = Fact(1.8, 0.7, "s", "two solutions: time constant", shape="log-normal")
    solid_s: Fact = Fact(17.0, 0.65, "s", "a dissolving solid: time constant", shape="log-normal")
    powder_s: Fact = Fact(3.5, 0.5, "s", "a fine powder: time constant", shape="log-normal")
    powder: Fact = Fact(0.1, 0.0, "1", "probability of such a powder", shape="exact")
    second_share: Fact = Fact(0.2, 0.13, "1", "a second, slower process")
    second_s: Fact = Fact(48.0, 0.55, "s", "the second process: time constant", shape="log-normal")
    single_share: Fact = Fact(0.9, 0.3, "1", "one slow process that gives most of the heat")
    single_s: Fact = Fact(50.0, 0.6, "s", "the single process: time constant", shape="log-normal")
    single: Fact = Fact(0.05, 0.0, "1", "probability of such a process", shape="exact")
    end_s: Fact = Fact(65.0, 0.8, "s", "when the last grain is gone", shape="log-normal")
    ending_share: Fact = Fact(0.85, 0.25, "1", "of a release that ends, carried back to the mixing")
    ending_each: Fact = Fact(0.0, 0.4, "1", "of each of the shapes that stand for it")
    ending_error: Fact = Fact(0.0, 0.03, "1", "what these shapes miss until it is over")
    ending_late: Fact = Fact(0.25, 0.0, "1", "probability of a remainder after it", shape="exact")
    solid_ends: Fact = Fact(
        0.5, 0.0, "1", "probability of a release that ends: a solid", shape="exact"
    )
    liquid_ends: Fact = Fact(0.03, 0.0, "1", "the same: two liquids", shape="exact")
    shape_error_share: Fact = Fact(
        0.0, 3e-4, "1", "what sums of exponentials miss of a real release (grains of many sizes)"
    )
    shape_error_s: Fact = Fact(120.0, 0.0, "s", "it fades within", shape="exact")
    solid_late: Fact = Fact(
        0.75, 0.0, "1", "probability of a slow remainder: a solid", shape="exact"
    )
    solid_wide_late: Fact = Fact(
        0.88, 0.0, "1", "the same where the release itself is seen: a solid", shape="exact"
    )
    liquid_late: Fact = Fact(
        0.03, 0.0, "1", "probability of a slow remainder: liquids", shape="exact"
    )
    liquid_wide_late: Fact = Fact(
        0.25, 0.0, "1", "the same where the release itself is seen: liquids", shape="exact"
    )


FOAM = "foam of 15 to 40 kg/m³, 0.032 to 0.04 W/(m K), 1.3 J/(g K); handbooks, from memory"
CUP = Vessel(
    "cup",
    Fact(1.4e-4, 0.65, "1/s", "cooling rate of a filled cup: 0.03 to 0.16 W/K on 300 to 900 J/K",
         JUDGEMENT, "log-normal"),
    Fact(1.3, 0.0, "1", "spread of ln k of other cups: no lid, paper, metal, flasks",
         JUDGEMENT, "exact"),
    Fact(0.15, 0.0, "1", "probability of such a cup", JUDGEMENT, "exact"),
    (
        wall_of("wall", 0.50, (0.012, 0.010), (6.0, 1.0), (0.6, 0.22), FOAM, seen=False),
        wall_of("lid, rim, probe body, double foam", 0.48, (0.009, 0.008), (38.0, 0.75),
                (0.42, 0.28), "a tenth of the loss for a probe's body, most of it for a double "
                "cup's outer half; judgement"),
        wall_of("glass or heavy plastic", 0.02, (0.05, 0.05), (110.0, 0.6), (0.5, 0.2),
                JUDGEMENT),
    ),
)  # fmt: skip
FLASK = Vessel(
    "flask",
    Fact(2.2e-5, 0.6, "1/s", "cooling rate of a closed vacuum flask: 0.0005 to 0.002 1/min",
         JUDGEMENT, "log-normal"),
    Fact(1.3, 0.0, "1", "spread of ln k of other flasks", JUDGEMENT, "exact"),
    Fact(0.15, 0.0, "1", "probability of such a flask", JUDGEMENT, "exact"),
    (
        wall_of("no wall seen", 0.02, (0.005, 0.003), (5.0, 0.75), (0.5, 0.22), JUDGEMENT,
              seen=False),
        wall_of("a vacuum flask's glass", 0.98, (0.15, 0.08), (110.0, 0.55), (0.3, 0.15),
              "40 to 120 J/K over minutes; judgement"),
    ),
)  # fmt: skip
VESSELS = {one.name: one for one in (CUP, FLASK, BEAKER, METAL, PAPER)}
_OPEN = "6e-5 g/(s kPa) from an open 40 cm²: 0.15 W/kPa, 0.02 W/K near 20 °C, of 0.04 to 0.1 W/K"
LIDS = {
    "closed": Lid("closed", Fact(0.03, 0.04, "1", "closed lid: vapour's share of the loss")),
    "hole": Lid("hole", Fact(0.1, 0.1, "1", "lid with a hole: a few to thirty per cent of open")),
    "open": Lid("open", Fact(0.35, 0.2, "1", "no lid: vapour's share of the loss", _OPEN)),
}
LID_NOT_TOLD = Lid("not told", Fact(0.15, 0.22, "1", "lid not told: vapour's share of the loss"))
SURROUNDINGS = Surroundings()
RELEASES = Releases()
USUAL_RATE_PER_S = CUP.rate_per_s.value


def lid_of(name: str | None) -> Lid:
    """What is known of a lid; ``None``: it was not told."""
    return LID_NOT_TOLD if name is None else LIDS[name]


def all_facts() -> Iterator[tuple[str, Fact]]:
    """Every fact with the thing it is of, in the order of the modules."""
    named = (
        ("surroundings", SURROUNDINGS), ("releases", RELEASES),
        *((one.name, one) for one in VESSELS.values()),
        *((f"lid {one.name}", one) for one in (*LIDS.values(), LID_NOT_TOLD)),
        ("bench", BENCH), ("open surface", OPEN_SURFACE), ("cooling log", COOLING_LOG),
        ("plan", PLAN), ("constant in force", IN_FORCE),
    )  # fmt: skip
    for name, record in named:
        for fact in facts_in(record):
            yield name, fact


def as_markdown() -> str:
    """The table of all facts, for the guide."""
    lines = ["| of | what | value | u | unit | source |", "|---|---|---|---|---|---|"]
    lines += [
        f"| {name} | {fact.what} | {fact.value:g} | {fact.spread} | {fact.unit} | {fact.source} |"
        for name, fact in all_facts()
    ]
    return "\n".join(lines)
