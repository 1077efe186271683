"""Reactions of known enthalpy: certified reference materials and what they hold for.

A certified value is an integral enthalpy at a stated concentration, not at infinite dilution.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from math import hypot

from calib.estimate import Estimate
from calib.reactions.equation import Equation, parse_equation
from calib.reactions.ionic import net_numbers


@dataclass(frozen=True, slots=True)
class KnownReaction:
    """A reaction whose enthalpy was measured with great care.

    ``value_J_per_g`` is per gram of ``substance`` at 25 °C, ``dcp_J_per_gK`` its slope; ``u_...``
    standard uncertainties. ``molality`` is that of the certified run [mol/kg], of the dissolved
    salt or of the solvent acid or base (``solvent``).
    """

    name: str
    aliases: tuple[str, ...]
    equation: Equation
    substance: str
    molar_mass: float
    value_J_per_g: float
    u_J_per_g: float
    dcp_J_per_gK: float | None
    u_dcp_J_per_gK: float
    temperature_C: tuple[float, float]
    condition: str
    solvent: str
    molality: float
    source: str

    def per_gram(self, t_C: float = 25.0) -> Estimate:
        """Enthalpy [J/g] of the certified run, at ``t_C``."""
        away = t_C - 25.0
        slope, u_slope = self.dcp_J_per_gK or 0.0, self.u_dcp_J_per_gK
        u = hypot(self.u_J_per_g, u_slope * away)
        return Estimate(self.value_J_per_g + slope * away, u, "J/g", self.source, "published")

    def per_mole(self, t_C: float = 25.0) -> Estimate:
        """Enthalpy [kJ/mol] of the certified run, at ``t_C``."""
        gram, factor = self.per_gram(t_C), self.molar_mass / 1e3
        return Estimate(gram.value * factor, gram.u * factor, "kJ/mol", self.source, "published")


_TRIS = "E. J. Prosen, M. V. Kilday, J. Res. NBS 77A (1973) 581, abstract (found in a public page)"
_KCL = "M. V. Kilday, J. Res. NBS 85 (1980) 467, and the certificate (from memory)"


@lru_cache(maxsize=1)
def known_reactions() -> tuple[KnownReaction, ...]:
    """The list; the sources' ± is taken as a standard uncertainty, as their pages leave it open."""
    acid = parse_equation("C4H11NO3(s) + HCl(aq) -> C4H12NO3Cl(aq)")
    base = parse_equation("C4H11NO3(s) -> C4H11NO3(aq)")
    salt = parse_equation("KCl(s) -> KCl(aq)")
    return (
        KnownReaction(
            "TRIS in hydrochloric acid",
            ("SRM 724a", "TRIS in acid", "THAM in hydrochloric acid", "TRIS + HCl"),
            acid, "C4H11NO3", 121.135, -245.76, 0.26, 1.435, 0.023, (20.0, 30.0),
            "5 g/L in 0.1 mol/L HCl", "HCl", 0.1, _TRIS,
        ),
        KnownReaction(
            "TRIS in sodium hydroxide",
            ("TRIS in base", "TRIS in NaOH", "THAM in sodium hydroxide"),
            base, "C4H11NO3", 121.135, 141.80, 0.19, 1.025, 0.025, (22.0, 30.0),
            "5 g/L in 0.05 mol/L NaOH", "NaOH", 0.05, _TRIS,
        ),
        KnownReaction(
            "potassium chloride in water",
            ("SRM 1655", "KCl in water", "KCl"),
            salt, "KCl", 74.551, 235.86, 0.42, None, 0.0, (20.0, 30.0),
            "1 mol in 500 mol of water (0.111 mol/kg)", "KCl", 0.111, _KCL,
        ),
    )  # fmt: skip


def _plain(text: str) -> str:
    return re.sub(r"[\s,_-]+", " ", text).strip().lower()


def known_reaction(text: str) -> KnownReaction | None:
    """The known reaction of that name or certificate number, else ``None``."""
    wanted = _plain(text)
    for known in known_reactions():
        if wanted in {_plain(name) for name in (known.name, *known.aliases)}:
            return known
    return None


@lru_cache(maxsize=1024)
def known_for(equation: Equation) -> KnownReaction | None:
    """The known reaction that this equation is, written for any amount; else ``None``."""
    numbers = net_numbers(equation)
    for known in known_reactions():
        own = net_numbers(known.equation)
        if set(own) == set(numbers):
            factors = {numbers[s] / own[s] for s in own}
            if len(factors) == 1 and min(factors) > 0:
                return known
    return None
