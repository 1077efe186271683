"""Curves that are at the edge of what can be corrected, or beyond it: what is said of them?

    python -m tests.benchmarks.bad_curves --n 60

Truth: ``fitting/practice/simulated_cup.py``. Every case is simulated with cups, sensors and rooms drawn as
for the coverage tables, in both display steps, with the moment of mixing given and to be found. A
curve counts as ``refused`` (with a reason that names the fault, and with what can still be said),
``holds`` (finite, its 95 % interval holds the truth), ``warned`` (finite, does not hold, and says
that it is not to be trusted), ``misses`` (does not hold, and nothing is said: 5 in 100 are due) or
``far off`` (the same, by more than four standard uncertainties).
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fitting.corrections import correct
from fitting.curve import Curve, FloatArray
from fitting.periods import CurveRefused
from fitting.practice.simulated_cup import FAMILIES, SimulatedRun, draw_experiment, simulate

FIRST_SEED = 120_000


@dataclass(frozen=True, slots=True)
class Made:
    """A curve with its fault: clock, readings, true rise, moment of mixing, capacity ratio."""

    time_s: FloatArray
    shown_C: FloatArray
    step_K: float
    true_rise_K: float
    mixed_at_s: float
    ratio: float
    room_C: float

    @classmethod
    def of(cls, run: SimulatedRun, shown: FloatArray | None = None) -> Made:
        """A run as it is, or with other readings."""
        return cls(
            run.time_s, run.temperature_C if shown is None else shown,
            run.experiment.sensor.step_K, run.true_rise_K, run.mixed_at_s, run.capacity_ratio,
            run.room_C,
        )  # fmt: skip

    def only(self, use: FloatArray) -> Made:
        """Some of the readings."""
        return replace(self, time_s=self.time_s[use], shown_C=self.shown_C[use])


Draw = Callable[[str, np.random.Generator, float], Made]


def _run(family: str, rng: np.random.Generator, step: float, **changes: object) -> SimulatedRun:
    e = draw_experiment(family, rng, resolution_K=step, **changes)
    return simulate(e, rng)


def good(family: str, rng: np.random.Generator, step: float) -> Made:
    """Nothing wrong with it: no false alarm."""
    return Made.of(_run(family, rng, step))


def alike(family: str, rng: np.random.Generator, step: float) -> Made:
    """Loss, release and the sensor all have about the same rate, some minutes."""
    e = draw_experiment("fast", rng, resolution_K=step)
    rate = rng.uniform(0.004, 0.02)
    total = e.in_cup_J_per_K + e.added_J_per_K + e.cup.constant_J_per_K
    e = replace(
        e,
        cup=replace(e.cup, loss_W_per_K=rate * total),
        sensor=replace(e.sensor, lag_s=rng.uniform(0.7, 1.4) / rate),
        rates_per_s=(rate * rng.uniform(0.7, 1.4), 0.05),
        in_cup_C=e.room.start_C + rng.normal(0.0, 0.1),
    )
    return Made.of(simulate(e, rng))


def no_loss(family: str, rng: np.random.Generator, step: float) -> Made:
    """A cup that loses nothing at all."""
    e = draw_experiment(family, rng, resolution_K=step)
    cup = replace(
        e.cup, loss_W_per_K=0.0, evaporation_g_per_s_kPa=0.0, stirrer_W=0.0, wall_loss_share=0.0
    )
    return Made.of(simulate(replace(e, cup=cup), rng))


def ends_at_room(family: str, rng: np.random.Generator, step: float) -> Made:
    """Started away from the room so that it ends at the room's temperature."""
    e = draw_experiment(family, rng, resolution_K=step)
    total = e.in_cup_J_per_K + e.added_J_per_K + e.cup.constant_J_per_K
    rise = (e.heat_J + e.added_J_per_K * (e.added_C - e.in_cup_C)) / total
    shift = e.room.start_C - (e.in_cup_C + rise)
    return Made.of(
        simulate(replace(e, in_cup_C=e.in_cup_C + shift, added_C=e.added_C + shift), rng)
    )


