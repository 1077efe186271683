"""The pages in headless Chromium: quiet, accessible, printable, usable by keyboard alone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from calib.pages import certificate_page, class_page, cooldown_page, curve_page

from .conftest import constant

pytestmark = [pytest.mark.browser, pytest.mark.timeout(180)]

KINDS = ("curve", "class", "certificate", "cooldown")


@pytest.fixture(scope="module")
def pages(slow_run, compared, release, class_data, cooled):
    curve = slow_run[0]
    table, curves = class_data(12)
    mishaps = {
        "Larch": [
            {"name": "two drops spilt", "change_kJ_per_mol": 0.06, "change_percent": 0.1,
             "explains": False}
        ]
    }  # fmt: skip
    return {
        "curve": curve_page(curve, compared, release),
        "class": class_page(table, curves, mishaps=mishaps),
        "certificate": certificate_page(constant()),
        "cooldown": cooldown_page(cooled),
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1200, 390])
@pytest.mark.parametrize("kind", KINDS)
def test_quiet_accessible_and_not_wider_than_the_screen(pages, look, kind, width, scheme):
    with look(pages[kind], width=width, scheme=scheme) as seen:
        seen.open_everything()
        seen.quiet()
        assert seen.violations() == []
        assert seen.width() <= width


@pytest.mark.parametrize("kind", KINDS)
def test_no_text_of_a_drawing_is_cut_off(pages, look, kind):
    script = """() => Array.from(document.querySelectorAll('svg.drawing')).flatMap((svg) => {
        const frame = svg.getBoundingClientRect();
        if (!frame.width) { return []; }
        return Array.from(svg.querySelectorAll('text')).filter((text) => {
            const box = text.getBoundingClientRect();
            return box.left < frame.left - 1 || box.right > frame.right + 1 ||
                box.top < frame.top - 1 || box.bottom > frame.bottom + 1;
        }).map((text) => text.textContent);
    })"""
    for width in (1200, 390):
        with look(pages[kind], width=width) as seen:
            seen.open_everything()
            assert seen.page.evaluate(script) == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_two_labels_of_a_drawing_lie_on_each_other(pages, look, kind):
    script = """() => Array.from(document.querySelectorAll('svg.drawing')).flatMap((svg) => {
        if (!svg.getBoundingClientRect().width) { return []; }
        const boxes = Array.from(svg.querySelectorAll('text')).map((text) =>
            [text.textContent, text.getBoundingClientRect()]);
        const bad = [];
        boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
            const across = Math.min(p.right, q.right) - Math.max(p.left, q.left);
            const down = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
            if (across > 2 && down > 0.4 * Math.min(p.height, q.height)) { bad.push(a + '|' + b); }
        }));
        return bad;
    })"""
    for width in (1200, 390):
        with look(pages[kind], width=width) as seen:
            seen.open_everything()
            assert seen.page.evaluate(script) == []


def test_dark_page_draws_in_light_ink(pages, look):
    ink = "getComputedStyle(document.querySelector('svg.wide text')).fill"
    with look(pages["curve"], scheme="dark") as seen:
        dark = seen.page.evaluate(ink)
        seen.page.emulate_media(media="print")
        printed = seen.page.evaluate(ink)
    brightness = [sum(map(int, re.findall(r"\d+", colour)[:3])) for colour in (dark, printed)]
    assert brightness[0] > 600
    assert brightness[1] < 150


@pytest.mark.parametrize(("runs", "digests"), [(2, 3), (8, 16), (40, 120)])
def test_certificate_prints_on_one_sheet(look, runs, digests):
    page = certificate_page(constant(runs=runs, digests=tuple(f"{i:064x}" for i in range(digests))))
    with look(page) as seen:
        assert seen.pdf_pages() == 1


def test_curve_page_prints_without_its_menu(pages, look):
    with look(pages["curve"]) as seen:
        assert 2 <= seen.pdf_pages() <= 11
        seen.page.emulate_media(media="print")
        assert not seen.page.locator("nav").is_visible()
        assert seen.page.locator("svg.wide").first.is_visible()
        seen.quiet()


def test_cooldown_page_prints_without_its_menu(pages, look):
    with look(pages["cooldown"]) as seen:
        assert 2 <= seen.pdf_pages() <= 8
        seen.page.emulate_media(media="print")
        assert not seen.page.locator("nav").is_visible()
        assert seen.page.locator("#figure-forecast svg:visible").count() == 1
        seen.quiet()


def test_class_page_prints_what_is_open_and_nothing_to_press(pages, look):
    with look(pages["class"]) as seen:
        assert 2 <= seen.pdf_pages() <= 8
        seen.page.locator("button.open").nth(1).click()
        seen.page.emulate_media(media="print")
        assert not seen.page.locator("nav").is_visible()
        assert not seen.page.locator("#sieve").is_visible()
        assert not seen.page.locator("button.open").first.is_visible()
        assert seen.page.locator("#more-2 svg.drawing").is_visible()
        assert not seen.page.locator("#more-3").is_visible()
        assert seen.page.locator("th", has_text="rise / K").first.is_visible()
        seen.quiet()


def test_mishaps_and_verdict_open_with_the_group(pages, look):
    with look(pages["class"], width=390) as seen:
        seen.page.locator("button.open").nth(1).click()
        shown = seen.page.locator("#more-2").inner_text()
        assert "no mishap needed" in shown
        assert "the second liquid 0.5 K off its reading, either way" in shown
        assert "−2.1" in shown
        assert seen.width() <= 390


def test_curve_page_by_keyboard_alone(pages, look):
    """Every link, folded table and wide table is reached by Tab, in the order of the page."""
    where = """() => { const one = document.activeElement, box = one.getBoundingClientRect();
        const outline = getComputedStyle(one).outlineStyle;
        return [one.tagName + '|' + (one.getAttribute('href') || one.getAttribute('aria-label') ||
            one.textContent.trim()), box.top + window.scrollY, outline]; }"""
    with look(pages["curve"]) as seen:
        wanted = seen.page.evaluate(
            "Array.from(document.querySelectorAll('a[href], summary, [tabindex=\"0\"]'))"
            ".filter((one) => one.checkVisibility()).length"
        )
        stops = []
        for _ in range(wanted):
            seen.page.keyboard.press("Tab")
            stops.append(seen.page.evaluate(where))
        names = [name for name, _, _ in stops]
        assert names[0] == "A|#content"
        tops = [top for name, top, _ in stops if name.startswith("SUMMARY")]
        assert tops == sorted(tops)
        assert {"A|#methods", "A|#laws", "A|#release", "A|#stability"} <= set(names)
        assert "DIV|Table: Every method on this curve" in names
        assert sum(name.startswith("SUMMARY|Numbers of this figure") for name in names) >= 5
        assert all(outline != "none" for _, _, outline in stops)
        seen.page.locator("summary").first.focus()
        seen.page.keyboard.press("Enter")
        seen.page.locator("details[open] table").first.wait_for(state="visible")
        seen.page.locator('a[href="#means-over"]').first.focus()
        seen.page.keyboard.press("Enter")
        seen.becomes("location.hash === '#means-over' && window.scrollY > 1000")
        seen.quiet()


def test_curve_page_to_a_screen_reader(pages, look):
    """Headings in order, every drawing with a name and a description, every table with a caption."""
    with look(pages["curve"]) as seen:
        seen.open_everything()
        tables = seen.page.evaluate(
            "Array.from(document.querySelectorAll('table')).map((t) => !!t.caption &&"
            " t.querySelectorAll('th[scope]').length > 0)"
        )
        assert len(tables) >= 10
        assert all(tables)
        tree = seen.page.locator("main").aria_snapshot()
        for said in (
            'heading "Which law the cup cools by" [level=2]',
            'img "Heat flow Heat released per second by Tian',
            'img "The end at the moment of mixing, enlarged',
            'table "Cooling laws on the after period',
        ):
            assert said in tree, said


def first_groups(page, n: int) -> list[str]:
    labels = page.locator("#class > tbody:not([hidden]) > tr:first-child > th").all_inner_texts()
    return [label.strip() for label in labels[:n]]


def test_sort_by_keyboard_both_ways(pages, look):
    with look(pages["class"]) as seen:
        seen.tab_to("group")
        seen.page.keyboard.press("Enter")
        assert first_groups(seen.page, 3) == ["Basalt", "Cobalt", "Fennel"]
        heading = seen.page.locator("#class thead th").first
        assert heading.get_attribute("aria-sort") == "ascending"
        seen.page.keyboard.press("Enter")
        assert first_groups(seen.page, 3) == ["Thistle", "Saffron", "Quartz"]
        assert heading.get_attribute("aria-sort") == "descending"
        assert "largest first" in seen.page.locator("#told").inner_text()
        seen.tab_to("result")
        seen.page.keyboard.press("Enter")
        keys = seen.page.eval_on_selector_all(
            "#class > tbody > tr:first-child > td:nth-of-type(4)",
            "(cells) => cells.map((cell) => Number(cell.dataset.k))",
        )
        assert keys == sorted(keys)
        seen.quiet()


def test_filter_by_keyboard(pages, look):
    with look(pages["class"]) as seen:
        seen.tab_to("sieve")
        seen.page.keyboard.type("kno3(s)")  # typed plain, shown with a lowered 3
        assert len(first_groups(seen.page, 99)) == 4
        assert seen.page.locator("#told").inner_text() == "4 of 12 groups shown."
        assert seen.page.locator("svg.wide g.dim").count() == 8
        seen.page.locator("#sieve").fill("")
        seen.tab_to("flags")
        seen.page.keyboard.press("Space")
        assert first_groups(seen.page, 99) == ["Quartz", "Marten"]
        seen.quiet()


def test_filter_by_reaction(pages, look):
    with look(pages["class"]) as seen:
        seen.page.locator("#which").select_option(index=2)
        assert first_groups(seen.page, 99) == ["Otter", "Saffron", "Marten", "Plover"]


def test_open_a_curve_by_keyboard_and_close_it(pages, look):
    with look(pages["class"]) as seen:
        seen.tab_to("curve")
        button = seen.page.locator("button.open:focus")
        panel = seen.page.locator(f"#{button.get_attribute('aria-controls')}")
        assert not panel.is_visible()
        seen.page.keyboard.press("Enter")
        assert button.get_attribute("aria-expanded") == "true"
        assert panel.locator("svg.drawing").is_visible()
        assert "stock concentration" in panel.inner_text()
        seen.page.keyboard.press("Space")
        assert not panel.is_visible()
        seen.quiet()


def test_names_give_way_to_numbers_everywhere_and_come_back(pages, look):
    with look(pages["class"]) as seen:
        seen.open_everything()
        before = seen.page.locator("body").inner_text()
        assert "Quartz" in before
        seen.tab_to("Numbers instead")
        seen.page.keyboard.press("Enter")
        hidden = seen.page.locator("main").inner_text()
        assert not [name for name in ("Larch", "Quartz", "Otter", "Plover") if name in hidden]
        assert "4: a fill of 212 mL" in hidden
        seen.page.locator("#masks").click()
        assert seen.page.locator("body").inner_text() == before


def test_reduced_motion_is_honoured(pages, look):
    asked = "getComputedStyle(document.documentElement).scrollBehavior"
    with look(pages["curve"], reduced_motion="reduce") as seen:
        assert seen.page.evaluate(asked) == "auto"
    with look(pages["curve"], reduced_motion="no-preference") as seen:
        assert seen.page.evaluate(asked) == "smooth"


def test_without_script_every_group_is_readable(pages, look):
    with look(pages["class"], java_script_enabled=False) as seen:
        assert seen.page.locator("#more-1").is_visible()
        assert not seen.page.locator("#masks").is_visible()


def test_nothing_that_is_put_into_the_page_may_load_or_run(class_data, look):
    """The policy in the page's head holds even where markup would slip through."""
    table, _ = class_data(3)
    page = class_page(table).replace(
        "</main>",
        '<img src="https://example.org/x.png"><script>document.title = "ran";</script></main>',
    )
    with look(page) as seen:
        assert seen.page.title() == "Molar enthalpies of a class"
        assert len(seen.console) >= 2
        assert all("Content Security Policy" in line for line in seen.console)


