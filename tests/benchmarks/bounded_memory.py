"""Each bounded reader under its bomb: peak memory and seconds of a child process, and what it said.

    python -m tests.benchmarks.bounded_memory

Every case is one call of the command in a process of its own; `resource.getrusage` tells its peak
resident memory (on Linux the high-water mark, which leaves out the parent) and its seconds of CPU. Nothing may be killed, wait, or need more
than ``MOST_MB`` or ``MOST_S``.
"""

from __future__ import annotations

import io
import json
import os
import random
import subprocess
import sys
import tempfile
import time
import zipfile
import zlib
from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.damaged_files import SAMPLES, bench, workbook

MOST_MB, MOST_S = 1500, 60.0
ROOT = Path(__file__).parents[2]
_HEAD = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C\n"


@dataclass(frozen=True)
class Taken:
    """What one case took and said."""

    code: int
    peak_MB: float
    cpu_s: float
    wall_s: float
    said: str


_CHILD = """
import resource, sys, time
from calib.cli.main import main
sys.argv = ["cupledger", *sys.argv[1:]]
code = 0
try:
    main()
except SystemExit as end:
    code = end.code or 0
used = resource.getrusage(resource.RUSAGE_SELF)
peak = used.ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)
try:  # on Linux ru_maxrss also counts the parent at the fork; the high-water mark does not
    lines = open("/proc/self/status").read().splitlines()
    peak = next(float(line.split()[1]) / 1e3 for line in lines if line.startswith("VmHWM"))
except (OSError, StopIteration):
    pass
print("\\nTAKEN", code, peak, used.ru_utime + used.ru_stime, file=sys.stderr)
"""


def taken(words: list[str], folder: Path, most_s: float = 90.0) -> Taken:
    """One call of the command in a child process."""
    started = time.monotonic()
    registry = str(bench().registry)
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "CUPLEDGER_REGISTRY": registry},
        capture_output=True,
        stdin=subprocess.DEVNULL,
        encoding="utf-8",
        errors="replace",
        timeout=most_s,
        check=False,
    )
    wall = time.monotonic() - started
    lines = done.stderr.strip().splitlines()
    if not lines or not lines[-1].startswith("TAKEN"):
        return Taken(done.returncode, float("nan"), float("nan"), wall, " ".join(lines[-2:]))
    _, code, peak, cpu = lines[-1].split()
    said = [line for line in lines[:-1] if line.startswith("error")]
    return Taken(int(code), float(peak), float(cpu), wall, said[0] if said else "computed")


def khz_log(folder: Path) -> list[str]:
    rng = random.Random(1)
    lines = ["time_s,temperature_C"]
    for i in range(1_000_000):
        t = i / 1000
        rise = 0.0 if t < 300 else 6.0 * 2.718281828 ** (-(t - 300) * 2e-4)
        lines.append(f"{t:.3f},{21 + rise + rng.gauss(0, 0.01):.3f}")
    (folder / "c.csv").write_text("\n".join(lines), encoding="utf-8")
    return ["correct", "c.csv"]


def large_log(folder: Path) -> list[str]:
    (folder / "c.csv").write_bytes(b"time_s,temperature_C\n" + b"1,2\n" * 19_900_000)
    return ["correct", "c.csv"]


def wide_log(folder: Path) -> list[str]:
    (folder / "c.csv").write_bytes(b"1," * 39_000_000)
    return ["cooldown", "c.csv"]


def endless(*command: str) -> Callable[[Path], list[str]]:
    return lambda folder: [*command, "/dev/zero"]


def pipe(*command: str) -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        os.mkfifo(folder / "pipe")
        return [*command, "pipe"]

    return make


def settings(content: bytes | None, link: str = "") -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        (folder / "t.csv").write_text(_HEAD, encoding="utf-8")
        if content is None:
            (folder / "readings.toml").symlink_to(link)
        else:
            (folder / "readings.toml").write_bytes(content)
        return ["enthalpy", "t.csv"]

    return make


