"""One curve written in many forms comes back the same: delimiter, decimal mark, encoding, clock,
unit and header are all found from the file."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitting.files.curve_files import list_columns, read_curve

# An invented cup: still, then warming by 4 K, read every 3 s to 0.01 K.
TIME_S = np.arange(0.0, 180.0, 3.0)
CELSIUS = np.round(
    21.37 + 4.0 * (TIME_S >= 60) * (1 - np.exp(-(TIME_S - 60) / 9)) - 0.002 * TIME_S, 2
)
START = datetime(2026, 3, 2, 23, 58, 30)  # midnight falls into the curve

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "blanks": "  ", "bar": "|"}
DECIMALS = (".", ",")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "mac_roman", "cp850")
TIMES: dict[str, tuple[str, Callable[[float], str]]] = {
    "s": ("s", lambda t: f"{t:.1f}"),
    "min": ("min", lambda t: f"{t / 60:.6f}"),
    "h": ("h", lambda t: f"{t / 3600:.8f}"),
    "ms": ("ms", lambda t: f"{t * 1000:.0f}"),
    "clock": ("", lambda t: f"{START + timedelta(seconds=t):%H:%M:%S}"),
    "iso": ("", lambda t: f"{START + timedelta(seconds=t):%Y-%m-%dT%H:%M:%S}+01:00"),
    "german": ("", lambda t: f"{START + timedelta(seconds=t):%d.%m.%Y %H:%M:%S}"),
    "min:s": ("", lambda t: f"{int(t // 60):02d}:{t % 60:04.1f}"),
}
UNITS: dict[str, Callable[[float], float]] = {
    "°C": lambda c: c,
    "°F": lambda c: c * 1.8 + 32,
    "K": lambda c: c + 273.15,
}
WORDS = {
    "english": ("Time", "Temperature"),
    "german": ("Zeit", "Temperatur"),
    "french": ("Temps", "Température"),
    "spanish": ("Tiempo", "Temperatura"),
    "italian": ("Tempo", "Temperatura"),
    "symbols": ("t", "T"),
}
LAYOUTS = ("brackets", "slash", "unit row", "below remarks", "numbered", "status last")


@dataclass(frozen=True)
class Form:
    delimiter: str
    decimal: str
    encoding: str
    time: str
    unit: str
    words: str
    layout: str

    def __str__(self) -> str:
        parts = (self.delimiter, self.decimal, self.encoding, self.time)
        return " ".join((*parts, self.unit, self.words, self.layout))

    def rows(self) -> list[list[str]]:
        write = TIMES[self.time][1]
        convert = UNITS[self.unit]
        rows = [
            [write(t), f"{convert(c):.4f}"]
            for t, c in zip(TIME_S.tolist(), CELSIUS.tolist(), strict=True)
        ]
        if self.layout == "numbered":
            rows = [[str(i + 1), *row] for i, row in enumerate(rows)]
        if self.layout == "status last":
            rows = [[*row, "ok" if i % 7 else "mark"] for i, row in enumerate(rows)]
        return [[self.number(cell) for cell in row] for row in rows]

    def number(self, cell: str) -> str:
        cell = cell.replace(".", ",") if self.decimal == "," and cell.count(".") == 1 else cell
        return f'"{cell}"' if self.delimiter == "comma" and "," in cell else cell

    def header(self) -> list[list[str]]:
        time, temperature = WORDS[self.words]
        time_unit = TIMES[self.time][0]
        if self.layout == "slash":
            names = [f"{time} / {time_unit}" if time_unit else time, f"{temperature} / {self.unit}"]
        elif self.layout == "unit row":
            return [[time, temperature], [time_unit or "-", self.unit]]
        else:
            names = [f"{time} ({time_unit})" if time_unit else time, f"{temperature} ({self.unit})"]
        if self.layout == "numbered":
            names = ["No.", *names]
        if self.layout == "status last":
            names = [*names, "Status"]
        return [names]

    def text(self) -> str:
        mark = DELIMITERS[self.delimiter]
        above = ["Bench 4, interval 3 s", "Probe: P7", ""] if self.layout == "below remarks" else []
        lines = [*above, *(mark.join(row) for row in [*self.header(), *self.rows()])]
        return "\n".join(lines) + "\n"

    def possible(self) -> bool:
        """Dates with blanks between columns of blanks fall apart into two columns: tested apart."""
        return not (self.delimiter == "blanks" and self.time == "german")


ALL = [
    form
    for form in itertools.starmap(
        Form,
        itertools.product(DELIMITERS, DECIMALS, ENCODINGS, TIMES, UNITS, WORDS, LAYOUTS),
    )
    if form.possible()
]


def check(form: Form, folder: Path) -> None:
    file = folder / "curve.txt"
    file.write_bytes(form.text().encode(form.encoding))
    curve = read_curve(file)
    assert len(curve) == TIME_S.size
    np.testing.assert_allclose(curve.time_s, TIME_S, atol=1e-3)
    np.testing.assert_allclose(curve.temperature_C, CELSIUS, atol=1e-4)
    assert curve.guesses
    if form.time in ("iso", "german"):
        assert curve.started is not None
        assert curve.started.replace(tzinfo=None) == START


@pytest.mark.parametrize("form", ALL[:: len(ALL) // 80], ids=str)
def test_a_form_reads_back(form: Form, tmp_path: Path) -> None:
    check(form, tmp_path)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(form=st.sampled_from(ALL))
def test_any_form_reads_back(form: Form, tmp_path_factory: pytest.TempPathFactory) -> None:
    check(form, tmp_path_factory.mktemp("forms"))


@pytest.mark.parametrize("mark", [";", "\t", ","])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_line_ends_of_three_systems(mark: str, newline: str, tmp_path: Path) -> None:
    rows = [f"{t:g}{mark}{c}" for t, c in zip(TIME_S, CELSIUS, strict=True)]
    text = newline.join([f"time_s{mark}temperature_C", *rows, ""])
    (tmp_path / "a.csv").write_bytes(text.encode())
    curve = read_curve(tmp_path / "a.csv")
    np.testing.assert_array_equal(curve.temperature_C, CELSIUS)


@pytest.mark.parametrize("words", WORDS)
def test_header_words(words: str, tmp_path: Path) -> None:
    """Neither order nor a column of volts in between matters when the words are known."""
    time, temperature = WORDS[words]
    rows = [
        f"{c};{0.1 * i:.1f};{t:g}" for i, (t, c) in enumerate(zip(TIME_S, CELSIUS, strict=True))
    ]
    text = "\n".join([f"{temperature};U (V);{time}", *rows])
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    columns = list_columns(tmp_path / "a.csv")
    assert [c.quantity for c in columns] == ["temperature", "other", "time"]
    np.testing.assert_array_equal(read_curve(tmp_path / "a.csv").time_s, TIME_S)
