"""Export, import and merge by command: nothing lost, nothing doubled, conflicts reported."""

from __future__ import annotations

import json
from datetime import date

import pytest

from calib.registry import NewConstant, open_registry

START = date(2026, 9, 1)


def new(cup: str, value: float, start: date = START) -> NewConstant:
    return NewConstant(cup, "hot/cold mixing", value, 0.6, start)


@pytest.fixture
def two(cups, tmp_path):
    """A registry with P1 and P2 in force, and the address of another one that does not exist."""
    with open_registry() as store:
        store.add_drafts([new("P1", 20.0), new("P2", 21.0)], approve=True)
    return cups, tmp_path / "other.sqlite"


def test_a_file_there_and_back_again(two, tmp_path):
    cupledger, other = two
    file = tmp_path / "cups.json"
    done = cupledger("constants", "export", file, "--json").json
    assert (done["apparatus"], done["constants"]) == (["P1", "P2"], 2)
    document = json.loads(file.read_text(encoding="utf-8"))
    assert (document["format"], document["format_version"]) == ("cupledger constants", 1)
    assert document["sha256"] == done["sha256"]

    came = cupledger("constants", "import", file, "--registry", other, "--keep-status")
    assert came.code == 0
    assert f"a new registry was made: {other}" in came.err
    here = cupledger("constants", "--json").json["constants"]
    there = cupledger("constants", "--json", "--registry", other).json["constants"]
    assert there == here
    again = cupledger("constants", "import", file, "--registry", other, "--json")
    assert again.code == 0
    assert again.json["changed"] is False


def test_an_export_takes_no_other_file_s_place(two, tmp_path):
    cupledger, _ = two
    file = tmp_path / "notes.json"
    file.write_text("mine", encoding="utf-8")
    assert "expected .json" in cupledger("constants", "export", tmp_path / "notes.txt").err
    refused = cupledger("constants", "export", file)
    assert refused.code == 2
    assert "is there already" in refused.err
    assert "name another file, or add --overwrite to replace it" in refused.err
    assert file.read_text(encoding="utf-8") == "mine"
    assert cupledger("constants", "export", file, "--overwrite").code == 0
    assert cupledger("constants", "export", file).code == 0  # holds all that it held
    whole = file.read_bytes()
    fewer = cupledger("constants", "export", file, "--apparatus", "P1")
    assert fewer.code == 2
    assert "holds 2 entries that the new one lacks" in fewer.err
    assert file.read_bytes() == whole
    assert cupledger("constants", "export", file, "--apparatus", "P1", "--overwrite").code == 0
    assert cupledger("constants", "export", file).code == 0
    assert cupledger("constants", "export", tmp_path).code == 2
    assert cupledger("constants", "export", tmp_path / "no" / "x.json").code == 2
    unknown = cupledger("constants", "export", tmp_path / "x.json", "--apparatus", "P9")
    assert unknown.code == 2
    assert "P9" in unknown.err
    assert not (tmp_path / "x.json").exists()


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda text: text.replace("20.0", "25.0"), "its checksum does not fit"),
        (lambda text: text[: len(text) // 2], "it is not JSON in UTF-8"),
        (lambda text: text.replace('"format_version": 1', '"format_version": 9'), "version 9"),
        (lambda text: "[]", "its format is not"),
        (lambda text: "", "it is not JSON in UTF-8"),
    ],
    ids=["edited", "cut", "newer", "other", "empty"],
)
def test_a_file_that_is_not_whole_is_refused_and_no_registry_made(two, tmp_path, spoil, says):
    cupledger, other = two
    file = tmp_path / "cups.json"
    cupledger("constants", "export", file)
    file.write_text(spoil(file.read_text(encoding="utf-8")), encoding="utf-8")
    refused = cupledger("constants", "import", file, "--registry", other)
    assert refused.code == 2
    assert says in refused.err
    assert not other.exists()
    assert cupledger("constants", "import", tmp_path / "none.json").code == 2


def test_a_merge_reports_a_conflict_and_keeps_both(two):
    cupledger, other = two
    cupledger("apparatus", "add", "P1", "P3", "--kind", "foam cup", "--registry", other)
    with open_registry(other) as store:
        store.add_drafts([new("P1", 30.0), new("P3", 31.0)], approve=True)
    before = other.read_bytes()
    done = cupledger("constants", "merge", other, "--json", "--keep-status")
    assert done.code == 1  # all came in, and a person has to decide
    facts = done.json
    assert facts["registered"] == ["P3"]
    assert len(facts["constants"]) == 2
    (waits,) = [c for c in facts["conflicts"] if c["constant_id"] is not None]
    assert waits["apparatus"] == "P1"
    assert "to decide: " in done.err
    found = {c["constant_J_per_K"]: c for c in cupledger("constants", "--json").json["constants"]}
    assert found[20.0]["status"] == "approved"
    assert (found[30.0]["status"], found[30.0]["id"]) == ("draft", waits["constant_id"])
    assert found[31.0]["status"] == "approved"
    assert other.read_bytes() == before


