"""Every option that names an output x kinds of file in its way: does an input ever change a byte?

    python -m tests.benchmarks.outputs

The options are taken from the command definitions themselves (`file_parameters`): one that is not
told apart here as input or output stops the run. Each option is aimed at each kind of file, without
and with ``--overwrite``, in a fresh folder whose other files are held against what they were.
Files of the invented school; nothing here is measured.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[2]
SCHOOL = TOP / "sample_runs"
HEADER = (
    "run,apparatus,date,in_cup,in_cup_mol_per_L,added,added_mol_per_L,in_cup_g,added_g,added_C,"
    "in_cup_C,extreme_C,curve,reported_kJ_per_mol"
)
ACID = "P1,2026-10-14,HNO3(aq),1.000,KOH(aq),1.000,102.81"


@dataclass(frozen=True)
class Option:
    """One output: its command, how it is given, and the file that it would write.

    ``reads`` names the roles of the scene that the command reads; ``inside`` is the file's name
    where a folder is given.
    """

    command: tuple[str, ...]
    parameter: str
    words: Callable[[Scene, Path], list[Any]]
    ending: str
    reads: tuple[str, ...] = ("registry",)
    inside: str = ""
    overwrite: bool = True
    other: Callable[[Scene, Path], list[Any]] | None = None

    @property
    def name(self) -> str:
        return " ".join((*self.command, self.parameter)) + (" (folder)" if self.inside else "")


class Scene:
    """A folder with one file of each role; ``names`` gives a role another name."""

    def __init__(self, folder: Path, made: Path, **names: str) -> None:
        self.folder = folder
        self.names = {
            "table": "class.csv", "curve": "one.csv", "lost curve": "two.csv",
            "registry": "cups.sqlite", "log": "cooling.csv", "instruments": "readings.toml", **names,
        }  # fmt: skip
        shutil.copy(made / "cups.sqlite", self.path("registry"))
        shutil.copy(SCHOOL / "curves" / "class_bench01.csv", self.path("curve"))
        shutil.copy(SCHOOL / "curves" / "class_bench02.csv", self.path("lost curve"))
        shutil.copy(SCHOOL / "curves" / "cooling_P1.csv", self.path("log"))
        shutil.copy(SCHOOL / "readings.toml", self.path("instruments"))
        rows = (
            f"one,{ACID},106.61,20.24,20.4,27.1,,-55.1",
            f"two,{ACID},106.61,20.24,,,{self.names['curve']},-56.0",
            f"lost,{ACID},heavy,20.24,,,{self.names['lost curve']},-56.0",
        )
        self.path("table").write_text("\n".join((HEADER, *rows)) + "\n", encoding="utf-8")

    def path(self, role: str) -> Path:
        return self.folder / self.names[role]


def _at(*words: str) -> Callable[[Scene, Path], list[Any]]:
    """Words in which ``{role}`` stands for a file of the scene and ``{}`` for the output."""

    def fill(scene: Scene, given: Path) -> list[Any]:
        roles = {f"{{{role}}}": scene.path(role) for role in scene.names} | {"{}": given}
        return [roles.get(word, word) for word in words]

    return fill


TABLE_READS = ("table", "curve", "lost curve", "instruments", "registry")
OUTPUTS = (
    Option(("correct",), "page", _at("{curve}", "--page", "{}"), ".html", ("curve", "registry")),
    Option(("cooldown",), "page", _at("{log}", "--page", "{}"), ".html", ("log", "registry")),
    Option(
        ("enthalpy",), "page", _at("{table}", "--page", "{}"), ".html", TABLE_READS,
        other=_at("{table}", "--summary", "{}", "--page", "{}"),
    ),
    Option(
        ("enthalpy",), "results", _at("{table}", "--out", "{}"), ".csv", TABLE_READS,
        other=_at("{table}", "--out", "{}", "--summary", "{}"),
    ),
    Option(
        ("enthalpy",), "summary", _at("{table}", "--summary", "{}"), ".csv", TABLE_READS,
        other=_at("{table}", "--out", "{}", "--summary", "{}"),
    ),
    Option(
        ("mark",), "results", _at("{table}", "--out", "{}"), ".csv", TABLE_READS,
        other=_at("{table}", "--out", "{}", "--sheets", "{}"),
    ),
    Option(
        ("mark",), "sheets", _at("{table}", "--sheets", "{}"), ".html", TABLE_READS,
        other=_at("{table}", "--out", "{}", "--sheets", "{}"),
    ),
    Option(
        ("mark",), "sheets", _at("{table}", "--sheets", "{}"), ".html", TABLE_READS,
        inside="feedback_1_one.html",
    ),
    Option(
        ("key",), "results", _at("{table}", "--run", "one", "--out", "{}"), ".html", TABLE_READS
    ),
    Option(("constants", "drift"), "chart", _at("--chart", "{}"), ".svg"),
    Option(
        ("constants", "certificate"), "folder", _at("P1", "--folder", "{}"), ".html",
        inside="certificate_P1_2.html",
    ),
    Option(("constants", "export"), "file", _at("{}"), ".json"),
    Option(("template",), "file", _at("{}", "--benches", "2"), ".csv"),
    Option(("practice",), "curve", _at("{}", "--seed", "3"), ".csv"),
    Option(("demo",), "folder", _at("{}"), ".html", inside="class_curves.html", overwrite=False),
)  # fmt: skip
REGISTRIES = (
    ("apparatus", "add"), ("calibrate",), ("constants", "import"), ("constants", "merge"),
    ("enthalpy",),
)  # fmt: skip
"""Commands that write into ``--registry``; the registry takes no other file's place either."""
INPUTS = {
    ("calibrate", "table"), ("constants plan", "readings"), ("constants check", "table"),
    ("constants import", "file"), ("constants merge", "other"), ("correct", "curve"),
    ("cooldown", "log"), ("cycles", "tables"), ("enthalpy", "table"), ("practice", "answer"),
    ("plan", "readings"), ("mark", "table"), ("key", "table"),
}  # fmt: skip


