"""How the heat comes: at an instant, from a heater for a time, or not at all.

A source gives the share h(s) of the heat at the time s, from 0 to 1. Whatever follows it with a
time constant τ, be it a sensor, a wall or heat still on its way, lags by

    d(s, τ) = ∫ h'(u) e^(−(s − u)/τ) du    (the part of a unit rise that has not arrived)

which is e^(−s/τ) after a pouring and (τ/θ)(1 − e^(−θ/τ)) e^(−(s − θ)/τ) after a heater that was on
for θ seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray


@dataclass(frozen=True, slots=True)
class Source:
    """A source of heat that begins at s = 0 and is over at ``lasts_s``; 0: all at an instant.

    ``heats`` is False for a cup in which nothing happens: there is no rise, and what lags is what
    was not level when the log began.
    """

    lasts_s: float = 0.0
    heats: bool = True

    def given(self, s: FloatArray) -> FloatArray:
        """Share h of the heat that has been given at the times s [s]; shape as s."""
        if not self.heats:
            return np.zeros_like(s)
        if self.lasts_s <= 0:
            return np.where(s > 0, 1.0, 0.0)
        return np.asarray(np.clip(s / self.lasts_s, 0.0, 1.0))

    def late(self, s: FloatArray, time_s: FloatArray) -> FloatArray:
        """What has not arrived at s [s], shape (n,), for time constants (m,): shape (n, m).

        Zero before the source begins and for a time constant of 0 (no such process).
        """
        tau = np.maximum(time_s, 1e-6)
        over = self.lasts_s
        since = np.clip(s - over, 0.0, None)[:, None]
        out = np.exp(-since / tau)
        if over > 0:
            out = out * (tau / over) * -np.expm1(-over / tau)
        begun = (s > over if self.heats else s >= 0)[:, None]
        return np.asarray(np.where(begun & (time_s > 0), out, 0.0))


POUR = Source()
IDLE = Source(heats=False)


def heater(lasts_s: float) -> Source:
    """A heater of even power that is on for so many seconds."""
    return Source(lasts_s)
