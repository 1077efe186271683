"""Results that are kept, how often a constant was used, and what a withdrawn one touched."""

from __future__ import annotations

from datetime import date

import pytest

from calib.registry import NewResult, Registry, RegistryError, UnknownApparatus

DAY = date(2026, 9, 14)


def result(run: str, *constants: int, **other) -> NewResult:
    values = {
        "run": run,
        "apparatus": "H1",
        "value": -55.9,
        "u_value": 0.7,
        "constant_ids": constants,
        "run_date": DAY,
        "reaction": "HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)",
        "table": "class.csv",
        "table_digest": "aa" * 32,
        "digests": ("bb" * 32,),
        "inputs_json": '{"in_cup_mL": "50.0"}',
        "result_json": '{"budget": []}',
    }
    return NewResult(**(values | other))


def test_what_is_kept_comes_back(cups: Registry, constant) -> None:
    (number,) = cups.add_drafts([constant()], approve=True)
    new = result("bench 1", number, value=-55.900000000000006)
    (kept_id,) = cups.record([new], by="L. Okafor")
    (kept,) = cups.results()
    for name in new.__dataclass_fields__:
        assert getattr(kept, name) == getattr(new, name), name
    assert (kept.id, kept.recorded_by) == (kept_id, "L. Okafor")
    assert cups.audit()[-1].what == "1 result kept from class.csv"


def test_the_same_result_is_kept_once(cups: Registry, constant) -> None:
    (number,) = cups.add_drafts([constant()], approve=True)
    first = cups.record([result("1", number), result("2", number)])
    assert cups.record([result("1", number), result("3", number)])[0] == first[0]
    assert [kept.run for kept in cups.results()] == ["1", "2", "3"]
    lines = len(cups.audit())
    cups.record([result("1", number)])
    assert len(cups.audit()) == lines


def test_a_run_evaluated_anew_gets_a_row_beside_the_old_one(cups: Registry, constant) -> None:
    old, new = cups.add_drafts([constant(), constant(constant_J_per_K=23.0)])
    cups.record([result("1", old)])
    cups.record([result("1", new, value=-56.4)])
    assert [(kept.value, kept.constant_ids) for kept in cups.results("H1")] == [
        (-55.9, (old,)),
        (-56.4, (new,)),
    ]


def test_uses_are_runs_not_rows(cups: Registry, constant) -> None:
    (number,) = cups.add_drafts([constant(recheck_uses=3)], approve=True)
    cups.record([result("1", number), result("2", number)])
    cups.record([result("2", number, value=-56.0)])  # the same run, a later release
    stored = cups.constant_for("H1", DAY)
    assert stored.uses == 2
    assert stored.recheck(DAY) == ""
    cups.record([result("3", number), result("4", number, pooled=True)])
    assert cups.constant_for("H1", DAY).recheck(DAY) == (
        f"constant {number} of H1 has been used 3 times; its recheck was due after 3"
    )
    assert [k.uses for k in cups.constants()] == [3]


def test_impact_lists_what_a_constant_touched_also_through_its_kind(
    cups: Registry, constant
) -> None:
    one, two, three = cups.add_drafts(
        [constant(apparatus=name) for name in ("H1", "H2", "H3")], approve=True
    )
    cups.register("H4", "double foam cup, foam lid")
    cups.record(
        [
            result("a", one),
            result("b", two, apparatus="H2"),
            result("c", one, two, three, apparatus="H4", pooled=True),
        ]
    )
    cups.withdraw(two, "the balance was off")
    assert [kept.run for kept in cups.impact(two)] == ["b", "c"]
    assert cups.impact(two)[1].constant_ids == (one, two, three)
    with pytest.raises(RegistryError, match=r"^there is no constant 99;"):
        cups.impact(99)


def test_results_are_all_or_nothing(cups: Registry, constant) -> None:
    (number,) = cups.add_drafts([constant()], approve=True)
    for bad, error in (
        (result("2", number, apparatus="H9"), UnknownApparatus),
        (result("2", 99), RegistryError),
    ):
        with pytest.raises(error):
            cups.record([result("1", number), bad])
    assert cups.results() == ()
    with pytest.raises(
        RegistryError, match=r"^the result of run 1 cannot be kept: value is nan, expected a finite"
    ):
        result("1", number, value=float("nan"))


def test_a_constant_that_depends_on_the_fill(cups: Registry, constant) -> None:
    number = cups.add_draft(
        constant(
            fill_slope_J_per_K_per_mL=0.05,
            u_fill_slope_J_per_K_per_mL=0.02,
            fill_reference_mL=100.0,
            details_json='{"per_run": [21.0, 21.8]}',
        )
    )
    stored = cups.constant(number)
    assert stored.at_fill(100.0) == (21.4, 0.6)
    assert stored.at_fill(140.0) == pytest.approx((21.4 + 2.0, (0.36 + 0.64) ** 0.5))
    assert stored.at_fill(None) == (21.4, 0.6)
    assert stored.details_json == '{"per_run": [21.0, 21.8]}'
    with pytest.raises(RegistryError, match=r"the fill slope, its uncertainty and the reference"):
        constant(fill_slope_J_per_K_per_mL=0.05)
