"""A student's rise against the truth, and what each method would have given on the same curve."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from fitting.corrections.choice import correct_known
from fitting.cup.circumstances import Circumstances
from fitting.curve import Curve
from fitting.periods import CurveRefused

if TYPE_CHECKING:
    import pandas as pd

_CLOSE, _FAIR = 0.25, 1.0  # per cent of the rise


@dataclass(frozen=True, slots=True)
class MethodScore:
    """One method on the practice curve: its rise, how far off it is, whether it may be used."""

    name: str
    rise_K: float
    u_rise_K: float
    error_K: float
    error_percent: float
    holds: bool
    admissible: bool
    why: str


@dataclass(frozen=True, slots=True)
class Revealed:
    """The opened answer.

    Attributes:
        true_rise_K, true_before_C: the truth.
        student_rise_K, u_student_K: what the student gave; None where the answer was only opened.
        error_K, error_percent: student minus truth, and in per cent of the truth's size.
        holds: whether the student's ± 1.96 u holds the truth; None without an uncertainty.
        uncorrected_error_K: how far the extreme reading is off; None where there is none.
        rise_unspilt_K: what the whole liquid would have shown; the same where nothing was spilt.
        methods: every method on the same curve, best first among those that may be used.
        default: name of the method that the program itself would have taken; empty where none.
        difficulties, seed, facts: how the curve was made.
        notes: what else to know.
    """

    true_rise_K: float
    true_before_C: float
    student_rise_K: float | None
    u_student_K: float | None
    error_K: float | None
    error_percent: float | None
    holds: bool | None
    uncorrected_error_K: float | None
    rise_unspilt_K: float
    methods: tuple[MethodScore, ...]
    default: str
    difficulties: tuple[str, ...]
    seed: int
    facts: Mapping[str, float]
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """How good the student's value is, in a few sentences."""
        if self.student_rise_K is None or self.error_K is None or self.error_percent is None:
            return f"The true rise is {self.true_rise_K:.3f} K."
        off = f"{self.error_K:+.3f} K ({self.error_percent:+.2f} %)"
        said = [
            f"The true rise is {self.true_rise_K:.3f} K; {self.student_rise_K:g} K is off by {off}:"
            f" {_word(abs(self.error_percent))}."
        ]
        if self.student_rise_K * self.true_rise_K < 0:
            said.append("The sign is the other way round: check whether it warmed or cooled.")
        elif self.uncorrected_error_K:
            left = abs(self.error_K / self.uncorrected_error_K)
            said.append(_against_extreme(left))
        said.extend(_on_the_uncertainty(self))
        return " ".join(said)

    def by_default(self) -> MethodScore | None:
        """What the program itself would have taken."""
        return next((m for m in self.methods if m.name == self.default), None)

    def to_frame(self) -> pd.DataFrame:
        """One line a method, as a pandas table."""
        import pandas as pd

        names = MethodScore.__slots__
        rows = [{name: getattr(one, name) for name in names} for one in self.methods]
        return pd.DataFrame(rows, columns=list(names)).set_index("name")

    def to_json(self) -> dict[str, Any]:
        """Everything as plain values, for scripts."""
        names = MethodScore.__slots__
        return {
            "true_rise_K": self.true_rise_K,
            "true_before_C": self.true_before_C,
            "student_rise_K": self.student_rise_K,
            "u_student_K": self.u_student_K,
            "error_K": self.error_K,
            "error_percent": self.error_percent,
            "holds": self.holds,
            "uncorrected_error_K": self.uncorrected_error_K,
            "rise_unspilt_K": self.rise_unspilt_K,
            "verdict": self.verdict,
            "methods": [{name: getattr(one, name) for name in names} for one in self.methods],
            "default": self.default,
            "difficulties": list(self.difficulties),
            "seed": self.seed,
            "facts": dict(self.facts),
            "notes": list(self.notes),
        }

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th scope='row'>{escape(m.name)}</th><td>{m.rise_K:.3f} ± {m.u_rise_K:.3f}</td>"
            f"<td>{m.error_K:+.3f}</td><td>{'yes' if m.admissible else 'no'}</td></tr>"
            for m in self.methods
        )
        return (
            f"<p>{escape(self.verdict)}</p><table><thead><tr><th scope='col'>method</th>"
            "<th scope='col'>rise / K</th><th scope='col'>off by / K</th>"
            f"<th scope='col'>may be used</th></tr></thead><tbody>{rows}</tbody></table>"
        )


