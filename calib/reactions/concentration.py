"""The enthalpy to expect at a run's own concentrations and temperature.

    ΔH(m, T) = ΔH°(25 °C) + ΔCp° (T - 25 °C) + Σ ν_i φ_L,i(m_i)

    with reagent left over:  + Σ r_j [φ_L,j(in the mixture) - φ_L,j(as brought)]

summed over the dissolved species, ν positive for products, r_j the moles of reagent j that are
left per mole of reaction. For a dissolution this is the integral enthalpy of solution. Where a φ_L
is estimated or held past the end of its data, the sum is said as a band ("lies between").
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil, copysign, floor, log10, sqrt

from calib.errors import ReactionError, SubstanceError
from calib.estimate import Estimate, Kind
from calib.reactions.apparent_enthalpy import phi_L, shared_part
from calib.reactions.equation import Equation, Species
from calib.reactions.extent import Extent, react
from calib.reactions.heat_capacity_change import delta_cp, lacking_cp
from calib.reactions.ionic import net_ionic, net_numbers
from calib.reactions.ions import in_water, split_hydrate
from calib.reactions.known import KnownReaction, known_for
from calib.reactions.reference import reference_enthalpy

__all__ = [
    "Expected",
    "ExpectedLine",
    "Leftover",
    "delta_cp",
    "expected_enthalpy",
    "expected_in_run",
    "molalities_in_run",
    "phi_L",
]

U_DCP_UNKNOWN = 0.15
"""u [kJ/(mol K)] of an unknown ΔCp°, per two dissolved species: its size for neutralization."""
REFERENCE_C = 25.0


@dataclass(frozen=True, slots=True)
class ExpectedLine:
    """One term of the expected enthalpy [kJ per mole of reaction].

    Terms of one ``key`` share their error (a solute's table serves every reaction it is in); it
    moves the term by ``sign`` times u.
    """

    what: str
    value: float
    u: float
    source: str
    key: str = ""
    sign: float = 1.0
    kind: Kind = "published"


WIDE_SHARE = 0.005
"""A band is said in words once 1.96 u of what is not tabulated reaches this share of the value."""


@dataclass(frozen=True, slots=True)
class Expected:
    """The two lines: accepted at infinite dilution, and expected in this run.

    ``at_run`` is ``None`` where it cannot be given, and ``why`` then says which number is missing;
    otherwise ``why`` says what the second line is made of. ``lines`` holds the terms.
    """

    at_infinite_dilution: Estimate
    at_run: Estimate | None
    why: str
    lines: tuple[ExpectedLine, ...] = ()

    @property
    def not_tabulated(self) -> tuple[ExpectedLine, ...]:
        """The terms that are estimated, or held past the end of their data."""
        return tuple(
            line for line in self.lines if line.kind in ("assumed", "extrapolated") and line.u > 0
        )

    @property
    def band(self) -> str:
        """ "lies between -61 and -55 kJ/mol (95 %)" and why; empty where tables give the value."""
        if self.at_run is None:
            return ""
        value, rough = self.at_run.value, self.not_tabulated
        if 1.96 * sqrt(sum(line.u**2 for line in rough)) < WIDE_SHARE * abs(value):
            return ""
        largest = max(rough, key=lambda line: line.u)
        return f"{between(self.at_run)}, most of it for {largest.what} ({largest.source})"


def between(estimate: Estimate) -> str:
    """A value's 95 % interval in words, rounded outwards to what its width can tell."""
    low, high = estimate.interval95
    step = 10.0 ** floor(log10(max(high - low, 1e-6) / 5.0))
    places = max(0, -round(log10(step)))
    low, high = step * floor(low / step + 1e-9), step * ceil(high / step - 1e-9)
    return f"lies between {low:.{places}f} and {high:.{places}f} {estimate.unit} (95 %)"


@dataclass(frozen=True, slots=True)
class Leftover:
    """A reagent left over: moles per mole of reaction, molality brought and in the mixture."""

    species: Species
    moles_per_reaction: float
    molality_brought: float
    molality_mixed: float


def expected_enthalpy(
    equation: Equation,
    molalities: Mapping[Species, float],
    t_C: float = REFERENCE_C,
    leftovers: tuple[Leftover, ...] = (),
) -> Expected:
    """Enthalpy of ``equation`` as written, at infinite dilution and at the run's molalities.

    ``molalities`` [mol/kg of water] of every dissolved species of the *molecular* equation: a
    reactant's in the solution it was brought in, a product's in the mixture (see
    ``molalities_in_run``). ``t_C`` is the temperature the enthalpy refers to.

    Raises ``ReactionError`` only where no reference value exists at all.
    """
    standard = reference_enthalpy(equation)
    known = known_for(equation)
    lines = [
        ExpectedLine("at infinite dilution, 25 °C", standard.value, standard.u, standard.source)
    ]
    try:
        if known is not None:
            lines = _from_certificate(known, equation, molalities, t_C)
        else:
            lines += _temperature_line(equation, t_C)
            lines += _concentration_lines(equation, molalities, t_C)
        lines += [_leftover_line(one, t_C) for one in leftovers]
    except (SubstanceError, ReactionError) as error:
        return Expected(standard, None, str(error), tuple(lines))
    value = sum(line.value for line in lines)
    u = sqrt(sum(line.u**2 for line in lines))
    source = "; ".join(dict.fromkeys(line.source for line in lines))
    at_run = Estimate(value, u, "kJ/mol", source, "computed")
    found = Expected(standard, at_run, _sum_of(lines), tuple(lines))
    return replace(found, why=f"{found.band}; {found.why}") if found.band else found


def _sum_of(lines: list[ExpectedLine]) -> str:
    return "sum of " + ", ".join(f"{line.what} {line.value:+.2f}" for line in lines) + " kJ/mol"


def _temperature_line(equation: Equation, t_C: float) -> list[ExpectedLine]:
    away = t_C - REFERENCE_C
    if away == 0.0:
        return []
    change = delta_cp(equation)
    what = f"from 25 to {t_C:g} °C"
    if change is None:
        lacking = ", ".join(map(str, lacking_cp(equation)))
        source = f"ΔCp not known (no Cp of {lacking}): not corrected, its usual size taken as u"
        dissolved = sum(abs(float(n)) for s, n in net_numbers(equation).items() if s.state == "aq")
        return [
            ExpectedLine(what, 0.0, U_DCP_UNKNOWN * max(1.0, dissolved / 2) * abs(away), source)
        ]
    key, sign = f"ΔCp:{net_ionic(equation)}", copysign(1.0, away)
    u = change.u * abs(away)
    return [ExpectedLine(what, change.value * away, u, change.source, key, sign)]


def _concentration_lines(
    equation: Equation, molalities: Mapping[Species, float], t_C: float
) -> list[ExpectedLine]:
    lines = []
    for species, number in equation.net().items():
        if species.state != "aq":
            continue
        if species.charge:
            raise SubstanceError(
                f"{species} is a single ion, and concentration matters to whole salts only; give "
                "the molecular equation, e.g. HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)"
            )
        molality = _molality_of(species, molalities)
        lines += _phi_lines(species, molality, t_C, float(number) / 1e3)
    return lines


def _phi_lines(species: Species, molality: float, t_C: float, times: float) -> list[ExpectedLine]:
    """One solute's term; what an estimate shares with other salts of its anion stands apart."""
    one = phi_L(species.formula, molality, t_C)
    what, key = f"{species} at {molality:.3g} mol/kg", f"φL:{species.formula}"
    value, sign = times * one.value, copysign(1.0, times)
    shared = shared_part(species.formula, molality)
    if shared is None:
        u = abs(times) * one.u
        return [ExpectedLine(what, value, u, one.source, key, sign, one.kind)]
    common = min(shared.u, one.u)
    own = sqrt(one.u**2 - common**2)
    anion = f"φL:{shared.anion}-"
    lines = [ExpectedLine(what, value, abs(times) * common, one.source, anion, sign, one.kind)]
    if own > 0.0:
        text = f"{species}, its cation's part"
        lines.append(ExpectedLine(text, 0.0, abs(times) * own, one.source, key, sign, one.kind))
    return lines


def _molality_of(species: Species, molalities: Mapping[Species, float]) -> float:
    for given, molality in molalities.items():
        if given == species or given.same_as(species):
            return float(molality)
    raise ReactionError(f"the molality of {species} was not given")


def _leftover_line(one: Leftover, t_C: float) -> ExpectedLine:
    brought = phi_L(one.species.formula, one.molality_brought, t_C)
    mixed = phi_L(one.species.formula, one.molality_mixed, t_C)
    times = one.moles_per_reaction / 1e3
    what = f"dilution of {one.species} left over"
    value, u = times * (mixed.value - brought.value), times * max(mixed.u, brought.u)
    key = f"φL:{one.species.formula}"
    return ExpectedLine(what, value, u, brought.source, key, copysign(1.0, value))


# --- certified reactions --------------------------------------------------------------------------


def _from_certificate(
    known: KnownReaction, equation: Equation, molalities: Mapping[Species, float], t_C: float
) -> list[ExpectedLine]:
    times = _times(known, equation)
    value = known.per_mole(t_C if known.dcp_J_per_gK is not None else REFERENCE_C)
    where = f"certified value, {known.condition}"
    lines = [ExpectedLine(where, times * value.value, abs(times) * value.u, known.source)]
    if known.dcp_J_per_gK is None:
        lines += _temperature_line(equation, t_C)
    molality = next((m for s, m in molalities.items() if s.formula == known.solvent), None)
    if molality is None:
        return lines
    if known.solvent == known.substance:
        return [*lines, _from_certified_molality(known, molality, times)]
    low, high = known.molality / 2, known.molality * 2
    if not low <= molality <= high:
        lines.append(
            ExpectedLine(
                f"{known.solvent} at {molality:.3g} mol/kg instead of {known.molality:g}",
                0.0, abs(times) * 0.5, "outside the certified condition; u assumed",
            )
        )  # fmt: skip
    return lines


def _times(known: KnownReaction, equation: Equation) -> float:
    own = next(s for s in known.equation.net() if s.formula == known.substance)
    return float(equation.coefficient(own) / known.equation.coefficient(own))


def _from_certified_molality(known: KnownReaction, molality: float, times: float) -> ExpectedLine:
    run, certified = phi_L(known.substance, molality), phi_L(known.substance, known.molality)
    difference = (run.value - certified.value) / 1e3
    u = (
        abs(times)
        * min(run.u, abs(run.u - certified.u) + 0.05 * abs(run.value - certified.value))
        / 1e3
    )
    what = f"from {known.molality:g} to {molality:.3g} mol/kg"
    return ExpectedLine(what, times * difference, u, run.source)


# --- molalities of a run --------------------------------------------------------------------------


def expected_in_run(
    equation: Equation,
    amounts_mol: Mapping[Species, float],
    water_g: Mapping[Species, float],
    t_C: float = REFERENCE_C,
    solvent_g: float = 0.0,
) -> Expected:
    """``expected_enthalpy`` with the molalities worked out from what was put together.

    ``amounts_mol`` of every reagent brought; ``water_g`` the water each dissolved reagent came
    with [g]; ``solvent_g`` further water in the cup. Reagent left over counts with its dilution.
    """
    extent = react(equation, amounts_mol)
    molalities, leftovers = molalities_in_run(equation, extent, amounts_mol, water_g, solvent_g)
    return expected_enthalpy(equation, molalities, t_C, leftovers)


def molalities_in_run(
    equation: Equation,
    extent: Extent,
    amounts_mol: Mapping[Species, float],
    water_g: Mapping[Species, float],
    solvent_g: float = 0.0,
) -> tuple[dict[Species, float], tuple[Leftover, ...]]:
    """Molality [mol/kg] of each dissolved species: brought, and in the mixture.

    In a mixture every solute is taken at the molality at which it alone would give the mixture's
    ionic strength (Young's rule, first order); molecules at their own molality.
    """
    formed_water = extent.formed.get(Species("H2O", "l"), 0.0)
    total_kg = (sum(water_g.values()) + solvent_g + 18.015 * formed_water) / 1e3
    if total_kg <= 0.0:
        raise ReactionError("no water was given, so no molality can be worked out")
    mixture = {s: n / total_kg for s, n in extent.contents.items() if s.state == "aq"}
    strength = sum(m * ionic_strength_per_molal(s) for s, m in mixture.items())
    molalities: dict[Species, float] = {}
    leftovers = []
    for species, number in equation.net().items():
        if species.state != "aq":
            continue
        mixed = _equivalent(species, strength, mixture.get(species, 0.0))
        if number > 0:
            molalities[species] = mixed
            continue
        brought = _brought(equation, species, amounts_mol, water_g, total_kg)
        molalities[species] = brought
        left = extent.left.get(species, 0.0)
        if left > 0.0 and extent.extent_mol > 0.0:
            leftovers.append(Leftover(species, left / extent.extent_mol, brought, mixed))
    return molalities, tuple(leftovers)


def ionic_strength_per_molal(species: Species) -> float:
    """I of a 1 mol/kg solution: 1 for 1-1 salts, 3 for 2-1, 4 for 2-2, 0 for molecules."""
    name, _ = split_hydrate(species.formula)
    if species.charge:
        return species.charge**2 / 2
    if name == "H2SO4":
        return 1.0  # mostly H+ and HSO4- at the concentrations of a cup
    return sum(float(n) * part.charge**2 for n, part in in_water(Species(name, "aq"))) / 2


def _equivalent(species: Species, strength: float, own: float) -> float:
    per_molal = ionic_strength_per_molal(species)
    return strength / per_molal if per_molal else own


def _brought(
    equation: Equation,
    species: Species,
    amounts_mol: Mapping[Species, float],
    water_g: Mapping[Species, float],
    total_kg: float,
) -> float:
    amount = sum(n for s, n in amounts_mol.items() if (equation.find(s) or s) == species)
    water = sum(g for s, g in water_g.items() if (equation.find(s) or s) == species)
    return amount / (water / 1e3) if water > 0 else amount / total_kg