def large_table(folder: Path) -> list[str]:
    (folder / "t.csv").write_bytes(_HEAD.encode() + b",,,,,,,,,\n" * 5_900_000)
    return ["enthalpy", "t.csv"]


def full_table(folder: Path) -> list[str]:
    row = b"r%d,P1,2026-10-01,water,Xx(s),100,5,21,21,%d\n"
    rows = (row % (n, n % 90) for n in range(20_000))
    (folder / "t.csv").write_bytes(_HEAD.encode() + b"".join(rows))
    return ["enthalpy", "t.csv"]


def one_cell(folder: Path) -> list[str]:
    (folder / "t.csv").write_bytes(_HEAD.encode() + b'"' + b"x" * 59_000_000)
    return ["enthalpy", "t.csv"]


_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def xlsx(
    sheet: str, shared: str = "", *, encoding: str = "utf-8", lie: int = 0
) -> Callable[[Path], list[str]]:
    """A workbook of one sheet with this content."""

    def make(folder: Path) -> list[str]:
        parts = {name: raw.decode("utf-8") for name, raw in workbook().items()}
        parts["xl/worksheets/sheet1.xml"] = (
            f"<worksheet {_MAIN}><sheetData>{sheet}</sheetData></worksheet>"
        )
        parts["xl/sharedStrings.xml"] = f"<sst {_MAIN}>{shared}</sst>"
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
            for name, text in parts.items():
                prolog = (
                    f'<?xml version="1.0" encoding="{encoding}"?>' if encoding != "utf-8" else ""
                )
                package.writestr(name, (prolog + text).encode(encoding))
        raw = stream.getvalue()
        if lie:  # the directory and the local header say another size
            raw = raw.replace(lie.to_bytes(4, "little"), (9).to_bytes(4, "little"))
        (folder / "t.xlsx").write_bytes(raw)
        return ["enthalpy", "t.xlsx"]

    return make


