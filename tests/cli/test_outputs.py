"""Every file that a command writes: nothing that was read, no registry, no log is ever lost."""

from __future__ import annotations

import errno
import json
import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from calib.errors import OutputError
from calib.outputs import Outputs
from tests.benchmarks import outputs as matrix

posix = pytest.mark.skipif(os.name == "nt", reason="links, pipes and devices of POSIX")
FIGURES = Path(__file__).resolve().parents[1] / "benchmarks" / "FIGURES.md"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return matrix.make(tmp_path_factory.mktemp("made"))


@pytest.fixture(scope="module")
def results(made):
    return list(matrix.every_result(made))


@pytest.fixture
def scene(tmp_path, made):
    return matrix.Scene(tmp_path, made)


def test_every_parameter_that_names_a_file_is_known_as_input_or_output():
    assert matrix.unclassified() == set()


def test_every_command_with_an_output_takes_the_one_word():
    from typer.main import get_command

    from calib.cli.main import app

    for option in matrix.OUTPUTS:
        command = get_command(app)
        for word in option.command:
            command = command.commands[word]
        words = {word for one in command.params for word in one.opts}
        assert ("--overwrite" in words) is option.overwrite, option.name
        assert "--replace" not in words


WRITES = re.compile(
    r"""\.write_(text|bytes)\(|open\([^)]*["'][wax]b?["']|mkstemp|os\.replace|os\.rename"""
    r"""|\.savefig\((?!buffer|stream)|\.save\((?!stream)"""
)
OTHERS = {
    "calib/jobs/demo.py": "its own folder, made beside its place",
    "calib/jobs/impact.py": "a temporary folder, so that a kept result can be computed again",
}


def test_nothing_else_writes_files():
    top = Path(__file__).resolve().parents[2]
    found = {
        path.relative_to(top).as_posix()
        for package in ("calib", "fitting")
        for path in (top / package).rglob("*.py")
        if WRITES.search(path.read_text(encoding="utf-8")) and not path.name.startswith("make_")
    }
    assert found == {"fitting/files/outputs.py", *OTHERS}


@posix
@pytest.mark.timeout(1200)
def test_no_input_and_no_registry_ever_changes_a_byte(results):
    assert len(results) > 400
    for one in results:
        where = f"{one.option} at {one.kind}, overwrite {one.overwrite}: {one.said}"
        assert one.changed == (), where
        assert one.left == (), where
        assert "Traceback" not in one.said, where
        assert "went wrong inside" not in one.said, where
        assert one.code == (2 if one.outcome == "refused" else one.code), where
        if one.outcome == "refused":
            assert "error: " in one.said or '"errors"' in one.said, where
        else:
            assert one.code in (0, 1), where
            assert one.overwrite, where


@posix
@pytest.mark.timeout(1200)
def test_the_table_of_figures_is_the_one_that_was_found(results):
    assert matrix.table_of(results) in FIGURES.read_text(encoding="utf-8")


@posix
def test_a_registry_takes_no_other_file_s_place(made):
    for one in matrix.registry_results(made):
        assert (one.code, one.changed, one.left) == (2, (), ()), one


@posix
def test_the_matrix_sees_a_guard_that_is_taken_away(made, monkeypatch):
    monkeypatch.setattr(Outputs, "check", lambda *_: None)
    enthalpy = next(one for one in matrix.OUTPUTS if one.parameter == "page" and one.other)
    for kind in ("the table", "the registry", "log of another day"):
        assert matrix.aim(enthalpy, kind, made, overwrite=False).changed


OWN = {
    "correct": ["correct", "{curve}", "--page", "a.html"],
    "cooldown": ["cooldown", "{log}", "--page", "a.html"],
    "enthalpy": ["enthalpy", "{table}", "--page", "a.html", "--out", "a.csv", "--summary", "b.csv"],
    "workbooks": ["enthalpy", "{table}", "--out", "a.xlsx", "--summary", "b.xlsx"],
    "mark": ["mark", "{table}", "--out", "a.csv", "--sheets", "a.html"],
    "mark folder": ["mark", "{table}", "--out", "a.xlsx", "--sheets", "sheets"],
    "mark text": ["mark", "{table}", "--sheets", "a.md"],
    "key": ["key", "{table}", "--run", "one", "--out", "a.html"],
    "key text": ["key", "{table}", "--run", "one", "--out", "a.md"],
    "svg": ["constants", "drift", "--chart", "a.svg"],
    "png": ["constants", "drift", "--chart", "a.png"],
    "pdf": ["constants", "drift", "--chart", "a.pdf"],
    "certificate": ["constants", "certificate", "--folder", "pages/of/today"],
    "export": ["constants", "export", "a.json"],
    "template": ["template", "a.xlsx", "--benches", "2"],
}


