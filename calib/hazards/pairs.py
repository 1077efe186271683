"""Which kinds must not meet, what comes of it, and who says so.

Each pair names its source. Published: US EPA-600/2-80-076, "A Method for Determining the
Compatibility of Hazardous Wastes" (1980), a chart of reactivity groups in the public domain, of
which groups 1 to 17 were found in a copy and the others are from memory; 40 CFR 264 Appendix V,
"Examples of Potentially Incompatible Waste", groups 1 to 5 found, 6 from memory; the supplemental
statements EUH014, 029, 031, 032 and 206 of Regulation (EC) No 1272/2008 (CLP), their texts found,
which substances carry them from memory of Annex VI.

``refuse``: a hazard rather than an experiment. Otherwise the experiment is usual, with cautions.
``general`` pairs speak only where no closer one does. ``ordered``: the first is in the cup.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from calib.hazards.kinds import Part, kinds_of

__all__ = ["PAIRS", "Pair", "pairs_met"]


class Pair(NamedTuple):
    """Two sets of kinds, joined by ``&``, and what happens where they meet."""

    first: str
    second: str
    refuse: bool
    happens: str
    source: str
    gas: str = ""
    general: bool = False
    ordered: bool = False


def _epa(one: str, two: str, *, found: bool = False) -> str:
    known = "found" if found else "from memory"
    return f"US EPA-600/2-80-076 (1980), groups {one} and {two} ({known})"


_CFR = "40 CFR 264 Appendix V, group"
_CFR2, _CFR3 = f"{_CFR} 2 (found)", f"{_CFR} 3 (found)"
_CFR5, _CFR6 = f"{_CFR} 5 (found)", f"{_CFR} 6 (from memory)"
_CFR_WATER = "40 CFR 264 Appendix V, on adding acid to water rather than water to acid (found)"
_CLP = "Regulation (EC) No 1272/2008 (CLP)"
_31 = f"{_CLP}, EUH031: contact with acids liberates toxic gas (Annex VI from memory)"
_32 = f"{_CLP}, EUH032: contact with acids liberates very toxic gas (Annex VI from memory)"
_29 = f"{_CLP}, EUH029: contact with water liberates toxic gas (Annex VI from memory)"
_14 = f"{_CLP}, EUH014: reacts violently with water (Annex VI from memory)"
_206 = f"{_CLP}, EUH206: may release dangerous gases (chlorine) (found)"
_260 = f"{_CLP}, H260: in contact with water releases flammable gases (Annex VI from memory)"
_TRADE = "common practice, no source"
_BOOK = "Bretherick's Handbook of Reactive Chemical Hazards (from memory)"
_GAS_FORMING = "OpenStax, Chemistry 2e, on carbonates with acids (from memory)"
_OX_RED = _epa("104 (strong oxidisers)", "105 (strong reducers)")
_OX_ORG = f"{_epa('104 (strong oxidisers)', '101 (combustible)')}; {_CFR6}"
_OX_ACID_ORG = _epa("2 (oxidising mineral acids)", "4 and others (organic)", found=True)

_WITH_ACID = (
    Pair("acid", "hypochlorite", True, "chlorine is given off", f"{_31}; {_206}", "Cl2"),
    Pair("acid-reacting salt", "hypochlorite", True, "chlorine is given off", _31, "Cl2"),
    Pair("acid", "chlorite", True, "chlorine dioxide is given off, which explodes", _32, "ClO2"),
    Pair("acid", "cyanide", True, "hydrogen cyanide is given off",
         f"{_32}; {_epa('1 to 3 (acids)', '11 (cyanides)', found=True)}", "HCN"),
    Pair("acid-reacting salt", "cyanide", True, "hydrogen cyanide is given off", _32, "HCN"),
    Pair("ammonium", "cyanide", True, "hydrogen cyanide is given off", _32, "HCN"),
    Pair("acid", "sulfide", True, "hydrogen sulfide is given off", f"{_31}; {_CFR5}", "H2S"),
    Pair("acid-reacting salt", "sulfide", True, "hydrogen sulfide is given off", _31, "H2S"),
    Pair("acid", "sulfite", True, "sulfur dioxide is given off", _31, "SO2"),
    Pair("acid", "thiosulfate", True, "sulfur dioxide is given off, and sulfur falls",
         "suppliers' sheets, EUH031, from memory", "SO2"),
    Pair("acid", "nitrite", True, "nitric oxide and nitrogen dioxide are given off",
         f"{_epa('1 to 3 (acids)', '104 (oxidisers)')}; {_BOOK}", "NO2"),
    Pair("acid", "selenide", True, "hydrogen selenide is given off",
         _epa("1 to 3 (acids)", "33 (sulfides) and 24"), "H2Se"),
    Pair("weakly acid salt", "hypochlorite", False, "some chlorine is given off", _31, "Cl2"),
    Pair("acid", "azide", True, "hydrogen azide is given off, poisonous and explosive", _32,
         "HN3"),
    Pair("acid", "phosphide", True, "phosphine is given off", _32, "PH3"),
    Pair("acid", "arsenide", True, "arsine is given off", _epa("1 to 3 (acids)", "24 (arsenic)"),
         "AsH3"),
    Pair("strong acid", "fluoride", True, "hydrogen fluoride is formed",
         f"{_32}; {_epa('1 to 3 (acids)', '15 (fluorides)', found=True)}", "HF"),
    Pair("acid", "fluoride", False, "some hydrogen fluoride is formed", _32, "HF"),
    Pair("acid", "thiocyanate", False, "very toxic gas can be given off, the more the hotter and "
         "stronger", _32, "HCN"),
    Pair("acid", "complex cyanide", False, "hot or strong acid gives off hydrogen cyanide",
         "suppliers' sheets, EUH032, from memory", "HCN"),
    Pair("acid", "carbonate", False, "carbon dioxide is given off at once and foams over: add in "
         "small portions, leave two thirds of the cup empty, never close it",
         _GAS_FORMING, "CO2"),
    Pair("acid-reacting salt", "carbonate", False, "carbon dioxide is given off and foams over",
         _GAS_FORMING, "CO2"),
    Pair("acid", "alkali metal", True, "explosion and burning hydrogen", f"{_260}; {_CFR2}", "H2"),
    Pair("acid", "hydride", True, "burning hydrogen", _260, "H2"),
    Pair("acid", "borohydride", True, "burning hydrogen, violent foam", _260, "H2"),
    Pair("acid", "carbide", True, "burning gas (acetylene)", _260),
    Pair("acid", "silicide", True, "gas (silane) that catches fire by itself", _260),
)  # fmt: skip

_OXIDISING_ACIDS = (
    Pair("hydrohalic acid", "permanganate", True, "the halogen (chlorine) is given off",
         f"{_CFR6}; {_BOOK}", "Cl2"),
    Pair("hydrohalic acid", "chlorate", True, "chlorine and chlorine dioxide, which explodes",
         f"{_CFR6}; {_BOOK}", "ClO2"),
    Pair("acid", "chlorate", True, "chlorine dioxide or chloric acid, which explode", _CFR6,
         "ClO2"),
    Pair("hydrohalic acid", "chromate", True, "the halogen (chlorine) is given off", _CFR6, "Cl2"),
    Pair("hydrohalic acid", "oxide oxidiser", True, "the halogen (chlorine) is given off",
         _BOOK, "Cl2"),
    Pair("hydrohalic acid", "persulfate", True, "the halogen (chlorine) is given off",
         f"{_CFR6}; {_BOOK}", "Cl2"),
    Pair("hydrohalic acid", "peroxide", False, "the halogen (chlorine) is given off where "
         "they are strong or warm", f"{_CFR6}; {_BOOK}", "Cl2"),
    Pair("strong acid", "peroxide & undiluted", True, "violent decomposition; attacks everything "
         "organic", _CFR6),
    Pair("HNO3", "metal", True, "nitrogen oxides are given off, brown and very toxic, minutes "
         "later too", _epa("2 (oxidising acids)", "22 and 23 (metals)"), "NO2"),
    Pair("concentrated H2SO4", "metal", True, "sulfur dioxide, heat and spray",
         _epa("2 (oxidising acids)", "22 and 23 (metals)"), "SO2"),
    Pair("concentrated acid", "metal", True, "hydrogen or poisonous gas, great heat, acid spray",
         _epa("1 and 2 (mineral acids)", "22 and 23 (metals)"), "H2"),
    Pair("H2SO4 of unknown strength", "noble metal", False, "where the acid is strong: sulfur "
         "dioxide", _epa("2 (oxidising acids)", "22 and 23 (metals)"), "SO2"),
    Pair("H2SO4 of unknown strength", "organic", False, "where the acid is strong: charring, "
         "steam, sulfur dioxide", _OX_ACID_ORG),
    Pair("concentrated H2SO4", "organic", True, "charring, boiling, acid spray, sulfur dioxide "
         "and carbon monoxide", _OX_ACID_ORG, "CO"),
    Pair("concentrated H2SO4", "formate", True, "carbon monoxide is given off",
         _BOOK, "CO"),
    Pair("concentrated H2SO4", "oxalate", True, "carbon monoxide is given off",
         _BOOK, "CO"),
    Pair("concentrated H2SO4", "permanganate", True, "dimanganese heptoxide, which explodes",
         _CFR6),
    Pair("concentrated H2SO4", "nitrate & undiluted", True, "fuming nitric acid and nitrogen "
         "dioxide", _CFR6, "NO2"),
    Pair("concentrated H2SO4", "perchlorate", True, "perchloric acid, which explodes", _CFR6),
    Pair("concentrated H2SO4", "iodide", True, "iodine vapour, hydrogen sulfide, sulfur dioxide",
         _BOOK, "H2S"),
    Pair("concentrated H2SO4", "bromide", True, "bromine and sulfur dioxide", _BOOK,
         "Br2"),
    Pair("concentrated H2SO4", "chloride & undiluted", True, "hydrogen chloride is given off",
         _BOOK, "HCl"),
    Pair("concentrated HNO3", "organic", True, "fire, explosion, nitrogen dioxide", _OX_ACID_ORG,
         "NO2"),
    Pair("HNO3 of unknown strength", "solvent", True, "fire, explosion, nitrogen dioxide where "
         "the acid is strong", _OX_ACID_ORG, "NO2"),
    Pair("HNO3 of unknown strength", "organic & undiluted", False, "fire and nitrogen dioxide "
         "where the acid is strong", _OX_ACID_ORG, "NO2"),
    Pair("HNO3", "reducer", False, "nitrogen oxides may be given off", _OX_RED, "NO2"),
    Pair("HNO3", "fuel", True, "nitrogen dioxide, fire", _CFR6, "NO2"),
    Pair("HNO3", "urea", False, "urea nitrate falls, which is explosive when dry",
         _BOOK),
    Pair("concentrated HNO3", "hydrohalic acid", True, "chlorine and nitrosyl chloride are given "
         "off (aqua regia)", _BOOK, "Cl2"),
    Pair("concentrated HClO4", "organic", True, "explosion", f"{_OX_ACID_ORG}; {_CFR6}"),
    Pair("HClO4 of unknown strength", "organic & undiluted", False, "explosion where the acid is "
         "strong or hot", _OX_ACID_ORG),
    Pair("concentrated acid", "strong base", True, "boiling and spray of acid and alkali",
         _epa("1 and 2 (mineral acids)", "10 (caustics)", found=True)),
    Pair("concentrated acid", "ammonia", False, "great heat, smoke of the salt",
         _epa("1 and 2 (mineral acids)", "10 (caustics)", found=True)),
)  # fmt: skip

_WITH_BASE = (
    Pair("strong base", "ammonium", False, "ammonia is given off: hood or good ventilation, do "
         "not breathe it", f"{_BOOK}; {_TRADE}", "NH3"),
    Pair("strong base", "fierce in alkali", True, "hydrogen and heat that feed on each other: it "
         "foams up hot alkali, often after a wait",
         f"{_CFR2}; {_epa('10 (caustics)', '22 and 23 (metals)')}", "H2"),
    Pair("strong base", "amphoteric metal", False, "it dissolves, with hydrogen: no flame, open "
         "cup", f"{_CFR2}; {_epa('10 (caustics)', '22 and 23 (metals)')}", "H2"),
    Pair("strong base", "phosphorus", True, "phosphine, which catches fire", _BOOK,
         "PH3"),
    Pair("strong base", "silicide", True, "gas that catches fire by itself", _BOOK),
    Pair("hypochlorite", "ammonia", True, "chloramines are given off, which harm the lungs",
         f"{_206}; {_epa('7 (amines)', '104 (strong oxidisers)')}", "NH2Cl"),
    Pair("hypochlorite", "ammonium", True, "chloramines and nitrogen trichloride, which explodes",
         _epa("104 (strong oxidisers)", "105 (reducers)"), "NH2Cl"),
    Pair("hypochlorite", "amine", True, "chloramines and nitrogen trichloride, poisonous and "
         "explosive", _epa("7 (amines)", "104 (strong oxidisers)"), "NCl3"),
    Pair("hypochlorite", "solvent", True, "chloroform and great heat", f"{_OX_ORG}", "CHCl3"),
    Pair("hypochlorite", "peroxide", False, "oxygen is set free at once, with foam and heat",
         _BOOK, "O2"),
    Pair("hypochlorite", "cyanide", True, "cyanogen chloride is given off", _BOOK,
         "ClCN"),
    Pair("chlorinated isocyanurate", "hypochlorite", True, "explosion, chlorine",
         f"{_206}; from memory of suppliers' sheets", "Cl2"),
    Pair("chlorinated isocyanurate", "watery", False, "chlorine can be given off from the damp "
         "solid", _206, "Cl2"),
    Pair("ammonia", "iodine", True, "nitrogen triiodide, which explodes at a touch",
         _BOOK),
    Pair("ammonia", "halogen", True, "nitrogen trihalides, which explode", _BOOK,
         "NCl3"),
    Pair("ammonia", "silver", False, "fulminating silver forms on standing: acidify and discard "
         "at once", _BOOK),
    Pair("ammonium", "nitrite", True, "ammonium nitrite, which decomposes violently or explodes",
         _BOOK),
    Pair("ammonium", "chlorate", True, "ammonium chlorate, which explodes by itself",
         _BOOK),
    Pair("ammonium", "permanganate & undiluted", True, "ammonium permanganate, which explodes",
         _BOOK),
)  # fmt: skip

_WATER = (
    Pair("alkali metal", "watery", True, "fire, burning hydrogen, explosion, alkali spray",
         f"{_260}; {_CFR3}", "H2"),
    Pair("alkaline earth metal", "watery", False, "hydrogen, heat and alkali: small amount, open "
         "cup, no flame", f"{_CLP}, H261 (Annex VI from memory); {_CFR3}", "H2"),
    Pair("hydride", "watery", True, "burning hydrogen, alkali spray", f"{_260}; {_CFR3}", "H2"),
    Pair("borohydride", "watery", False, "hydrogen is given off, faster in acid", _260, "H2"),
    Pair("carbide", "watery", True, "acetylene, which burns and explodes, with traces of "
         "phosphine", f"{_260}; {_epa('106 (water)', '107 (water reactive)')}", "C2H2"),
    Pair("phosphide", "watery", True, "phosphine is given off", _29, "PH3"),
    Pair("arsenide", "watery", True, "arsine is given off", _epa("106 (water)", "107"), "AsH3"),
    Pair("acid chloride", "watery", True, "hydrogen chloride is given off, violently",
         f"{_14}; {_29}; {_CFR3}", "HCl"),
    Pair("violent with water", "watery", True, "great heat and acid spray", _14),
    Pair("metal peroxide", "watery", True, "oxygen, great heat, alkali spray; sets fire to "
         "paper and foam", _epa("106 (water)", "107 (water reactive)"), "O2"),
    Pair("hydride", "alcohol", True, "burning hydrogen", _epa("4 (alcohols)", "105"), "H2"),
    Pair("acid chloride", "alcohol", True, "hydrogen chloride is given off, violently",
         _epa("4 (alcohols)", "107 (water reactive)"), "HCl"),
    Pair("hot with water", "watery", False, "hissing, great heat, hydrogen chloride: hood, a "
         "little at a time into much water", _epa("106 (water)", "107 (water reactive)"), "HCl"),
    Pair("alkali metal", "alcohol", True, "hydrogen, fire", _epa("4 (alcohols)", "21"), "H2"),
    Pair("concentrated acid", "watery", True, "WATER INTO STRONG ACID: it boils where they meet "
         "and throws acid out; the acid goes into the water, slowly, stirring", _CFR_WATER,
         general=True, ordered=True),
    Pair("H2SO4 of unknown strength", "water", False, "where the acid is strong: it boils and "
         "throws acid out; acid goes into water, never water into acid", _CFR_WATER,
         ordered=True),
    Pair("water", "concentrated H2SO4", False, "great heat: acid into water in small portions, "
         "stirring, in glass in a cooling bath, not in a foam cup", _CFR_WATER, ordered=True),
    Pair("water", "concentrated acid", False, "heat and harmful vapour: acid into water in "
         "small portions, stirring", _CFR_WATER, general=True, ordered=True),
    Pair("strong base & undiluted", "water", False, "WATER ONTO SOLID ALKALI: it boils and "
         "spatters; the solid goes into the water, in small portions", _TRADE, ordered=True),
)  # fmt: skip

_OXIDISERS = (
    Pair("peroxide", "ketone", True, "peroxides of acetone, which explode at a touch",
         _epa("19 (ketones)", "30 (peroxides)")),
    Pair("peroxide", "hydrazine", True, "explosion", _OX_RED),
    Pair("peroxide & undiluted", "oxide oxidiser", True, "boiling, oxygen and steam",
         _epa("104", "104"), "O2"),
    Pair("peroxide", "oxide oxidiser", False, "oxygen, heat and foam: open cup", _TRADE, "O2"),
    Pair("peroxide & undiluted", "peroxide catalyst", True, "boiling, oxygen and steam", _TRADE,
         "O2"),
    Pair("peroxide", "peroxide catalyst", False, "it decomposes: oxygen, heat, foam; open cup, "
         "no flame", _TRADE, "O2"),
    Pair("peroxide & undiluted", "permanganate", True, "boiling, oxygen and steam",
         _epa("104", "104"), "O2"),
    Pair("peroxide", "permanganate", False, "oxygen at once, heat and spray; violent where one "
         "is strong", _epa("104", "104"), "O2"),
    Pair("permanganate & undiluted", "alcohol", True, "catches fire by itself after a wait",
         _OX_ORG),
    Pair("azide", "heavy metal salt", True, "the metal's azide, which explodes at a touch",
         _epa("102 (explosives)", "24 (metal compounds)")),
    Pair("silver", "alcohol", False, "with nitric acid: silver fulminate, which explodes",
         _BOOK),
    Pair("silver & nitrate & undiluted", "powder metal", True, "bursts into flame with a drop "
         "of water", _CFR6),
    Pair("iodine", "powder metal", True, "bursts into flame with a drop of water, iodine vapour",
         _BOOK),
    Pair("halogen", "powder metal", True, "fire", _epa("104 (oxidisers)", "22 (metal powders)")),
    Pair("cyanide", "nitrate & undiluted", True, "explosion when heated or ground", _OX_RED),
    Pair("cyanide", "nitrite", True, "explosion when heated or ground", _OX_RED),
    Pair("strong oxidiser & undiluted", "fuel & undiluted", True, "a mixture that burns or "
         "explodes when rubbed, struck or heated", f"{_OX_ORG}; {_CFR6}", general=True),
    Pair("strong oxidiser & undiluted", "organic & undiluted", True, "fire or explosion, also "
         "after a wait", _OX_ORG, general=True),
    Pair("strong oxidiser & undiluted", "reducer & undiluted", True, "fire or explosion",
         _OX_RED, general=True),
    Pair("strong oxidiser", "reducer", False, "heat, perhaps gas: dilute solutions only, add "
         "slowly, open cup", _OX_RED, general=True),
    Pair("strong oxidiser", "organic", False, "heat, perhaps gas, also after a wait: dilute "
         "solutions only, open cup", _OX_ORG, general=True),
    Pair("strong oxidiser", "ammonia", False, "heat, perhaps gas", _OX_RED, general=True),
    Pair("perchlorate", "organic & undiluted", False, "may explode where it dries on something "
         "that burns", f"{_OX_ORG}; {_CFR6}", general=True),
    Pair("iodate", "reducer", False, "iodine is set free; heat", _OX_RED, general=True),
)  # fmt: skip

PAIRS: tuple[Pair, ...] = (*_WITH_ACID, *_OXIDISING_ACIDS, *_WITH_BASE, *_WATER, *_OXIDISERS)


def pairs_met(
    in_cup: Part, added: Part, *, order_known: bool = True
) -> list[tuple[Pair, Part, Part]]:
    """Every pair that two parts make, each with the part that is its first; refusals come first.

    General pairs are left out where a closer one speaks of the same two; those of the order of
    adding where it is not known, as in an equation.
    """
    found = [one for one in _met(in_cup, added) if order_known or not one[0].ordered]
    if not all(pair.general for pair, _, _ in found):
        found = [one for one in found if not one[0].general or one[0].ordered]
    elif any(pair.refuse for pair, _, _ in found):
        found = [one for one in found if one[0].refuse]
    once: dict[str, tuple[Pair, Part, Part]] = {}
    for one in sorted(found, key=lambda one: (not one[0].refuse, one[0].general)):
        once.setdefault("order" if one[0].ordered else one[0].gas or one[0].happens, one)
    return list(once.values())


def _met(in_cup: Part, added: Part) -> Iterator[tuple[Pair, Part, Part]]:
    here, there = kinds_of(in_cup), kinds_of(added)
    for pair in PAIRS:
        first, second = _kinds(pair.first), _kinds(pair.second)
        if first <= here and second <= there:
            yield pair, in_cup, added
        elif not pair.ordered and first <= there and second <= here:
            yield pair, added, in_cup


def _kinds(joined: str) -> frozenset[str]:
    return frozenset(joined.split(" & "))
