"""What a temperature would be that was typed in another unit than its column's."""

from __future__ import annotations

__all__ = ["KELVIN", "celsius_of", "from_fahrenheit"]

KELVIN = 273.15


def from_fahrenheit(value: float) -> float:
    """°F to °C."""
    return (value - 32.0) / 1.8


def celsius_of(value: float) -> tuple[tuple[str, float], ...]:
    """A number as °F and as kelvin, each in °C.

    >>> [(unit, round(t, 2)) for unit, t in celsius_of(69.8)]
    [('°F', 21.0), ('K', -203.35)]
    """
    return (("°F", from_fahrenheit(value)), ("K", value - KELVIN))
