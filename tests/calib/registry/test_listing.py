"""The quick list of constants says the same as the registry itself, and goes the full way else."""

from __future__ import annotations

import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from calib.registry import (
    NewResult,
    Registry,
    RegistryError,
    UnknownApparatus,
    list_constants,
    open_registry,
)

OLD = Path(__file__).parent / "old_schema"


def test_both_ways_say_the_same(cups: Registry, address: str, constant) -> None:
    numbers = cups.add_drafts(
        [
            constant(recheck_due=date(2027, 1, 11)),
            constant(valid_from=date(2027, 1, 11), fill_mL=None, warnings=("a", "b")),
            constant(apparatus="H2", heat_loss_W_per_K=None, u_heat_loss_W_per_K=None),
        ],
        approve=True,
    )
    cups.add_draft(
        constant(
            apparatus="H3",
            fill_slope_J_per_K_per_mL=0.1,
            u_fill_slope_J_per_K_per_mL=0.02,
            fill_reference_mL=100.0,
            details_json='{"x": [1]}',
        )
    )
    cups.withdraw(numbers[2], "wet lid")
    same = {"value": -55.9, "u_value": 0.7, "constant_ids": (numbers[0],), "table": "a.csv"}
    cups.record([NewResult("1", "H1", **same), NewResult("2", "H1", **same)])
    cups.record([NewResult("2", "H1", **(same | {"value": -55.0}))])
    cups.record([NewResult("3", "H1", **same, pooled=True)])
    assert list_constants(address).constants == cups.constants()
    assert list_constants(address).where == cups.where
    assert list_constants(address, "H1").constants == cups.constants("H1")
    assert [k.uses for k in cups.constants("H1")] == [2, 0]


def test_what_is_not_plain_goes_the_full_way(cups: Registry, address: str, tmp_path: Path) -> None:
    with pytest.raises(UnknownApparatus, match="registered: H1, H2, H3"):
        list_constants(address, "H9")
    shutil.copy(OLD / "v1.sqlite", tmp_path / "old.sqlite")
    assert len(list_constants(tmp_path / "old.sqlite").constants) == 5
    with pytest.raises(RegistryError, match=r"there is no registry at .*new.sqlite; 'cupledger"):
        list_constants(tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()
    (tmp_path / "text.csv").write_text("time,temperature\n", encoding="utf-8")
    with pytest.raises(RegistryError, match="is not a registry: it is no SQLite file"):
        list_constants(tmp_path / "text.csv")


def test_the_quick_way_loads_nothing_heavy(tmp_path: Path) -> None:
    open_registry(tmp_path / "cups.sqlite").close()  # makes it
    code = (
        "import sys\nfrom calib.registry import list_constants\n"
        "list_constants(sys.argv[1])\n"
        "heavy = {'sqlalchemy', 'numpy', 'scipy', 'pandas', 'pydantic', 'matplotlib', 'asyncio'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "cups.sqlite")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (told.stdout, told.stderr) == ("[]\n", "")
