"""What stands in the pages: the right numbers, every text escaped, the same bytes every time."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from calib.errors import OutputError
from calib.outputs import made_by
from calib.pages import (
    certificate_page,
    class_page,
    cooldown_page,
    curve_page,
    explanations_cooling,
    explanations_curve,
    write_page,
)
from calib.pages.curve_meanings import listed_meaning
from calib.pages.explanations import METHODS as EXPLAINED
from calib.pages.explanations import NUMBERS
from calib.rounding import with_u
from fitting.cooling.laws import LAWS
from fitting.corrections import METHODS, correct
from fitting.curve import Curve

from .conftest import GROUPS, class_of, constant

EVIL = '<script>alert("x")</script>'


class Outline(HTMLParser):
    """Ids, references to ids, headings, roles and addresses of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.wanted: list[str] = []
        self.headings: list[int] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.tags.append((tag, found))
        if "id" in found:
            self.ids.append(found["id"])
        for name in ("aria-labelledby", "aria-controls"):
            self.wanted += (found.get(name) or "").split()
        for name in ("href", "xlink:href"):
            if (found.get(name) or "").startswith("#"):
                self.wanted.append(found[name][1:])
        self.wanted += re.findall(r"url\(#([^)]+)\)", str(found))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))


@pytest.fixture(scope="module")
def pages(slow_run, compared, release, class_data, cooled):
    curve = slow_run[0]
    return {
        "curve": curve_page(curve, compared, release),
        "class": class_page(*class_data(12)),
        "certificate": certificate_page(constant()),
        "cooldown": cooldown_page(cooled),
    }


@pytest.mark.parametrize("kind", ["curve", "class", "certificate", "cooldown"])
def test_structure(pages, kind):
    html = pages[kind]
    outline = Outline(html)
    assert len(outline.ids) == len(set(outline.ids))
    assert set(outline.wanted) <= set(outline.ids)
    assert outline.headings[0] == 1
    assert outline.headings.count(1) == 1
    steps = [b - a for a, b in pairwise(outline.headings)]
    assert max(steps) <= 1
    names = [tag for tag, _ in outline.tags]
    assert names.count("main") == 1
    assert '<html lang="en">' in html
    drawings = [a for tag, a in outline.tags if tag == "svg"]
    assert drawings
    assert not re.search(r": ?#[0-9a-f]{6}", html.split("<body")[1])  # colours are the page's own
    assert all(a["role"] == "img" and a["aria-labelledby"] for a in drawings)


@pytest.mark.parametrize("kind", ["curve", "class", "certificate", "cooldown"])
def test_nothing_is_loaded_from_anywhere(pages, kind):
    html = pages[kind]
    assert set(re.findall(r"https?://[^\"' )<]+", html)) <= {"http://www.w3.org/2000/svg"}
    assert not re.search(r"@import|url\((?!#)|<(?:img|iframe|object|embed|audio|video)\b", html)
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html)
    assert policy is not None
    assert "default-src &#39;none&#39;" in policy.group(1)


def test_same_input_same_bytes(slow_run, pages):
    curve, corrected, _ = slow_run
    again = curve_page(curve, corrected)
    assert curve_page(curve, corrected) == again
    assert certificate_page(constant()) == pages["certificate"]


def test_the_numbers_are_those_of_the_result(slow_run):
    curve, corrected, _ = slow_run
    html = curve_page(curve, corrected)
    for one in corrected.methods:
        assert with_u(one.rise_K, one.u_rise_K).replace("-", "−") in html
        assert METHODS[one.method].title.replace("'", "&#39;").split(" %")[0] in html
    assert curve.digest in html
    assert "The decimal mark was taken to be a comma." in html


def test_a_cooling_logs_page_shows_its_numbers(cooled, pages):
    html, log = pages["cooldown"], cooled.log
    for value, u in (
        (60 * log.rate_per_s, 60 * log.u_rate_per_s),
        (log.t_inf_C, log.u_t_inf_K),
        (log.conductance_W_per_K, log.u_conductance_W_per_K),
    ):
        assert with_u(value, u).replace("-", "−") in html
    assert "log &lt;1&gt;.csv" in html
    assert "log <1>" not in html
    assert cooled.curve.digest in html
    for name, _ in (*log.parts, *cooled.conductance_parts):
        assert name in explanations_cooling.PARTS
        assert name.replace("'", "&#39;") in html
    assert all(one.title.replace("'", "&#39;") in html for one in log.laws.laws)
    assert html == cooldown_page(cooled)


def test_every_method_and_number_is_explained():
    assert set(EXPLAINED) == set(METHODS)
    assert set(explanations_curve.LAWS) == set(LAWS)
    own = [*explanations_curve.NUMBERS.values(), *explanations_curve.LAWS.values()]
    own += explanations_cooling.COOLING.values()
    assert all(meaning.equation for meaning in own)
    for meaning in [*EXPLAINED.values(), *NUMBERS.values(), *own]:
        assert meaning.sentence.endswith(".")
        assert meaning.source
    assert all(listed_meaning(name).equation == METHODS[name].equation for name in EXPLAINED)
    assert all(method.equation for method in METHODS.values())
    assert "Scientific Paper 230 (1914)" in EXPLAINED["equal-areas"].source
    assert NUMBERS["u_dH"].source.startswith("JCGM 100:2008")


