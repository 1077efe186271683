"""How the judges draw; from which ranges, each says itself."""

from __future__ import annotations

import math

import numpy as np


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Uniform in the logarithm."""
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))
