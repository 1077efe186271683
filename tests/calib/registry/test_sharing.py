"""Export, import and merge: what travels, what conflicts, and that nothing is lost."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from calib.errors import OutputError
from calib.registry import NewConstant, NewResult, Registry, RegistryError, open_registry
from calib.registry.exchange import checksum

AUTUMN, WINTER, SPRING = date(2026, 9, 1), date(2027, 1, 11), date(2027, 4, 12)
KIND = "double foam cup, foam lid"


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Registry]:
    """A second registry, always a file."""
    with open_registry(tmp_path / "other.sqlite") as opened:
        yield opened


def values(registry: Registry, name: str = "H1") -> list[tuple[float, str, date, date | None]]:
    return [
        (k.constant_J_per_K, k.status, k.valid_from, k.valid_to) for k in registry.history(name)
    ]


def facts(registry: Registry) -> list[tuple[object, ...]]:
    """Everything about the constants but the numbers of this registry."""
    uid = {k.id: k.uid for k in registry.constants()}
    return [
        tuple(
            uid.get(k.superseded_by) if name == "superseded_by" else getattr(k, name)
            for name in sorted(k.__dataclass_fields__)
            if name != "id"
        )
        for k in registry.constants()
    ]


@pytest.fixture
def full(cups: Registry, constant: Callable[..., NewConstant]) -> Registry:
    """Cups with a history: superseded, approved, withdrawn and drafted constants, a result."""
    numbers = cups.add_drafts(
        [
            constant(valid_from=AUTUMN, constant_J_per_K=21.400000000000002),
            constant(valid_from=WINTER, constant_J_per_K=22.0),
            constant(apparatus="H2", warnings=("run 2 pulls",)),
        ],
        approve=True,
        by="R. Voss",
        reason="start of term",
    )
    cups.withdraw(numbers[2], "cracked lid – Deckel gesprungen", "L. Okafor")
    cups.add_draft(constant(apparatus="H3", constant_J_per_K=-0.5))
    cups.record([NewResult("bench 1", "H1", -55.9, 0.7, (numbers[0],), run_date=AUTUMN)])
    cups.retire("H3", "lost", on=SPRING)
    return cups


def test_an_export_brings_everything_to_an_empty_registry(
    full: Registry, other: Registry, tmp_path: Path
) -> None:
    full.export_constants(tmp_path / "out.json", results=True)
    report = other.import_constants(tmp_path / "out.json", by="K. Lind", keep_status=True)
    assert (report.registered, len(report.constants), report.conflicts) == (
        ("H1", "H2", "H3"),
        4,
        (),
    )
    assert facts(other) == facts(full)
    assert other.list_apparatus() == full.list_apparatus()
    assert [kept.value for kept in other.results()] == [-55.9]
    trail = [(line.at, line.by, line.action, line.what, line.why) for line in full.audit()]
    brought = [
        (line.at, line.by, line.action, line.what, line.why)
        for line in other.audit()
        if line.imported
    ]
    assert brought == [line for line in trail if line[2] != "migrate"]
    assert other.audit()[-1].action == "import"
    assert other.check() == ()


def test_the_wall_part_travels_and_older_exports_do_without(
    cups: Registry, other: Registry, constant, tmp_path: Path
) -> None:
    wall = {"wall_part_J_per_K": 0.31, "hidden_share": 0.0012, "u_hidden_share": 0.00034}
    cups.add_drafts([constant(**wall)], approve=True)
    cups.export_constants(tmp_path / "out.json")
    other.import_constants(tmp_path / "out.json", keep_status=True)
    (brought,) = other.constants("H1")
    assert {name: getattr(brought, name) for name in wall} == wall
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    (row,) = document["content"]["constants"]
    for name in wall:
        del row[name.lower()]
    document["sha256"] = checksum(document["content"])
    (tmp_path / "older.json").write_text(json.dumps(document), encoding="utf-8")
    with open_registry(tmp_path / "third.sqlite") as third:
        third.import_constants(tmp_path / "older.json")
        (older,) = third.constants("H1")
        assert {getattr(older, name) for name in wall} == {None}
        assert older.constant_J_per_K == brought.constant_J_per_K
        assert third.check() == ()


@pytest.mark.parametrize(
    ("wall", "said"),
    [
        ({"wall_part_J_per_K": 0.3}, "the wall part, the hidden share and its uncertainty go"),
        (
            {"wall_part_J_per_K": -0.7, "hidden_share": 0.001, "u_hidden_share": 0.001},
            "expected a part of u_constant_J_per_K, 0.6",
        ),
    ],
)
def test_a_wall_part_that_cannot_be_is_refused(constant, wall, said) -> None:
    with pytest.raises(RegistryError, match=said):
        constant(**wall)


def test_importing_twice_changes_nothing(full: Registry, other: Registry, tmp_path: Path) -> None:
    full.export_constants(tmp_path / "out.json", results=True)
    other.import_constants(tmp_path / "out.json", keep_status=True)
    before = facts(other), other.audit(), other.results()
    report = other.import_constants(tmp_path / "out.json", keep_status=True)
    assert not report.changed
    assert report.conflicts == ()
    assert (facts(other), other.audit(), other.results()) == before


def test_the_file_is_text_with_a_checksum_that_anybody_can_recompute(
    full: Registry, tmp_path: Path
) -> None:
    path = tmp_path / "out.json"
    stated = full.export_constants(path)
    text = path.read_text(encoding="utf-8")
    assert "Deckel gesprungen" in text
    assert "–" in text
    document = json.loads(text)
    assert (document["format"], document["format_version"]) == ("cupledger constants", 1)
    canonical = json.dumps(
        document["content"], sort_keys=True, separators=(",", ":"), ensure_ascii=False
    ).encode("utf-8")
    assert document["sha256"] == stated == hashlib.sha256(canonical).hexdigest()
    assert not path.with_name("out.json.part").exists()


def test_only_the_cups_named_are_exported(full: Registry, other: Registry, tmp_path: Path) -> None:
    full.export_constants(tmp_path / "out.json", apparatus=["H2"])
    report = other.import_constants(tmp_path / "out.json", keep_status=True)
    assert report.registered == ("H2",)
    assert {k.apparatus for k in other.constants()} == {"H2"}
    with pytest.raises(RegistryError, match="no apparatus 'H9'"):
        full.export_constants(tmp_path / "out2.json", apparatus=["H9"])


def test_later_decisions_follow(cups: Registry, other: Registry, constant) -> None:
    first = cups.add_draft(constant(valid_from=AUTUMN))
    other.merge(cups, keep_status=True)
    assert values(other) == [(21.4, "draft", AUTUMN, None)]
    cups.approve(first)
    second = cups.add_draft(constant(valid_from=WINTER, constant_J_per_K=22.0))
    cups.approve(second)
    report = other.merge(cups, keep_status=True)
    assert report.moved_on == ("constant 1 of H1: draft here, now superseded",)
    assert values(other) == [
        (21.4, "superseded", AUTUMN, WINTER),
        (22.0, "approved", WINTER, None),
    ]
    cups.withdraw(second, "wet lid")
    other.merge(cups, keep_status=True)
    assert values(other)[1][1] == "withdrawn"
    assert other.constants("H1")[1].withdrawn_why == "wet lid"
    assert other.check() == cups.check() == ()


def test_a_registry_that_is_ahead_is_not_taken_back(
    cups: Registry, other: Registry, constant
) -> None:
    cups.add_drafts([constant(valid_from=AUTUMN)], approve=True)
    other.merge(cups, keep_status=True)
    newer = other.add_draft(constant(valid_from=WINTER, constant_J_per_K=22.0))
    other.approve(newer)
    report = other.merge(cups, keep_status=True)
    assert (report.changed, report.conflicts) == (False, ())
    cups.merge(other, keep_status=True)
    assert facts(cups) == facts(other)


def test_a_constant_put_between_two_shortens_the_earlier_one_there_too(
    cups: Registry, other: Registry, constant
) -> None:
    cups.add_drafts([constant(valid_from=AUTUMN), constant(valid_from=SPRING)], approve=True)
    other.merge(cups, keep_status=True)
    cups.add_drafts([constant(valid_from=WINTER, constant_J_per_K=22.0)], approve=True)
    report = other.merge(cups, keep_status=True)
    assert report.conflicts == ()
    assert facts(other) == facts(cups)


def test_two_constants_for_the_same_days_wait_for_a_person(
    cups: Registry, other: Registry, constant
) -> None:
    cups.add_drafts([constant(valid_from=AUTUMN)], approve=True)
    other.merge(cups, keep_status=True)
    cups.add_drafts([constant(valid_from=WINTER, constant_J_per_K=22.0)], approve=True)
    other.add_drafts([constant(valid_from=SPRING, constant_J_per_K=23.0)], approve=True)
    report = other.merge(cups, keep_status=True)
    (conflict,) = report.conflicts
    draft = conflict.constant_id
    assert conflict.message == (
        "a constant of H1 (22.00 J/K, in force there from 2027-01-11) waits as draft"
        f" {draft}: constant 2 is in force here from 2027-04-12; to use it: cupledger constants approve"
        f" {draft}"
    )
    assert values(other) == [
        (21.4, "superseded", AUTUMN, SPRING),
        (22.0, "draft", WINTER, None),
        (23.0, "approved", SPRING, None),
    ]
    assert (
        other.merge(cups, keep_status=True).conflicts == report.conflicts
    )  # still open, still said
    assert draft is not None
    other.approve(draft)
    assert values(other)[:2] == [
        (21.4, "superseded", AUTUMN, WINTER),
        (22.0, "superseded", WINTER, SPRING),
    ]
    assert other.merge(cups, keep_status=True).conflicts == ()
    assert other.check() == ()


def test_two_cups_of_one_name_are_not_mixed(cups: Registry, other: Registry, constant) -> None:
    cups.add_drafts([constant(valid_from=AUTUMN)], approve=True)
    other.register("H1", KIND)
    report = other.merge(cups, keep_status=True)
    assert [conflict.apparatus for conflict in report.conflicts] == ["H1", "H1"]
    assert "may be two cups" in report.conflicts[0].message
    assert "--rename H1=NEW" in report.conflicts[0].message
    assert values(other) == [(21.4, "draft", AUTUMN, None)]


def test_cups_can_come_in_under_another_name(cups: Registry, other: Registry, constant) -> None:
    cups.add_drafts([constant(valid_from=AUTUMN)], approve=True)
    other.register("H1", "single foam cup")
    report = other.merge(cups, rename={"H1": "east-H1"}, keep_status=True)
    assert report.conflicts == ()
    assert report.registered == ("east-H1", "H2", "H3")
    assert other.constant_for("east-H1", AUTUMN).constant_J_per_K == 21.4
    assert {line.apparatus for line in other.audit("east-H1")} == {"east-H1"}
    assert not other.merge(cups, keep_status=True).changed  # known by its uid from now on
    with pytest.raises(RegistryError, match=r"^H7 is not among the apparatus to bring in"):
        other.merge(cups, rename={"H7": "X"}, keep_status=True)


def test_kind_and_retirement_that_differ_are_reported(cups: Registry, other: Registry) -> None:
    other.merge(cups, keep_status=True)
    cups.describe("H1", kind="single foam cup")
    cups.retire("H2", "lost", on=SPRING)
    messages = [conflict.message for conflict in other.merge(cups, keep_status=True).conflicts]
    assert messages == [
        f"kind of H1 is {KIND} here and single foam cup there; ours is kept",
        "retired_on of H2 is none here and 2027-04-12 there; ours is kept",
    ]
    assert other.apparatus("H1").kind == KIND


def test_a_constant_that_says_something_else_is_kept_beside_ours(
    cups: Registry, other: Registry, constant, tmp_path: Path
) -> None:
    cups.add_drafts([constant()], approve=True)
    other.merge(cups, keep_status=True)
    cups.export_constants(tmp_path / "out.json")
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    document["content"]["constants"][0]["constant_j_per_k"] = 29.9
    document["sha256"] = checksum(document["content"])
    (tmp_path / "out.json").write_text(json.dumps(document), encoding="utf-8")
    for _ in range(2):
        report = other.import_constants(tmp_path / "out.json", keep_status=True)
        assert values(other) == [
            (21.4, "approved", AUTUMN, None),
            (29.9, "draft", AUTUMN, None),
        ]
    assert [conflict.message for conflict in report.conflicts] == [
        "constant 1 of H1 has other values there; ours is kept, and theirs is kept beside it as a"
        " draft of its own"
    ]
    assert not report.changed
    assert other.check() == ()


def spoil(path: Path, how: str) -> None:
    text = path.read_text(encoding="utf-8")
    document = json.loads(text)
    content = document["content"]
    match how:
        case "digit":
            path.write_text(text.replace("21.4", "24.1", 1), encoding="utf-8")
            return
        case "binary":
            path.write_bytes(b"SQLite format 3\0\xff\xfe")
            return
        case "cut":
            path.write_text(text[: len(text) // 2], encoding="utf-8")
            return
        case "version":
            document["format_version"] = 2
        case "other":
            document = {"a": 1}
        case "list":
            document = [1, 2]
        case "nan":
            content["constants"][0]["runs"] = float("nan")
        case "text":
            content["constants"][0]["constant_j_per_k"] = "21.4"
        case "date":
            content["constants"][0]["valid_from"] = "1 Sept"
        case "null":
            content["constants"][0]["uid"] = None
        case "key":
            content["constants"][0]["colour"] = "blue"
        case "lists":
            del content["audit"]
        case "negative":
            content["constants"][0]["u_constant_j_per_k"] = -1.0
        case "stranger":
            content["apparatus"] = content["apparatus"][1:]
        case "untold":
            content["audit"] = []
    if how not in {"other", "list", "nan"}:
        document["sha256"] = checksum(content)
    path.write_text(json.dumps(document), encoding="utf-8")


@pytest.mark.parametrize(
    ("how", "message"),
    [
        (
            "digit",
            "was changed or damaged after it was written: its checksum does not fit; nothing was",
        ),
        (
            "binary",
            "is not an export of constants: it is not JSON in UTF-8; nothing was imported; exp",
        ),
        ("cut", "is not an export of constants: it is not JSON in UTF-8"),
        ("version", r"has format version 2, and this release \(.*\) reads version 1; nothing was"),
        ("other", "is not an export of constants: its format is not 'cupledger constants'"),
        ("list", "is not an export of constants: its format is not"),
        ("nan", "it holds NaN"),
        (
            "text",
            r"constant 1 of H1 cannot be read: constant_J_per_K is '21.4', expected a number; noth",
        ),
        (
            "date",
            r"constant 1 of H1 cannot be read: valid_from is '1 Sept', expected a date, such as",
        ),
        (
            "null",
            r"constant 1 of H1 cannot be read: uid is None, expected a value; nothing was imported$",
        ),
        (
            "key",
            r"constant 1 of H1 cannot be read: keys missing or unknown: colour; nothing was imported$",
        ),
        ("lists", r"the list 'audit' is missing; nothing was imported$"),
        (
            "negative",
            r"constant 1 of H1 cannot be read: u_constant_J_per_K is -1.0, expected more than zero; n",
        ),
        ("stranger", r"the records speak of 'H1', which is not among their apparatus; nothing was"),
        (
            "untold",
            r"do not fit together: constant \d of H1 is draft, and the trail has no line",
        ),
    ],
)
def test_a_spoilt_file_is_refused_and_nothing_comes_in(
    full: Registry, address: str, tmp_path: Path, how: str, message: str
) -> None:
    path = tmp_path / "out.json"
    full.export_constants(path)
    spoil(path, how)
    with open_registry(":memory:") as empty:
        empty.register("X1", KIND)
        before = empty.audit()
        with pytest.raises(RegistryError, match=message):
            empty.import_constants(path)
        assert [cup.id for cup in empty.list_apparatus()] == ["X1"]
        assert empty.constants() == ()
        assert empty.audit() == before


def test_a_file_that_is_not_there_or_cannot_be_written(full: Registry, tmp_path: Path) -> None:
    with pytest.raises(RegistryError, match="there is no such file"):
        full.import_constants(tmp_path / "none.json")
    with pytest.raises(OutputError, match=r"the folder .* does not exist; make it first"):
        full.export_constants(tmp_path / "no folder" / "out.json")
