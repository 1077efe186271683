"""Correct one logged curve, from the file to the facts that scripts rely on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import CupledgerError, InputError
from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from calib.jobs.known_loss import KnownLoss
    from fitting.checks.prior_weight import PriorWeight
    from fitting.checks.stability import Stability
    from fitting.comparison import Comparison
    from fitting.cooling.result import LawComparison
    from fitting.corrections import Corrected
    from fitting.cup.circumstances import Circumstances
    from fitting.curve import Curve
    from fitting.release.heat_release import HeatRelease
    from fitting.release.settling import Settled

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True, eq=False)
class CurveReport:
    """A curve and what the corrections say of it.

    ``comparison`` is there where every method was asked for. ``release`` is None where no heat
    release can be told, and ``release_refused`` then says why. ``known_loss`` is the registered
    cup's, ``prior`` its weight in the result. ``settled`` is None where that cannot be told.
    """

    curve: Curve
    corrected: Corrected
    comparison: Comparison | None = None
    release: HeatRelease | None = None
    release_refused: str = ""
    known_loss: KnownLoss | None = None
    prior: PriorWeight | None = None
    settled: Settled | None = None

    def to_json(self) -> dict[str, Any]:
        """The keys that design.md promises for ``correct``, and what explains them."""
        from fitting.corrections import METHODS

        corrected = self.corrected
        chosen = corrected.chosen
        return {
            "mixed_at_s": corrected.mixed_at_s,
            "u_mixed_at_s": corrected.u_mixed_at_s,
            "mixing_given": corrected.mixing_given,
            "before_C": chosen.before_C,
            "u_before_K": chosen.u_before_K,
            "before_interval95_C": chosen.before_interval95_C,
            "final_C": corrected.final_C,
            "u_final_K": chosen.u_final_K,
            "final_interval95_C": chosen.final_interval95_C,
            "rise_K": chosen.rise_K,
            "u_rise_K": chosen.u_rise_K,
            "interval95_K": chosen.interval95_K,
            "made_of": [{"source": name, "u_K": u} for name, u in chosen.parts],
            "method": chosen.method,
            "rule": corrected.rule,
            "vessel": chosen.vessel,
            "lid": corrected.known.lid,
            "cooling_rate_per_s": chosen.cooling_rate_per_s,
            "u_cooling_rate_per_s": chosen.u_cooling_rate_per_s,
            "settles_towards_C": chosen.t_inf_C,
            "u_settles_towards_K": chosen.u_t_inf_K,
            "settles_towards_interval95_C": chosen.t_inf_interval95_C,
            **self._settled(),
            "extreme_C": corrected.extreme_C,
            "u_extreme_K": corrected.u_extreme_K,
            "extreme_at_s": corrected.extreme_at_s,
            "methods": [
                {
                    "name": m.method,
                    "rise_K": m.rise_K,
                    "u_rise_K": m.u_rise_K,
                    "interval95_K": m.interval95_K,
                    "cooling_rate_per_s": m.cooling_rate_per_s,
                    "u_cooling_rate_per_s": m.u_cooling_rate_per_s,
                    "residual_rms_K": m.residual_rms_K,
                    "lag1_autocorrelation": m.lag1_autocorrelation,
                    "admissible": m.admissible,
                    "why": m.why,
                    "equation": METHODS[m.method].equation if m.method in METHODS else "",
                    "equal_areas_at_s": None if m.balance is None else m.balance.at_s,
                    "worked": None if m.worked is None else asdict(m.worked),
                }
                for m in corrected.methods
            ],
            "steps": [
                {"cause": cause, "mK": 1000 * moved, "u_mK": 1000 * u}
                for cause, moved, u in chosen.steps
            ],
            "heat_release": (
                {"refused": self.release_refused} if self.release is None else self.release.facts()
            ),
            **self._extras(),
            "cut_at_s": corrected.cut_at_s,
            "left_out": [asdict(one) for one in corrected.left_out],
            "warnings": list(corrected.warnings),
            "guesses": list(self.curve.guesses),
            "source": self.curve.source,
            "points": len(self.curve.time_s),
            "resolution_K": self.curve.resolution_K,
            **_compared(self.comparison),
        }

    def _settled(self) -> dict[str, Any]:
        """When 99 % of the change was shown, and where the after period was taken to begin."""
        found = self.settled
        return {
            "settled_after_s": None if found is None else found.after_s,
            "u_settled_after_s": None if found is None else found.u_s,
            "settled_interval95_s": None if found is None else found.interval95_s,
            "after_period_from_s": self.corrected.settled_after_s,
        }

    def _extras(self) -> dict[str, Any]:
        """What is there only with a registered cup."""
        if self.known_loss is None:
            return {}
        prior = self.prior
        weight = None if prior is None else asdict(prior) | {"verdict": prior.verdict}
        return {"known_loss": self.known_loss.facts(), "prior": weight}


def _compared(found: Comparison | None) -> dict[str, Any]:
    """Keys that are there with ``--compare`` only."""
    if found is None:
        return {}
    return {
        "verdict": found.verdict,
        "cooling_laws": None if found.laws is None else _laws(found.laws),
        "stability": None if found.stability is None else _stability(found.stability),
    }


def _laws(laws: LawComparison) -> dict[str, Any]:
    names = (
        *("name", "title", "equation", "aicc", "delta_aicc", "forecast_rms_K"),
        *("rate_per_s", "u_rate_per_s", "t_inf_C", "u_t_inf_K"),
    )
    return {
        "chosen": laws.chosen,
        "why": laws.why,
        "fading_term_is": laws.meant.value or None,
        "from_s": laws.from_s,
        "to_s": laws.to_s,
        "laws": [
            {name: getattr(one, name) for name in names}
            | {
                "fading_term_is": one.meant.value or None,
                "parameters": [
                    {"name": name, "value": value, "u": u, "unit": unit}
                    for name, value, u, unit in one.parameters
                ],
            }
            for one in laws.laws
        ],
    }


def _stability(stability: Stability) -> dict[str, Any]:
    names = ("title", "unit", "values", "rise_K", "u_rise_K", "used", "note")
    return {
        "verdict": stability.verdict,
        "spread_K": stability.spread_K,
        "u_rise_K": stability.u_rise_K,
        "scans": [{name: getattr(scan, name) for name in names} for scan in stability.scans],
    }


def correct_file(
    path: Path,
    *,
    reading: dict[str, Any] | None = None,
    known: Circumstances,
    method: str | None = None,
    compare: bool = False,
    release: dict[str, float | None] | None = None,
    progress: Progress | None = None,
    apparatus: str | None = None,
    registry: str | None = None,
    leave_out: tuple[tuple[float, float], ...] = (),
) -> CurveReport:
    """Read a curve file and correct it.

    ``reading`` overrides the reader's guesses (keywords of ``fitting.read_curve``), ``known`` is
    what is known of the run beside the file. With ``compare`` every method is tried, and
    what the result rests on is scanned. ``release`` holds what is known for the heat release:
    sensor_lag_s, u_sensor_lag_s (a tenth of it where None), heat_capacity_J_per_K and
    u_heat_capacity_J_per_K. With ``apparatus`` the cup's registered heat loss enters as what is
    known of the cooling rate. The readings of ``leave_out`` (from, to; seconds on the curve's
    clock) are not used, nor are isolated wrong ones; both are named in the result.

    Raises:
        InputError: an apparatus without a heat capacity, or a constant without a heat loss.
        RegistryError: an apparatus without a constant in force.
        CurveError: the file is no curve, no correction can be made on it, or a number of
            ``release`` cannot be meant; the message says why.
    """
    from fitting.checks.glitches import leave_out as left_out_by_hand
    from fitting.checks.thinning import sifted
    from fitting.files.curve_files import read_curve

    curve = sifted(left_out_by_hand(read_curve(path, **(reading or {})), leave_out))
    of_release = _known_of_release(release or {})
    loss = None
    if apparatus is not None:
        from calib.jobs.known_loss import known_loss

        capacity = (of_release.get(f"{u}heat_capacity_J_per_K") for u in ("", "u_"))
        loss = known_loss(registry, apparatus, *capacity)
        known = loss.added_to(known)
    from fitting.release.settling import settled

    with guesses_told(curve):
        found = _reported(curve, known, method, compare, progress, of_release)
    return replace(found, known_loss=loss, settled=settled(curve, found.corrected))


@contextmanager
def guesses_told(curve: Curve) -> Iterator[None]:
    """Let a refusal carry the guesses made while the curve was read, as notes of the error.

    A unit of time that was guessed wrong is often the very reason for the refusal.
    """
    try:
        yield
    except CupledgerError as refused:
        for guess in curve.guesses:
            if guess not in getattr(refused, "__notes__", ()):
                refused.add_note(guess)
        raise


def _reported(
    curve: Curve, known: Circumstances, method: str | None, compare: bool,
    progress: Progress | None, of_release: dict[str, float],
) -> CurveReport:  # fmt: skip
    """Correct or compare, with the heat release and the weight of a known rate."""
    if compare:
        from fitting.comparison import compare_known

        found = compare_known(curve, known, method, progress)
        release = _release(curve, found.corrected, of_release)
        return CurveReport(curve, found.corrected, found, *release, prior=found.prior)
    from fitting.checks.prior_weight import weigh_prior
    from fitting.corrections.choice import correct_known

    corrected = correct_known(curve, known, method)
    prior = weigh_prior(curve, corrected)
    return CurveReport(curve, corrected, None, *_release(curve, corrected, of_release), prior=prior)


def _known_of_release(given: dict[str, float | None]) -> dict[str, float]:
    """What was given for the heat release, checked before anything long is done.

    Raises:
        InputError: a number that cannot be meant, or an uncertainty without its value.
    """
    known: dict[str, float] = {}
    for name, words, unit, least, most in (
        ("sensor_lag_s", "the sensor's lag", "s", 0.01, 600.0),
        ("heat_capacity_J_per_K", "the heat capacity", "J/K", 0.1, 1e6),
    ):
        value, u = given.get(name), given.get(f"u_{name}")
        if value is None and u is not None:
            raise InputError(f"an uncertainty of {words} without its value; give both")
        for what, number in ((words, value), (f"the uncertainty of {words}", u)):
            may_be_0 = what != words or name == "sensor_lag_s"
            if number is None or (number == 0 and may_be_0) or least <= number <= most:
                continue
            expected = f"{least:g} to {most:g} {unit}"
            if may_be_0:
                expected = f"0, or {expected}"
            elif number <= 0:
                expected = "more than 0: content and cup"
            raise InputError(f"{what} is {number:g} {unit}; expected {expected}")
        if value is not None:
            known[name] = value
            known[f"u_{name}"] = (
                u if u is not None else BENCH.lag_share.u * value if name == "sensor_lag_s" else 0.0
            )
    return known


def _release(
    curve: Curve, corrected: Corrected, known: dict[str, float]
) -> tuple[HeatRelease | None, str]:
    from fitting.errors import CurveError
    from fitting.release.heat_release import heat_release

    try:
        return heat_release(curve, corrected, **known), ""
    except CurveError as refused:
        return None, str(refused)
