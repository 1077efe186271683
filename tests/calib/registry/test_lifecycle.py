"""Drafts, approvals, dates and withdrawals, on SQLite and on PostgreSQL."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from calib.registry import NoConstant, Registry, RegistryError, UnknownApparatus

AUTUMN, WINTER, SPRING = date(2026, 9, 1), date(2027, 1, 11), date(2027, 4, 12)
DAY = timedelta(days=1)


def test_what_is_stored_comes_back_to_the_last_digit(cups: Registry, constant) -> None:
    new = constant(
        constant_J_per_K=21.400000000000002,
        recheck_due=WINTER,
        recheck_uses=40,
        warnings=("run 3 pulls hard: leverage 0.61 > 0.5",),
        apparatus="H2",
        note="Prüfung μ ± 0,3 °C",
    )
    stored = cups.constant(cups.add_draft(new, by="R. Voss"))
    for name in new.__dataclass_fields__:
        assert getattr(stored, name) == getattr(new, name), name
    assert (stored.status, stored.made_by, stored.kind) == (
        "draft",
        "R. Voss",
        "double foam cup, foam lid",
    )
    assert stored.approved_at is None
    assert stored.valid_to is None


def test_a_draft_is_not_used(cups: Registry, constant) -> None:
    number = cups.add_draft(constant())
    with pytest.raises(
        NoConstant,
        match=rf"^no constant of H1 is in force on 2026-09-05: there are only drafts; approve a draft "
        rf"\({number}\): cupledger constants approve {number}; or calibrate it: cupledger calibrate "
        rf"TABLE --approve$",
    ):
        cups.constant_for("H1", date(2026, 9, 5))


def test_an_approved_constant_holds_from_its_date_on(cups: Registry, constant) -> None:
    number = cups.add_draft(constant(valid_from=AUTUMN))
    cups.approve(number)
    assert cups.constant_for("H1", AUTUMN).id == number
    assert cups.constant_for("H1", SPRING).id == number
    with pytest.raises(NoConstant, match=r"first after that day is constant \d+, from 2026-09-01"):
        cups.constant_for("H1", AUTUMN - DAY)


def test_a_newer_constant_leaves_the_older_one_its_own_dates(cups: Registry, constant) -> None:
    old, new = cups.add_drafts(
        [constant(valid_from=AUTUMN), constant(valid_from=WINTER)], approve=True
    )
    assert cups.constant_for("H1", WINTER - DAY).id == old
    assert cups.constant_for("H1", WINTER).id == new
    first, second = cups.history("H1")
    assert (first.status, first.valid_to, first.superseded_by) == ("superseded", WINTER, new)
    assert (second.status, second.valid_to, second.superseded_by) == ("approved", None, None)


def test_a_constant_approved_late_takes_only_the_dates_before_the_next(
    cups: Registry, constant
) -> None:
    first, last = cups.add_drafts(
        [constant(valid_from=AUTUMN), constant(valid_from=SPRING)], approve=True
    )
    middle = cups.add_draft(constant(valid_from=WINTER))
    stored = cups.approve(middle)
    assert (stored.status, stored.valid_to, stored.superseded_by) == ("superseded", SPRING, last)
    in_force = [cups.constant_for("H1", day).id for day in (AUTUMN, WINTER, SPRING - DAY, SPRING)]
    assert in_force == [first, middle, middle, last]


def test_two_constants_of_one_date_the_later_approval_counts(cups: Registry, constant) -> None:
    first, second = cups.add_drafts([constant(), constant()], approve=True)
    assert cups.constant_for("H1", AUTUMN).id == second
    assert not cups.constant(first).in_force_on(AUTUMN)
    third = cups.add_draft(constant())
    cups.approve(third)
    assert cups.constant_for("H1", WINTER).id == third
    assert [k.status for k in cups.history("H1")] == ["superseded", "superseded", "approved"]


def test_a_withdrawn_constant_leaves_a_gap_that_says_why(cups: Registry, constant) -> None:
    old, new = cups.add_drafts(
        [constant(valid_from=AUTUMN), constant(valid_from=WINTER)], approve=True
    )
    withdrawn = cups.withdraw(new, "the lid was cracked", by="R. Voss")
    assert (withdrawn.status, withdrawn.reason, withdrawn.withdrawn_by) == (
        "withdrawn",
        "the lid was cracked",
        "R. Voss",
    )
    assert cups.constant_for("H1", WINTER - DAY).id == old
    with pytest.raises(NoConstant, match=rf"constant {new} was withdrawn \(the lid was cracked\)"):
        cups.constant_for("H1", WINTER)
    again = cups.add_draft(constant(valid_from=date(2027, 2, 1)))
    cups.approve(again)
    assert cups.constant_for("H1", SPRING).id == again
    with pytest.raises(NoConstant):
        cups.constant_for("H1", date(2027, 1, 31))


def test_each_apparatus_has_its_own_constants(cups: Registry, constant) -> None:
    numbers = cups.add_drafts(
        [constant(apparatus=name) for name in ("H1", "H2", "H3")], approve=True
    )
    assert tuple(cups.constant_for(name, AUTUMN).id for name in ("H1", "H2", "H3")) == numbers
    assert {k.status for k in cups.constants()} == {"approved"}
    assert [k.id for k in cups.constants("H2")] == [numbers[1]]
    assert cups.constants(status="draft") == ()


def test_valid_from_can_be_set_at_approval_and_not_after(cups: Registry, constant) -> None:
    number = cups.add_draft(constant(valid_from=WINTER))
    assert cups.approve(number, valid_from=AUTUMN).valid_from == AUTUMN
    with pytest.raises(RegistryError, match=r"only a draft can be approved; nothing was changed$"):
        cups.approve(number, valid_from=SPRING)


def test_a_constant_that_failed_its_checks_needs_a_reason(cups: Registry, constant) -> None:
    number = cups.add_draft(constant(failed_quality="the methods disagree by 4.1 J/K (p = 0.003)"))
    with pytest.raises(
        RegistryError,
        match=rf"^constant {number} of H1 failed its checks \(the methods disagree by 4.1 J/K "
        r"\(p = 0.003\)\); approve it all the same by giving a reason with --reason; nothing was "
        "changed$",
    ):
        cups.approve(number)
    assert cups.approve(number, reason="only for the open day").reason == "only for the open day"


def test_supersede_names_both(cups: Registry, constant) -> None:
    (old,) = cups.add_drafts([constant()], approve=True)
    new = cups.add_draft(constant(valid_from=WINTER))
    assert cups.supersede(old, new, reason="yearly recheck").status == "approved"
    assert cups.constant(old).superseded_by == new
    other = cups.add_draft(constant(apparatus="H2"))
    with pytest.raises(
        RegistryError, match=r"is of H1 and constant \d+ of H2; nothing was changed$"
    ):
        cups.supersede(new, other)
    before = cups.add_draft(constant(valid_from=AUTUMN + DAY))
    with pytest.raises(RegistryError, match=r"is not in force on 2026-09-02, when constant"):
        cups.supersede(new, before)
    assert cups.constant(before).status == "draft"


@pytest.mark.parametrize(
    ("act", "message"),
    [
        (lambda r: r.approve(99), "there is no constant 99; 'cupledger constants' lists those"),
        (lambda r: r.withdraw(99, "x"), "there is no constant 99"),
        (
            lambda r: r.withdraw(1, "  "),
            r"say why constant 1 of H1 is withdrawn \(--reason\); nothing",
        ),
        (lambda r: r.register("H1", "foam"), "^H1 is already registered; nothing was changed$"),
        (lambda r: r.register("h1", "foam"), "^h1 would be mistaken for H1, which is registered;"),
        (lambda r: r.register(" ", "foam"), r"^'' cannot be an identifier: expected 1 to 64"),
        (lambda r: r.register("A\tB", "foam"), r"^'A\\tB' cannot be an identifier"),
        (lambda r: r.register("H4", " "), "^H4 needs a kind, such as --kind"),
        (lambda r: r.retire("H1", ""), r"say why H1 is retired \(--reason\)"),
        (lambda r: r.reinstate("H1", "found"), "^H1 is in use; nothing was changed$"),
    ],
)
def test_refusals_change_nothing(cups: Registry, constant, act, message: str) -> None:
    cups.add_drafts([constant()], approve=True)
    before = cups.constants(), cups.list_apparatus(), cups.audit()
    with pytest.raises(RegistryError, match=message):
        act(cups)
    assert (cups.constants(), cups.list_apparatus(), cups.audit()) == before


def test_several_at_once_are_all_or_nothing(cups: Registry, constant) -> None:
    before = cups.audit()
    with pytest.raises(UnknownApparatus):
        cups.add_drafts([constant(), constant(apparatus="H8")], approve=True)
    with pytest.raises(RegistryError, match="already registered"):
        cups.register_all(["H4", "H5", "H2"], "foam cup")
    assert cups.constants() == ()
    assert [cup.id for cup in cups.list_apparatus()] == ["H1", "H2", "H3"]
    assert cups.audit() == before


def test_an_unknown_cup_is_told_which_there_are(cups: Registry) -> None:
    with pytest.raises(
        UnknownApparatus,
        match=r"^no apparatus 'h2' in the registry \(did you mean H2\?\); registered: H1, H2, H3; "
        r'register it with: cupledger apparatus add h2 --kind "..."$',
    ):
        cups.constant_for("h2", AUTUMN)


def test_an_empty_registry_says_so(registry: Registry) -> None:
    with pytest.raises(UnknownApparatus, match="no apparatus is registered yet; register it with:"):
        registry.constant_for("H1", AUTUMN)
    assert registry.constants() == ()


def test_a_retired_cup_keeps_its_dates(cups: Registry, constant) -> None:
    (number,) = cups.add_drafts([constant()], approve=True)
    cups.retire("H1", "cracked rim", on=WINTER)
    assert cups.constant_for("H1", WINTER - DAY).id == number
    with pytest.raises(
        NoConstant, match=r"^H1 was retired on 2027-01-11 \(cracked rim\), and the run"
    ):
        cups.constant_for("H1", WINTER)
    with pytest.raises(
        RegistryError, match=r"H1 was retired on 2027-01-11 \(cracked rim\), and the con"
    ):
        cups.add_draft(constant(valid_from=SPRING))
    with pytest.raises(
        RegistryError, match=r"^H1 was retired on 2027-01-11 \(cracked rim\); nothing"
    ):
        cups.retire("H1", "again")
    assert [cup.id for cup in cups.list_apparatus(retired=False)] == ["H2", "H3"]
    cups.reinstate("H1", "it was H2 that cracked")
    assert cups.constant_for("H1", WINTER).id == number


def test_kind_and_note_can_be_corrected_and_the_old_words_stay_on_record(cups: Registry) -> None:
    cups.describe("H1", kind="single foam cup", reason="typing mistake")
    assert [cup.id for cup in cups.list_apparatus(kind="single foam cup")] == ["H1"]
    line = cups.audit("H1")[-1]
    assert (line.action, line.why) == ("describe", "typing mistake")
    assert "double foam cup, foam lid" in line.what


def test_the_trail_tells_who_what_when_and_why(cups: Registry, constant) -> None:
    (old,) = cups.add_drafts([constant()], approve=True, by="R. Voss", reason="term start")
    new = cups.add_draft(constant(valid_from=WINTER, constant_J_per_K=22.0), by="L. Okafor")
    cups.approve(new, by="R. Voss", reason="recheck")
    cups.withdraw(new, "wet lid", by="L. Okafor")
    lines = cups.audit("H1")
    assert [(line.by, line.action, line.constant_id, line.why) for line in lines[1:]] == [
        ("R. Voss", "draft", old, "first calibration of the term"),
        ("R. Voss", "approve", old, "term start"),
        ("L. Okafor", "draft", new, "first calibration of the term"),
        ("R. Voss", "approve", new, "recheck"),
        ("R. Voss", "supersede", old, ""),
        ("L. Okafor", "withdraw", new, "wet lid"),
    ]
    assert lines[2].change == lines[1].change != lines[3].change
    assert [line.at for line in lines] == sorted(line.at for line in lines)
    assert lines[0].at.utcoffset() == timedelta(0)
    assert [line.action for line in cups.audit(constant_id=old)] == [
        "draft",
        "approve",
        "supersede",
    ]
    assert cups.audit(limit=2) == cups.audit()[-2:]


def test_reservations_name_range_and_recheck(cups: Registry, constant) -> None:
    (number,) = cups.add_drafts([constant(recheck_due=WINTER)], approve=True)
    stored = cups.constant_for("H1", AUTUMN)
    assert stored.reservations(WINTER, fill_mL=100.0, temperature_C=25.0) == ()
    assert stored.reservations(WINTER + DAY, fill_mL=150.0, temperature_C=12.0) == (
        f"constant {number} of H1 was due for a recheck on 2027-01-11",
        f"fill 150 mL lies outside 95 to 105 mL, where constant {number} of H1 was found",
        f"temperature 12 °C lies outside 18 to 45 °C, where constant {number} of H1 was found",
    )


def test_the_same_calibration_is_recognised(cups: Registry, constant) -> None:
    assert cups.same_as(constant()) is None
    number = cups.add_draft(constant())
    found = cups.same_as(constant(note="typed again"))
    assert found is not None
    assert found.id == number
    assert cups.same_as(constant(constant_J_per_K=21.5)) is None


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("constant_J_per_K", float("nan"), "constant_J_per_K is nan, expected a finite number"),
        ("u_constant_J_per_K", 0.0, "u_constant_J_per_K is 0.0, expected more than zero"),
        ("u_constant_J_per_K", float("inf"), "u_constant_J_per_K is inf, expected a finite number"),
        ("runs", 0, "runs is 0, expected at least 1"),
        ("recheck_uses", 0, "recheck_uses is 0, expected at least 1"),
        ("fill_mL", (105.0, 95.0), "fill_mL runs from 105.0 to 95.0, expected low to high"),
        ("u_heat_loss_W_per_K", None, "heat_loss_W_per_K and its uncertainty go together"),
        ("rows_json", "{", "rows_json is '{', expected JSON text"),
        ("apparatus", " ", "the apparatus is not named"),
    ],
)
def test_a_constant_that_cannot_be_meant_is_refused(constant, field, value, message: str) -> None:
    with pytest.raises(RegistryError, match=re.escape(message) + ".*; nothing was changed$"):
        constant(**{field: value})


def test_a_negative_constant_is_stored_as_it_is(cups: Registry, constant) -> None:
    number = cups.add_draft(constant(constant_J_per_K=-1.3))
    assert cups.constant(number).constant_J_per_K == -1.3
