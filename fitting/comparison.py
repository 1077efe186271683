"""Every correction of one curve side by side, what decided between them, and what it rests on.

For notebooks::

    from fitting import read_curve, compare
    found = compare(read_curve("bench3.csv"), room_C=21.4)
    found                       # verdict and tables
    found.to_frame()             # one line a method
    found.plot(ax)              # rises with their intervals
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING

from fitting.checks.prior_weight import PriorWeight, weigh_prior
from fitting.checks.stability import Stability, scan_stability
from fitting.checks.thinning import sifted
from fitting.cooling.comparing import laws_of
from fitting.corrections.choice import assemble, every_method, lay_out
from fitting.corrections.result import Corrected, Correction, methods_frame, methods_html
from fitting.cup.circumstances import U_ROOM_K, Circumstances
from fitting.curve import Curve

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from fitting.cooling.result import LawComparison

VIEWS = ("methods", "correction", "residuals", "equal-areas", "release", "stability")
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class Comparison:
    """One curve, every method, and what the choice between them does to the number.

    Attributes:
        curve: the readings.
        corrected: the corrected curve with the chosen method and the warnings.
        methods: every method's answer, in the order of ``METHODS``.
        laws: cooling laws on the after period; None where it is too short for them.
        stability: how the rise moves with choices somebody else might have made.
        rule: why the chosen method was chosen.
        prior: what a cooling rate known beforehand did to the result; None where none was given.
    """

    curve: Curve = field(repr=False)
    corrected: Corrected
    methods: tuple[Correction, ...]
    laws: LawComparison | None
    stability: Stability | None
    rule: str
    prior: PriorWeight | None = None

    @property
    def chosen(self) -> Correction:
        """The correction to use."""
        return self.corrected.chosen

    @property
    def verdict(self) -> str:
        """The answer in one sentence, and what the choice of a method does to it."""
        usable = [m for m in self.methods if m.admissible]
        if len(usable) < 2:
            return self.corrected.verdict
        rises = [m.rise_K for m in usable]
        return (
            f"{self.corrected.verdict}; the {len(usable)} methods that may be used here lie "
            f"between {min(rises):+.3f} and {max(rises):+.3f} K"
        )

    def to_frame(self) -> pd.DataFrame:
        """One line a method, as a pandas table; the column ``chosen`` marks the one in use."""
        table = methods_frame(self.methods)
        table["chosen"] = [m.method == self.chosen.method for m in self.methods]
        return table

    def plot(self, ax: Axes, what: str = "methods") -> None:
        """Draw one view on an Axes: those of `fitting.drawings.curves.draw`, or ``stability``.

        ``stability`` draws the scan in which the rise moves most.

        Raises:
            ValueError: there is no such view.
        """
        from fitting.drawings import curves

        if what not in VIEWS:
            raise ValueError(f"what is {what!r}; expected one of {', '.join(VIEWS)}")
        if what != "stability":
            curves.draw(ax, self.curve, self.corrected, what)
        elif self.stability is not None and self.stability.scans:
            scan = max(self.stability.scans, key=lambda one: one.moved_K(self.chosen.rise_K))
            curves.plot_stability(ax, scan, self.corrected)

    def _repr_html_(self) -> str:
        parts = [f"<p>{escape(self.verdict)}</p>", methods_html(self.methods)]
        if self.prior is not None:
            parts.append(self.prior._repr_html_())
        if self.laws is not None:
            parts.append(self.laws._repr_html_())
        if self.stability is not None:
            parts.append(self.stability._repr_html_())
        return f"<div>{''.join(parts)}</div>"


def compare(
    curve: Curve,
    *,
    progress: Progress | None = None,
    mixed_at_s: float | None = None,
    u_mixed_at_s: float = 0.0,
    method: str | None = None,
    room_C: float | None = None,
    u_room_K: float = U_ROOM_K,
    capacity_ratio: float = 1.0,
    prior_rate_per_s: float | None = None,
    u_prior_rate_per_s: float | None = None,
    vessel: str | None = None,
    lid: str | None = None,
    hidden_share: float | None = None,
    u_hidden_share: float = 0.0,
) -> Comparison:
    """Correct a curve by every method, and scan what the result rests on.

    Args:
        curve: the readings.
        progress: called with (steps done, steps in all, what comes next).

    All others as for `fitting.correct`.

    Raises:
        CurveRefused: no correction can be taken from the curve; the message says why, and what
            can still be said.
        CurveError: an argument is out of its range.
    """
    known = Circumstances(
        mixed_at_s=mixed_at_s, u_mixed_at_s=u_mixed_at_s, capacity_ratio=capacity_ratio,
        room_C=room_C, u_room_K=u_room_K, rate_per_s=prior_rate_per_s,
        u_rate_per_s=u_prior_rate_per_s, vessel=vessel, lid=lid,
        hidden_share=hidden_share, u_hidden_share=u_hidden_share,
    )  # fmt: skip
    return compare_known(curve, known, method, progress)


def compare_known(
    curve: Curve,
    known: Circumstances,
    method: str | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """As `compare`, with all that is known in one record. Raises as `compare`."""
    curve = sifted(curve)
    tell = progress or (lambda done, total, what: None)
    tell(0, 3, "every method")
    case = lay_out(curve, known, method)
    found = every_method(case)
    tell(1, 3, "cooling laws")
    laws = laws_of(case)
    corrected = assemble(case, found, method, laws)
    curve = corrected.used_of(curve)
    tell(2, 3, "scans of the choices")
    stability = scan_stability(curve, corrected)
    tell(3, 3, "done")
    prior = weigh_prior(curve, corrected)
    return Comparison(curve, corrected, corrected.methods, laws, stability, corrected.rule, prior)
