from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from calib.registry import NewConstant, Registry, open_registry
from tests.calib.registry import postgres_server

KIND = "double foam cup, foam lid"


@pytest.fixture(scope="session")
def postgres() -> Iterator[postgres_server.Server]:
    reason = postgres_server.why_not()
    if reason:
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    server = postgres_server.Server(durable=False)
    try:
        server.start()
        yield server
    finally:
        server.remove()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a registry that does not exist yet: every test runs on both databases."""
    if request.param == "sqlite":
        return str(tmp_path / "cups.sqlite")
    return str(request.getfixturevalue("postgres").new_database())


@pytest.fixture
def registry(address: str) -> Iterator[Registry]:
    with open_registry(address) as opened:
        yield opened


@pytest.fixture
def cups(registry: Registry) -> Registry:
    """A registry with three cups and no constants."""
    registry.register_all(["H1", "H2", "H3"], KIND)
    return registry


def make_constant(**other: Any) -> NewConstant:
    """An invented constant, as a mixing calibration of four runs would give it."""
    values: dict[str, Any] = {
        "apparatus": "H1",
        "method": "mixing",
        "constant_J_per_K": 21.4,
        "u_constant_J_per_K": 0.6,
        "valid_from": date(2026, 9, 1),
        "heat_loss_W_per_K": 0.081,
        "u_heat_loss_W_per_K": 0.004,
        "sensor_lag_s": 4.5,
        "runs": 4,
        "between_run_sd_J_per_K": 1.1,
        "fill_mL": (95.0, 105.0),
        "temperature_C": (18.0, 45.0),
        "digests": ("0f" * 32, "1e" * 32),
        "rows_json": '[{"run": "1", "in_cup_g": "50.02"}]',
        "note": "first calibration of the term",
    }
    return NewConstant(**(values | other))


@pytest.fixture
def constant() -> Callable[..., NewConstant]:
    return make_constant
