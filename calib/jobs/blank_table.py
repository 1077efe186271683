"""Write a blank table for a class, with the cups of the registry to choose from."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError, SubstanceError
from calib.outputs import Outputs, outputs_beside

if TYPE_CHECKING:
    from datetime import date

    from calib.classwork.template import TemplatePlan
    from calib.hazards.asking import Hazard
    from calib.runs.model import CellValue


def write_blank_table(
    path: Path,
    plan: TemplatePlan,
    *,
    registry: str | None = None,
    kind: str | None = None,
    delimiter: str = ",",
    outputs: Outputs | None = None,
) -> dict[str, Any]:
    """Write the table of a plan; cups and cautions that it does not give are looked up.

    The cups are those of the registry (of one ``kind``, if given) that are not retired on the day.
    Returns ``hazards``, ``file``, ``benches``, ``columns``, ``cups``, ``cautions`` and ``notes``.

    Raises:
        HazardError: what must not be put together; nothing is written.
        InputError: benches, columns or substances that cannot be.
        OutputError: the file is there already and filled in, or cannot be written.
        RegistryError: the registry cannot be read.
    """
    from dataclasses import replace

    from calib.classwork.template import TEMPLATE, write_template
    from calib.hazards.asking import refuse, said_with_errors

    hazards = _hazards(plan)
    refuse(hazards)
    outputs = outputs or outputs_beside(registry)
    outputs.claim(TEMPLATE, path, "FILE")
    with said_with_errors(hazards):
        _check(plan)
    notes: list[str] = []
    if not plan.cups:
        cups = _cups(registry, kind, plan.day)
        plan = replace(plan, cups=cups)
        if not cups:
            notes.append(
                "the registry has no cup to choose from; register cups with: cupledger apparatus "
                'add H1 H2 --kind "double foam cup, foam lid"'
            )
    if not plan.cautions:
        plan = replace(plan, cautions=_cautions(plan))
    plan = replace(plan, cautions=(*(one.sentence for one in hazards), *plan.cautions))
    written = write_template(path, plan, delimiter=delimiter, outputs=outputs)
    return {
        "hazards": [one.to_json() for one in hazards],
        "file": str(written.path),
        "benches": plan.labels(),
        "columns": plan.columns(),
        "cups": list(plan.cups),
        "cautions": list(plan.cautions),
        "notes": [*notes, *written.notes],
        "errors": [],
    }


def values_to_fill(items: Sequence[str]) -> dict[str, CellValue]:
    """``in_cup_mol_per_L=1.0`` as column and value. Raises InputError."""
    from calib.runs.columns import COLUMNS

    found: dict[str, CellValue] = {}
    for item in items:
        name, equals, text = (part.strip() for part in item.partition("="))
        column = COLUMNS.get(name)
        if column is None or name == "run" or not equals or not text:
            known = ", ".join(one for one in COLUMNS if one != "run")
            raise InputError(f"--fill {item!r}: expected COLUMN=VALUE; the columns are {known}")
        if column.kind != "number":
            found[name] = text
            continue
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            raise InputError(f"--fill {item!r}: {text!r} is no number") from None
        if not column.low <= value <= column.high or (column.low_open and value <= column.low):
            raise InputError(
                f"--fill {item!r}: expected {column.low:g} to {column.high:g} {column.unit}"
            )
        found[name] = value
    return found


def strengths_in(items: Sequence[str]) -> tuple[float | None, float | None]:
    """Both concentrations [mol/L] among what is to be filled in; None where none can be read."""
    found: list[float | None] = []
    for side in ("in_cup", "added"):
        own = [item.partition("=")[2] for item in items if item.strip().startswith(f"{side}_mol_")]
        try:
            found.append(float(own[-1].replace(",", ".")) if own else None)
        except ValueError:
            found.append(None)
    return found[0], found[1]


def _check(plan: TemplatePlan) -> None:
    """Refuse a spelling that would come back wrong from every bench."""
    from calib.reactions.equation import parse_equation
    from calib.reactions.known import known_reaction
    from calib.substances.names import resolve

    for side in ("in_cup", "added"):
        text = getattr(plan, side)
        if text is not None:
            try:
                resolve(text)
            except SubstanceError as error:
                raise InputError(f"{side.replace('_', '-')}: {error}") from None
    if plan.reaction is not None and known_reaction(plan.reaction) is None:
        parse_equation(plan.reaction)


def _cups(registry: str | None, kind: str | None, day: date | None) -> list[str]:
    from datetime import date as today

    from calib.registry import open_registry
    from calib.registry.place import find_place

    if find_place(registry).not_yet_made:
        return []
    on = day or today.today()
    with open_registry(registry, create=False) as store:
        cups = store.list_apparatus(kind=kind)
    return [cup.id for cup in cups if cup.retired_on is None or cup.retired_on > on]


def _hazards(plan: TemplatePlan) -> tuple[Hazard, ...]:
    """What must be said first; strengths are known where they are filled in for all benches."""
    from calib.hazards.asking import asked_of_row

    filled = plan.filled or {}
    given = [filled.get(f"{side}_mol_per_L") for side in ("in_cup", "added")]
    one, two = (float(value) if isinstance(value, int | float) else None for value in given)
    return asked_of_row(plan.in_cup, plan.added, plan.reaction, strengths=(one, two))


def _cautions(plan: TemplatePlan) -> tuple[str, ...]:
    """The usual cautions for the substances of the plan."""
    from calib.reactions.cautions import cautions
    from calib.reactions.equation import Species, parse_equation
    from calib.reactions.known import known_reaction
    from calib.substances.names import resolve

    species: list[Species] = []
    for text in (plan.in_cup, plan.added):
        if text is not None:
            formula, state = resolve(text)
            species.append(Species(formula, state))
    if plan.reaction is not None:
        known = known_reaction(plan.reaction)
        equation = known.equation if known is not None else parse_equation(plan.reaction)
        species += [one for one in equation.species if one not in species]
    return cautions(species, heater=plan.heater) if species or plan.heater else ()
