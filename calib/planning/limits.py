"""What a plan runs into: a solid that stays, a cup that softens, a solution that boils or freezes.

Freezing and boiling are the solution's own (:mod:`calib.reactions.osmotic`), not water's; a
solubility ends with its table, and then says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.reactions.osmotic import boiling_point, freezing_point
from calib.run_model.prepared import PreparedRun
from calib.substances.formula import split_hydrate
from fitting.cup.knowledge import PLAN

__all__ = ["Dissolving", "HeatLimit", "dissolving", "heat_limit"]

NEAR_K = 10.0
TABLE_SPAN = (0.0, 60.0)
"""The temperatures that the solubility table spans."""


@dataclass(frozen=True, slots=True)
class Dissolving:
    """One solute at the final temperature; masses in g, ``dissolves`` None where not known."""

    solute: str
    grams: float
    water_g: float
    at_C: float
    holds_g: float | None
    dissolves: bool | None
    sentence: str

    def to_json(self) -> dict[str, Any]:
        """As the command prints it."""
        return {
            "solute": self.solute, "mass_g": self.grams, "water_g": self.water_g,
            "at_C": self.at_C, "holds_g": self.holds_g, "dissolves": self.dissolves,
            "sentence": self.sentence,
        }  # fmt: skip


def dissolving(prepared: PreparedRun, t1_C: float, rise_K: float, u_K: float) -> list[Dissolving]:
    """Whether the cup's water holds each solute at the final temperature, its spread allowed for.

    A solid that does not go in altogether gives a smaller rise, and so another final temperature:
    the share f that dissolves solves  f m = S(T_1 + f ΔT) m_water / 100.
    """
    if prepared.process.equation is None:
        return []
    liquid = prepared.contents.liquid
    solid_in = prepared.added is not None and prepared.added.species.state == "s"
    found = []
    brought = prepared.added.species.formula if prepared.added is not None and solid_in else ""
    for formula, grams in liquid.solutes_g.items():
        goes_in = split_hydrate(brought)[0] == formula if brought else False
        one = _one(formula, grams, liquid.water_g, (t1_C, rise_K, u_K), goes_in)
        if one.dissolves is not None or goes_in:
            found.append(one)
    for formula, grams in prepared.contents.solids_g.items():
        sentence = f"{grams:.3g} g of {formula} stay or form as a solid"
        found.append(
            Dissolving(formula, grams, liquid.water_g, t1_C + rise_K, None, False, sentence)
        )
    return found


def _one(
    formula: str,
    grams: float,
    water_g: float,
    course: tuple[float, float, float],
    solid_in: bool,
) -> Dissolving:
    t1, rise, u = course
    final = t1 + rise
    try:
        holds = _holds(formula, water_g, final)
        tight = min(holds, _holds(formula, water_g, final - 2 * u))
    except SubstanceError as error:
        return Dissolving(formula, grams, water_g, final, None, None, f"{formula}: {error}")
    share = 1.0 if grams <= holds else _share(formula, grams, water_g, t1, rise)
    reached = t1 + share * rise
    if not TABLE_SPAN[0] <= reached <= TABLE_SPAN[1]:
        return _past_the_table(formula, grams, water_g, reached, holds)
    sure = grams <= 0.95 * tight
    if grams <= holds:
        said = "dissolve" if solid_in else "stay dissolved"
        more = "" if sure else "; this is close to saturation: stir long, or take a little less"
        sentence = (
            f"{grams:.3g} g of {formula} {said}: the water holds {holds:.3g} g at "
            f"{final:.1f} °C{more}"
        )
        return Dissolving(formula, grams, water_g, final, holds, True, sentence)
    stays = f"the change is then about {reached - t1:.1f} K" if solid_in else "the rest settles"
    sentence = (
        f"NOT ALL of {formula} dissolves: about {share * grams:.3g} of {grams:.3g} g at "
        f"{reached:.1f} °C; {stays}; take more water or less {formula}"
    )
    return Dissolving(formula, grams, water_g, reached, share * grams, False, sentence)


def _past_the_table(
    formula: str, grams: float, water_g: float, final: float, holds: float
) -> Dissolving:
    """What the table's last temperature tells of one beyond it: less in the cold, more in heat."""
    end = TABLE_SPAN[0] if final < TABLE_SPAN[0] else TABLE_SPAN[1]
    cold = final < TABLE_SPAN[0]
    told: bool | None = None
    if cold and grams > holds:
        told, verdict = False, f"NOT ALL of {formula} dissolves"
    elif not cold and grams <= holds:
        told, verdict = True, f"{grams:.3g} g of {formula} dissolve"
    else:
        verdict = f"whether {grams:.3g} g of {formula} dissolve is not told"
    sentence = (
        f"{verdict}: the solubility table ends at {end:g} °C, where the water holds {holds:.3g} g; "
        f"{final:.1f} °C lies past it"
    )
    return Dissolving(formula, grams, water_g, final, holds, told, sentence)


