"""Units of time and temperature as people and loggers write them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from difflib import get_close_matches

from fitting.curve import FloatArray
from fitting.errors import CurveError

SECONDS = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "d": 86_400.0}
CLOCK_PARTS = ("h:min", "min:s")

_TIME_WORDS = {
    "s": "s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos seg "
    "secondo secondi sg",
    "ms": "ms msec msecs millisecond milliseconds millisekunden millisecondes milisegundos "
    "millisecondi",
    "min": "min mins minute minutes minuten minuto minutos minuti mn",
    "h": "h hr hrs hour hours std stunde stunden heure heures hora horas ora ore",
    "d": "d day days tag tage jour jours dia dias giorno giorni",
}
_TEMPERATURE_WORDS = {
    "°C": "c degc degreec degreesc degcelsius degreecelsius degreescelsius celsius centigrade "
    "gradc gradcelsius gradicelsius gradoscelsius gradocelsius gradic gradosc oc degresc "
    "degrescelsius degrecelsius cel",
    "°F": "f degf degreef degreesf fahrenheit degfahrenheit degreesfahrenheit gradf "
    "gradfahrenheit gradosfahrenheit of degresfahrenheit",
    "K": "k kelvin degk kelvins",
}
_TIME = {word: unit for unit, words in _TIME_WORDS.items() for word in words.split()}
_TEMPERATURE = {word: unit for unit, words in _TEMPERATURE_WORDS.items() for word in words.split()}

_TO_CELSIUS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "°C": lambda t: t,
    "°F": lambda t: (t - 32.0) / 1.8,
    "K": lambda t: t - 273.15,
}
_STEP_K = {"°C": 1.0, "°F": 1.0 / 1.8, "K": 1.0}


def plain(text: str) -> str:
    """The text in small letters without accents."""
    letters = unicodedata.normalize("NFKD", text)
    return "".join(c for c in letters if not unicodedata.combining(c)).casefold()


def _key(text: str) -> str:
    """A unit's letters; a degree sign, or whatever an encoding left of one, falls away."""
    compact = re.sub(r"[\s.]+", "", plain(text.replace("º", "°")))
    return re.sub(r"^[^a-z0-9]{1,3}|[^a-z0-9]{1,2}$", "", compact)


def time_unit(text: str) -> str:
    """``s``, ``ms``, ``min``, ``h`` or ``d`` for a word that means it, else an empty string.

    >>> time_unit("Sekunden"), time_unit("[min]"), time_unit("°C")
    ('s', 'min', '')
    """
    return _TIME.get(_key(text), "")


def temperature_unit(text: str) -> str:
    """``°C``, ``°F`` or ``K`` for a word that means it, else an empty string.

    >>> temperature_unit("deg C"), temperature_unit("Grad Celsius"), temperature_unit("°C/min")
    ('°C', '°C', '')
    """
    return _TEMPERATURE.get(_key(text), "")


def asked_time_unit(text: str) -> str:
    """The unit of time that a user asked for; also ``h:min`` and ``min:s`` for two-part times.

    Raises:
        CurveError: not a unit of time.
    """
    compact = text.replace(" ", "").casefold()
    if compact in CLOCK_PARTS:
        return compact
    unit = time_unit(text)
    if not unit:
        raise CurveError(
            f"time unit '{text}' is not known; expected s, ms, min, h, d, h:min or min:s"
            + _nearest(text, [*_TIME, *CLOCK_PARTS])
        )
    return unit


def asked_temperature_unit(text: str) -> str:
    """The unit of temperature that a user asked for.

    Raises:
        CurveError: not a unit of temperature.
    """
    unit = temperature_unit(text)
    if not unit:
        raise CurveError(
            f"temperature unit '{text}' is not known; expected °C, °F or K (C and F will do)"
            + _nearest(text, list(_TEMPERATURE))
        )
    return unit


def to_celsius(temperature: FloatArray, unit: str) -> FloatArray:
    """Temperatures in °C, from °C, °F or K (BIPM SI Brochure, 9th edition: t = T − 273.15 K)."""
    return _TO_CELSIUS[unit](temperature)


def step_in_kelvin(step: float, unit: str) -> float:
    """A temperature difference in kelvin."""
    return float(f"{step * _STEP_K[unit]:.6g}")


def _nearest(text: str, known: list[str]) -> str:
    close = get_close_matches(plain(text), known, n=1, cutoff=0.6)
    return f"; did you mean '{close[0]}'?" if close else ""
