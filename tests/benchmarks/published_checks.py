"""The table of published check values, and how wide each solute's heat capacity must be stated.

    python -m tests.benchmarks.published_checks            every row, as markdown
    python -m tests.benchmarks.published_checks --short    the summaries only

Leave one solute out: the standard uncertainty in range is found by maximum likelihood from all
other solutes of its class (1-1 electrolytes fitted to 100 points or more; others), the sources'
own tolerance counted, and judged on the solute that was left out.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from math import exp, hypot, log, sqrt

from calib.substances import laliberte
from calib.substances.species import charge_factor
from tests.published import test_solutions as solutions
from tests.published.check_table import Row, all_rows


@dataclass(frozen=True)
class Deviation:
    """c_p in range: ours less published [J/(g K)], growth with W, the source's u."""

    formula: str
    off: float
    growth: float
    u_source: float

    def likelihood(self, u_full: float) -> float:
        variance = (u_full * self.growth) ** 2 + self.u_source**2
        return 0.5 * self.off**2 / variance + 0.5 * log(variance)

    def held(self, u_full: float) -> bool:
        return abs(self.off) <= 1.96 * hypot(u_full * self.growth, self.u_source)


@dataclass(frozen=True)
class LeftOut:
    """One solute: the u that the others of its class give, and what it holds."""

    group: str
    formula: str
    u_from_others: float
    u_stated: float
    values: int
    held: int


def deviations() -> list[Deviation]:
    """All heat capacities in range of the correlation."""
    found = []
    for one in [*solutions.written_checks(), *solutions.coolprop_checks()]:
        ours = one.ours
        if one.property != "cp" or ours.kind != "correlation":
            continue
        u_source = one.tolerance / 200 * one.value
        off = ours.value - one.value
        found.append(Deviation(one.formula, off, 1 - exp(-one.w / 0.04), u_source))
    return found


def group_of(formula: str) -> str:
    known = laliberte.heat_capacity_coefficients(formula)
    assert known is not None
    simple = charge_factor(formula) == 1.0 and formula != "H2SO4" and known.range.points >= 100
    return "1-1" if simple else "others"


def most_likely(rows: list[Deviation]) -> float:
    """Standard uncertainty at full growth that makes the deviations most likely. [J/(g K)]"""
    grid = [0.0001 * k for k in range(1, 601)]
    return min(grid, key=lambda u: sum(row.likelihood(u) for row in rows))


def left_out() -> list[LeftOut]:
    """Every solute judged by the others of its class."""
    rows = deviations()
    stated = {"1-1": laliberte.U_CP_ONE_ONE, "others": laliberte.U_CP_OTHER}
    found = []
    for formula in sorted({row.formula for row in rows}):
        group = group_of(formula)
        others = [r for r in rows if r.formula != formula and group_of(r.formula) == group]
        own = [r for r in rows if r.formula == formula]
        u = most_likely(others)
        held = sum(r.held(u) for r in own)
        found.append(LeftOut(group, formula, u, stated[group], len(own), held))
    return found


def _summary(rows: list[Row], key: Callable[[Row], tuple[str, str]]) -> None:
    print(
        "| what | way | values | rms deviation | within the source's tolerance | interval holds |"
    )
    print("|---|---|---|---|---|---|")
    for name in dict.fromkeys(key(row) for row in rows):
        own = [row for row in rows if key(row) == name]
        percent = own[0].topic.endswith("of solutions")
        offs = [100 * r.off / r.published if percent else r.off for r in own]
        rms = sqrt(sum(o * o for o in offs) / len(offs))
        unit = "%" if percent else own[0].unit
        print(
            f"| {name[0]} | {name[1]} | {len(own)} | {rms:.3g} {unit} |"
            f" {100 * sum(r.within_tolerance for r in own) / len(own):.0f} % |"
            f" {100 * sum(r.holds for r in own) / len(own):.0f} % |"
        )
    print(f"| all | | {len(rows)} | | | {100 * sum(r.holds for r in rows) / len(rows):.1f} % |")


def _table(rows: list[Row]) -> None:
    for topic in dict.fromkeys(row.topic for row in rows):
        own = [row for row in rows if row.topic == topic]
        print(f"\n**{topic}** [{own[0].unit}]\n")
        print("| what | published | ± | letter, source | ours | u | off | holds |")
        print("|---|---|---|---|---|---|---|---|")
        for r in own:
            places = 4 if abs(r.published) < 10 and r.unit != "kJ/mol" else 2
            print(
                f"| {r.what} | {r.published:.{places}f} | {r.tolerance:.2g} | {r.letter}: {r.source}"
                f" | {r.ours:.{places}f} | {r.u:.2g} | {r.off:+.2g} | {'yes' if r.holds else 'no'} |"
            )


def _left_out() -> None:
    print("| class | solute | u from the others | u stated | values | held |")
    print("|---|---|---|---|---|---|")
    found = left_out()
    for one in found:
        print(
            f"| {one.group} | {one.formula} | {one.u_from_others:.4f} | {one.u_stated:.3f} |"
            f" {one.values} | {one.held} |"
        )
    values, held = sum(o.values for o in found), sum(o.held for o in found)
    print(f"| all | | | | {values} | {held} ({100 * held / values:.0f} %) |")


def main() -> None:
    """Print the tables that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    rows = all_rows()
    short = parser.parse_args().short
    seen = [r for r in rows if r.topic.startswith("heat capacity") and r.letter in "FL"]
    inside = [100 * r.off / r.published for r in seen if r.way == "correlation"]
    rms = sqrt(sum(o * o for o in inside) / len(inside))
    print(f"Heat capacity in range, letters F and L: {len(inside)} values, rms {rms:.2f} %\n")
    _summary(rows, lambda row: (row.topic, row.way))
    print()
    _left_out()
    if not short:
        _table(rows)


if __name__ == "__main__":
    main()
