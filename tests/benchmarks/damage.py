"""Sound input damaged: hostile words, cells, headings, units, bytes and JSON, drawn from one seed.

Used by ``tests.benchmarks.fuzz_readers``. Nothing here knows what a reader does with it.
"""

from __future__ import annotations

import csv
import io
import random

# fmt: off
HOSTILE = (
    '', ' ', '-', 'nan', 'inf', '-inf', '1e309', '-1e309', '1e308', '1e-300', '4.9e-324', '-0',
    '-0.0', '0', "9" * 400, '-5', '1e5', '1e9', '99999999999999999999', '9223372036854775808',
    '1,234', '1.234,5', '1 234', '½', '٣', '１２', '0x10', '1_000', '50 mL', '50 kg', '69.8 °F',
    '294 K', '21 C', '5 min', '2 h', '120 ms', '20±1', '~20', '<5', '#DIV/0!', '#N/A', '=1+1',
    "=cmd|' /C calc'!A0", '\x00', '\x1b[31m', '\u202e', '\ufeff', '2026-13-45', '0001-01-01',
    '9999-12-31', '12/13/14', '31.12.99', '2026-10-21T25:00', 'true', 'None', 'P1', 'P999', 'p1',
    'water', 'ice', 'H2O(s)', 'HCl(aq)', 'NaOH(aq)', 'KNO3(s)', 'Cu(s)', 'SiO2(s)', 'NH3(aq)',
    'C12H22O11(s)', 'Xx(q)', 'H2SO4(l)', '((((((', "Na" * 200, 'H9999999999', 'e-',
    'HCl(aq) + NaOH(aq) -> H2O(l)', '->', 'NH4Cl(s) -> NH4Cl(aq)', 'neutralization',
    '../../etc/passwd', '/dev/zero', 'con', 'C:\\x', 'http://x/y', 'curves/class_bench02.csv',
    'curves', "a" * 5000, "'", '"', '"""', ';', ',', '\t', '\r', '\n', '|', '<b>', '{{7*7}}',
    'example (not read)', '# comment', 'é', '\ud800', '😀', '𝟏𝟐', '%s%n', '\\', 'null', '[]',
    '{}',
)
UNITS = (
    'mL', 'g', 'kg', '°C', 'K', 'F', 'mol/L', 's', 'min', 'ms', 'kJ/mol', 'L', '%', '(g)', '[mL]',
    '/ mg',
)
NUMBERS = (
    'nan', 'inf', '-inf', '1e309', '-1e309', '1e308', '-1e308', '1e-300', '4.9e-324', '-0.0', '0',
    '1', '-1', '0.5', '1e-9', '1e9', '1e15', '-273.15', "9" * 25, "-" + "9" * 25,
    '9223372036854775807', '2147483648', 'x', '',
)
# fmt: on


def damage_rows(rows: list[list[str]], rng: random.Random) -> list[list[str]]:
    """A table's cells changed as a person, a program or an enemy might."""
    rows = [list(row) for row in rows]
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        r = rng.randrange(1, len(rows)) if len(rows) > 1 else 0
        c = rng.randrange(len(rows[0]))
        match rng.randrange(12):
            case 0 | 1 | 2 | 3:
                _put(rows, r, c, rng.choice(HOSTILE))
            case 4:
                _put(rows, r, c, _number_like(_get(rows, r, c), rng))
            case 5:
                _put(rows, r, c, f"{_get(rows, r, c)} {rng.choice(UNITS)}")
            case 6:
                other = rng.randrange(len(rows[0]))
                one, two = _get(rows, r, c), _get(rows, r, other)
                _put(rows, r, c, two)
                _put(rows, r, other, one)
            case 7:
                _put(
                    rows,
                    0,
                    c,
                    rng.choice(
                        (*HOSTILE, *UNITS, _get(rows, 0, c) + " (g)", "u_" + _get(rows, 0, c))
                    ),
                )
            case 8:
                rows.insert(r, list(rows[r]))
            case 9:
                for row in rows:
                    del row[c : c + 1]
                if not rows[0]:
                    rows[0] = ["run"]
            case 10:
                rows.insert(rng.randrange(len(rows)), [rng.choice(HOSTILE) for _ in rows[0]])
            case 11:
                _put(rows, 0, c, _get(rows, 0, rng.randrange(len(rows[0]))))
    return rows


