"""To which kinds a substance belongs where something may happen to people: acid, cyanide, oxidiser.

Kinds are read off the ions and the formula (general chemistry, no source). They decide only what is
warned of. Where the strength of a solution is not known, kinds ending in ``of unknown strength``
say so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from calib.errors import CupledgerError
from calib.reactions.ions import ACIDS, STRONG, salt_of, split_hydrate
from calib.reactions.notation import atoms, canonical, charge_text
from calib.substances.names import class_of, names_of

__all__ = ["POISON_GASES", "Part", "kinds_of"]


@dataclass(frozen=True, slots=True)
class Part:
    """One of two things that are put together. ``mol_per_L`` is None where it is not known."""

    formula: str
    state: str = ""
    mol_per_L: float | None = None
    charge: int = 0

    def __str__(self) -> str:
        if self.charge:
            return self.formula + charge_text(self.formula, self.charge)
        name = next(iter(names_of(self.formula)), "")
        strength = f"{self.mol_per_L:.3g} mol/L " if self.mol_per_L and self.mol_per_L < 90 else ""
        return f"{strength}{name} ({self.formula})" if name else f"{strength}{self.formula}"


POISON_GASES = {
    "Cl2": "chlorine", "HCN": "hydrogen cyanide", "H2S": "hydrogen sulfide",
    "SO2": "sulfur dioxide", "NO2": "nitrogen dioxide", "NO": "nitric oxide", "N2O4": "nitrogen "
    "dioxide", "NH3": "ammonia", "HN3": "hydrogen azide", "ClO2": "chlorine dioxide",
    "PH3": "phosphine", "AsH3": "arsine", "SbH3": "stibine", "CO": "carbon monoxide",
    "Br2": "bromine", "HF": "hydrogen fluoride", "HCl": "hydrogen chloride", "H2Se": "hydrogen "
    "selenide", "COCl2": "phosgene", "NCl3": "nitrogen trichloride", "NH2Cl": "chloramine",
    "ClCN": "cyanogen chloride", "C2N2": "cyanogen", "NOCl": "nitrosyl chloride", "F2": "fluorine",
    "O3": "ozone", "Cl2O": "dichlorine monoxide", "HBr": "hydrogen bromide", "SO3": "sulfur "
    "trioxide", "HI": "hydrogen iodide",
}  # fmt: skip
"""Gases that are poisonous or burn the lungs, with their names."""

_NO_ACIDS = frozenset(
    {"HClO", "HCN", "H2S", "H2CO3", "H2SO3", "HNO2", "H3BO3", "H3AsO3", "HN3", "HClO2"}
)
_ACID_SALTS = frozenset({"HSO4", "HC2O4", "HC8H4O4", "HC4H4O6", "H2C6H5O7"})
_CONCENTRATED = {"H2SO4": 9.0, "HNO3": 8.0, "HClO4": 7.0, "HCl": 8.0, "HBr": 7.0, "HI": 6.0,
                 "H3PO4": 10.0}  # fmt: skip
_BASE_CATIONS = frozenset({"Li", "Na", "K", "Rb", "Cs", "Ba", "Sr", "Ca"})
_ACIDIC_CATIONS = frozenset({("Al", 3), ("Fe", 3), ("Sn", 2), ("Sn", 4), ("Cr", 3), ("Be", 2)})
_WATER_REACTIVE = {
    "Li": "alkali metal", "Na": "alkali metal", "K": "alkali metal", "Rb": "alkali metal",
    "Cs": "alkali metal", "Ca": "alkaline earth metal", "Sr": "alkaline earth metal",
    "Ba": "alkaline earth metal", "CaC2": "carbide", "Al4C3": "carbide", "LiAlH4": "hydride",
    "NaBH4": "borohydride", "Na2O2": "metal peroxide", "K2O2": "metal peroxide",
    "KO2": "metal peroxide", "BaO2": "metal peroxide", "P4O10": "violent with water",
    "P2O5": "violent with water", "SO3": "violent with water", "PCl5": "acid chloride",
    "PCl3": "acid chloride", "SOCl2": "acid chloride", "CH3COCl": "acid chloride",
    "TiCl4": "acid chloride", "SiCl4": "acid chloride", "NaNH2": "hydride", "Mg2Si": "silicide",
}  # fmt: skip
_HYDRIDE = re.compile(r"^(?:Li|Na|K|Rb|Cs)H$|^(?:Mg|Ca|Sr|Ba)H2$")
_AZIDE = re.compile(r"^(?:Li|Na|K|Rb|Cs|Ag|NH4|H)N3$|^[A-Z][a-z]?\(N3\)\d$")
_PHOSPHIDE = re.compile(r"^(?:AlP|GaP|InP|Na3P|K3P|Li3P|(?:Ca|Mg|Zn|Sr|Ba)3P2)$")
_SELENIDE = re.compile(r"^(?:Na2Se|K2Se|Li2Se|ZnSe|FeSe|CdSe|Al2Se3|H2Se)$")
_ARSENIDE = re.compile(r"^(?:AlAs|GaAs|Na3As|(?:Ca|Mg|Zn)3As2)$")
_BY_ION = {
    "CN": "cyanide", "S": "sulfide", "HS": "sulfide", "SO3": "sulfite", "HSO3": "sulfite",
    "S2O5": "sulfite", "S2O4": "sulfite", "S2O3": "thiosulfate", "NO2": "nitrite", "N3": "azide",
    "CO3": "carbonate", "HCO3": "carbonate", "F": "fluoride", "SCN": "thiocyanate",
    "ClO": "hypochlorite", "BrO": "hypochlorite", "ClO2": "chlorite", "ClO3": "chlorate",
    "BrO3": "chlorate", "IO3": "iodate", "IO4": "iodate", "ClO4": "perchlorate",
    "MnO4": "permanganate", "CrO4": "chromate", "Cr2O7": "chromate", "S2O8": "persulfate",
    "NO3": "nitrate", "I": "iodide", "Br": "bromide", "Cl": "chloride", "HCOO": "formate",
    "C2O4": "oxalate", "HC2O4": "oxalate",
}  # fmt: skip
_BY_FORMULA = {
    "HClO": ("hypochlorite",), "C3Cl3N3O3": ("hypochlorite", "chlorinated isocyanurate"),
    "NaC3Cl2N3O3": ("hypochlorite", "chlorinated isocyanurate"), "HCN": ("cyanide",),
    "H2SO3": ("sulfite",), "SO2": ("sulfite",), "Na2S2O5": ("sulfite",), "K2S2O5": ("sulfite",),
    "Na2S2O4": ("sulfite",), "HNO2": ("nitrite",), "HF": ("fluoride",), "HClO3": ("chlorate",),
    "HIO3": ("iodate",), "CrO3": ("chromate",), "H2O2": ("peroxide",), "MnO2": ("oxide oxidiser",),
    "PbO2": ("oxide oxidiser",), "Ag2O": ("silver",), "Cl2": ("halogen",), "Br2": ("halogen",),
    "F2": ("halogen",), "I2": ("iodine",), "NH3": ("ammonia",), "NH4OH": ("ammonia",),
    "N2H4": ("hydrazine", "amine"), "NH2OH": ("hydrazine", "amine"), "H2O": ("water",),
    "P4": ("phosphorus", "fuel"), "P": ("phosphorus", "fuel"), "S": ("fuel",), "S8": ("fuel",),
    "C": ("fuel",), "Si": ("silicon",), "HCOOH": ("formate",), "H2C2O4": ("oxalate",),
    "C6H8O6": ("reducer",), "CS(NH2)2": ("reducer", "amine"), "H3PO3": ("reducer",),
    "CO(NH2)2": ("amine", "urea"), "NH2SO3H": ("amine",), "C4H11NO3": ("amine",),
    "C4H12NO3Cl": ("amine",), "CH3NH2": ("amine",), "C2H5NH2": ("amine",), "(CH3)2NH": ("amine",),
    "NH2CH2COOH": ("amine",), "CH3CHNH2COOH": ("amine",), "CH3CONH2": ("amine",),
    "HCONH2": ("amine",), "NH3OHCl": ("amine", "hydrazine"), "C5H8NO4Na": ("amine",),
    "(C2H5)3N": ("amine",), "C3H4N2": ("amine",), "K4Fe(CN)6": ("complex cyanide",),
    "K3Fe(CN)6": ("complex cyanide",), "CH3COCH3": ("ketone", "solvent"), "C2H5OH": ("solvent",
    "alcohol"), "CH3OH": ("solvent", "alcohol"), "C3H7OH": ("solvent", "alcohol"),
    "C3H5(OH)3": ("alcohol",), "C2H4(OH)2": ("alcohol",), "H": ("acid", "strong acid"),
    "H3O": ("acid", "strong acid"),
}  # fmt: skip
_POWDERS = frozenset({"Mg", "Al", "Zn", "Fe", "Ti", "Zr", "Mn", "Si"})
_REDUCING = frozenset(
    {"sulfite", "thiosulfate", "sulfide", "iodide", "oxalate", "formate", "cyanide", "thiocyanate",
     "nitrite", "complex cyanide", "hydrazine", "hydride", "borohydride", "phosphorus"}
)  # fmt: skip
_STRONG_OXIDISERS = frozenset(
    {"hypochlorite", "chlorite", "chlorate", "permanganate", "chromate", "persulfate", "peroxide",
     "metal peroxide", "halogen", "oxide oxidiser"}
)  # fmt: skip
_SALT_OXIDISERS = frozenset({"nitrate", "nitrite", "perchlorate", "iodate"})


@lru_cache(maxsize=4096)
def kinds_of(part: Part) -> frozenset[str]:
    """All kinds that a part belongs to.

    >>> sorted(kinds_of(Part("NaClO", "aq", 0.5)))
    ['dissolved', 'hypochlorite', 'strong oxidiser']
    """
    body = split_hydrate(canonical(part.formula))[0]
    found = set(_BY_FORMULA.get(body, ())) if not part.charge or body in {"H", "H3O"} else set()
    found |= {_WATER_REACTIVE[body]} if body in _WATER_REACTIVE and not part.charge else set()
    found |= _by_pattern(body) if not part.charge else set()
    found |= _by_ions(body, part.charge)
    found |= _acid(body, part)
    found |= _metal(body, part)
    if part.formula in {"AlCl3", "AlBr3", "TiCl3"} and part.state != "aq":
        found.add("hot with water")
    if _organic(body, found):
        found.add("organic")
    found |= _of_state(found, part)
    return frozenset(found)


def _by_pattern(body: str) -> set[str]:
    kinds = {"hydride": _HYDRIDE, "azide": _AZIDE, "phosphide": _PHOSPHIDE, "arsenide": _ARSENIDE,
             "selenide": _SELENIDE}  # fmt: skip
    return {kind for kind, form in kinds.items() if form.match(body)}


def _by_ions(body: str, charge: int) -> set[str]:
    salt = salt_of(body) if not charge else None
    anions = [a for a, _, _ in salt.anions] if salt else []
    cations = [(c, q) for c, q, _ in salt.cations] if salt else []
    if charge < 0:
        anions = [body]
    if charge > 0:
        cations = [(body, charge)]
    found = {_BY_ION[a] for a in anions if a in _BY_ION}
    if "NH4" in {c for c, _ in cations}:
        found.add("ammonium")
    if {"OH", "O"} & set(anions) and (charge or {c for c, _ in cations} & _BASE_CATIONS):
        found.add("strong base")
    if set(cations) & _ACIDIC_CATIONS and {"Cl", "SO4", "NO3", "Br"} & set(anions):
        found.add("acid-reacting salt")
    found |= {"weakly acid salt"} if "H2PO4" in anions else set()
    found |= _ACID_ANION if set(anions) & _ACID_SALTS else set()
    metals = {c for c, _ in cations}
    found |= {"silver"} if "Ag" in metals else set()
    found |= {"heavy metal salt"} if metals & {"Ag", "Pb", "Cu", "Hg", "Hg2", "Cd"} else set()
    if metals & {"Fe", "Cu", "Mn", "Ag", "Co"} and anions != ["O"]:
        found.add("peroxide catalyst")
    if ("Fe", 2) in cations or ("Sn", 2) in cations:
        found.add("reducer")
    return found


_ACID_ANION = {"acid"}


def _acid(body: str, part: Part) -> set[str]:
    if part.charge or body in _NO_ACIDS:
        return set()
    if not (class_of(body) == "acid" or body in ACIDS or body.endswith("COOH")):
        return set()
    if body in {"NH2CH2COOH", "CH3CHNH2COOH"}:
        return set()
    found = {"acid", body}
    if body not in STRONG:
        return found | ({"concentrated acid"} if _strong(body, part) else set())
    found.add("strong acid")
    if body in {"HCl", "HBr", "HI"}:
        found.add("hydrohalic acid")
    if _strong(body, part):
        found |= {"concentrated acid", f"concentrated {body}"}
    elif part.mol_per_L is None:
        found |= {"acid of unknown strength", f"{body} of unknown strength"}
    return found


def _strong(body: str, part: Part) -> bool:
    limit = _CONCENTRATED.get(body)
    if limit is None:
        return False
    return part.state == "l" or (part.mol_per_L is not None and part.mol_per_L >= limit)


def _metal(body: str, part: Part) -> set[str]:
    if part.charge or part.state == "aq":
        return set()
    found = {"powder metal", "fuel"} if body in _POWDERS else set()
    if class_of(body) == "metal" and body not in {"Au", "Pt", "Pd"}:
        found.add("metal")
    if body in {"Al", "Be", "Ga", "Si"}:
        found |= {"fierce in alkali"}
    found |= {"noble metal"} if body in {"Cu", "Ag", "Hg"} else set()
    if body in {"Zn", "Sn", "Pb"}:
        found |= {"amphoteric metal"}
    return found


def _organic(body: str, found: set[str]) -> bool:
    try:
        present = set(atoms(body))
    except CupledgerError:
        return False
    if not {"C", "H"} <= present:
        return body == "CS(NH2)2"
    return not found & {"carbonate", "cyanide", "thiocyanate", "acid chloride", "urea"} and not (
        body.endswith("CH3COO") or "(CH3COO)" in body or body in {"CH3COO", "HCOO", "HCO3"}
    )


def _of_state(found: set[str], part: Part) -> set[str]:
    """Whether it is dissolved, and what follows: a solid oxidiser is another thing than a dilute
    one. Hydrogen peroxide above 8 mol/L (25 %) counts as strong."""
    more: set[str] = set()
    strong = part.mol_per_L is not None and part.mol_per_L > 8.0
    more.add("dissolved" if part.state == "aq" and not strong else "undiluted")
    if "undiluted" in more and found & _SALT_OXIDISERS:
        more.add("strong oxidiser")
    if found & _STRONG_OXIDISERS or found & {"concentrated HNO3", "concentrated HClO4"}:
        more.add("strong oxidiser")
    if found & _REDUCING or "powder metal" in found:
        more.add("reducer")
    if part.formula in POISON_GASES and part.state == "g":
        more.add("poison gas")
    if part.state == "aq" or "water" in found:
        more.add("watery")
    return more