def no_fore(family: str, rng: np.random.Generator, step: float) -> Made:
    """One to three readings before the mixing."""
    run = _run(family, rng, step)
    made = Made.of(run)
    first = int(np.searchsorted(run.time_s, run.mixed_at_s, side="right"))
    return made.only(np.arange(run.time_s.size) >= first - rng.integers(1, 4))


def short_after(family: str, rng: np.random.Generator, step: float) -> Made:
    """The log stops one to four readings after the mixing."""
    run = _run(family, rng, step)
    first = int(np.searchsorted(run.time_s, run.mixed_at_s, side="right"))
    return Made.of(run).only(np.arange(run.time_s.size) < first + rng.integers(1, 5))


def short_after_seconds(family: str, rng: np.random.Generator, step: float) -> Made:
    """The log stops 10 to 60 s after the mixing."""
    run = _run(family, rng, step)
    return Made.of(run).only(run.time_s < run.mixed_at_s + rng.uniform(10.0, 60.0))


def pulled_out(family: str, rng: np.random.Generator, step: float) -> Made:
    """From some time on the sensor hangs in the room's air, wet or dry."""
    return _pulled(family, rng, step, rng.uniform(0.25, 0.85))


def pulled_out_early(family: str, rng: np.random.Generator, step: float) -> Made:
    """Pulled out within the first minute."""
    return _pulled(family, rng, step, None)


def _pulled(family: str, rng: np.random.Generator, step: float, share: float | None) -> Made:
    run = _run(family, rng, step)
    after = float(run.time_s[-1]) - run.mixed_at_s
    at = run.mixed_at_s + (rng.uniform(15.0, 60.0) if share is None else share * after)
    start = float(np.interp(at, run.time_s, run.temperature_C))
    air = run.room_C - rng.uniform(0.0, 3.0)  # wet: colder than the room
    since = np.clip(run.time_s - at, 0.0, None)
    in_air = air + (start - air) * np.exp(-since / rng.uniform(8.0, 60.0))
    noise = rng.normal(0.0, run.experiment.sensor.noise_K, since.size)
    shown = np.where(since > 0, np.round((in_air + noise) / step) * step, run.temperature_C)
    return Made.of(run, np.round(shown, 6))


def _saturated(family: str, rng: np.random.Generator, step: float, share: float) -> Made:
    run = _run(family, rng, step)
    before = run.true_before_C
    limit = np.round((before + share * run.true_rise_K) / step) * step
    shown = run.temperature_C
    shown = np.minimum(shown, limit) if run.true_rise_K > 0 else np.maximum(shown, limit)
    return Made.of(run, np.round(shown, 6))


def saturated_low(family: str, rng: np.random.Generator, step: float) -> Made:
    """The range ends half-way up."""
    return _saturated(family, rng, step, rng.uniform(0.4, 0.9))


def saturated_top(family: str, rng: np.random.Generator, step: float) -> Made:
    """The range ends just below the top, so that only some minutes are cut."""
    return _saturated(family, rng, step, rng.uniform(0.93, 0.985))


def gap_over_mixing(family: str, rng: np.random.Generator, step: float) -> Made:
    """No readings from some seconds before the mixing to 35 to 180 s after it."""
    run = _run(family, rng, step)
    since = run.time_s - run.mixed_at_s
    lost = (since > -rng.uniform(5.0, 40.0)) & (since < rng.uniform(35.0, 180.0))
    return Made.of(run).only(~lost)


def gap_after_mixing(family: str, rng: np.random.Generator, step: float) -> Made:
    """No readings from 4 s after the mixing on, for 35 to 180 s."""
    run = _run(family, rng, step)
    since = run.time_s - run.mixed_at_s
    return Made.of(run).only(~((since > 4.0) & (since < rng.uniform(39.0, 184.0))))


def gap_short(family: str, rng: np.random.Generator, step: float) -> Made:
    """No readings for 8 to 28 s about the mixing: that may still be corrected."""
    run = _run(family, rng, step)
    since = run.time_s - run.mixed_at_s
    lost = (since > -rng.uniform(2.0, 8.0)) & (since < rng.uniform(6.0, 20.0))
    return Made.of(run).only(~lost)


