"""A small run of tests/benchmarks/forged_registries.py; for full figures see FIGURES.md there."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.forged_registries import cupledger, fill, readings, run


def test_forged_and_damaged_registries_leave_all_that_is_good_to_be_read() -> None:
    outcomes = run({"imports": 8, "merges": 8, "flips": 4, "own": 6}, seed=11)
    for outcome in outcomes.values():
        assert outcome.failures == []
        assert outcome.unnamed_absurd == 0
    assert outcomes["imports"].refused > 0
    assert sum(outcome.came_in for outcome in outcomes.values()) > 0
    assert outcomes["own"].named > 0


@pytest.mark.parametrize("name", [b"kind   ", b"made_by", b"status", b"action"])
def test_a_bit_in_the_name_of_a_column_is_a_damaged_file_in_a_sentence(
    tmp_path: Path, name: bytes
) -> None:
    path = tmp_path / "cups.sqlite"
    fill(path)
    content = bytearray(path.read_bytes())
    at = content.index(b"    " + name) + 4
    content[at] ^= 0x80
    path.write_bytes(content)
    for words in readings(path, tmp_path):
        said = cupledger(*words)
        assert not said.internal
        assert said.err if said.code else said.out
    with_it = cupledger("constants", "merge", path, "--registry", tmp_path / "new.sqlite")
    assert not with_it.internal
    assert path.read_bytes() == bytes(content)
