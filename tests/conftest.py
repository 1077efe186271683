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


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """Under CUPLEDGER_NO_SKIPS a skipped test is a failed one: CI installs what tests need."""
    outcome = yield
    report = outcome.get_result()
    if os.environ.get(NO_SKIPS) and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, which {NO_SKIPS} forbids: {report.longrepr}"