@pytest.mark.parametrize(("groups", "bytes_at_most"), [(12, 150e3), (300, 3e6)])
def test_size_and_load_time(class_data, look, groups, bytes_at_most, record_property):
    """Size of the finished page; its times depend on the machine: run with -s to see them."""
    html = class_page(*class_data(groups))
    with look(html) as seen:
        ms = seen.page.evaluate(
            "performance.timing.loadEventEnd - performance.timing.navigationStart"
        )
        click = """() => { const t = performance.now();
            document.querySelectorAll('button.sort')[4].click();
            document.body.getBoundingClientRect(); return performance.now() - t; }"""
        sort_ms = seen.page.evaluate(click)
        seen.quiet()
    size = len(html.encode())
    record_property("bytes", size)
    record_property("load_ms", ms)
    print(
        f"{groups} groups: {size / 1e3:.0f} kB, loaded in {ms:.0f} ms, sorted in {sort_ms:.0f} ms"
    )
    assert size < bytes_at_most


def test_the_certificates_that_the_command_writes_print_on_one_sheet(look, tmp_path):
    """Real calibrations: one of a dozen runs with an outlier and remarks, one from readings alone."""
    from calib.jobs.calibrating import calibrate_table
    from calib.jobs.certifying import certify
    from calib.registry import open_registry

    table, place = tmp_path / "cal.csv", str(tmp_path / "cups.sqlite")
    head = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C"
    rows = [
        f"a rather long label {k},H1,2026-09-0{1 + k % 9},water,water,{80 + k},{110 - k},"
        f"21.0,50.0,{36.4 - 0.15 * k + (3.0 if k == 7 else 0):.2f}"
        for k in range(14)
    ]
    rows += [f"b{k},H2,2026-09-01,water,water,100,100,21.0,50.0,34.{8 + k}" for k in range(2)]
    table.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    with open_registry(place) as store:
        store.register_all(["H1", "H2"], "double foam cup in a beaker, cork lid, magnetic stirrer")
    calibrate_table(table, place, approve=True, reason="for a test")
    pages = certify(tmp_path / "pages", place)["certificates"]
    assert len(pages) == 2
    for one in pages:
        with look(Path(one["page"]).read_text(encoding="utf-8")) as seen:
            assert seen.pdf_pages() == 1