def _get(rows: list[list[str]], r: int, c: int) -> str:
    return rows[r][c] if r < len(rows) and c < len(rows[r]) else ""


def _put(rows: list[list[str]], r: int, c: int, text: str) -> None:
    rows[r] += [""] * (c + 1 - len(rows[r]))
    rows[r][c] = text


def _number_like(text: str, rng: random.Random) -> str:
    try:
        value = float(text)
    except ValueError:
        return rng.choice(NUMBERS)
    factor = rng.choice((1000, 0.001, 10, 0.1, -1, 0, 1e-6, 1e12))
    return rng.choice(
        (f"{value * factor:g}", f"{value + 273.15:g}", f"{value:g}".replace(".", ","), text[::-1])
    )


def as_text(rows: list[list[str]], rng: random.Random, delimiter: str = ",") -> bytes:
    """Rows as a text file, now and then in another form."""
    if rng.random() < 0.1:
        delimiter = rng.choice((";", "\t", "|", " "))
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter, lineterminator=rng.choice(("\n", "\n", "\r\n", "\r")),
                        quoting=csv.QUOTE_NONE if rng.random() < 0.05 else csv.QUOTE_MINIMAL, escapechar="\\")  # fmt: skip
    writer.writerows(rows)
    encoding = rng.choice(("utf-8",) * 8 + ("utf-16", "cp1252", "utf-8-sig"))
    raw = stream.getvalue().encode(encoding, "surrogatepass" if encoding == "utf-8" else "replace")
    return damage_bytes(raw, rng) if rng.random() < 0.15 else raw


def damage_bytes(raw: bytes, rng: random.Random) -> bytes:
    """Bits flipped, cut, doubled, or hostile text put in."""
    data = bytearray(raw)
    for _ in range(rng.choice((1, 1, 2, 5))):
        at = rng.randrange(len(data) + 1)
        match rng.randrange(5):
            case 0 if data:
                data[at % len(data)] ^= 1 << rng.randrange(8)
            case 1:
                del data[at:]
            case 2:
                data[at:at] = data[at : at + rng.randrange(200)]
            case 3:
                del data[at : at + rng.randrange(50)]
            case _:
                data[at:at] = rng.choice(HOSTILE).encode("utf-8", "surrogatepass")
    return bytes(data)


def damage_json(found: object, rng: random.Random) -> object:
    """One value anywhere in it replaced, taken away or doubled."""
    odd: tuple[object, ...] = (None, True, -1, 0, 2**64, 1e308, -1e-300, "", "x", "\x00", "\ud800", [], {}, [[]],
                               {"a": []}, [1, 2], "2026-99-99", rng.choice(HOSTILE), "9" * 30)  # fmt: skip
    places: list[tuple[dict | list, object]] = []
    todo: list[object] = [found]
    while todo:
        one = todo.pop()
        keys = (
            list(one) if isinstance(one, dict) else range(len(one)) if isinstance(one, list) else ()
        )
        for key in keys:
            places.append((one, key))  # type: ignore[arg-type]
            todo.append(one[key])  # type: ignore[index]
    if not places or rng.random() < 0.02:
        return rng.choice(odd)
    holder, key = rng.choice(places)
    kind = rng.randrange(6)
    if kind == 0 and isinstance(holder, dict):
        del holder[key]  # type: ignore[arg-type]
    elif kind == 1 and isinstance(holder, list):
        holder.append(holder[key])  # type: ignore[index]
    else:
        holder[key] = rng.choice(odd)  # type: ignore[index,call-overload]
    return found


def words_of(rng: random.Random, *sound: str) -> list[str]:
    """Words of a portion or an equation, some replaced, doubled or taken away."""
    words = rng.choice(sound).split(" ")
    for _ in range(rng.randint(1, 2)):
        at = rng.randrange(len(words))
        new = (
            rng.choice(HOSTILE),
            rng.choice(UNITS),
            words[at] * 2,
            "",
            words[at][::-1],
            rng.choice(NUMBERS),
        )
        words[at] = rng.choice(new)
    return [" ".join(words).replace("\x00", "")]
