"""Hazard statements of substances, by the European list (CLP, Annex VI) and suppliers' sheets.

Regulation (EC) No 1272/2008 gives each listed substance its statements: H2xx physical, H3xx health,
H4xx environment, EUHxxx supplements. The texts here are shortened; how far each row is known stands
in the head of ``data/classes.tsv``. A class holds for the substance as kept, not for any dilution.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import NamedTuple

__all__ = [
    "Classified", "classified", "classified_source", "dust_warning", "in_words", "more_names",
]  # fmt: skip

LIST = "Regulation (EC) No 1272/2008 (CLP), Annex VI"
BASIS = {
    "A": f"{LIST}, entry of the substance, from memory of Annex VI",
    "G": f"{LIST}, group entry, from memory of Annex VI",
    "S": "usual on suppliers' safety data sheets, from memory; no entry of Annex VI known to us",
    "L": f"no hazard class known to us; {LIST} from memory",
    "F": f"{LIST}, entry 008-003-00-9, as quoted in a notice of 2024 (found)",
}
WORDS = {
    "H201": "may explode as a mass", "H220": "burns as a gas", "H224": "catches fire very easily",
    "H225": "catches fire easily", "H226": "flammable", "H228": "flammable solid",
    "H250": "catches fire in air", "H251": "heats itself, may catch fire",
    "H252": "heats itself in large amounts", "H260": "burning gas with water, may catch fire",
    "H261": "burning gas with water", "H270": "feeds fire", "H271": "may cause fire or explosion",
    "H272": "feeds fire: oxidiser", "H290": "eats metals", "H300": "fatal if swallowed",
    "H301": "toxic if swallowed", "H302": "harmful if swallowed", "H310": "fatal on the skin",
    "H311": "toxic on the skin", "H312": "harmful on the skin", "H314": "burns skin and eyes",
    "H315": "irritates skin", "H317": "may cause skin allergy", "H318": "damages eyes",
    "H319": "irritates eyes", "H330": "fatal if breathed in", "H331": "toxic if breathed in",
    "H332": "harmful if breathed in", "H334": "may cause asthma if breathed in",
    "H335": "irritates the airways", "H336": "makes drowsy", "H340": "may harm genes",
    "H341": "may harm genes, suspected", "H350": "may cause cancer",
    "H350i": "may cause cancer if breathed in", "H351": "suspected of causing cancer",
    "H360D": "may harm the unborn", "H360Df": "may harm the unborn", "H360F": "may harm fertility",
    "H360FD": "may harm fertility and the unborn", "H361d": "suspected of harming the unborn",
    "H361f": "suspected of harming fertility", "H361fd": "suspected of harming the unborn",
    "H362": "may harm breast-fed children", "H370": "harms organs",
    "H372": "harms organs on long exposure", "H373": "may harm organs on long exposure",
    "H400": "very toxic to water life", "H410": "very toxic to water life for long",
    "H411": "toxic to water life", "H412": "harmful to water life", "H413": "may harm water life",
    "EUH014": "reacts violently with water", "EUH029": "toxic gas with water",
    "EUH031": "toxic gas with acids", "EUH032": "very toxic gas with acids",
    "EUH066": "dries the skin", "EUH071": "burns the airways",
}  # fmt: skip
_NO_ROW = "Bretherick's Handbook of Reactive Chemical Hazards (from memory)"
VERY_TOXIC = frozenset({"H300", "H310", "H330"})
_OXIDISING = frozenset({"H270", "H271", "H272"})
_EXPLOSIVE_PRONE = frozenset({"NH4NO3", "NH4ClO4", "NH4ClO3", "NH4NO2", "(NH4)2Cr2O7"})
_TOXIC_DUST = frozenset({"H300", "H301", "H330", "H331", "H340", "H341", "H350", "H350i",
                         "H360D", "H360Df", "H360F", "H360FD", "H372"})  # fmt: skip


class Classified(NamedTuple):
    """The statements of one substance and how they are known."""

    statements: tuple[str, ...]
    source: str


@cache
def _rows() -> dict[str, Classified]:
    found: dict[str, Classified] = {}
    for basis, statements, formulas in _cells("classes"):
        for formula in formulas.split():
            found[formula] = Classified(tuple(statements.split()), BASIS[basis])
    return found


def _cells(name: str) -> list[list[str]]:
    text = files("calib.hazards").joinpath("data", f"{name}.tsv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [line.split("\t") for line in lines[1:]]


@cache
def more_names() -> dict[str, tuple[str, str]]:
    """Names, in small letters, of dangerous substances that the list of substances lacks."""
    return {
        name: (formula, state)
        for formula, state, names in _cells("more_names")
        for name in names.split(";")
    }


def classified(formula: str) -> Classified | None:
    """The statements of a substance or of its hydrate; ``None`` where it is not in the table.

    >>> "H334" in classified("(NH4)2S2O8").statements
    True
    """
    return _rows().get(formula) or _rows().get(formula.partition("·")[0])


def in_words(formula: str) -> str:
    """The statements of a substance in a line, with their source; empty where there are none."""
    found = classified(formula)
    if found is None or not found.statements:
        return ""
    said = ", ".join(f"{code} {WORDS[code]}" for code in found.statements)
    return f"{said} ({found.source})"


def classified_source(formula: str) -> str:
    """Statements and source in short, for a gas that an equation yields."""
    found = classified(formula)
    if found is None or not found.statements:
        return _NO_ROW
    return f"{', '.join(found.statements)}, {found.source}"


def dust_warning(formula: str) -> str:
    """Why a solid must not be ground, and what to do in its place; empty where it may be.

    Oxidisers, salts that may explode, sensitisers and toxic powders are weighed as they are.
    """
    found = classified(formula)
    statements = frozenset(found.statements) if found is not None else frozenset()
    dry = formula.partition("·")[0]
    why = []
    if statements & _OXIDISING:
        why.append("an oxidiser, which may catch fire when ground")
    if dry in _EXPLOSIVE_PRONE or "H201" in statements or "ClO4" in dry or "N3" in dry:
        why.append("prone to explode when ground or heated")
    if "H334" in statements:
        why.append("its dust may cause asthma (H334)")
    elif statements & _TOXIC_DUST:
        why.append("its dust is toxic")
    if not why:
        return ""
    return (
        f"do NOT grind {formula}: {', '.join(why)}; no dust: weigh it in a hood, as fine as it was "
        "bought, and stir until it is dissolved"
    )
