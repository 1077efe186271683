"""The page of one corrected curve: what a student studies and a colleague prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.pages.curve_extras import release_blocks, stability_figure, stability_verdict
from calib.pages.curve_figures import areas_figure, curve_figure, end_figure, residual_figure
from calib.pages.curve_laws import law_blocks
from calib.pages.curve_meanings import listed_meaning, meanings
from calib.pages.explanations_curve import PARTS
from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.rendering import render
from calib.pages.typeset import minus, plus_minus, span
from calib.rounding import decimals_for
from fitting.corrections.result import Corrected
from fitting.drawings.curves import (
    StabilityScan,
    plot_methods,
)
from fitting.release.settling import settled as find_settled

if TYPE_CHECKING:
    from fitting.comparison import Comparison
    from fitting.corrections.result import Correction
    from fitting.curve import Curve
    from fitting.release.heat_release import HeatRelease
    from fitting.release.settling import Settled

DEFAULT_CAUTIONS = (
    "Glass thermometers and sensors break: stir with the stirrer, not with the sensor.",
    "Cups tip over: stand each in a beaker, and keep cables out of the way.",
    "Wear eye protection, also for dilute solutions.",
)
_DASH = "–"
_SMALL_SHARE = 0.005


@dataclass(frozen=True, slots=True)
class ExtraTable:
    """A further table of a page, with a sentence before it."""

    title: str
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    text: str = ""


def curve_page(
    curve: Curve,
    result: Corrected | Comparison,
    heat_release: HeatRelease | None = None,
    stability: Sequence[StabilityScan] | None = None,
    *,
    title: str = "",
    cautions: Sequence[str] = DEFAULT_CAUTIONS,
    more_tables: Sequence[ExtraTable] = (),
    release_refused: str = "",
    settled: Settled | None = None,
) -> str:
    """One HTML page for one curve: data, lines, residuals, methods, release, stability, meanings.

    Args:
        curve: the readings.
        result: what `correct` or `compare` gave for them; a comparison brings cooling laws and
            stability with it.
        heat_release: what `fitting.release.heat_release.heat_release` gave, if wanted.
        stability: scans of the rise against one choice each, in place of the comparison's.
        title: heading of the page; made from the curve's source where empty.
        cautions: sentences for the people at the bench.
        more_tables: further tables for the section on methods.
        release_refused: why there is no heat release, where it was sought.
        settled: when the change was over, from `fitting.release.settling`; found here where
            None.

    Returns:
        the page as text, to be written with `write_page`.
    """
    compared = None if isinstance(result, Corrected) else result
    corrected = result if isinstance(result, Corrected) else result.corrected
    scans, verdict = _stability(compared, stability, corrected)
    settled = find_settled(curve, corrected) if settled is None else settled
    laws = law_blocks(None if compared is None else compared.laws)
    return render(
        "curve.html.jinja",
        title=title or f"Corrected rise of {curve.source or 'a logged curve'}",
        subtitle=_subtitle(curve),
        **_result(curve, corrected, settled),
        curve_figure=curve_figure(curve, corrected),
        close_figures=(end_figure(curve, corrected), residual_figure(curve, corrected)),
        **_methods(corrected),
        areas_figure=areas_figure(curve, corrected),
        **_by_hand(corrected),
        more_tables=tuple(more_tables),
        compared=compared is not None,
        **laws,
        **release_blocks(heat_release, release_refused),
        stability_figures=[stability_figure(i, s, corrected) for i, s in enumerate(scans, 1)],
        stability_verdict=verdict,
        meanings=meanings(
            corrected, heat_release, settled, laws=bool(laws["law_rows"]), scans=bool(scans)
        ),
        cautions=tuple(cautions),
        origin=_origin(curve, corrected),
        guesses=curve.guesses,
    )


def _stability(
    compared: Comparison | None, given: Sequence[StabilityScan] | None, corrected: Corrected
) -> tuple[tuple[StabilityScan, ...], str]:
    """The scans to draw and what they say together."""
    if given is None and compared is not None and compared.stability is not None:
        return compared.stability.scans, compared.stability.verdict
    scans = tuple(given or ())
    return scans, stability_verdict(scans, corrected)


def _subtitle(curve: Curve) -> str:
    step = f", step of the reading {curve.resolution_K:g} K" if curve.resolution_K else ""
    return (
        f"{len(curve)} readings over {curve.duration_s / 60:.1f} min, "
        f"one every {curve.step_s:g} s{step}."
    )


def _result(curve: Curve, corrected: Corrected, settled: Settled | None) -> dict[str, Any]:
    chosen = corrected.chosen
    return {
        "rise": plus_minus(chosen.rise_K, chosen.u_rise_K),
        "interval": span(chosen.interval95_K).replace(" to ", " and "),
        "method_title": _title(chosen.method),
        "rule": corrected.rule,
        "warnings": corrected.warnings,
        "facts": _facts(curve, corrected, settled),
        "budget": _budget(chosen),
    }


def _title(name: str) -> str:
    return listed_meaning(name).name


def _facts(
    curve: Curve, corrected: Corrected, settled: Settled | None
) -> list[tuple[str, str, str, str]]:
    """Quantity, value, unit and the name of what explains it."""
    chosen = corrected.chosen
    u_mixed = f"{corrected.u_mixed_at_s:.1f}" if corrected.u_mixed_at_s >= 0.05 else "less than 0.1"
    how = "given" if corrected.mixing_given else "found from the curve"
    since = corrected.extreme_at_s - corrected.mixed_at_s
    lacks = 1000 * (corrected.extreme_C - chosen.before_C - chosen.rise_K)
    u_lacks = 1000 * float(np.hypot(corrected.u_extreme_K, chosen.u_final_K or chosen.u_rise_K))
    return [
        ("corrected rise", plus_minus(chosen.rise_K, chosen.u_rise_K), "K", "rise"),
        ("95 % interval of the rise", span(chosen.interval95_K), "K", "interval"),
        ("temperature before mixing", plus_minus(chosen.before_C, chosen.u_before_K), "°C",
         "before"),
        ("… its 95 % interval", span(chosen.before_interval95_C), "°C", "before"),
        ("temperature without loss", plus_minus(corrected.final_C, chosen.u_final_K), "°C",
         "final"),
        ("extreme reading", plus_minus(corrected.extreme_C, corrected.u_extreme_K), "°C",
         "extreme"),
        ("… read since the mixing after", f"{since:.0f}", "s", "extreme"),
        ("… minus temperature without loss", plus_minus(lacks, u_lacks), "mK", "extreme"),
        (
            f"moment of mixing ({how})",
            f"{corrected.mixed_at_s:.1f} ± {u_mixed}",
            "s",
            "mixed_at",
        ),
        *_settled_facts(settled),
        ("cooling rate", _rate(chosen), "1/min", "cooling"),
        ("temperature the cup tends to", plus_minus(chosen.t_inf_C, chosen.u_t_inf_K), "°C",
         "t_inf"),
        ("… its 95 % interval", span(chosen.t_inf_interval95_C), "°C", "t_inf"),
    ]  # fmt: skip


def _settled_facts(settled: Settled | None) -> list[tuple[str, str, str, str]]:
    if settled is None:
        return [("settled after", _DASH, "s", "settled")]
    low, high = settled.interval95_s
    within = f"{low:.0f} or more" if high is None else f"{low:.0f} to {high:.0f}"
    at = "not told" if settled.u_s is None else plus_minus(settled.after_s, settled.u_s)
    return [
        ("settled after", at, "s", "settled"),
        ("… its 95 % interval", within, "s", "settled"),
    ]


def _rate(method: Correction) -> str:
    k, u = method.cooling_rate_per_s, method.u_cooling_rate_per_s
    if k is None:
        return _DASH
    return plus_minus(60 * k, None if u is None else 60 * u)


def _budget(chosen: Correction) -> list[tuple[str, str, str, str]]:
    """Sources of the uncertainty, largest first; those below half a per cent of u² together."""
    total = chosen.u_rise_K**2
    if total <= 0:
        return []
    parts = sorted(chosen.parts, key=lambda part: -part[1])
    large = [part for part in parts if part[1] ** 2 >= _SMALL_SHARE * total]
    small = [part for part in parts if part not in large]
    rows = [_part(name, u, total, PARTS.get(name, "")) for name, u in large]
    if small:
        together = sum(u * u for _, u in small) ** 0.5
        names = ", ".join(name for name, _ in small)
        rows.append(_part(f"{len(small)} smaller parts together", together, total, names))
    return rows


def _part(name: str, u: float, total: float, words: str) -> tuple[str, str, str, str]:
    share = 100 * u * u / total
    return name, f"{1000 * u:.{decimals_for(1000 * u)}f}", f"{share:.0f}", words


def _methods(corrected: Corrected) -> dict[str, Any]:
    names = {m.method: _title(m.method) for m in corrected.methods}
    admissible = [m for m in corrected.methods if m.admissible]
    description = (
        f"The rise by each of {len(corrected.methods)} methods with its 95 % interval. "
        f"{len(admissible)} can be used on this curve (filled marks); the diamond is the one in "
        "use."
    )
    ident, title = "figure-methods", "The rise by every method"
    svg = draw_svg(
        lambda ax: plot_methods(ax, corrected), ident, title, description, wide=(7.4, 3.0)
    )
    used = next(
        (i for i, m in enumerate(corrected.methods) if m.method == corrected.chosen.method), None
    )
    return {
        "method_figure": FigureBlock(ident, title, description, svg),
        "method_headers": (
            "method",
            "rise / K",
            "95 % interval / K",
            "k / (1/min)",
            "rms / mK",
            "lag-1",
            "may be used",
        ),
        "method_rows": [_method_row(m, names[m.method]) for m in corrected.methods],
        "used_row": used,
        "verdicts": [
            {
                "title": names[m.method],
                "verdict": "may be used" if m.admissible else "not to be used here",
                "why": m.why,
            }
            for m in corrected.methods
        ],
        "method_meanings": [listed_meaning(m.method) for m in corrected.methods],
    }


def _by_hand(corrected: Corrected) -> dict[str, Any]:
    """The way from the textbook integral to the average, and the integral's own numbers."""
    integral = next((m for m in corrected.methods if m.worked is not None), None)
    steps: list[tuple[str, str]] = []
    if corrected.chosen.steps and integral is not None:
        steps = [
            ("integral of Newton's law", f"{minus(f'{1000 * integral.rise_K:.1f}')}"),
            *(
                (cause, plus_minus(1000 * moved, 1000 * u))
                for cause, moved, u in corrected.chosen.steps
            ),
            ("average over models", f"{minus(f'{1000 * corrected.chosen.rise_K:.1f}')}"),
        ]
    worked = () if integral is None or integral.worked is None else integral.worked.printed()
    return {
        "step_rows": steps,
        "worked_rows": [(name, minus(text), unit) for name, text, unit in worked],
    }


def _method_row(method: Correction, title: str) -> tuple[str, ...]:
    fitted = method.residual_rms_K > 0
    return (
        f"{title} ({method.method})",
        plus_minus(method.rise_K, method.u_rise_K),
        span(method.interval95_K),
        _rate(method),
        f"{1000 * method.residual_rms_K:.1f}" if fitted else _DASH,
        minus(f"{method.lag1_autocorrelation:.2f}") if fitted else _DASH,
        "yes" if method.admissible else "no",
    )


def _origin(curve: Curve, corrected: Corrected) -> list[tuple[str, str]]:
    rows = [
        ("source", curve.source or "arrays"),
        ("readings", str(len(curve))),
        ("clock", f"{curve.time_s[0]:g} to {curve.time_s[-1]:g} s"),
        ("moment of mixing", f"{corrected.mixed_at_s:.1f} s on that clock"),
    ]
    if curve.started is not None:
        rows.append(("started", curve.started.isoformat(sep=" ")))
    if curve.digest:
        rows.append(("SHA-256 of the file", curve.digest))
    return rows
