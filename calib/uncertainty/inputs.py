"""Input quantities: estimate, standard uncertainty, distribution, and what they are shared with."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from calib.errors import InputError

Shape = Literal["normal", "rectangular", "triangular", "arcsine", "t"]
FloatArray = npt.NDArray[np.float64]
Function = Callable[[Mapping[str, Any]], Any]
Correlations = Mapping[tuple[str, str], float]


@dataclass(frozen=True, slots=True)
class Input:
    """One input quantity: estimate, standard uncertainty (k = 1), and where both come from.

    ``key`` names the physical quantity when other results use it too; ``None`` keeps it the
    result's own. ``shape`` is the distribution that the Monte Carlo route draws from, with standard
    deviation ``u`` (for ``"t"``: scale ``u`` and ``dof`` degrees of freedom, JCGM 101, 6.4.9).
    ``dof`` is how well ``u`` itself is known (JCGM 100, G.4); infinite for a stated limit.
    """

    name: str
    value: float
    u: float
    key: str | None = None
    source: str = ""
    shape: Shape = "normal"
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise InputError(
                f"input {self.name!r} needs a finite value and a finite u >= 0; "
                f"found {self.value!r} with u {self.u!r}"
            )

    @property
    def identity(self) -> str:
        """What correlations are keyed by: the shared key, else the name."""
        return self.key if self.key is not None else self.name


def rectangular(name: str, value: float, half_width: float, **rest: Any) -> Input:
    """Input known to lie within ± half_width, all values alike: u = a/√3 (JCGM 100, 4.3.7)."""
    return Input(name, value, half_width / math.sqrt(3.0), shape="rectangular", **rest)


def resolution(name: str, value: float, step: float, **rest: Any) -> Input:
    """Input read to one digital step: u = step/√12 (JCGM 100, F.2.2.1)."""
    return rectangular(name, value, step / 2.0, **rest)


def correlation_matrix(identities: Sequence[str], correlations: Correlations) -> FloatArray:
    """Matrix of r between identities, shape (n, n); one identity twice has r = 1."""
    ids = np.array(identities, dtype=object)
    matrix = (ids[:, None] == ids[None, :]).astype(np.float64)
    for (a, b), r in correlations.items():
        pair = (ids[:, None] == a) & (ids[None, :] == b)
        matrix[pair | pair.T] = r
    return np.asarray(matrix, dtype=np.float64)