def _cells(count: int, cell: str, per_row: int = 1000) -> str:
    return ("<row>" + cell * per_row + "</row>") * (count // per_row)


def ods(cell: str, rows: int = 1) -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        spaces = " ".join(
            f'xmlns:{s}="urn:oasis:names:tc:opendocument:xmlns:{s}:1.0"'
            for s in ("office", "table", "text")
        )
        content = (
            f"<office:document-content {spaces}><office:body><office:spreadsheet>"
            f'<table:table table:name="A"><table:table-row table:number-rows-repeated="{rows}">{cell}'
            "</table:table-row></table:table></office:spreadsheet></office:body></office:document-content>"
        )
        with zipfile.ZipFile(folder / "t.ods", "w", zipfile.ZIP_DEFLATED) as package:
            package.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
            package.writestr("META-INF/manifest.xml", "<m/>")
            package.writestr("content.xml", content)
        return ["enthalpy", "t.ods"]

    return make


def answer(sealed: bytes) -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        content = json.loads((bench().folder / "p.answer.json").read_text(encoding="utf-8"))
        content["sealed"] = b64encode(sealed).decode()
        (folder / "p.answer.json").write_text(json.dumps(content), encoding="utf-8")
        (folder / "p.csv").write_bytes((bench().folder / "p.csv").read_bytes())
        return ["practice", "--reveal", "p.csv"]

    return make


def export(content: bytes) -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        (folder / "e.json").write_bytes(content)
        return ["constants", "import", "e.json"]

    return make


def _packed(size: int) -> bytes:
    packer = zlib.compressobj(9)
    pieces = [packer.compress(b" " * 1_000_000) for _ in range(size // 1_000_000)]
    return b"".join((*pieces, packer.flush()))


_TEXT = "x" * 1_000_000
_ODS_TEXT = f'<table:table-cell table:number-columns-repeated="300" office:value-type="string"><text:p>{"x" * 100_000}</text:p></table:table-cell>'  # fmt: skip

CASES: dict[str, Callable[[Path], list[str]]] = {
    "curve, 1 kHz, a million readings": khz_log,
    "curve, 80 MB of one line repeated": large_log,
    "curve, one row of 39 million cells": wide_log,
    "curve, /dev/zero": endless("correct"),
    "curve, a pipe": pipe("cooldown"),
    "readings.toml, a key of 49,000 dots": settings(b"a" + b".a" * 49_000 + b" = 1"),
    "readings.toml, 49,000 brackets": settings(b"x = " + b"[" * 49_000),
    "readings.toml, 10,000 digits": settings(b"[mass]\nstep = " + b"9" * 10_000),
    "readings.toml, a link to /dev/zero": settings(None, "/dev/zero"),
    "table, 59 MB of empty rows": large_table,
    "table, 20,000 rows, each refused": full_table,
    "table, one cell of 59 MB": one_cell,
    "table, /dev/zero": endless("mark"),
    "table, a pipe": pipe("enthalpy"),
    "XLSX, 1 MB of shared text in 20,000 cells": xlsx(_cells(20_000, '<c t="s"><v>0</v></c>'), f"<si><t>{_TEXT}</t></si>"),
    "XLSX, 4.5 million empty cells in one row": xlsx("<row>" + "<c/>" * 4_500_000 + "</row>"),
    "XLSX, 3 million empty rows": xlsx("<row/>" * 3_000_000),
    "XLSX, 1 million numbers": xlsx(_cells(1_000_000, "<c><v>1</v></c>", 15)),
    "XLSX, a directory that lies": xlsx(_cells(1_000_000, "<c><v>1</v></c>", 15), lie=len(
        f"<worksheet {_MAIN}><sheetData>{_cells(1_000_000, '<c><v>1</v></c>', 15)}</sheetData></worksheet>")),
    "XLSX, UTF-16 parts": xlsx("<row><c><v>1</v></c></row>", encoding="utf-16"),
    "ODS, 100 kB of text in 300,000 cells": ods(_ODS_TEXT, 1000),
    "ODS, a cell repeated 16 billion times": ods(_ODS_TEXT.replace('"300"', '"16000"'), 1_000_000),
    "answer, 5 MB that unpack to 5 GB": answer(_packed(5_000_000_000)[:700_000]),
    "answer, 9,000 brackets": answer(zlib.compress(b"[" * 9_000)),
    "export, 59 MB of empty lists": export(b"[" + b"[]," * 19_600_000 + b"[]]"),
    "export, 59 MB of brackets": export(b"[" * 59_000_000),
    "export, 59 MB of one text": export(b'{"format": "' + b"x" * 59_000_000 + b'"}'),
    "export, 3 million values": export(b'{"a": [' + b"1.5," * 2_990_000 + b"1]}"),
    "export, /dev/zero": endless("constants", "import"),
    "registry, a pipe": pipe("constants", "--registry"),
    "registry, /dev/zero": endless("constants", "merge"),
}  # fmt: skip


def run(name: str) -> Taken:
    """One case, from its name."""
    with tempfile.TemporaryDirectory(dir=bench().folder) as folder:
        try:
            return taken(CASES[name](Path(folder)), Path(folder))
        except subprocess.TimeoutExpired as late:
            nan = float("nan")
            return Taken(-1, nan, nan, float(late.timeout), "did not end")


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    import shutil

    assert SAMPLES.is_dir()
    print("| reader and bomb | exit | peak MB | cpu s | what was said |\n|---|---|---|---|---|")
    try:
        for name in CASES:
            one = run(name)
            said = one.said.replace("|", "/").removeprefix("error: ")[:110]
            print(
                f"| {name} | {one.code} | {one.peak_MB:.0f} | {one.cpu_s:.1f} | {said} |",
                flush=True,
            )
    finally:
        shutil.rmtree(bench().folder, ignore_errors=True)


if __name__ == "__main__":
    main()