@pytest.mark.parametrize("name", OWN)
def test_an_own_output_is_replaced_freely(cupledger, scene, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    words = [scene.path(w[1:-1]) if w.startswith("{") else w for w in OWN[name]]
    for _ in range(2):
        done = cupledger(*words, *(["--registry", scene.path("registry")]))
        assert done.code in (0, 1), done.err
        assert "error" not in done.err


def test_a_workbook_that_was_saved_since_is_kept(cupledger, scene, tmp_path):
    """As a spreadsheet program leaves it: saved later, by somebody else."""
    import openpyxl

    out = tmp_path / "a.xlsx"
    words = ["enthalpy", scene.path("table"), "--out", out, "--registry", scene.path("registry")]
    cupledger(*words)
    book = openpyxl.load_workbook(out)
    book.properties.lastModifiedBy = "A. Teacher"
    book.active["A5"] = "remark of mine"
    book.save(out)
    held = out.read_bytes()
    refused = cupledger(*words)
    assert refused.code == 2
    assert "is no results made here, or was changed since" in refused.err
    assert out.read_bytes() == held
    assert cupledger(*words, "--overwrite").code == 1


@posix
def test_mode_and_links_stay_and_nothing_is_left_beside(cupledger, scene, tmp_path):
    shared = tmp_path / "shared"
    shared.mkdir()
    link = tmp_path / "page.html"
    link.symlink_to(shared / "real.html")
    words = ["correct", scene.path("curve"), "--page", link]
    assert cupledger(*words).code == 0
    (shared / "real.html").chmod(0o640)
    assert cupledger(*words).code == 0
    assert link.is_symlink()
    assert stat.S_IMODE((shared / "real.html").stat().st_mode) == 0o640
    assert [path.name for path in shared.iterdir()] == ["real.html"]


@posix
def test_a_log_whose_name_is_not_utf_8_has_its_page(cupledger, scene, tmp_path):
    log = tmp_path / os.fsdecode(b"bench_\xfcber.csv")
    try:
        log.write_bytes(scene.path("curve").read_bytes())
    except OSError:
        pytest.skip("this file system takes UTF-8 names only")
    assert cupledger("correct", log, "--page", tmp_path / "p.html").code == 0
    assert "bench_\\udcfcber.csv" in (tmp_path / "p.html").read_text(encoding="utf-8")


def test_refused_before_any_work(cupledger, scene, monkeypatch):
    def worked(*_, **__):
        raise AssertionError("work was done before the outputs were asked about")

    monkeypatch.setattr("calib.enthalpy.evaluate", worked)
    table, curve = scene.path("table"), scene.path("curve")
    for words in (["--out", "r.ods"], ["--page", "p.pdf"], ["--out", curve], ["--summary", table]):
        done = cupledger("enthalpy", table, *words, "--overwrite", "--json")
        assert done.code == 2
        (error,) = done.json["errors"]
        said = ("expected .", "that was read", "is a logged curve")
        assert any(text in error["message"] for text in said)


# --- what cannot be written ----------------------------------------------------------------------


def full_after(monkeypatch, many: int) -> None:
    """The disk is full once so many files are on it."""
    real, seen = os.fsync, []

    def fsync(handle: int) -> None:
        if stat.S_ISREG(os.fstat(handle).st_mode):
            seen.append(handle)
            if len(seen) > many:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr("fitting.files.outputs.os.fsync", fsync)


def test_a_page_that_cannot_be_written_stands_beside_the_results(
    cupledger, scene, tmp_path, monkeypatch
):
    words = ["--page", tmp_path / "p.html", "--out", tmp_path / "r.csv", "--record"]
    whole = cupledger(
        "enthalpy", scene.path("table"), "--registry", scene.path("registry"), "--json"
    )
    full_after(monkeypatch, 0)
    before = {path.name for path in tmp_path.iterdir()}
    done = cupledger(
        "enthalpy", scene.path("table"), *words, "--registry", scene.path("registry"), "--json"
    )
    assert done.code == 1
    facts = done.json
    assert facts["runs"] == whole.json["runs"]
    assert len(facts["recorded"]) == len(facts["runs"])
    failed = [one["message"] for one in facts["errors"] if one["row"] is None]
    assert [Path(text.partition(": ")[0]).name for text in failed] == ["p.html", "r.csv"]
    assert all("No space left on device; nothing was changed" in text for text in failed)
    assert {path.name for path in tmp_path.iterdir()} == before
    assert done.err.count("error: ") == 2


@pytest.mark.parametrize("words", [["correct", "{curve}"], ["cooldown", "{log}"]])
def test_a_curve_s_page_that_cannot_be_written(cupledger, scene, tmp_path, monkeypatch, words):
    full_after(monkeypatch, 0)
    words = [scene.path(w[1:-1]) if w.startswith("{") else w for w in words]
    done = cupledger(*words, "--page", tmp_path / "p.html", "--json")
    assert done.code == 1
    assert "No space left on device" in done.json["errors"][0]["message"]
    assert done.json["cooling_rate_per_s"] > 0
    assert not (tmp_path / "p.html").exists()


def test_a_registry_that_cannot_be_written_stands_beside_the_results(cupledger, scene, monkeypatch):
    from calib.registry.errors import RegistryBusy

    def busy(*_, **__):
        raise RegistryBusy("the registry is locked; nothing was changed")

    monkeypatch.setattr("calib.registry.store.Registry.record", busy)
    monkeypatch.setattr("calib.registry.store.Registry.keep", busy)
    table, registry = scene.path("table"), scene.path("registry")
    done = cupledger("enthalpy", table, "--record", "--registry", registry, "--json")
    assert done.code == 1
    assert len(done.json["runs"]) == 2
    assert "is locked" in done.json["errors"][-1]["message"]
    calibration = scene.folder / "cal.csv"
    calibration.write_text(
        "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C\n"
        "a,P1,2026-09-10,water,water,100,100,21.0,50.0,34.9\n"
        "b,P1,2026-09-10,water,water,100,100,21.0,50.0,34.8\n",
        encoding="utf-8",
    )
    done = cupledger("calibrate", calibration, "--registry", registry, "--json")
    assert done.code == 2  # nothing is stored
    assert done.json["constants"][0]["status"] == "not stored"
    assert done.json["constants"][0]["constant_J_per_K"] > 0
    assert "error: the registry is locked" in done.err


@pytest.mark.parametrize("many", [0, 1])
def test_a_folder_of_sheets_is_written_whole_or_not_at_all(
    cupledger, scene, tmp_path, monkeypatch, many
):
    table, registry = scene.path("table"), scene.path("registry")
    words = ["mark", table, "--sheets", tmp_path / "new" / "sheets", "--registry", registry]
    full_after(monkeypatch, many)
    done = cupledger(*words)
    assert done.code == 1
    assert "No space left on device; nothing was changed" in done.err
    assert not (tmp_path / "new").exists()
    monkeypatch.undo()
    assert cupledger(*words).code == 1  # one row cannot be read
    sheets = tmp_path / "new" / "sheets"
    held = {path.name: path.read_bytes() for path in sheets.iterdir()}
    assert len(held) == 2
    real, done_so_far = os.replace, []

    def replace(part, place):
        if done_so_far:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        done_so_far.append(place)
        real(part, place)

    monkeypatch.setattr("fitting.files.outputs.os.replace", replace)
    done = cupledger(*words)
    assert f"written before that: {sheets / min(held)}; not written: 1" in done.err
    assert {path.name for path in sheets.iterdir()} == set(held)


def test_certificates_and_exports_on_a_full_disk(cupledger, scene, tmp_path, monkeypatch):
    registry = scene.path("registry")
    full_after(monkeypatch, 1)
    pages = ["--number", 1, "--number", 2, "--folder", tmp_path / "pages"]
    done = cupledger("constants", "certificate", *pages, "--registry", registry, "--json")
    assert done.code == 2
    assert "nothing was changed" in done.json["errors"][0]["message"]
    assert not (tmp_path / "pages").exists()
    done = cupledger("constants", "export", tmp_path / "x.json", "--registry", registry)
    assert done.code == 2
    assert "No space left on device; nothing was changed" in done.err
    assert not (tmp_path / "x.json").exists()
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


# --- the demo's folder ---------------------------------------------------------------------------


@pytest.mark.timeout(600)
def test_a_demo_replaces_its_own_files_and_nobody_else_s(cupledger, tmp_path, monkeypatch):
    folder = tmp_path / "demo"
    assert cupledger("demo", folder).code == 0
    (folder / "mine.txt").write_text("mine", encoding="utf-8")
    registry = folder / "registry.sqlite"
    assert cupledger("constants", "--registry", registry).code == 0  # reading changes nothing
    first = (folder / "class_readings_results.csv").read_bytes()
    assert cupledger("demo", folder).code == 0
    assert (folder / "mine.txt").read_text(encoding="utf-8") == "mine"
    assert (folder / "class_readings_results.csv").read_bytes() == first
    assert cupledger("apparatus", "add", "Q1", "--kind", "cup", "--registry", registry).code == 0
    held = registry.read_bytes()
    table = folder / "sample_runs" / "class_readings.csv"
    table.write_text(table.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    refused = cupledger("demo", folder)
    assert refused.code == 2
    assert "registry.sqlite" in refused.err
    assert "class_readings.csv" in refused.err
    assert "was changed since the demo wrote it" in refused.err
    assert registry.read_bytes() == held
    assert {path.name for path in tmp_path.iterdir()} == {"demo"}


def test_a_demo_that_cannot_be_written_leaves_nothing(cupledger, tmp_path, monkeypatch):
    def copytree(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("calib.jobs.demo.shutil.copytree", copytree)
    done = cupledger("demo", tmp_path / "demo")
    assert done.code == 2
    assert "cannot be written" in done.err
    assert "No space left on device" in done.err
    assert list(tmp_path.iterdir()) == []


# --- printing ------------------------------------------------------------------------------------


def shell(scene, text: str) -> subprocess.CompletedProcess[str]:
    top = Path(__file__).resolve().parents[2]
    command = f'"{sys.executable}" -m calib'
    return subprocess.run(
        ["bash", "-c", f"set -o pipefail; {text.replace('cupledger', command, 1)}"],
        cwd=scene.folder,
        env={
            **os.environ,
            "PYTHONPATH": str(top),
            "CUPLEDGER_REGISTRY": str(scene.path("registry")),
        },
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


@posix
@pytest.mark.parametrize("reader", ["true", "head -n 1 >&2"])
def test_a_reader_that_goes_away_loses_nothing(scene, reader):
    line = f"cupledger enthalpy class.csv --out r.csv --page p.html --record | {reader}; echo ${{PIPESTATUS[0]}}"
    done = shell(scene, line)
    assert done.stdout == "1\n"  # the refused row of the table, as without the pipe
    assert "results written: r.csv" in done.stderr
    assert "results kept: 2, new: 2" in done.stderr
    assert "rror" not in done.stderr
    assert (scene.folder / "r.csv").stat().st_size > 500
    assert (scene.folder / "p.html").stat().st_size > 5000
    listed = shell(
        scene, f"cupledger constants --history --json | {reader}; echo ${{PIPESTATUS[0]}}"
    )
    assert listed.stdout == "0\n"


@posix
@pytest.mark.parametrize(
    ("where", "why"),
    [("> /dev/full", "No space left on device"), (">&-", "it is closed")],
    ids=["full", "closed"],
)
def test_a_stdout_that_takes_nothing_is_said_in_one_sentence(scene, where, why):
    if "full" in where and not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    for words in ("constants --json", "constants", "reference KNO3 --json", "--help"):
        done = shell(scene, f"cupledger {words} {where}")
        assert done.returncode == 1
        assert done.stderr == f"error: the results could not be printed on stdout: {why}\n"
    done = shell(scene, f"cupledger constants --json --registry none.sqlite {where}")
    assert done.returncode == 2
    (said,) = done.stderr.splitlines()
    assert "there is no registry at none.sqlite" in said
    done = shell(scene, f"cupledger enthalpy class.csv --out r.csv --json {where} 2>&-")
    assert done.returncode == 1
    assert (scene.folder / "r.csv").exists()


# --- from a notebook -----------------------------------------------------------------------------


def test_the_package_s_functions_keep_inputs_as_the_commands_do(scene):
    from calib.jobs.evaluating import evaluate_table
    from calib.jobs.pages import write_class_page
    from calib.jobs.results_file import write_results, write_summary

    registry = scene.path("registry")
    results = evaluate_table(scene.path("table"), str(registry))
    before = {path: path.read_bytes() for path in scene.folder.iterdir()}
    may = Outputs(overwrite=True)
    for path in (scene.path("table"), scene.path("curve"), scene.path("lost curve")):
        for write in (write_results, write_summary):
            with pytest.raises(OutputError, match="that was read"):
                write(path, results, outputs=may)
    page = scene.folder / "cups.html"
    page.write_bytes(registry.read_bytes())
    with pytest.raises(OutputError, match="is a database, such as a registry, and is never"):
        write_class_page(page, results, outputs=may)
    page.unlink()
    write_class_page(page, results)
    write_class_page(page, results)
    with pytest.raises(OutputError, match=r"expected \.html or \.htm"):
        write_class_page(scene.path("curve"), results, outputs=may)
    page.unlink()
    assert {path: path.read_bytes() for path in scene.folder.iterdir()} == before


def test_an_error_s_sentence_shows_no_temporary_name(cupledger, scene, tmp_path, monkeypatch):
    full_after(monkeypatch, 0)
    out = tmp_path / "r.csv"
    registry = scene.path("registry")
    done = cupledger(
        "enthalpy", scene.path("table"), "--out", out, "--registry", registry, "--json"
    )
    (text,) = [e["message"] for e in done.json["errors"] if e["row"] is None]
    assert text == (
        f"{out}: cannot be written: No space left on device; nothing was changed: choose another"
        " place"
    )
    assert json.dumps(text).count(".part") == 0
