"""Which law a cup cools by: Newton's, one with a slow wall, a steeper one, a drifting room."""

from __future__ import annotations

from fitting.cooling_laws.result import LawComparison, LawFit, Parameter

__all__ = ["LawComparison", "LawFit", "Parameter"]
