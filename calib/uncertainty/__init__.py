"""Propagation of uncertainty: linear by JCGM 100:2008, numerical by JCGM 101:2008.

A measurement function ``f`` takes one mapping of input names to values and returns the result::

    budget = propagate(lambda x: x["heat"] / x["amount"], inputs)

The same ``f`` serves both routes when it is written with plain arithmetic (floats, complex numbers
and arrays alike). Inputs that are *one physical quantity* in several results carry one ``key``;
what shares a key is fully correlated between results (JCGM 100, 5.2), so that an error common to
all runs does not average away.
"""

from __future__ import annotations

from calib.uncertainty.draws import MonteCarlo, draw_inputs, monte_carlo
from calib.uncertainty.inputs import Input, rectangular, resolution
from calib.uncertainty.means import Mean, combine_mean
from calib.uncertainty.propagation import (
    BudgetLine,
    Propagated,
    covariance_between,
    covariance_matrix,
    coverage_factor,
    dof_of_factor,
    propagate,
)

__all__ = [
    "BudgetLine",
    "Input",
    "Mean",
    "MonteCarlo",
    "Propagated",
    "combine_mean",
    "covariance_between",
    "covariance_matrix",
    "coverage_factor",
    "dof_of_factor",
    "draw_inputs",
    "monte_carlo",
    "propagate",
    "rectangular",
    "resolution",
]
