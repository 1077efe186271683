"""Corrections for heat loss: one module a method, one result, one list.

``correct`` runs them on a curve; ``METHODS`` names them; ``Correction`` and ``Corrected`` are
what comes back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitting.corrections.choice import correct
    from fitting.corrections.methods import METHODS
    from fitting.corrections.result import Corrected, Correction, Method

_HOME = {
    "correct": "choice",
    "METHODS": "methods",
    "Corrected": "result",
    "Correction": "result",
    "Method": "result",
}
__all__ = ["METHODS", "Corrected", "Correction", "Method", "correct"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
