"""Feedback sheets and worked answers in headless Chromium: quiet, accessible, printable."""

from __future__ import annotations

import pytest

from calib.classwork.marking.feedback import feedback
from calib.classwork.marking.marked import mark_row
from calib.classwork.marking.ways import Taught
from calib.classwork.worked.answer import worked_answer
from calib.enthalpy import FixedConstants
from calib.pages.worked_answer import answer_page, sheets_page
from tests.calib.made_tables import instruments, run

pytestmark = [pytest.mark.browser, pytest.mark.timeout(180)]

ACID = {
    "in_cup": "HCl(aq)", "added": "NaOH(aq)", "in_cup_mL": 100.0, "added_mL": 110.0,
    "in_cup_mol_per_L": 1.0, "added_mol_per_L": 1.2, "in_cup_C": 21.1, "added_C": 21.5,
    "extreme_C": 27.9,
}  # fmt: skip
LABEL = "<script>alert('x')</script> & a very long name of a group that has no end at all"


@pytest.fixture(scope="module")
def pages():
    tools, cups = instruments(), FixedConstants({"A": (12.0, 0.3)})
    sheets = []
    for count, typed in enumerate(("-59.7", "59.7", "-28.4", "28.4", "-71.3", "-60.0")):
        row = run(
            LABEL if count == 1 else f"group {count}", reported_kJ_per_mol=float(typed),
            written={"reported_kJ_per_mol": typed}, **ACID,
        )  # fmt: skip
        sheets.append(feedback(mark_row(row, tools, cups, Taught())))
    return {
        "sheets": sheets_page(sheets),
        "key": answer_page(worked_answer(run(LABEL, **ACID), tools, cups, Taught())),
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1200, 390])
@pytest.mark.parametrize("kind", ["sheets", "key"])
def test_quiet_accessible_and_not_wider_than_the_screen(pages, look, kind, width, scheme):
    with look(pages[kind], width=width, scheme=scheme) as seen:
        seen.quiet()
        assert seen.violations() == []
        assert seen.width() <= width


def test_each_sheet_prints_on_a_page_of_its_own(pages, look):
    with look(pages["sheets"]) as seen:
        assert seen.pdf_pages() == 6


def test_the_key_prints_and_is_walked_through_by_keyboard(pages, look):
    with look(pages["key"]) as seen:
        assert 1 <= seen.pdf_pages() <= 4
        seen.tab_to("Why they differ")
        seen.page.keyboard.press("Enter")
        seen.becomes("location.hash === '#differ'")
