"""One JSON object on every exit of every command, whatever was typed."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from calib.cli.main import app

TOP = Path(__file__).resolve().parents[2]


def leaves(command=None, path=()):
    """Every command of the app that does something, with the words that lead to it."""
    command = command or typer.main.get_command(app)
    below = getattr(command, "commands", None)
    if below is None:
        yield path, command
        return
    if any(p.name == "as_json" for p in command.params):
        yield path, command
    for name in below:
        yield from leaves(below[name], (*path, name))


LEAVES = {" ".join(path): command for path, command in leaves()}
# for each command: the words without which it does nothing, and a file that is not there
ENOUGH = {
    "apparatus add": ["Z1", "--kind", "foam cup"], "apparatus show": ["Z1"],
    "apparatus retire": ["Z1", "--reason", "old"], "constants approve": ["1"],
    "constants withdraw": ["1", "--reason", "cracked"], "constants impact": ["1"],
    "plan": ["50 mL water", "5 g KNO3(s)"], "key": ["--run", "a", "none.csv"],
}  # fmt: skip
FILES = {
    "calibrate": ["none.csv"], "correct": ["none.csv"], "cooldown": ["none.csv"],
    "cycles": ["none.csv"], "enthalpy": ["none.csv"], "mark": ["none.csv"],
    "key": ["none.csv", "--run", "a"], "constants check": ["none.csv"],
    "constants import": ["none.json"], "constants merge": ["none.sqlite"],
    "plan": [*ENOUGH["plan"], "--readings", "none.toml"],
    "practice": ["none.csv", "--reveal"],
}  # fmt: skip


def is_number(param):
    annotation = getattr(getattr(param, "type_descriptor", None), "annotation", None)
    return "float" in str(annotation) or "int" in str(annotation)


def one_object(done, code=2):
    assert done.code == code, done.err
    told = json.loads(done.out)  # one object and nothing after it
    (error,) = told["errors"]
    assert set(error) >= {"row", "column", "message"}
    assert error["message"]
    assert "error: " in done.err
    return error["message"]


def test_the_list_of_commands_is_whole():
    assert len(LEAVES) >= 25
    assert set(ENOUGH) | set(FILES) <= set(LEAVES)
    takes_a_file = {
        name
        for name, command in LEAVES.items()
        if any(p.param_type_name == "argument" and p.required and "TABLE" in str(p.metavar)
               for p in command.params)
    }  # fmt: skip
    assert takes_a_file <= set(FILES)


@pytest.mark.parametrize("name", LEAVES)
def test_an_unknown_option(cupledger, name):
    assert "--no-such-option" in one_object(cupledger(*name.split(), "--no-such-option", "--json"))


def needed(command):
    return [p for p in command.params if p.required]


@pytest.mark.parametrize("name", [n for n, c in LEAVES.items() if needed(c)])
def test_a_missing_argument(cupledger, name):
    assert "Missing" in one_object(cupledger(*name.split(), "--json"))


def numbers():
    for name, command in LEAVES.items():
        for param in command.params:
            if param.param_type_name == "option" and is_number(param):
                yield name, param.opts[0]


@pytest.mark.parametrize(("name", "option"), list(numbers()))
def test_a_bad_number(cupledger, name, option):
    words = [*ENOUGH.get(name, FILES.get(name, ["none.csv"] if needed(LEAVES[name]) else []))]
    told = one_object(cupledger(*name.split(), *words, option, "twelve", "--json"))
    assert option.lstrip("-") in told or "twelve" in told


@pytest.mark.parametrize("name", FILES)
def test_a_missing_file(cupledger, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CUPLEDGER_REGISTRY", str(tmp_path / "own.sqlite"))
    assert cupledger("apparatus", "add", "Z1", "--kind", "foam cup").code == 0
    told = one_object(cupledger(*name.split(), *FILES[name], "--json"))
    assert "none." in told


@pytest.mark.parametrize("words", [["corect", "x"], ["constants", "aprove"], ["apparatus", "ad"]])
def test_an_unknown_command(cupledger, words):
    assert "No such command" in one_object(cupledger(*words, "--json"))


def test_a_json_that_is_somebody_elses_word(cupledger):
    done = cupledger("correct", "--", "--json", "more")
    assert (done.code, done.out) == (2, "")


def test_an_error_of_our_own_and_an_interruption(cupledger, monkeypatch):
    def broken(*_a, **_k):
        raise ZeroDivisionError("b\x1b[31m")

    monkeypatch.setattr("calib.jobs.looking_up.look_up", broken)
    done = cupledger("reference", "--json")
    assert "inside cupledger" in one_object(done)
    assert "\x1b" not in done.err
    assert r"b\x1b[31m" in done.err

    def stopped(*_a, **_k):
        raise KeyboardInterrupt

    monkeypatch.setattr("calib.jobs.looking_up.look_up", stopped)
    assert "interrupted" in one_object(cupledger("reference", "--json"), 130)
    done = cupledger("reference")
    assert (done.code, done.out) == (130, "")


def test_no_second_object_where_the_first_is_out(cupledger, monkeypatch):
    from calib.cli import output

    whole = output.Output.dump

    def dump_and_fail(self, value):
        whole(self, value)
        raise OSError(5, "the disk went away")

    monkeypatch.setattr(output.Output, "dump", dump_and_fail)
    done = cupledger("reference", "KNO3", "--json")
    assert done.code == 2
    assert "sections" in json.loads(done.out)
    assert "the disk went away" in done.err


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
@pytest.mark.parametrize("words", [["reference", "KNO3", "--json"], ["nonsense", "--json"]])
def test_a_full_stdout_is_a_sentence(words):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "calib", *words], stdout=full, stderr=subprocess.PIPE,
            text=True, cwd=TOP, check=False,
        )  # fmt: skip
    refused = "nonsense" in words
    assert done.returncode == (2 if refused else 1)
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    why = "No such command" if refused else "No space left"
    assert why in re.sub(r"\s+", " ", done.stderr)


@pytest.mark.skipif(os.name == "nt", reason="a shell of its own")
@pytest.mark.parametrize("words", [["reference", "KNO3", "--json"], ["nonsense", "--json"]])
def test_a_closed_stdout_is_no_traceback(words):
    done = subprocess.run(
        ["/bin/sh", "-c", '"$0" "$@" >&-', sys.executable, "-m", "calib", *words],
        stderr=subprocess.PIPE, text=True, cwd=TOP, check=False,
    )  # fmt: skip
    assert done.returncode == (2 if "nonsense" in words else 1)
    assert "Traceback" not in done.stderr


def test_streams_may_be_missing(monkeypatch):
    from calib.cli.output import make_streams_safe

    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    make_streams_safe()
    print("into nothing")
