"""Files of every kind that the command reads, damaged: a case's own folder, its seed, a path back.

What was sound comes from the sample runs, from a registry made of them, or is written here.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import random
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.benchmarks.damage import (
    HOSTILE,
    NUMBERS,
    as_text,
    damage_bytes,
    damage_json,
    damage_rows,
)
from tests.benchmarks.in_process import call

SAMPLES = Path(__file__).parents[2] / "sample_runs"


@dataclass
class Bench:
    """The sound files, made once: a registry with approved cups, tables, curves, an export."""

    folder: Path
    registry: Path

    def fresh_registry(self, place: Path) -> Path:
        return Path(shutil.copy(self.registry, place / "copy.sqlite"))


@cache
def bench() -> Bench:
    root = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    folder = Path(tempfile.mkdtemp(prefix="cupledger-fuzz-", dir=root))
    registry = folder / "g.sqlite"
    shutil.copytree(SAMPLES / "curves", folder / "curves")
    for name in ("calibrations.csv", "readings.toml"):
        shutil.copy(SAMPLES / name, folder)
    for words in (
        [
            "apparatus",
            "add",
            *(f"P{n}" for n in range(1, 8)),
            "--kind",
            "double foam cup, foam lid",
        ],
        ["calibrate", str(folder / "calibrations.csv"), "--approve"],
        ["constants", "export", str(folder / "e.json")],
        ["practice", str(folder / "p.csv"), "--seed", "5"],
    ):
        done = call(words, registry)
        if done.code != 0:
            raise RuntimeError(done.err.decode())
    return Bench(folder, registry)


@cache
def sample(name: str, most: int) -> list[list[str]]:
    with (SAMPLES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))[: most + 1]


_HEAD = ["run", "apparatus", "date", "reaction", "in_cup", "in_cup_mol_per_L", "in_cup_g", "added", "added_mol_per_L",
         "added_g", "in_cup_C", "added_C", "extreme_C", "extreme_after_s", "room_C", "heater_V", "heater_A",
         "heater_s"]  # fmt: skip
KINDS = (
    ["a", "P1", "2026-10-01", "", "HCl(aq)", "1.0", "50.7", "NaOH(aq)", "1.0", "57.1", "21", "21.2", "27.4", "60", "21"],
    ["b", "P2", "2026-10-01", "", "water", "", "100", "KNO3(s)", "", "5.0", "21", "21", "17.6", "90", "21"],
    ["c", "P3", "2026-10-01", "", "water", "", "100", "Cu(s)", "", "60", "21", "98", "24.9", "30", "21"],
    ["d", "P4", "2026-10-01", "", "CuSO4(aq)", "0.2", "51.5", "Zn(s)", "", "1.5", "21", "21", "29.6", "120", "21"],
    ["e", "P5", "2026-10-01", "", "AgNO3(aq)", "0.2", "51", "NaCl(aq)", "0.2", "50", "21", "21", "22.4", "20", "21"],
    ["f", "P6", "2026-10-01", "", "water", "", "150", "H2O(s)", "", "10", "25", "0", "18.8", "200", "21"],
    ["g", "P7", "2026-10-01", "CH3COOH(aq) + NaOH(aq) -> CH3COONa(aq) + H2O(l)", "CH3COOH(aq)", "1", "50", "NaOH(aq)",
     "1", "52", "21", "21", "27", "40", "21"],
    ["h", "P1", "2026-10-01", "", "water", "", "100", "NaOH(s)", "", "4", "21", "21", "31", "60", "21"],
)  # fmt: skip


def table(name: str, most: int) -> Callable[[random.Random, Path], Path]:
    def write(rng: random.Random, place: Path) -> Path:
        rows = sample(name, 40)
        kept = [rows[0], *(rng.choice(rows[1:]) for _ in range(rng.randint(1, most)))]
        kept = [list(row) for row in kept]
        for n, row in enumerate(kept[1:]):
            row[0] = f"{row[0]} {n}"
        if "curve" in rows[0]:
            (place / "curves").symlink_to(bench().folder / "curves")
        target = place / rng.choice(("t.csv", "t.csv", "t.csv", "t é.txt"))
        target.write_bytes(as_text(damage_rows(kept, rng), rng))
        return target

    return write


def kinds(rng: random.Random, place: Path) -> Path:
    rows = [_HEAD, *rng.sample(KINDS, rng.randint(1, 3))]
    (place / "t.csv").write_bytes(as_text(damage_rows(rows, rng), rng))
    return place / "t.csv"


def curve(name: str) -> Callable[[random.Random, Path], Path]:
    def write(rng: random.Random, place: Path) -> Path:
        raw = (SAMPLES / "curves" / name).read_bytes()
        delimiter = "," if b"," in raw.splitlines()[-1] else "\t"
        rows = list(csv.reader(raw.decode("utf-8-sig").splitlines(), delimiter=delimiter))
        rows = rows[:: rng.choice((1, 2, 4))] if rng.random() < 0.5 else rows
        (place / "c.csv").write_bytes(as_text(damage_rows(rows, rng), rng, delimiter))
        return place / "c.csv"

    return write


def settings(rng: random.Random, place: Path) -> Path:
    text = (SAMPLES / "readings.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(lines))
        key, _, value = lines[at].partition("=")
        odd = rng.choice(
            (
                *NUMBERS,
                *HOSTILE,
                "[[1]]",
                "{a=1}",
                '"x"',
                "9" * 5000,
                "1979-05-27",
                "true",
                "[" * 2000,
            )
        )
        lines[at] = rng.choice(
            (f"{key}= {odd}", f"{odd} = {value}", f"[{odd}]", odd, lines[at] * 2, "a" + ".b" * 30)
        )
    raw = "\n".join(lines).encode("utf-8", "surrogatepass")
    (place / "readings.toml").write_bytes(damage_bytes(raw, rng) if rng.random() < 0.3 else raw)
    (place / "t.csv").write_bytes(as_text(sample("class_readings.csv", 2), random.Random(0)))
    return place / "t.csv"


def export(rng: random.Random, place: Path) -> Path:
    target = place / "e.json"
    raw = (bench().folder / "e.json").read_bytes()
    if rng.random() < 0.2:
        target.write_bytes(damage_bytes(raw, rng))
        return target
    document = json.loads(raw)
    whole = rng.random() < 0.1
    content = damage_json(document if whole else document["content"], rng)
    if not whole:
        text = json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        document["content"] = content
        document["sha256"] = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    text = json.dumps(content if whole else document, ensure_ascii=rng.random() < 0.5)
    target.write_bytes(text.encode("utf-8", "surrogatepass"))
    return target


def damaged_registry(rng: random.Random, place: Path) -> Path:
    raw = bytearray(bench().registry.read_bytes())
    for _ in range(rng.choice((1, 3, 10))):
        at = rng.randrange(len(raw))
        raw[at : at + 1] = bytes([rng.randrange(256)]) * 1
    if rng.random() < 0.1:
        del raw[rng.randrange(len(raw)) :]
    (place / "d.sqlite").write_bytes(bytes(raw))
    return place / "d.sqlite"


def answer(rng: random.Random, place: Path) -> Path:
    from fitting.practice.answer_file import read_answer, seal, unseal

    source = bench().folder
    shutil.copy(source / "p.csv", place)
    path = source / "p.answer.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    if rng.random() < 0.6:
        answer = damage_json(unseal(read_answer(path)["sealed"], path), rng)
        content["sealed"] = seal(answer)  # type: ignore[arg-type]
    else:
        content = damage_json(content, rng)
    raw = json.dumps(content).encode("utf-8")
    (place / "p.answer.json").write_bytes(damage_bytes(raw, rng) if rng.random() < 0.2 else raw)
    return place / "p.csv"


@cache
def workbook() -> dict[str, bytes]:
    import openpyxl

    book = openpyxl.Workbook()
    for row in sample("class_readings.csv", 3):
        book.active.append([_typed(text) for text in row])
    stream = io.BytesIO()
    book.save(stream)
    with zipfile.ZipFile(stream) as package:
        return {name: package.read(name) for name in package.namelist()}


def _typed(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text


@cache
def ods() -> dict[str, bytes]:
    rows = "".join(
        "<table:table-row>" + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>' for cell in row
        ) + "</table:table-row>" for row in sample("class_readings.csv", 3)
    )  # fmt: skip
    spaces = " ".join(
        f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"'
        for short in ("office", "table", "text")
    )
    body = f'<office:body><office:spreadsheet><table:table table:name="A">{rows}</table:table></office:spreadsheet>'
    kind = b"application/vnd.oasis.opendocument.spreadsheet"
    content = f"<office:document-content {spaces}>{body}</office:body></office:document-content>"
    manifest = b'<m:manifest xmlns:m="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
    return {"mimetype": kind, "META-INF/manifest.xml": manifest, "content.xml": content.encode()}


_XML = (b' r="ZZZ99"', b' r="A1048577"', b' t="s"', b' t="e"', b' hidden="1"', b"<f>1/0</f>", b"<v>9e999</v>", b"&#0;",
        b' table:number-columns-repeated="99999999"', b' table:number-rows-repeated="1000000"', b"<!DOCTYPE a>",
        b' office:value-type="date" office:date-value="0000-99-99"', b"<v>99999999</v>", b"<c/>", b"<row>", b"&x;")  # fmt: skip


def package(
    parts: Callable[[], dict[str, bytes]], name: str
) -> Callable[[random.Random, Path], Path]:
    def write(rng: random.Random, place: Path) -> Path:
        sound = dict(parts())
        for _ in range(rng.randint(1, 3)):
            part = rng.choice(list(sound))
            raw = sound[part]
            if rng.random() < 0.5 and b">" in raw:
                places = [at for at, byte in enumerate(raw) if byte == ord(">")]
                at = rng.choice(places) + rng.randrange(2)
                sound[part] = raw[:at] + rng.choice(_XML) + raw[at:]
            else:
                sound[part] = damage_bytes(raw, rng)
            if rng.random() < 0.05:
                del sound[part]
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
            for part, raw in sound.items():
                package.writestr(part, raw)
        raw = stream.getvalue()
        (place / name).write_bytes(damage_bytes(raw, rng) if rng.random() < 0.2 else raw)
        return place / name

    return write