def file_parameters() -> Iterator[tuple[str, str]]:
    """Command and name of every parameter that is a path or says so, but ``--registry``."""
    from typer.main import get_command

    from calib.cli.main import app

    def walk(command: Any, words: tuple[str, ...]) -> Iterator[tuple[str, str]]:
        for name in getattr(command, "commands", ()):
            yield from walk(command.commands[name], (*words, name))
        for one in command.params:
            kind = str(getattr(getattr(one, "type_descriptor", None), "annotation", ""))
            said = any(word in (one.metavar or "") for word in ("FILE", "FOLDER", "DIR", "PATH"))
            merged = "REGISTRY" in (one.metavar or "")
            if ("Path" in kind or said or merged) and one.name != "registry":
                yield " ".join(words), str(one.name)

    yield from walk(get_command(app), ())


def unclassified() -> set[tuple[str, str]]:
    """Parameters that nobody told apart as input or output yet."""
    outputs = {(" ".join(one.command), one.parameter) for one in OUTPUTS}
    return set(file_parameters()) ^ (outputs | INPUTS)


# --- kinds of file in the way ------------------------------------------------------------------

FOREIGN = {
    "foreign text": b"Notes of mine, three lines.\nNothing else.\n",
    "foreign binary": bytes(range(256)) * 4,
    "foreign page or table": b"<!doctype html><html><body><p>mine</p></body></html>\n",
    "log of another day": b"Time (s);Temperature (C)\n0;20.1\n2;20.2\n4;20.3\n6;20.3\n",
    "another registry": b"",
    "own output of another kind": b"",
}
NEVER = {"log of another day", "another registry"}
LINKS = ("link to what is read", "hard link to what is read", "hard link to readings.toml")
KINDS = (
    "the table", "a curve of the table", "a curve of a refused row", "the log", "readings.toml",
    "the registry", "the registry's journal", *LINKS, "another spelling of it",
    "capitals of it", *FOREIGN, "a folder", "a device", "another output of the call",
)  # fmt: skip
ROLES = {
    "the table": "table", "a curve of the table": "curve", "a curve of a refused row": "lost curve",
    "the log": "log", "the registry": "registry",
}  # fmt: skip


@dataclass(frozen=True)
class Result:
    """What came of one call: ``refused``, ``written``; ``changed`` lists what must not change."""

    option: str
    kind: str
    overwrite: bool
    code: int
    outcome: str
    changed: tuple[str, ...]
    left: tuple[str, ...]
    said: str


