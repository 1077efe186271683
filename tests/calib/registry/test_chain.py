"""The chain of hashes, drafts from elsewhere, names in two spellings: on both databases."""

from __future__ import annotations

import hashlib
import json
import unicodedata
from datetime import date

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from calib.registry import NewResult, Registry, RegistryError, open_registry
from calib.registry.columns import TABLES

AUTUMN, WINTER = date(2026, 9, 1), date(2027, 1, 11)


@pytest.fixture
def lived(cups: Registry, constant) -> Registry:
    """A registry in which everything was done that can be done."""
    first, _, third = cups.add_drafts(
        [constant(), constant(valid_from=WINTER), constant(apparatus="H2")], approve=True
    )
    cups.withdraw(third, "wet lid")
    cups.record([NewResult("1", "H1", -55.9, 0.7, (first,))])
    cups.describe("H2", note="the one with the blue mark")
    cups.retire("H3", "lost", on=WINTER)
    cups.reinstate("H3", "found")
    return cups


def raw(registry: Registry, statement: str) -> None:
    with registry._store.engine.begin() as opened:
        opened.execute(text(statement))


def unguarded(registry: Registry, table: str, statement: str) -> None:
    """As somebody with the rights of the tables' owner can."""
    with registry._store.engine.begin() as opened:
        if opened.dialect.name == "sqlite":
            query = "select name from sqlite_master where type = 'trigger' and tbl_name = :t"
            for name in opened.execute(text(query), {"t": table}).scalars().all():
                opened.execute(text(f"drop trigger {name}"))
        else:
            opened.execute(text(f"alter table {table} disable trigger user"))
        opened.execute(text(statement))


def test_all_that_can_be_done_keeps_the_chain(lived: Registry, tmp_path) -> None:
    verdict = lived.verify()
    assert verdict.findings == ()
    assert (verdict.older, verdict.constants_seen, verdict.apparatus_seen) == (4, 3, 3)
    with open_registry(tmp_path / "other.sqlite") as other:
        other.merge(lived)
        assert other.verify().findings == ()
        assert verdict.head in other.audit()[-1].what  # their head, as it was then
        other.merge(lived, keep_status=True)
        assert other.verify().findings == ()


def test_the_hashes_are_those_that_the_docstring_gives(lived: Registry) -> None:
    """Computed anew with the standard library, from what the database holds."""
    with lived._store.engine.connect() as opened:
        lines = [
            dict(r) for r in opened.execute(text("select * from audit order by id")).mappings()
        ]
        cup = dict(opened.execute(text("select * from apparatus where id = 'H2'")).mappings().one())

    def sha(value: object) -> str:
        written = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return hashlib.sha256(written.encode("utf-8")).hexdigest()

    last = lines[-1]
    names = [c.stored for c in TABLES["audit"] if c.stored not in {"id", "chain_sha256"}]
    assert last["chain_sha256"] == sha(["audit", {name: last[name] for name in names}])
    assert last["previous_sha256"] == lines[-2]["chain_sha256"]
    told = [line for line in lines if line["action"] == "describe"][-1]
    del cup["revision"]
    filled = {k: str(v) if isinstance(v, date) else v for k, v in cup.items() if v is not None}
    assert told["row_sha256"] == sha(["apparatus", filled])


@pytest.mark.parametrize(
    ("table", "statement", "named"),
    [
        (
            "constants",
            "update constants set constant_j_per_k = 20 where id = 1",
            "constant 1 of H1",
        ),
        ("constants", "update constants set approved_why = 'x' where id = 2", "constant 2 of H1"),
        ("apparatus", "update apparatus set kind = 'jug' where id = 'H2'", "H2 was changed"),
        ("audit", "update audit set \"by\" = 'nobody' where id = 12", "line 12 of the trail"),
        ("audit", "delete from audit where id = 12", "a line is gone"),
    ],
)
def test_a_change_behind_its_back_is_named(lived: Registry, table, statement, named) -> None:
    unguarded(lived, table, statement)
    messages = [one.message for one in lived.verify().findings]
    assert any(named in message for message in messages)
    assert any("of the database's own guards are gone" in message for message in messages)


def test_an_apparatus_is_changed_with_its_line_only(lived: Registry) -> None:
    for statement in (
        "update apparatus set kind = 'jug' where id = 'H2'",
        "update apparatus set note = '', retired_on = null",
    ):
        with pytest.raises(DBAPIError, match="refused: an apparatus is changed by cupledger only"):
            raw(lived, statement)
    lived.describe("H2", kind="jug")
    assert lived.apparatus("H2").kind == "jug"