def test_each_fact_leads_to_its_meaning(pages):
    """`test_structure` checks that every address on the page exists."""
    facts = re.findall(r'<th scope="row"><a href="#means-([a-z_0-9]+)">', pages["curve"])
    assert {"rise", "interval", "before", "final", "extreme", "mixed_at", "settled", "cooling",
            "t_inf", "total_heat", "release_time", "over", "lag", "misfit"} <= set(facts)  # fmt: skip


def test_every_part_of_an_uncertainty_is_explained(slow_run):
    corrected = slow_run[1]
    named = {name for method in corrected.methods for name, _ in method.parts}
    assert named <= set(explanations_curve.PARTS)


def test_small_parts_of_the_uncertainty_are_told_together(slow_run):
    curve, corrected, _ = slow_run
    html = curve_page(curve, corrected)
    rows = re.search(r"<caption>What the uncertainty.*?</table>", html, flags=re.S)
    assert rows is not None
    shares = [int(s) for s in re.findall(r'<td class="n">(\d+)</td><td>', rows.group(0))]
    assert 98 <= sum(shares) <= 102
    assert "smaller parts together" in rows.group(0)
    assert all(name in html for name, _ in corrected.chosen.parts if "'" not in name)


def test_a_comparison_brings_laws_and_stability(pages, compared, slow_run):
    html = pages["curve"]
    assert "Which law the cup cools by" in html
    assert "&lt;b&gt;another&lt;/b&gt; law" in html
    assert "n 1.30 ± 0.20" in html
    assert "0.0072 ± 0.0012" in html  # k of 1.2e-4 1/s in 1/min
    assert "Fitted from 320 to 760 s" in html
    assert "ΔAICc" in html
    for number in (1, 2, 3):
        assert f'id="figure-stability-{number}"' in html
    assert compared.stability.verdict[1:] in html.replace("&#39;", "'").replace(
        "\N{NO-BREAK SPACE}%", " %"
    )
    assert "<nav" in html
    assert "nan" not in re.sub(r"<style>.*?</style>", "", html, flags=re.S).lower().split()
    bare = curve_page(slow_run[0], slow_run[1])
    assert "Which law the cup cools by" not in bare
    assert "--compare --page" in bare


def test_heat_release_is_told_or_refused_with_the_reason(pages, slow_run, release):
    curve, corrected, _ = slow_run
    html = pages["curve"]
    for show in ("temperature", "fraction", "flow"):
        assert f'id="figure-{show}"' in html
    assert with_u(release.total_J, release.u_total_J).replace("-", "−") in html
    assert "heat flow / W" in html
    hidden = curve_page(curve, corrected, replace(release, over_interval95_s=(0.0, 30.0)))
    assert 'id="figure-fraction"' in hidden
    assert 'id="figure-flow"' not in hidden
    assert "therefore not drawn" in hidden
    refused = curve_page(curve, corrected, release_refused="no cooling is known")
    assert "Not told: no cooling is known" in refused
    assert "Heat release</h2>" not in curve_page(curve, corrected)


def test_a_method_that_knows_no_cooling_rate_gets_a_page(slow_run):
    curve, _, run = slow_run
    corrected = correct(curve, method="extreme", capacity_ratio=run.capacity_ratio)
    html = curve_page(curve, corrected)
    assert METHODS["extreme"].title in html


def test_a_page_of_a_curve_without_a_fore_period_and_with_a_strange_name(slow_run):
    curve, corrected, _ = slow_run
    later = curve.time_s > corrected.mixed_at_s - 2.5
    short = Curve.from_arrays(
        curve.time_s[later], curve.temperature_C[later], source=f"{EVIL} $x$ & 'y'.csv"
    )
    html = curve_page(short, correct(short, mixed_at_s=corrected.mixed_at_s))
    assert EVIL not in html
    assert "&lt;script&gt;" in html
    assert "$x$" in html


def test_markup_in_names_stays_text(fast_runs):
    table, curves = class_of(4, fast_runs)
    old = table["runs"][1]["run"]
    table["runs"][1] |= {
        "run": EVIL, "apparatus": EVIL, "limiting": EVIL, "reaction": EVIL,
        "warnings": [f"{EVIL}: $a_1$"],
        "budget": [{"source": EVIL, "u_kJ_per_mol": 1.0, "share_percent": 100.0}],
    }  # fmt: skip
    table["errors"] = [{"row": EVIL, "column": EVIL, "message": EVIL, "found": EVIL}]
    table["notes"] = [EVIL]
    curves = {EVIL: curves[old]} | curves
    html = class_page(table, curves, title=EVIL, cautions=[EVIL])
    assert html.count("<script>") == 1
    assert EVIL not in html
    Outline(html)


