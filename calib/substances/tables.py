"""Read the data files that ship beside this module: tab-separated, ``#`` starts a remark."""

from __future__ import annotations

from functools import cache
from importlib.resources import files


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """The rows of ``data/<name>.tsv`` as dictionaries by column heading (empty cells are "")."""
    text = files("calib.substances").joinpath("data", f"{name}.tsv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    header = lines[0].split("\t")
    return tuple(
        dict(zip(header, line.split("\t") + [""] * len(header), strict=False)) for line in lines[1:]
    )


def number(cell: str) -> float | None:
    """The cell's number, or ``None`` where it is empty."""
    return float(cell) if cell.strip() else None