def test_a_cup_of_the_same_name_comes_in_under_another(two):
    cupledger, other = two
    cupledger("apparatus", "add", "P1", "--kind", "glass flask", "--registry", other)
    with open_registry(other) as store:
        store.add_drafts([new("P1", 30.0)], approve=True)
    done = cupledger("constants", "merge", other, "--rename", "P1=F1", "--json")
    assert done.code == 0
    assert done.json["registered"] == ["F1"]
    assert [c["apparatus"] for c in cupledger("constants", "--json").json["constants"]] == [
        "F1",
        "P1",
        "P2",
    ]


@pytest.mark.parametrize("pair", ["P1", "=P2", "P1=", "P9=P8"])
def test_a_rename_that_cannot_be_meant(two, pair):
    cupledger, other = two
    cupledger("apparatus", "add", "P1", "--kind", "foam cup", "--registry", other)
    before = cupledger("constants", "--history", "--json").out
    assert cupledger("constants", "merge", other, "--rename", pair).code == 2
    assert cupledger("constants", "--history", "--json").out == before


def test_what_cannot_be_merged(two, tmp_path):
    cupledger, _ = two
    missing = cupledger("constants", "merge", tmp_path / "none.sqlite")
    assert missing.code == 2
    assert "there is no registry at" in missing.err
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "t.csv").write_text("a,b\n", encoding="utf-8")
    assert cupledger("constants", "merge", tmp_path / "t.csv").code == 2


def test_approvals_of_others_arrive_as_drafts_and_are_listed(two, tmp_path):
    cupledger, other = two
    file = tmp_path / "cups.json"
    cupledger("constants", "export", file)
    done = cupledger("constants", "import", file, "--registry", other)
    assert done.code == 0
    assert "1 P1 20.00 ± 0.60 approved draft cups.json" in " ".join(done.out.split())
    assert "cupledger constants approve 1 2 (all decisions of a registry you trust" in done.out
    there = cupledger("constants", "--json", "--registry", other).json["constants"]
    assert [one["status"] for one in there] == ["draft", "draft"]
    assert cupledger("constants", "approve", 1, 2, "--registry", other).code == 0
    again = cupledger("constants", "import", file, "--registry", other, "--json")
    assert (again.code, again.json["changed"], again.json["waiting"]) == (0, False, [])


def forged(file, target, **values):
    """An export with the first constant's values changed, its checksum right."""
    from calib.registry.exchange import checksum

    document = json.loads(file.read_text(encoding="utf-8"))
    document["content"]["constants"][0] |= values
    document["sha256"] = checksum(document["content"])
    target.write_text(json.dumps(document), encoding="utf-8")
    return target


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (
            {"constant_j_per_k": 12000.0, "fill_lo_ml": 95.0, "fill_hi_ml": 105.0},
            "is more than is known of the kind",
        ),
        (
            {"heat_loss_w_per_k": -5.0, "u_heat_loss_w_per_k": 0.1},
            "above zero, as when the moment of mixing",
        ),
        (
            {"details_json": '{"interval95_J_per_K": [11.7, 13.5]}'},
            "lies outside its own interval, 11.7 to 13.5 J/K",
        ),
    ],
)
def test_what_cannot_well_be_true_stays_a_draft_whatever_is_asked(two, tmp_path, values, says):
    cupledger, other = two
    file = tmp_path / "cups.json"
    cupledger("constants", "export", file)
    bad = forged(file, tmp_path / "bad.json", **values)
    done = cupledger("constants", "import", bad, "--keep-status", "--registry", other, "--json")
    assert done.code == 1
    assert says in done.err
    first, second = done.json["arrived"]
    assert (first["status_there"], first["status"], second["status"]) == (
        "approved",
        "draft",
        "approved",
    )
    refused = cupledger("constants", "approve", 1, "--registry", other)
    assert (refused.code, says in refused.err) == (2, True)
    reason = ("--reason", "looked at it")
    assert cupledger("constants", "approve", 1, *reason, "--registry", other).code == 0


@pytest.mark.parametrize(
    "values",
    [
        {"details_json": "{"},
        {"warnings_json": "[1]"},
        {"made_at": "1 Sept"},
        {"constant_j_per_k": 1e308},
        {"runs": 2**63},
        {"note": "a\x00b"},
        {"method": "\x1b[31mred"},
    ],
)
def test_a_row_that_could_not_be_read_again_does_not_come_in(two, tmp_path, values):
    cupledger, other = two
    file = tmp_path / "cups.json"
    cupledger("constants", "export", file)
    bad = forged(file, tmp_path / "bad.json", **values)
    done = cupledger("constants", "import", bad, "--registry", other)
    assert done.code == 2
    whose = (
        "a whole number of 19 digits" if "runs" in values else "constant 1 of P1 cannot be read: "
    )
    assert whose in done.err
    assert not other.exists()