def test_a_merge_takes_nothing_back_that_is_approved_here(
    cups: Registry, constant, tmp_path
) -> None:
    """Two PCs of one school: each has what the other decided before; later decisions differ."""
    (first,) = cups.add_drafts([constant()], approve=True)
    with open_registry(tmp_path / "other.sqlite") as other:
        other.merge(cups, keep_status=True)
        cups.add_drafts([constant(valid_from=WINTER, constant_J_per_K=22.0)], approve=True)
        report = other.merge(cups)
        assert [(one.status_there, one.status) for one in report.arrivals] == [
            ("approved", "draft")
        ]
        assert [(k.status, k.valid_to) for k in other.constants()] == [
            ("approved", None),
            ("draft", None),
        ]
        other.approve_all([one.constant_id for one in report.arrivals])
        assert [k.status for k in other.constants()] == [k.status for k in cups.constants()]
        cups.withdraw(first, "wet lid")
        (conflict,) = other.merge(cups).conflicts
        assert "was withdrawn there (wet lid) and is superseded here" in conflict.message
        other.merge(cups, keep_status=True)
        assert other.constant(1).status == "withdrawn"
        assert other.verify().findings == ()


def test_what_was_changed_in_the_other_registry_comes_as_a_draft(
    cups: Registry, constant, tmp_path
) -> None:
    with open_registry(tmp_path / "other.sqlite") as other:
        other.register_all(["K1", "K2"], "foam cup")
        other.add_drafts([constant(apparatus="K1"), constant(apparatus="K2")], approve=True)
        unguarded(other, "constants", "update constants set constant_j_per_k = 24 where id = 1")
        report = cups.merge(other, keep_status=True)
    assert [(one.apparatus, one.status) for one in report.arrivals] == [
        ("K1", "draft"),
        ("K2", "approved"),
    ]
    said = [conflict.message for conflict in report.conflicts]
    assert any("of the database's own guards are gone" in message for message in said)
    assert any("constant 1 of K1 was changed since line" in message for message in said)


def test_composed_and_decomposed_accents_are_one_cup(cups: Registry, constant) -> None:
    composed = "Café 1"
    decomposed = unicodedata.normalize("NFD", composed)
    assert composed != decomposed
    assert cups.register(decomposed, "foam cup").id == composed
    with pytest.raises(RegistryError, match="already registered"):
        cups.register(composed, "foam cup")
    (number,) = cups.add_drafts([constant(apparatus=decomposed)], approve=True)
    assert cups.constant_for(decomposed, AUTUMN) == cups.constant_for(composed, AUTUMN)
    assert cups.constants(decomposed)[0].id == number
    assert cups.audit(decomposed) == cups.audit(composed) != ()
    # an old row, from before names were composed
    old = unicodedata.normalize("NFD", "Über")
    uid = "0" * 31 + "1"
    raw(
        cups,
        "insert into apparatus (id, uid, kind, registered_at, registered_by) values"
        f" ('{old}', '{uid}', 'foam cup', '2026-09-01T00:00:00+00:00', 'x')",
    )
    assert cups.apparatus("Über").id == old
    cups.add_drafts([constant(apparatus="Über")], approve=True)
    assert cups.constant_for("Über", AUTUMN).apparatus == old
    assert cups.retire("Über", "lost", on=WINTER).id == old


def test_a_row_that_cannot_be_read_stays_a_row_s(lived: Registry, tmp_path) -> None:
    unguarded(lived, "constants", "update constants set made_at = '1 Sept' where id = 2")
    unguarded(lived, "audit", "update audit set at = 'then' where id = 12")
    unguarded(lived, "apparatus", "update apparatus set registered_at = 'x' where id = 'H3'")
    assert [k.id for k in lived.constants()] == [1, 3]
    assert [cup.id for cup in lived.list_apparatus()] == ["H1", "H2"]
    assert {one.id for one in lived.audit()} & {12} == set()
    assert [str(one).split(":")[0] for one in lived.unreadable()] == [
        "constant 2 of H1 cannot be read",
        "apparatus H3 cannot be read",
        "line 12 of the trail cannot be read",
    ]
    assert lived.constant_for("H1", AUTUMN).id == 1
    with pytest.raises(RegistryError, match="constant 2 of H1 cannot be read: made_at is '1 Sept'"):
        lived.constant_for("H1", WINTER)
    _, left_out = lived.export_apart(tmp_path / "good.json", results=True)
    assert [one.table for one in left_out] == ["apparatus", "constants", "audit"]
    with open_registry(tmp_path / "other.sqlite") as other:
        assert len(other.import_constants(tmp_path / "good.json").constants) == 2
