"""Decisions by command: from a date, in place of another, withdrawn; the trail; where to look."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import date
from pathlib import Path

import pytest

from calib.registry import NewConstant, open_registry

OLD = Path(__file__).resolve().parents[1] / "calib" / "registry" / "old_schema"


def draft(cup: str, value: float, start: date, **other) -> NewConstant:
    return NewConstant(cup, "hot/cold mixing", value, 0.6, start, **other)


@pytest.fixture
def drafts(cups):
    """Cups P1 and P2, with drafts 1 and 2 of P1 (September, January) and 3 of P2."""
    with open_registry() as store:
        store.add_draft(draft("P1", 20.0, date(2026, 9, 1)))
        store.add_draft(draft("P1", 21.0, date(2027, 1, 11)))
        store.add_draft(draft("P2", 22.0, date(2026, 9, 1)))
    return cups


def status(cupledger) -> dict[int, str]:
    found = cupledger("constants", "--history", "--json").json["constants"]
    return {c["id"]: c["status"] for c in found}


def test_a_later_constant_supersedes_the_earlier_one_from_its_date_on(drafts):
    assert drafts("constants", "approve", 1, "--by", "A. Keeper").code == 0
    done = drafts("constants", "approve", 2, "--from", "2027-02-01", "--json").json
    assert done["superseded"] == [1]
    assert done["constants"][0]["valid_from"] == "2027-02-01"
    first = drafts("constants", "--history", "--json").json["constants"][0]
    assert (first["valid_to"], first["superseded_by"]) == ("2027-02-01", 2)
    assert drafts("constants", "--apparatus", "P1").out.count("hot/cold mixing") == 1


def test_in_place_of_changes_nothing_where_it_does_not_take_over(drafts):
    drafts("constants", "approve", 1)
    refused = drafts("constants", "approve", 3, "--in-place-of", 1)
    assert refused.code == 2
    assert "constant 1 is of P1 and constant 3 of P2" in refused.err
    assert status(drafts) == {1: "approved", 2: "draft", 3: "draft"}
    assert drafts("constants", "approve", 2, 3, "--in-place-of", 1).code == 2
    done = drafts("constants", "approve", 2, "--in-place-of", 1)
    assert done.code == 0
    assert "It supersedes constant 1" in done.out
    assert status(drafts) == {1: "superseded", 2: "approved", 3: "draft"}


@pytest.mark.parametrize("text", ["1.2.2027", "soon", "2027-13-01", ""])
def test_a_date_that_is_none(drafts, text):
    refused = drafts("constants", "approve", 1, "--from", text)
    assert refused.code == 2
    assert "is no date; expected one such as 2026-09-01" in refused.err
    assert status(drafts)[1] == "draft"


def test_the_history_tells_who_did_what_and_why(drafts):
    drafts("constants", "approve", 1, "--by", "A. Keeper", "--reason", "agrees with last year")
    drafts("constants", "withdraw", 1, "--by", "B. Keeper", "--reason", "lid lost")
    told = drafts("constants", "--history", "--apparatus", "P1")
    assert "A. Keeper" in told.out
    assert "agrees with last year" in told.out
    trail = drafts("constants", "--history", "--json").json["trail"]
    assert [(t["by"], t["action"], t["why"]) for t in trail if t["constant_id"] == 1][1:] == [
        ("A. Keeper", "approve", "agrees with last year"),
        ("B. Keeper", "withdraw", "lid lost"),
    ]
    assert "Trail" not in drafts("constants").out


def test_options_before_a_command_are_refused_not_passed_over(drafts, tmp_path):
    refused = drafts("constants", "--registry", tmp_path / "x", "approve", 1)
    assert refused.code == 2
    assert "write: cupledger constants approve … --registry" in refused.err
    assert drafts("constants", "--json", "approve", 1).code == 2
    assert status(drafts)[1] == "draft"


# A place that is not what the person thinks it is


READERS = [
    ["constants"],
    ["constants", "--history", "--json"],
    ["constants", "approve", "1"],
    ["constants", "withdraw", "1", "--reason", "x"],
    ["apparatus", "list"],
    ["apparatus", "show", "P1"],
    ["apparatus", "retire", "P1", "--reason", "x"],
]


@pytest.mark.parametrize("words", READERS, ids=" ".join)
def test_a_mistyped_path_is_refused_and_nothing_is_made(cupledger, tmp_path, words):
    missing = tmp_path / "cusp.sqlite"
    refused = cupledger(*words, "--registry", missing)
    assert refused.code == 2
    assert f"there is no registry at {missing}; 'cupledger apparatus add' makes one" in refused.err
    assert list(tmp_path.iterdir()) == []


def test_the_first_cup_makes_the_registry_and_says_so(cupledger, tmp_path):
    made = cupledger(
        "apparatus", "add", "H1", "--kind", "foam cup", "--registry", tmp_path / "new.sqlite"
    )
    assert made.code == 0
    assert f"a new registry was made: {tmp_path / 'new.sqlite'}" in made.err
    again = cupledger(
        "apparatus", "add", "H2", "--kind", "foam cup", "--registry", tmp_path / "new.sqlite"
    )
    assert "was made" not in again.err


def test_nothing_stored_yet_in_the_default_place_is_no_error(cupledger, tmp_path, monkeypatch):
    monkeypatch.delenv("CUPLEDGER_REGISTRY")
    for name in ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    done = cupledger("constants")
    assert done.code == 0
    assert "No constants are stored" in done.out
    assert cupledger("apparatus", "list", "--json").json["apparatus"] == []
    assert list(tmp_path.iterdir()) == []


def test_an_older_file_is_brought_up_to_date_by_any_command(cupledger, tmp_path):
    shutil.copy(OLD / "v1.sqlite", tmp_path / "old.sqlite")
    found = cupledger("constants", "--history", "--json", "--registry", tmp_path / "old.sqlite")
    assert found.code == 0
    assert len(found.json["constants"]) == 5


def test_a_newer_file_is_refused_with_both_versions(cups, tmp_path, monkeypatch):
    path = tmp_path / "new.sqlite"
    cups("apparatus", "add", "H1", "--kind", "foam cup", "--registry", path)
    with sqlite3.connect(path) as opened:
        opened.execute("insert into cupledger_schema values (7, 'later', 'now', '9.1')")
    before = path.read_bytes()
    for words in READERS:
        refused = cups(*words, "--registry", path)
        assert refused.code == 2
        assert "has schema version 7, and this release" in refused.err
        assert "reads up to version 5" in refused.err
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"time;temperature\n0;21,4\n", b"x", bytes(range(256)) * 40])
def test_a_file_that_is_no_registry_is_left_as_it_is(cupledger, tmp_path, content):
    path = tmp_path / "curve.csv"
    path.write_bytes(content)
    for words in [*READERS, ["apparatus", "add", "P1", "--kind", "foam cup"]]:
        refused = cupledger(*words, "--registry", path)
        assert refused.code == 2
        assert "is not a registry" in refused.err
    assert path.read_bytes() == content