def aim(option: Option, kind: str, made: Path, *, overwrite: bool) -> Result | None:
    """Aim an option at a kind of file; None where that cannot be."""
    with tempfile.TemporaryDirectory() as spare:
        folder = Path(spare) / "day"
        folder.mkdir()
        prepared = _prepare(option, kind, folder, made)
        if prepared is None:
            return None
        scene, target, words = prepared
        given = folder if option.inside else target
        if words is None:
            words = option.words(scene, given)
        where = ["--registry", scene.path("registry")]
        if option.command in {("practice",), ("demo",)}:
            where = []
        extra = ["--overwrite"] if overwrite else []
        before = _contents(folder)
        code, said = run([*option.command, *words, *where, *extra], scene.path("registry"))
        after = _contents(folder)
    reads = {scene.names[role] for role in option.reads}
    held = {*reads, scene.names["registry"], "another.sqlite"}
    if not overwrite or kind in {*NEVER, "a folder", "a device"}:
        held |= set(before)
    changed = tuple(
        name for name in sorted(held) if name in before and after.get(name) != before[name]
    )
    outcome = "written" if after.get(target.name) != before.get(target.name) else "refused"
    left = tuple(
        name
        for name in set(after) - set(before)
        if outcome == "refused" or Path(name).name.startswith(".")
    )
    return Result(option.name, kind, overwrite, code, outcome, changed, left, said)


def _prepare(
    option: Option, kind: str, folder: Path, made: Path
) -> tuple[Scene, Path, list[Any] | None] | None:
    name = option.inside or f"target{option.ending}"
    target = folder / name
    role = ROLES.get(kind)
    if role is not None:
        return (Scene(folder, made, **{role: name}), target, None) if _has(option, role) else None
    scene = Scene(folder, made)
    first = scene.path(option.reads[0])
    words: list[Any] | None = None
    if option.inside and kind in {"readings.toml", "the registry's journal"}:
        return None  # the option names the folder, not the file
    if kind == "readings.toml":
        target = scene.path("instruments")
    elif kind == "the registry's journal":
        target = folder / (scene.names["registry"] + "-journal")
        target.write_bytes(b"a journal")
    elif kind == "link to what is read":
        target.symlink_to(first)
    elif kind == "hard link to what is read":
        os.link(first, target)
    elif kind == "hard link to readings.toml":
        os.link(scene.path("instruments"), target)
    elif kind in {"another spelling of it", "capitals of it"}:
        if option.inside or option.reads[0] == "registry":
            return None
        first.rename(folder / f"read{option.ending}")
        scene.names[option.reads[0]] = f"read{option.ending}"
        (folder / "sub").mkdir()
        target = folder / "sub" / ".." / f"read{option.ending}"
        if kind == "capitals of it":
            target = folder / f"READ{option.ending}"
    elif kind == "a folder":
        if option.inside or option.parameter == "sheets":  # they take one
            return None
        target.mkdir()
        (target / "kept.txt").write_bytes(b"kept")
    elif kind == "a device":
        os.mkfifo(target)
    elif kind == "another output of the call":
        if option.other is None:
            return None
        words = option.other(scene, target)
    elif kind == "another registry":
        shutil.copy(made / "cups.sqlite", target)
    elif kind == "own output of another kind":
        shutil.copy(made / f"own{option.ending}", target)
    else:
        target.write_bytes(FOREIGN[kind])
    return scene, target, words


def _has(option: Option, role: str) -> bool:
    return role in option.reads


def _contents(folder: Path) -> dict[str, bytes]:
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            found[name] = b"link " + os.readlink(path).encode() + b" " + path.read_bytes()
        elif path.is_dir():
            found[name] = b"folder"
        else:
            found[name] = path.read_bytes() if path.is_file() else b"device"
    return found


def run(words: list[Any], registry: Path) -> tuple[int, str]:
    """A command in this process: exit code, and what it said on both streams."""
    from calib.cli.main import main

    argv, kept = sys.argv, os.environ.get("CUPLEDGER_REGISTRY")
    out, err = io.StringIO(), io.StringIO()
    sys.argv = ["cupledger", *map(str, words)]
    os.environ["CUPLEDGER_REGISTRY"] = str(registry)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
        code = 0
    except SystemExit as stop:
        code = int(stop.code or 0)  # type: ignore[arg-type]
    finally:
        sys.argv = argv
        os.environ.pop("CUPLEDGER_REGISTRY")
        if kept is not None:
            os.environ["CUPLEDGER_REGISTRY"] = kept
    return code, out.getvalue() + err.getvalue()


def make(folder: Path) -> Path:
    """A registry with two constants of one cup in turn, and an own output for each ending."""
    from datetime import date

    from calib.outputs import made_by
    from calib.registry import NewConstant, open_registry

    with open_registry(str(folder / "cups.sqlite")) as store:
        store.register_all(["P1"], "foam cup")
        for day, value in ((1, 12.6), (5, 12.9)):
            new = NewConstant("P1", "hot/cold mixing", value, 0.5, date(2026, 9, day))
            store.add_drafts([new], approve=True)
    page = f'<!doctype html><head><meta name="generator" content="{made_by("other page")}"></head>'
    (folder / "own.html").write_text(page, encoding="utf-8")
    (folder / "own.csv").write_text("reaction,unit,per,runs,mean\n", encoding="utf-8")
    (folder / "own.svg").write_text(page, encoding="utf-8")
    (folder / "own.json").write_text('{\n  "format": "cupledger practice answer"\n}\n', "utf-8")
    return folder


