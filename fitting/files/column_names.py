"""What a column's name says: time or temperature, in which unit, of which run."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fitting.files.units import CLOCK_PARTS, plain, temperature_unit, time_unit


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# Common words of English, German, French, Spanish and Italian headers.
_TIME = _words(
    "time times timestamp datetime clock elapsed date seconds minutes hours duration zeit "
    "uhrzeit zeitpunkt zeitstempel messzeit datum sekunden minuten stunden dauer temps heure "
    "horodatage instant secondes duree tiempo hora fecha segundos minutos duracion tempo ora "
    "orario secondi minuti durata"
)
_DATE = _words("date datum fecha jour giorno")
_TEMPERATURE = _words(
    "temp tmp theta thermocouple thermoelement thermometer thermometre termometro thermistor "
    "thermistance termistor termopar termocoppia tc pt100 pt1000 celsius fahrenheit kelvin θ "
    "ϑ"
)
_PROBE = _words(
    "probe sensor sonde sonda fuhler kanal channel ch canal canale messwert wert value "
    "reading valeur valor valore lettura lectura lecture messfuhler sensore capteur"
)
_INDEX = _words(
    "index no nr num number nummer numero n sample samples point record scan row id messpunkt "
    "punkt indice muestra campione lfd zeile"
)
_ROOM = _words(
    "room amb ambient ambiant ambiante ambiente ambiental air raum luft umgebung aussen salle "
    "piece sala aria aire set setpoint target soll sollwert consigne bath bad bain bano bagno"
)
_RUN = _words(
    "run trial experiment exp test versuch messung lauf reihe messreihe durchgang essai "
    "mesure manip serie series ensayo medida prueba corrida prova misura replicate rep group "
    "gruppe groupe grupo gruppo bench set cup becher container"
)
_CLOCK_FORM = re.compile(
    r"[(\[]?\b(h{1,2}:m(?:m|in)?(?::ss?)?|m(?:m|in)?:s{1,2}(?:\.\w+)?)\b[)\]]?", re.I
)
_RUN_LABEL = re.compile(
    rf"\b({'|'.join(sorted(_RUN))})[\s#_.:\-]*(?:no|nr)?[\s#_.:\-]*(\d+|[a-z])(?![a-z0-9])"
)


@dataclass(frozen=True)
class Meaning:
    """What a header says about one column.

    ``quantity`` is ``time``, ``temperature``, ``index``, ``run``, ``other`` (some other unit) or
    empty; ``unit`` is one of the names in `fitting.files.units`, or the text of another unit;
    ``run`` a label such as ``run 1`` or ``2``; ``room`` marks temperatures beside the cup's;
    ``probe`` a name that could be a temperature's; ``dated`` a column of dates.
    """

    name: str
    quantity: str = ""
    unit: str = ""
    run: str = ""
    room: bool = False
    probe: bool = False
    dated: bool = False


def describe(name: str, unit_cell: str = "", group: str = "") -> Meaning:
    """Read a column's name, with the cell of a unit row below it and of a run row above it.

    >>> time = describe("Run 1 time / min")
    >>> time.quantity, time.unit, time.run
    ('time', 'min', 'run 1')
    >>> describe("T1 (°C)").quantity, describe("T1 (°C)").unit, describe("T1 (°C)").run
    ('temperature', '°C', '1')
    """
    stem, unit = _stem_and_unit(name)
    if unit_cell.strip(" ()[]{}-"):
        unit = time_unit(unit_cell) or temperature_unit(unit_cell) or unit or unit_cell
    tokens = _tokens(stem)
    said = _quantity_of_words(stem, tokens)
    measured = _quantity_of_unit(unit)
    quantity = measured or ("other" if unit else said)
    if said == "other" and measured == "temperature":
        quantity = "other"  # a difference of temperatures is no reading
    if said in ("index", "run") and not unit:
        quantity = said
    run = _run_label(group) or _run_label(stem) or _trailing_digits(stem, tokens)
    full = f"{group}: {name}" if group and _run_label(group) else name
    return Meaning(
        name=full,
        quantity=quantity,
        unit=unit,
        run=run,
        room=any(token in _ROOM or token.startswith(("raum", "umgebung")) for token in tokens),
        probe=any(token in _PROBE for token in tokens),
        dated=bool(tokens) and all(token in _DATE for token in tokens),
    )


def _quantity_of_unit(unit: str) -> str:
    if unit in CLOCK_PARTS or time_unit(unit):
        return "time"
    return "temperature" if temperature_unit(unit) else ""


def _stem_and_unit(name: str) -> tuple[str, str]:
    """The name without its unit, and the unit: in brackets, after a slash, after "in", or last."""
    clock = _CLOCK_FORM.search(name)
    if clock:
        form = "min:s" if clock[1][0] in "mM" else "h:min"
        return (name[: clock.start()] + name[clock.end() :]).strip(" /"), form
    for match in re.finditer(r"[(\[{<]([^()\[\]{}<>]*)[)\]}>]", name):
        unit = time_unit(match[1]) or temperature_unit(match[1])
        if unit:
            return (name[: match.start()] + " " + name[match.end() :]).strip(), unit
    match_ = re.search(r"[(\[]([^()\[\]]*)[)\]]\s*$", name)
    if match_ and _looks_like_other_unit(match_[1]):
        return name[: match_.start()].strip(), match_[1].strip()
    for pattern in (r"/\s*([^/]+)$", r"\s(?:in|en)\s+(.+)$"):
        after = re.search(pattern, name, re.IGNORECASE)
        if after and (time_unit(after[1]) or temperature_unit(after[1])):
            return name[: after.start()].strip(), time_unit(after[1]) or temperature_unit(after[1])
        if after and pattern[0] == "/" and _looks_like_other_unit(after[1]):
            return name[: after.start()].strip(), after[1].strip()
    return _unit_at_the_end(name)


def _unit_at_the_end(name: str) -> tuple[str, str]:
    """``time_s``, ``temp degC``, ``Temperature, °C``: a last word that agrees with the name."""
    whole = time_unit(name) or temperature_unit(name)
    if whole and (len(name.strip()) > 1 or name.strip() in "sCFK"):
        return ("" if len(plain(name)) < 4 else name), whole
    parts = re.split(r"[\s_,:;]+", name.strip())
    for count in (2, 1):
        stem, last = " ".join(parts[:-count]), " ".join(parts[-count:])
        said = _quantity_of_words(stem, _tokens(stem)) if stem else ""
        if said == "time" and time_unit(last):
            return stem, time_unit(last)
        if said == "temperature" and temperature_unit(last):
            return stem, temperature_unit(last)
        if re.search("[°º˚℃℉]", last) and temperature_unit(last):
            return stem, temperature_unit(last)
    camel = re.fullmatch(r"(?i:time|temp|temperature)(S|Sec|Min|Ms|C|F|K|degC|degF)", name.strip())
    if camel:
        return name[: camel.start(1)], time_unit(camel[1]) or temperature_unit(camel[1])
    return name, ""


def _looks_like_other_unit(text: str) -> bool:
    unit = text.strip()
    return bool(
        re.fullmatch(r"°\S*/\S+|K/\S+|m?V|m?A|m?W|k?Pa|h?Pa|m?bar|%.*|pH|m?L|k?g|lx|Hz|Ω|kΩ", unit)
    )


def _tokens(stem: str) -> list[str]:
    spaced = re.sub(r"([a-z])([A-Z])", r"\1 \2", stem)
    return re.findall(r"pt1000?|[^\W\d_]+|\d+", plain(spaced))


def _quantity_of_words(stem: str, tokens: list[str]) -> str:
    words = [token for token in tokens if not token.isdigit()]
    bare = re.split(r"[\s:,.\-]+", stem.strip())
    symbol = re.fullmatch(r"([Tt])(?:_\w{1,8}|\d{1,3})?", bare[-1] if bare else "")
    if symbol is None and len(bare) > 1:
        symbol = re.fullmatch(r"([Tt])", bare[-2])
    if re.search(r"[ΔΔ]|\bd[Tt]\b|\b[Dd]elta", stem) or {"ph", "volt", "voltage"} & set(words):
        found = "other"
    elif any(word in _TEMPERATURE or _is_temperature_word(word) for word in words):
        found = "temperature"
    elif any(word in _TIME or word.endswith("zeit") for word in words):
        found = "time"
    elif symbol:
        found = "temperature" if symbol[1] == "T" else "time"
    elif stem.strip() == "#" or (words and all(word in _INDEX for word in words)):
        found = "index"
    else:
        found = "run" if len(tokens) == 1 and tokens[0] in _RUN else ""
    return found


def _is_temperature_word(word: str) -> bool:
    return "temperat" in word or word.startswith(("thermo", "termo"))


def _run_label(text: str) -> str:
    match = _RUN_LABEL.search(plain(text))
    return f"{match[1]} {match[2]}" if match else ""


def _trailing_digits(stem: str, tokens: list[str]) -> str:
    if len(tokens) > 1 and tokens[-1].isdigit() and len(tokens[-1]) < 4:
        return str(int(tokens[-1]))
    match = re.search(r"(\d{1,3})\s*$", stem)
    return str(int(match[1])) if match and tokens and not tokens[-1].startswith("pt") else ""
