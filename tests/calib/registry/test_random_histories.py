"""Whatever people decide in whatever order: no day has two constants, and merging loses nothing."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from calib.registry import Registry, RegistryError, open_registry
from tests.calib.registry.conftest import make_constant

START = date(2026, 9, 1)
CUPS = ("H1", "H2")
ACTIONS = st.lists(
    st.tuples(
        st.sampled_from(["draft", "approve", "withdraw", "retire", "describe"]),
        st.integers(0, 50),
        st.integers(0, 5),
    ),
    max_size=10,
)
QUIET = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking takes minutes here
)


def act(registry: Registry, actions: list[tuple[str, int, int]]) -> None:
    """Make each change that the registry allows."""
    for action, number, days in actions:
        drafts = [k.id for k in registry.constants() if k.status == "draft"]
        stored = [k.id for k in registry.constants()]
        cup = CUPS[number % 2]
        try:
            if action == "draft" or (action == "approve" and not drafts):
                day = START + timedelta(days=days)
                registry.add_draft(make_constant(apparatus=cup, valid_from=day, runs=1 + number))
            elif action == "approve":
                registry.approve(drafts[number % len(drafts)])
            elif action == "withdraw" and stored:
                registry.withdraw(stored[number % len(stored)], "tried")
            elif action == "retire" and number > 45:
                registry.retire(cup, "tried", on=START + timedelta(days=4))
            elif action == "describe":
                registry.describe(cup, note=f"note {number}")
        except RegistryError as error:
            if "nothing was changed" not in str(error):
                raise


def contents(registry: Registry) -> dict[str, Any]:
    frozen = ("constant_J_per_K", "runs", "made_at", "apparatus", "rows_json")
    return {k.uid: tuple(getattr(k, name) for name in frozen) for k in registry.constants()}


def lines(registry: Registry) -> set[tuple[object, ...]]:
    """The trail, but for what was done to this file or database alone."""
    return {
        (line.at, line.by, line.action, line.what, line.why)
        for line in registry.audit()
        if line.action not in {"migrate", "import"}
    }


@QUIET
@given(ACTIONS)
def test_no_day_has_two_constants_and_the_rule_of_dates_holds(actions) -> None:
    with open_registry(":memory:") as registry:
        registry.register_all(CUPS, "foam cup")
        act(registry, actions)
        assert registry.check() == ()
        for cup in CUPS:
            history = registry.history(cup)
            assert sum(k.status == "approved" for k in history) <= 1
            for day in (START + timedelta(days=n) for n in range(-1, 8)):
                in_force = [k for k in history if k.in_force_on(day)]
                assert len(in_force) <= 1
                retired = registry.apparatus(cup).retired_on
                try:
                    found = registry.constant_for(cup, day)
                except RegistryError:
                    assert not in_force or (retired is not None and day >= retired)
                else:
                    assert [found] == in_force


def part(one, two, before, mine, yours) -> None:
    """Two registries with a history in common, and each with one of its own since."""
    one.register_all(CUPS, "foam cup")
    act(one, before)
    two.merge(one, keep_status=True)
    act(one, mine)
    act(two, yours)


@QUIET
@given(ACTIONS, ACTIONS, ACTIONS)
def test_merging_two_registries_loses_nothing_and_settles(before, mine, yours) -> None:
    with open_registry(":memory:") as one, open_registry(":memory:") as two:
        part(one, two, before, mine, yours)
        held = contents(one) | contents(two)
        told = lines(one) | lines(two)
        withdrawn = {k.uid for k in (*one.constants(), *two.constants()) if k.status == "withdrawn"}
        one.merge(two, keep_status=True)
        two.merge(one, keep_status=True)
        for registry in (one, two):
            assert registry.check() == ()
            assert contents(registry) == held
            assert lines(registry) == told
            assert withdrawn == {k.uid for k in registry.constants() if k.status == "withdrawn"}
        assert not one.merge(two, keep_status=True).changed
        assert not two.merge(one, keep_status=True).changed


@QUIET
@given(ACTIONS, ACTIONS, ACTIONS)
def test_without_trust_a_merge_changes_nothing_that_is_in_force(before, mine, yours) -> None:
    with open_registry(":memory:") as one, open_registry(":memory:") as two:
        part(one, two, before, mine, yours)
        in_force = {k for k in two.constants() if k.status in {"approved", "superseded"}}
        two.merge(one)
        assert {k for k in two.constants() if k.status in {"approved", "superseded"}} == in_force
        assert two.verify().findings == one.verify().findings == ()
        assert not two.merge(one).changed
