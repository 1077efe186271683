"""Reactions and processes that a general-chemistry laboratory runs in a foam cup.

The list and its amounts are this project's own: ordinary sizes for a cup of 100 to 200 mL, not
taken from any course. The equation is deduced from what goes in where that is possible and given
otherwise; handbook value, expected rise and cautions are worked out, never typed in.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from calib.reactions.cautions import cautions_for
from calib.reactions.data_rows import data_rows
from calib.reactions.deduce import PhysicalProcess, deduce
from calib.reactions.equation import Equation, parse_equation
from calib.reactions.forecast import Forecast, forecast
from calib.reactions.portions import Portion, parse_portion
from fitting.cup.knowledge import BENCH

HOT_C = 50.0


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """One run of the list: what is in the cup, what is added, and the process."""

    name: str
    topic: str
    in_cup: Portion
    added: Portion
    process: Equation | PhysicalProcess
    given: bool

    def forecast(self, cup_J_per_K: float = BENCH.constant_J_per_K.value) -> Forecast:
        """Enthalpy and rise to expect in a cup of that constant."""
        equation = self.process if isinstance(self.process, Equation) else None
        return forecast(self.in_cup, self.added, equation, cup_J_per_K=cup_J_per_K)

    @property
    def cautions(self) -> tuple[str, ...]:
        """The usual cautions, deferring to data sheet, rules and staff."""
        hot = max(self.in_cup.t_C, self.added.t_C) > HOT_C
        return cautions_for(self.process, hot=hot)


@lru_cache(maxsize=1)
def catalogue() -> tuple[CatalogueEntry, ...]:
    """All entries, in the order of their topics."""
    return tuple(_entry(cells) for cells in data_rows("catalogue"))


def _entry(cells: tuple[str, ...]) -> CatalogueEntry:
    name, topic, in_cup, added, given = cells
    cup, added_portion = parse_portion(in_cup), parse_portion(added)
    process = parse_equation(given) if given else deduce(cup.species, added_portion.species)
    return CatalogueEntry(name, topic, cup, added_portion, process, bool(given))


def entry_named(name: str) -> CatalogueEntry | None:
    """The entry of that name, upper and lower case alike."""
    wanted = " ".join(name.lower().split())
    return next((one for one in catalogue() if one.name.lower() == wanted), None)
