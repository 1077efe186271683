"""Rows of the tab-separated tables that ship in ``data/``; ``#`` starts a remark."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files


@lru_cache(maxsize=4)
def data_rows(name: str) -> tuple[tuple[str, ...], ...]:
    """Cells of every row below the heading of ``data/<name>.tsv``."""
    path = files("calib.reactions").joinpath("data", f"{name}.tsv")
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = [tuple(line.split("\t")) for line in lines if line and not line.startswith("#")]
    return tuple(rows[1:])
