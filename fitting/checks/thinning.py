"""A log of millions of readings averaged to what a cup can show: some thousands.

Nothing in a cup changes within a tenth of a second, and sensors lag by seconds. Readings that come
faster are averaged over equal stretches of time, a four-thousandth of the log, but no less than
0.1 s and no more than 1 s, so that the mixing stays as sharp as the sensor shows it. A mean over a
stretch has the same integral as the readings in it: what is lost by cooling is not touched.

What averaging does to the scatter is not assumed: the noise of the means, memory and all, is found
from the means (`fitting.noise`). What it does to the display's steps q is: noise of standard
deviation s dithers them away only in part, and the variance Σ (q/πm)²/2 · exp(−4π²m²s²/q²) stays
in every mean (`fitting.noise.step_variance`). So the step of the means is the one that has that
variance, √(12 · that): q where the noise is much finer than the step, none where it is as large.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitting.checks.glitches import without_glitches
from fitting.curve import Curve
from fitting.noise import noise_of, step_variance

ENOUGH = 4000  # readings
_SHORTEST_S, _LONGEST_S = 0.1, 1.0
_WORTH = 1.5  # readings a stretch, from which on averaging is worth it
_SAMPLES, _SAMPLE = 20, 500  # readings all over the log, whose noise tells what dithers the steps
_NO_STEP = 0.01  # of the display's: not worth a mention


def sifted(curve: Curve) -> Curve:
    """The curve as the corrections see it: isolated wrong readings set aside, then thinned.

    Raises:
        CurveRefused: too many readings stand alone.
    """
    return thinned(without_glitches(curve))


def thinned(curve: Curve) -> Curve:
    """Means over equal stretches where the readings come faster than a cup changes."""
    stretch_s = float(np.clip(curve.duration_s / ENOUGH, _SHORTEST_S, _LONGEST_S))
    if len(curve) <= ENOUGH or len(curve) * stretch_s < _WORTH * curve.duration_s:
        return curve
    since = curve.time_s - curve.time_s[0]
    edges = np.arange(0.0, float(since[-1]) + stretch_s, stretch_s)
    first = np.unique(np.searchsorted(since, edges[edges <= since[-1]]))
    count = np.diff(np.append(first, since.size))
    note = (
        f"{len(curve)} readings, {len(curve) / curve.duration_s:.3g} a second, averaged to "
        f"{first.size}: over {stretch_s:.2g} s each"
    )
    return replace(
        curve,
        time_s=np.add.reduceat(curve.time_s, first) / count,
        temperature_C=np.add.reduceat(curve.temperature_C, first) / count,
        resolution_K=step_of_means(curve),
        guesses=(*curve.guesses, note),
    )


def step_of_means(curve: Curve) -> float:
    """Step that the means still have, K: what the readings' own noise does not dither away."""
    q = curve.resolution_K
    if q <= 0:
        return 0.0
    starts = np.linspace(0, max(len(curve) - _SAMPLE, 0), _SAMPLES).astype(int)
    noise = noise_of([curve.temperature_C[i : i + _SAMPLE] for i in np.unique(starts)], q)
    left = float(np.sqrt(12 * step_variance(noise.sigma_K, q)))
    return min(left, q) if left > _NO_STEP * q else 0.0