def score(
    curve: Curve,
    answer: Mapping[str, Any],
    student_rise_K: float | None,
    u_student_K: float | None,
    known: Circumstances,
) -> Revealed:
    """Compare a student's rise and every method with the opened answer."""
    truth = float(answer["rise_K"])
    notes: list[str] = []
    try:
        methods, default = _scores(curve, truth, known)
    except CurveRefused as refused:
        methods, default = (), ""
        notes.append(f"no method could be used on this curve: {refused.reason}")
    extreme = next((m.error_K for m in methods if m.name == "extreme"), None)
    unspilt = float(answer["rise_unspilt_K"])
    if unspilt != truth:
        notes.append(
            f"liquid was spilt: with all of it the rise would have been {unspilt:.3f} K; heat and "
            "amount leave together, so that the curve alone cannot show it"
        )
    error = None if student_rise_K is None else student_rise_K - truth
    return Revealed(
        true_rise_K=truth,
        true_before_C=float(answer["before_C"]),
        student_rise_K=student_rise_K,
        u_student_K=u_student_K,
        error_K=error,
        error_percent=None if error is None else 100 * error / abs(truth),
        holds=None if u_student_K is None or error is None else abs(error) <= 1.96 * u_student_K,
        uncorrected_error_K=extreme,
        rise_unspilt_K=unspilt,
        methods=methods,
        default=default,
        difficulties=tuple(answer["difficulties"]),
        seed=int(answer["seed"]),
        facts=dict(answer["facts"]),
        notes=tuple(notes),
    )


def _scores(
    curve: Curve, truth: float, known: Circumstances
) -> tuple[tuple[MethodScore, ...], str]:
    """Every method's score, best first, and the name of the default one."""

    usual = correct_known(curve, known)
    scores = [
        MethodScore(
            name=one.method,
            rise_K=one.rise_K,
            u_rise_K=one.u_rise_K,
            error_K=one.rise_K - truth,
            error_percent=100 * (one.rise_K - truth) / abs(truth),
            holds=one.holds(truth),
            admissible=one.admissible,
            why=one.why,
        )
        for one in usual.methods
    ]
    best_first = sorted(scores, key=lambda m: (not m.admissible, abs(m.error_K)))
    return tuple(best_first), usual.chosen.method


def _on_the_uncertainty(one: Revealed) -> list[str]:
    """Whether the student's ± 1.96 u holds the truth, and whether it is wider than it need be."""
    if one.holds is None or one.u_student_K is None:
        return []
    if not one.holds:
        return ["Your stated uncertainty is too small: ± 1.96 u does not hold the truth."]
    default = one.by_default()
    if default is not None and default.u_rise_K > 0 and one.u_student_K > 4 * default.u_rise_K:
        return [
            "Your stated uncertainty holds the truth, but is "
            f"{one.u_student_K / default.u_rise_K:.0f} times as wide as a careful correction's "
            f"({default.u_rise_K:.3f} K)."
        ]
    return ["Your stated uncertainty holds the truth."]


def _word(percent: float) -> str:
    if percent <= _CLOSE:
        return "as good as a careful correction gets"
    if percent <= _FAIR:
        return "close, and a better correction would still come nearer"
    return "further off than a correction should be"


def _against_extreme(left: float) -> str:
    """How much of the extreme reading's error is left."""
    if left > 1.05:
        return "The extreme reading, without any correction, would have been nearer."
    if left > 0.95:
        return "That is where the extreme reading is, without any correction."
    return f"{100 * (1 - left):.0f} % of what the extreme reading lacks was put back."
