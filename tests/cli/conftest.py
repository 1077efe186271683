"""Run the command in this process, as a person would type it."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass

import pytest


@dataclass
class Done:
    code: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture(autouse=True)
def wide_terminal(monkeypatch):
    """Sentences whole, in commands of their own process too, unless a test folds them."""
    monkeypatch.setenv("COLUMNS", "100000")


@pytest.fixture
def cupledger(monkeypatch, capsys):
    """``cupledger("constants", "--json")`` gives exit code, stdout, stderr."""
    from calib.cli.main import main

    def run(*words, columns=100_000) -> Done:
        monkeypatch.setenv("COLUMNS", str(columns))
        monkeypatch.setattr(sys, "argv", ["cupledger", *map(str, words)])
        capsys.readouterr()
        try:
            main()
            code = 0
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Done(code, out, err)

    return run


@pytest.fixture
def cups(cupledger):
    """A registry with cups P1 and P2."""
    assert cupledger("apparatus", "add", "P1", "P2", "--kind", "foam cup").code == 0
    return cupledger