def test_anonymous_page_does_not_hold_the_names(class_data):
    table, curves = class_data(12)
    table = table | {"errors": [{"row": "Larch", "column": "x", "message": "Larch and Otter swap"}]}
    html = class_page(table, curves, anonymous=True)
    assert [name for name in GROUPS if name in html] == []
    assert 'id="masks"' not in html
    assert class_page(table, curves).count("Larch") > 3


def test_a_row_without_a_result_is_shown_with_a_dash(class_data):
    table, _ = class_data(3)
    bare = dict.fromkeys(table["runs"][0], None) | {"run": "bare", "warnings": [], "budget": []}
    html = class_page(table | {"runs": [*table["runs"], bare]})
    assert ">bare</span>" in html
    assert "None" not in html
    assert "nan" not in re.sub(r"<style>.*?</style>|<script>.*?</script>", "", html, flags=re.S)


def test_a_physical_quantity_keeps_its_own_unit(class_data):
    table, _ = class_data(2)
    row = table["runs"][0] | {
        "unit": "J/(g K)", "dH_kJ_per_mol": None, "value": 0.385, "u_value": 0.011,
        "interval95": [0.363, 0.407], "reference": 0.3844, "expected_at_run_kJ_per_mol": None,
        "reaction": "specific heat of Cu",
    }  # fmt: skip
    html = class_page({"runs": [row], "summary": [], "errors": []})
    assert "0.385 ± 0.011 J/(g K)" in html
    assert "+0.2" in html  # (0.385 − 0.3844)/0.3844


def test_an_empty_class_has_a_page():
    html = class_page({"runs": [], "summary": [], "errors": []})
    assert "0 groups" in html


def test_certificate_says_what_is_on_file():
    html = certificate_page(constant())
    for said in (
        "13.12 ± 0.38 J/K", "12.20 to 14.00 J/K", "0.0412 ± 0.0016 W/K", "180 to 220 mL",
        "20.1 to 38.2 °C", "from 2026-02-12 until further notice", "2026-08-12", "mix 8",
        "temperature of the hot water", "Approved by lab manager on 2026-02-13", "approved.",
    ):  # fmt: skip
        assert said in html, said
    assert "NaN" not in html


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"status": "withdrawn", "withdrawn_why": "lid lost"}, "Withdrawn: lid lost. Do not use."),
        ({"status": "superseded", "superseded_by": 9}, "Superseded by constant no. 9"),
        ({"status": "draft"}, "Draft: not yet approved"),
        ({"failed_quality": "runs disagree"}, "Quality not met: runs disagree."),
        ({"recheck_due": None, "recheck_uses": None}, "not set"),
        ({"fill_mL": None}, "not on file"),
        ({"details_json": "{}"}, "No single runs were handed over"),
        (
            {"fill_slope_J_per_K_per_mL": 0.02, "u_fill_slope_J_per_K_per_mL": 0.004,
             "fill_reference_mL": 200.0},
            "0.0200 ± 0.0040 J/(K mL), about 200 mL",
        ),
    ],
)  # fmt: skip
def test_certificate_names_the_state(changes, said):
    assert said in certificate_page(replace(constant(), **changes))


def test_certificate_of_a_run_without_a_number():
    runs = [{"run": "a", "constant_J_per_K": None}, {"run": "b", "constant_J_per_K": 13.0}]
    html = certificate_page(constant(), runs)
    assert "nan" not in html.split("<main")[1]


def test_writing_replaces_whole_files_only(tmp_path):
    head = f'<!doctype html><meta name="generator" content="{made_by("class page")}">'
    path = write_page(tmp_path / "ü page.html", f"{head}first °C")
    write_page(path, f"{head}second ΔH")
    assert path.read_text(encoding="utf-8") == f"{head}second ΔH"
    with pytest.raises(OutputError, match="is there already and is no certificate made here"):
        write_page(path, head.replace("class page", "certificate"))
    assert [p.name for p in tmp_path.iterdir()] == ["ü page.html"]


def test_writing_where_there_is_no_folder(tmp_path):
    with pytest.raises(
        OutputError,
        match=r"page.html: the page cannot be written: the folder .*no.* does not exist; make it first or choose another$",
    ):
        write_page(tmp_path / "no" / "page.html", "x")
    with pytest.raises(OutputError, match=r"is a folder; give the name of a file in it that ends"):
        write_page(tmp_path, "x")


def test_a_failed_write_leaves_the_old_page(tmp_path, monkeypatch):
    old = f'<meta name="generator" content="{made_by("page")}">old'
    path = write_page(tmp_path / "page.html", old)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(OutputError, match=r"No space left on device; nothing was changed"):
        write_page(path, "new")
    assert path.read_text(encoding="utf-8") == old
    assert len(list(tmp_path.iterdir())) == 1


def test_a_missing_value_of_a_template_is_an_error():
    from jinja2 import UndefinedError

    from calib.pages.rendering import render

    with pytest.raises(UndefinedError):
        render("class.html.jinja", title="x")


def test_many_groups_take_no_figure_each(class_data):
    table, curves = class_data(300)
    html = class_page(table, curves)
    assert html.count('class="drawing only"') == len(curves)
    assert len(html.encode()) / len(curves) < 11_000  # tables of mishaps and budgets included
