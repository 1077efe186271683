"""What a plan runs into: a solid that stays, a cup that softens, water that boils."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calib.errors import SubstanceError
from calib.run_model.prepared import PreparedRun
from calib.substances.formula import split_hydrate
from fitting.cup.knowledge import PLAN

__all__ = ["Dissolving", "HeatLimit", "dissolving", "heat_limit"]

BOILS_C = 100.0
NEAR_K = 10.0


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
    sure = grams <= 0.95 * tight
    if grams <= holds:
        said = "dissolve" if solid_in else "stay dissolved"
        more = "" if sure else "; this is close to saturation: stir long, or take a little less"
        sentence = (
            f"{grams:.3g} g of {formula} {said}: the water holds {holds:.3g} g at "
            f"{final:.1f} °C{more}"
        )
        return Dissolving(formula, grams, water_g, final, holds, True, sentence)
    share = _share(formula, grams, water_g, t1, rise)
    reached = t1 + share * rise
    stays = f"the change is then about {reached - t1:.1f} K" if solid_in else "the rest settles"
    sentence = (
        f"NOT ALL of {formula} dissolves: about {share * grams:.3g} of {grams:.3g} g at "
        f"{reached:.1f} °C; {stays}; take more water or less {formula}"
    )
    return Dissolving(formula, grams, water_g, reached, share * grams, False, sentence)


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

    def to_json(self) -> dict[str, Any]:
        """As the command prints it."""
        return {
            "hottest_C": self.hottest_C, "limit_C": self.limit_C, "verdict": self.verdict,
            "sentences": list(self.sentences),
        }  # fmt: skip


def heat_limit(
    prepared: PreparedRun, t1_C: float, rise_K: float, u_K: float, kind: str = ""
) -> HeatLimit:
    """Compare the hottest that must be reckoned with (rise + 2 u) with the cup's limit."""
    glass = any(word in kind.casefold() for word in ("glass", "steel", "dewar", "metal"))
    limit, what = (BOILS_C, "the water boils")
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
    if hottest >= BOILS_C:
        sentences.append("the water would boil and spray: do not do this")
    if t1_C + rise_K - 2.0 * u_K <= 0.0:
        sentences.append("it would fall to the freezing point: part of the water would freeze")
    added = prepared.added
    if added is not None and added.species.state == "s" and prepared.process.kind == "reaction":
        near = t1_C + rise_K / PLAN.unstirred_share.value
        if rise_K > 0 and near >= BOILS_C > hottest:
            verdict = "near" if verdict == "within" else verdict
            sentences.append(
                f"{added.species} lying in a quarter of the water would bring that to boiling: "
                "stir from the first moment, add it in portions, never drop it into little water"
            )
    return HeatLimit(hottest, limit, verdict, tuple(sentences))


def _liquid_added(prepared: PreparedRun) -> bool:
    return prepared.added is not None and prepared.added.composition is not None
