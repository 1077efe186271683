"""What all tests share: one number thread, no skips where CI forbids them."""

from __future__ import annotations

import os

import pytest

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

NO_SKIPS = "CUPLEDGER_NO_SKIPS"


@pytest.fixture(autouse=True)
def _own_registry(tmp_path_factory, monkeypatch):
    """No test ever touches the registry of whoever runs it."""
    folder = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("CUPLEDGER_REGISTRY", str(folder / "registry.sqlite"))


@pytest.fixture
def settled_readings(monkeypatch):
    """Readings of cups that lose next to nothing (1e-6 W/K) are of settled cups: no slow wall, no
    lag, no noise, so that nothing is put back. For tests of the heat balance, whose truth is the
    conservation of energy; every other loss is corrected as always."""
    from calib.run_model import reading_loss

    corrected = reading_loss.loss_of_reading

    def nothing_where_nothing_is_lost(prepared, before, C_app, u_C_app, loss):
        if loss is None or loss.conductance_W_per_K > 2e-6:
            return corrected(prepared, before, C_app, u_C_app, loss)
        parts = ((reading_loss.COURSE, 0.0),)
        return reading_loss.ExtremeLoss(0.0, 0.0, parts), reading_loss.CORRECTED_READING, []

    monkeypatch.setattr("calib.run_model.rise.loss_of_reading", nothing_where_nothing_is_lost)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """Under CUPLEDGER_NO_SKIPS a skipped test is a failed one: CI installs what tests need."""
    outcome = yield
    report = outcome.get_result()
    if os.environ.get(NO_SKIPS) and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, which {NO_SKIPS} forbids: {report.longrepr}"
