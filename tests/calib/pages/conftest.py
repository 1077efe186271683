"""Curves, a class and a constant for the pages, and a browser to look at them with."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from calib.registry.records import StoredConstant
from fitting.comparison import Comparison, compare
from fitting.cooling import LawComparison, LawFit
from fitting.corrections import Corrected, correct
from fitting.curve import Curve
from fitting.practice.simulated_cup import draw_experiment, simulate
from fitting.release.heat_release import heat_release

CHROMIUM = "/usr/bin/chromium"
GROUPS = (
    "Larch", "Fennel", "Otter", "Quartz", "Heron", "Saffron",
    "Basalt", "Juniper", "Marten", "Cobalt", "Thistle", "Plover",
)  # fmt: skip
NEUTRAL = "HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)"
DISSOLVING = "KNO3(s) -> KNO3(aq)"


MISHAPS = (
    ("water's 4.18 J/(g K) used", -3.1, False),
    ("the second liquid 0.5 K off its reading", -2.1, True),
    ("stock HNO3(aq) 2 % weak", 1.2, False),
    ("the cup's constant ignored", 0.7, False),
    ("last digit of the extreme reading (0.1 K) misread by one", -0.45, True),
    ("lid on 20 s late", 0.25, False),
    ("extreme reading taken, not corrected", -0.04, False),
    ("two drops (0.1 mL) of the second liquid spilt", -0.03, False),
    ("stock KOH(aq) 2 % weak", 0.0, False),
)


def logged(family: str = "slow", seed: int = 3) -> tuple[Curve, Corrected, Any]:
    """A simulated run as a curve, its correction and the truth."""
    experiment = draw_experiment(family, np.random.default_rng(seed))
    run = simulate(experiment, seed)
    curve = Curve.from_arrays(
        run.time_s,
        run.temperature_C,
        source=f"{family}-{seed}.csv",
        guesses=("the decimal mark was taken to be a comma",),
        digest=f"{seed:064x}",
    )
    return curve, correct(curve, capacity_ratio=run.capacity_ratio), run


@pytest.fixture(scope="session")
def slow_run() -> tuple[Curve, Corrected, Any]:
    return logged()


@pytest.fixture(scope="session")
def fast_runs() -> list[tuple[Curve, Corrected]]:
    return [logged("fast", seed)[:2] for seed in range(4)]


@pytest.fixture(scope="session")
def release(slow_run):
    curve, corrected, run = slow_run
    return heat_release(
        curve, corrected, sensor_lag_s=run.experiment.sensor.lag_s, heat_capacity_J_per_K=430.0
    )


@pytest.fixture(scope="session")
def compared(slow_run) -> Comparison:
    """Every method on the slow run, its scans, and cooling laws with invented numbers."""
    curve, _, run = slow_run
    found = compare(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
    return replace(found, laws=invented_laws())


@pytest.fixture(scope="session")
def cooled(tmp_path_factory):
    """A cooling log of a simulated cup with a loss that is not linear, and what it tells."""
    from calib.jobs.cooling_down import cool_down
    from fitting.files.plain_curves import write_curve
    from tests.benchmarks.cooling_truth import draw_logs

    (draw,) = draw_logs("convection", [3])
    path = tmp_path_factory.mktemp("log") / "log <1>.csv"
    write_curve(path, draw.curve)
    return cool_down(path, room_C=draw.room_C, heat_capacity=(400.0, 4.0))


def invented_laws() -> LawComparison:
    common = (("T0", 26.1, 0.01, "°C"), ("k", 1.2e-4, 2e-5, "1/s"), ("T∞", 21.3, 0.4, "°C"))
    laws = (
        LawFit("newton", "Newton's law", "dT/dt = −k (T − T∞)", common, -612.0, 3.1, 0.004,
               1.2e-4, 2e-5, 21.3, 0.4),
        LawFit("steeper", "loss steeper than linear", "dT/dt = −k θ |θ/θr|^(n−1)",
               (*common, ("n", 1.3, 0.2, "")), -615.1, 0.0, float("nan"), 1.3e-4, 3e-5, 21.1, 0.6),
        LawFit("another", "<b>another</b> law", "x < y", common, -600.0, 15.1, 0.02, 1e-4, 1e-5,
               -1.0, 0.1),
    )  # fmt: skip
    return LawComparison(laws, "newton", "no other law explains the end better", 320.0, 760.0)


@pytest.fixture(scope="session")
def scan(slow_run):
    curve, corrected, _ = slow_run
    shifts = (-5.0, -2.0, 0.0, 2.0, 5.0)
    rises = [correct(curve, mixed_at_s=corrected.mixed_at_s + d).chosen.rise_K for d in shifts]
    return SimpleNamespace(
        title="shift of the moment of mixing / s", values=shifts, rise_K=tuple(rises), used=0.0
    )


def class_of(
    n: int, fast_runs: list[tuple[Curve, Corrected]]
) -> tuple[dict[str, Any], dict[str, tuple[Curve, Corrected]]]:
    """An invented class: n groups, two reactions, every third without a curve."""
    rng = np.random.default_rng(5)
    runs, curves = [], {}
    for i in range(n):
        label = GROUPS[i % 12] + (f" {i // 12 + 1}" if i >= 12 else "")
        dissolves = i % 3 == 2
        expected = 34.2 if dissolves else -57.1
        value, u = expected + rng.normal(0, 0.5), 0.3 + 0.2 * rng.random()
        curve, corrected = fast_runs[i % len(fast_runs)]
        if i % 3:
            curves[label] = (curve, corrected)
        warnings = (
            [f"{label}: a fill of 212 mL lies outside 180 to 205 mL, where the constant was found"]
            if i % 5 == 3
            else []
        )
        runs.append(
            {
                "run": label, "apparatus": f"P{i % 6 + 1}", "unit": "kJ/mol",
                "reaction": DISSOLVING if dissolves else NEUTRAL,
                "constant_id": i % 6 + 1, "constant_J_per_K": 13.2, "u_constant_J_per_K": 0.6,
                "rise_K": corrected.chosen.rise_K, "u_rise_K": 0.012,
                "method": "newton-integral" if i % 3 else "extreme reading, not corrected",
                "heat_J": 2890.3, "u_heat_J": 12.0, "extent_mol": 0.0502, "limiting": "KOH(aq)",
                "dH_kJ_per_mol": value, "u_dH_kJ_per_mol": u,
                "interval95_kJ_per_mol": [value - 2 * u, value + 2 * u],
                "reference_kJ_per_mol": 34.89 if dissolves else -55.81,
                "u_reference_kJ_per_mol": 0.1,
                "expected_at_run_kJ_per_mol": expected, "u_expected_at_run_kJ_per_mol": 0.2,
                "warnings": warnings, "reported_kJ_per_mol": -55.0 if i == 1 else None,
                "budget": [
                    {"source": source, "u_kJ_per_mol": u * share**0.5, "share_percent": 100 * share}
                    for source, share in (("stock concentration", 0.6), ("rise", 0.4))
                ],
                "without": [
                    {"left_out": "the cup's constant", "result_kJ_per_mol": value * 0.98,
                     "shift_kJ_per_mol": -0.02 * value, "shift_percent": -2.0}
                ],
                "deviation": value - expected, "u_deviation": 0.4, "deviation_from": "its value",
                "mishap_verdict": "no mishap needed: it agrees with its value",
                "mishaps": [
                    {"name": name, "change": change, "change_kJ_per_mol": change,
                     "change_percent": 100 * change / value, "either_way": way, "explains": False}
                    for name, change, way in MISHAPS
                ],
            }
        )  # fmt: skip
    summary = [
        {
            "reaction": name, "unit": "kJ/mol", "runs": len(own),
            "mean": float(np.mean(own)), "u_mean": 0.28, "sd": 0.5,
            "u_shared": 0.25, "u_independent": 0.12, "interval95": [min(own), max(own)],
            "shared": [{"source": "specific heat of the mixture", "u": 0.2}], "outlying": ["Otter"],
        }
        for name in (NEUTRAL, DISSOLVING)
        if (own := [r["dH_kJ_per_mol"] for r in runs if r["reaction"] == name])
    ]  # fmt: skip
    errors = [
        {"row": "Walnut", "column": "added_mL", "message": "this is no amount of liquid",
         "found": "'fifty'", "expected": "a number of millilitres", "remedy": "correct the cell"}
    ]  # fmt: skip
    return {"runs": runs, "summary": summary, "errors": errors, "notes": []}, curves


@pytest.fixture(scope="session")
def class_data(fast_runs) -> Callable[[int], tuple[dict[str, Any], dict[str, Any]]]:
    return lambda n: class_of(n, fast_runs)


def constant(runs: int = 8, **changes: Any) -> StoredConstant:
    """An invented constant with its runs."""
    rng = np.random.default_rng(1)
    details = {
        "runs": [
            {"run": f"mix {i + 1}", "date": "2026-02-12",
             "constant_J_per_K": 13.1 + rng.normal(0, 0.7), "u_constant_J_per_K": 0.8}
            for i in range(runs)
        ],
        "budget": [
            {"source": source, "u_J_per_K": 0.38 * share**0.5, "share_percent": 100 * share}
            for source, share in (
                ("temperature of the hot water", 0.5), ("corrected rise", 0.3), ("masses", 0.2),
            )
        ],
        "interval95_J_per_K": [12.2, 14.0],
    }  # fmt: skip
    facts: dict[str, Any] = {
        "id": 7, "uid": "c5b8a8e2-7f", "apparatus": "H3", "kind": "double foam cup, foam lid",
        "method": "mixing", "constant_J_per_K": 13.12, "u_constant_J_per_K": 0.38,
        "heat_loss_W_per_K": 0.0412, "u_heat_loss_W_per_K": 0.0016, "sensor_lag_s": 5.8,
        "runs": runs, "between_run_sd_J_per_K": 0.42, "fill_mL": (180.0, 220.0),
        "temperature_C": (20.1, 38.2), "valid_from": date(2026, 2, 12), "valid_to": None,
        "recheck_due": date(2026, 8, 12), "recheck_uses": 60, "status": "approved",
        "superseded_by": None, "digests": tuple(f"{i:064x}" for i in range(16)),
        "rows_json": "[]", "warnings": ("two runs were made by one person",),
        "failed_quality": "", "note": "new cups of the spring term", "made_by": "lab manager",
        "made_at": datetime(2026, 2, 12, 15, 0), "software_version": "0.1.0",
        "approved_by": "lab manager", "approved_at": datetime(2026, 2, 13, 9, 0),
        "details_json": json.dumps(details), "uses": 12,
    }  # fmt: skip
    return StoredConstant(**(facts | changes))


@dataclass
class Watched:
    """A page in a browser, with what it printed to its console and what it asked for."""

    page: Any
    console: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def quiet(self) -> None:
        """Nothing on the console, nothing asked for but the file itself."""
        assert self.console == []
        assert [url for url in self.requests if not url.startswith("data:")] == [
            self.page.url.split("#")[0]
        ]

    def open_everything(self) -> None:
        """Unfold all that is folded, so that checks see it."""
        self.page.evaluate(
            "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
        )
        if self.page.locator("#all").count():
            self.page.locator("#all").click()

    def violations(self) -> list[str]:
        """What axe-core finds against WCAG 2 and its own best practices, one line each.

        axe-core comes inside the Python package, so that nothing is fetched.
        """
        from axe_playwright_python.sync_playwright import Axe

        found = Axe().run(self.page).response
        assert len(found["passes"]) > 10, "axe-core did not look at the page"
        return [f"{v['id']}: {v['nodes'][0]['html'][:160]}" for v in found["violations"]]

    def width(self) -> int:
        """Width of the content in CSS pixels: more than the screen's makes people scroll."""
        return self.page.evaluate("document.documentElement.scrollWidth")

    def tab_to(self, text: str) -> None:
        """Press Tab until the thing whose text starts so, or that has this id, has the focus."""
        for _ in range(200):
            self.page.keyboard.press("Tab")
            focused = self.page.evaluate(
                "document.activeElement.innerText || document.activeElement.id"
            )
            if focused.strip().startswith(text):
                return
        raise AssertionError(f"no way by Tab to {text!r}")

    def becomes(self, expression: str) -> None:
        """Wait until an expression in the page is true, for some seconds.

        The pages' own policy forbids what Playwright's `wait_for_function` would do.
        """
        for _ in range(200):
            if self.page.evaluate(expression):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"never came true: {expression}")

    def pdf_pages(self) -> int:
        """Number of sheets when the page is printed."""
        return len(re.findall(rb"/Type\s*/Page\b", self.page.pdf(prefer_css_page_size=True)))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api")
    if not Path(CHROMIUM).exists() and shutil.which("chromium") is None:
        pytest.skip("Chromium is not installed; install the package 'chromium' to run page checks")
    path = CHROMIUM if Path(CHROMIUM).exists() else shutil.which("chromium")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-background-networking"]
        )
        yield browser
        browser.close()


@pytest.fixture
def look(chromium, tmp_path) -> Callable[..., Any]:
    """``with look(html, width=390, scheme="dark") as watched: ...``"""

    @contextmanager
    def opened(html: str, *, width: int = 1200, scheme: str = "light", **options: Any):
        from calib.pages import write_page

        path = write_page(tmp_path / "page.html", html)
        context = chromium.new_context(
            viewport={"width": width, "height": 844}, color_scheme=scheme, **options
        )
        page = context.new_page()
        watched = Watched(page)
        page.on("console", lambda message: watched.console.append(message.text))
        page.on("pageerror", lambda error: watched.console.append(str(error)))
        page.on("request", lambda request: watched.requests.append(request.url))
        page.goto(path.as_uri())
        yield watched
        context.close()

    return opened