def registry_results(made: Path) -> Iterator[Result]:
    """``--registry`` of the commands that write into it, aimed at what is no registry."""
    words = {
        ("apparatus", "add"): ["P9", "--kind", "cup"], ("calibrate",): ["{table}"],
        ("constants", "import"): ["{export}"], ("constants", "merge"): ["{registry}"],
        ("enthalpy",): ["{table}", "--record"],
    }  # fmt: skip
    for command in REGISTRIES:
        for role in ("table", "curve", "instruments", "foreign text", "foreign binary", "folder"):
            with tempfile.TemporaryDirectory() as spare:
                scene = Scene(Path(spare), made)
                target = Path(spare) / "target"
                if role in FOREIGN:
                    target.write_bytes(FOREIGN[role])
                elif role == "folder":
                    target.mkdir()
                else:
                    target = scene.path(role)
                export = Path(spare) / "cups.json"
                run(["constants", "export", export], scene.path("registry"))
                roles = {f"{{{name}}}": scene.path(name) for name in scene.names}
                typed = [{**roles, "{export}": export}.get(w, w) for w in words[command]]
                before = _contents(Path(spare))
                code, said = run([*command, *typed, "--registry", target], scene.path("registry"))
                after = _contents(Path(spare))
            changed = tuple(name for name in before if after.get(name) != before[name])
            new = tuple(name for name in after if name not in before)
            name = " ".join((*command, "registry"))
            outcome = "written" if changed else "refused"
            yield Result(name, role, False, code, outcome, changed, new, said)


def every_result(made: Path) -> Iterator[Result]:
    """All options against all kinds."""
    for option in OUTPUTS:
        for kind in KINDS:
            for overwrite in (False, True) if option.overwrite else (False,):
                result = aim(option, kind, made, overwrite=overwrite)
                if result is not None:
                    yield result


def table_of(results: list[Result]) -> str:
    """Markdown: a line a kind of file, a column an option, and the counts of both."""
    names = [option.name for option in OUTPUTS]
    lines = [f"{place}. `{name}`" for place, name in enumerate(names, start=1)]
    numbers = " | ".join(map(str, range(1, len(names) + 1)))
    lines += [
        "",
        f"| in the way | {numbers} | calls | replaced with the word | without it | changed |",
        f"|---|{':-:|' * len(names)}---:|---:|---:|---:|",
    ]
    for kind in [*KINDS, "**all**"]:
        own = [one for one in results if kind in (one.kind, "**all**")]
        cells = [_cell([one for one in own if one.option == name]) for name in names]
        written = [one for one in own if one.outcome == "written"]
        counts = (
            len(own), sum(one.overwrite for one in written),
            sum(not one.overwrite for one in written), sum(bool(one.changed) for one in own),
        )  # fmt: skip
        if kind == "**all**":
            cells = ["" for _ in names]
        lines.append(f"| {kind} | {' | '.join([*cells, *map(str, counts)])} |")
    return "\n".join(lines)


def _cell(results: list[Result]) -> str:
    """r: refused; o: replaced with ``--overwrite`` only; f: replaced freely; !: what must not be."""
    if not results:
        return ""
    if any(one.changed for one in results):
        return "!"
    written = [one for one in results if one.outcome == "written"]
    return "f" if any(not one.overwrite for one in written) else "o" if written else "r"


def main() -> None:
    assert not unclassified(), f"input or output? {sorted(unclassified())}"
    with tempfile.TemporaryDirectory() as spare:
        made = make(Path(spare))
        results = list(every_result(made))
        registries = list(registry_results(made))
    print(table_of(results))
    changed = sum(bool(one.changed) for one in registries)
    print(f"\n`--registry` of {len(REGISTRIES)} commands that write into it, aimed at six kinds of")
    print(f"file that is no registry: {len(registries)} calls, {changed} changed anything")
    for one in [*results, *registries]:
        if one.changed or one.left or "Traceback" in one.said or "went wrong inside" in one.said:
            print(f"FAULT {one.option} at {one.kind} overwrite={one.overwrite}: {one}")


if __name__ == "__main__":
    main()