def _holds(formula: str, water_g: float, t_C: float) -> float:
    from calib.substances.solubility import holds_g

    return holds_g(formula, water_g, t_C).value


def _share(formula: str, grams: float, water_g: float, t1: float, rise: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        fits = middle * grams <= _holds(formula, water_g, t1 + middle * rise)
        low, high = (middle, high) if fits else (low, middle)
    return low


@dataclass(frozen=True, slots=True)
class HeatLimit:
    """How hot it gets against what the cup stands. ``verdict``: within, near, over."""

    hottest_C: float
    limit_C: float
    verdict: str
    sentences: tuple[str, ...]
    freezes: Estimate
    boils: Estimate

    def to_json(self) -> dict[str, Any]:
        """As the command prints it."""
        return {
            "hottest_C": self.hottest_C, "limit_C": self.limit_C, "verdict": self.verdict,
            "sentences": list(self.sentences),
            "freezes_C": self.freezes.value, "u_freezes_K": self.freezes.u,
            "boils_C": self.boils.value, "u_boils_K": self.boils.u,
        }  # fmt: skip


def heat_limit(
    prepared: PreparedRun, t1_C: float, rise_K: float, u_K: float, kind: str = ""
) -> HeatLimit:
    """Compare the hottest that must be reckoned with (rise + 2 u) with the cup's limit."""
    glass = any(word in kind.casefold() for word in ("glass", "steel", "dewar", "metal"))
    liquid = prepared.contents.liquid
    freezes, boils = freezing_point(liquid), boiling_point(liquid)
    limit, what = boils.value, "the solution boils" if liquid.solutes_g else "the water boils"
    if not glass:
        limit, what = PLAN.foam_softens_C.value, "foam softens"
    start = max(t1_C, float(prepared.run.added_C or t1_C) if _liquid_added(prepared) else t1_C)
    hottest = max(t1_C + rise_K + 2.0 * u_K, start)
    sentences = []
    verdict = "within"
    if hottest >= limit:
        verdict = "over"
        sentences.append(
            f"TOO HOT: up to {hottest:.0f} °C, and {what} from about {limit:.0f} °C on; take more "
            "water or less of what reacts"
        )
    elif hottest >= limit - NEAR_K:
        verdict = "near"
        sentences.append(
            f"up to {hottest:.0f} °C: {what} from about {limit:.0f} °C on; better take more water"
        )
    else:
        sentences.append(f"up to {hottest:.0f} °C; {what} from about {limit:.0f} °C on")
    if hottest >= boils.value - 2.0 * boils.u:
        sentences.append("it would boil and spray: do not do this")
    sentences += _frost(t1_C + rise_K, u_K, freezes)
    added = prepared.added
    if added is not None and added.species.state == "s" and prepared.process.kind == "reaction":
        near = t1_C + rise_K / PLAN.unstirred_share.value
        if rise_K > 0 and near >= boils.value > hottest:
            verdict = "near" if verdict == "within" else verdict
            sentences.append(
                f"{added.species} lying in a quarter of the water would bring that to boiling: "
                "stir from the first moment, add it in portions, never drop it into little water"
            )
    return HeatLimit(hottest, limit, verdict, tuple(sentences), freezes, boils)


def _frost(final_C: float, u_K: float, freezes: Estimate) -> list[str]:
    """Whether ice forms: the coldest to be reckoned with against the solution's freezing point."""
    where = f"{freezes.value:.1f} ± {max(freezes.u, 0.05):.1f} °C"
    if final_C <= freezes.value:
        return [
            f"it would fall to the freezing point of the solution, {where}: ice (or salt) would "
            "separate and it would get no colder; take more water or less of the salt"
        ]
    apart = 2.0 * math.hypot(u_K, freezes.u)
    if final_C - apart <= freezes.value:
        return [f"it comes near the freezing point of the solution, {where}: a little ice may form"]
    if final_C - 2.0 * u_K <= 0.0:
        return [
            f"below 0 °C, but ice forms in this solution only at {where}, if no salt settles before"
        ]
    return []


def _liquid_added(prepared: PreparedRun) -> bool:
    return prepared.added is not None and prepared.added.composition is not None