CASES: dict[str, tuple[Draw, str]] = {
    "good": (good, ""),
    "loss, release and lag alike": (alike, "no step|no moment|fore period|gone again"),
    "no loss": (no_loss, ""),
    "ends at the room": (ends_at_room, ""),
    "no fore period": (no_fore, "without a fore period|moment of mixing|no step"),
    "1 to 4 readings after": (
        short_after,
        "too short|too few|no step|no moment|outside|constant|without a fore",
    ),
    "10 to 60 s after": (
        short_after_seconds,
        "too short|too few|no step|no moment|outside|constant|without a fore",
    ),
    "pulled out": (pulled_out, "pulled out"),
    "pulled out early": (pulled_out_early, "pulled out"),
    "range ends half-way": (saturated_low, "end of its range"),
    "range ends near the top": (saturated_top, "end of its range"),
    "gap over the mixing": (gap_over_mixing, "no readings between"),
    "gap from 4 s on": (gap_after_mixing, "no readings between"),
    "short gap": (gap_short, "no readings between"),
}


def outcome(made: Made, reason: str, *, given: bool) -> tuple[str, str]:
    """What became of one curve, and what was said."""
    curve = Curve.from_arrays(made.time_s, made.shown_C, resolution_K=made.step_K)
    try:
        found = correct(
            curve,
            mixed_at_s=made.mixed_at_s if given else None,
            capacity_ratio=made.ratio,
            room_C=round(made.room_C, 1),
        )
    except CurveRefused as refused:
        fits = any(part in refused.reason for part in reason.split("|")) if reason else False
        named = "refused" if fits else "refused for another reason"
        return named if refused.said else "refused, nothing said", refused.reason
    one = found.chosen
    low, high = one.interval95_K
    if not all(math.isfinite(x) for x in (one.rise_K, one.u_rise_K, low, high)):
        return "not finite", ""
    if one.holds(made.true_rise_K):
        return "holds", ""
    off = f"off by {one.rise_K - made.true_rise_K:+.3f} K, u {one.u_rise_K:.3f} K"
    far = abs(one.rise_K - made.true_rise_K) > 4 * one.u_rise_K
    silent = "far off" if far else "misses"
    told = not one.admissible or any("end of the sensor's range" in w for w in found.warnings)
    return ("warned" if told else silent), f"{off}; {one.method}: {one.why}"


def count(
    case: str, seeds: range, step: float, *, given: bool, tell: Callable[[str], None] | None = None
) -> Counter[str]:
    """Outcomes of one case; the families take turns."""
    draw, reason = CASES[case]
    out: Counter[str] = Counter()
    for seed in seeds:
        rng = np.random.default_rng(seed)
        family = FAMILIES[seed % len(FAMILIES)]
        what, words = outcome(draw(family, rng, step), reason, given=given)
        out[what] += 1
        if tell is not None and what not in ("holds", "refused"):
            tell(f"{case}, {family}, seed {seed}, step {step:g}, given {given}: {what}: {words}")
    return out


OUTCOMES = (
    "refused", "holds", "warned", "misses", "far off", "refused for another reason", "refused, nothing said",
    "not finite",
)  # fmt: skip


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", action="append", choices=list(CASES))
    parser.add_argument("--n", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--tell", action="store_true", help="every curve that went wrong, in words")
    args = parser.parse_args()
    print(f"| case | step K | mixing | curves | {' | '.join(OUTCOMES)} |")
    print("|---|---|---|---|" + "---|" * len(OUTCOMES))
    seeds = range(args.first_seed, args.first_seed + args.n)
    for case in args.case or CASES:
        for step in (0.01, 0.1):
            for given in (True, False):
                found = count(case, seeds, step, given=given, tell=print if args.tell else None)
                shown = " | ".join(str(found[name] or "") for name in OUTCOMES)
                how = "given" if given else "found"
                print(f"| {case} | {step:g} | {how} | {found.total()} | {shown} |", flush=True)


if __name__ == "__main__":
    main()
