"""The input quantities of one run, and readings as sums of them.

A reading is its value plus instrument errors, some of which other readings share (one thermometer's
offset, one balance's linearity). Each shared error is an input of its own, of value 0; a reading is
then a linear form in inputs, so that what is common to two readings cancels in their difference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.estimate import Estimate
from calib.uncertainty import Input

if TYPE_CHECKING:
    from calib.runs.reading import Part, Reading

__all__ = ["Quantities"]

Form = tuple[tuple[str, float], ...]


class Quantities:
    """Inputs by name, and named linear forms over them."""

    def __init__(self) -> None:
        self.inputs: dict[str, Input] = {}
        self.forms: dict[str, Form] = {}

    def copy(self) -> Quantities:
        """An independent copy; inputs themselves are immutable."""
        other = Quantities()
        other.inputs, other.forms = dict(self.inputs), dict(self.forms)
        return other

    def put(self, one: Input) -> None:
        """Add an input that is a quantity by itself."""
        self.inputs[one.name] = one
        self.forms[one.name] = ((one.name, 1.0),)

    def put_estimate(self, name: str, estimate: Estimate, key: str | None, label: str) -> None:
        """Add an input from an estimate; ``label`` is how the budget calls it."""
        self.put(Input(name, estimate.value, estimate.u, key=key, source=label))

    def put_reading(self, name: str, reading: Reading, label: str) -> None:
        """Add a reading: its own error under ``name``, each shared one under its key."""
        own = [part for part in reading.parts if part.key is None]
        source = f"{label}: {', '.join(part.name for part in own)}" if own else label
        shape: Any = "rectangular" if len(own) == 1 and " step" in own[0].name else "normal"
        self.inputs[name] = Input(name, reading.value, reading.u_own, source=source, shape=shape)
        self.forms[name] = ((name, 1.0), *self._shared(reading.shared, label))

    def put_errors(self, name: str, parts: Sequence[Part]) -> None:
        """A named form of shared errors alone, without a value of its own."""
        self.forms[name] = self._shared(parts)

    def _shared(self, parts: Sequence[Part], label: str = "") -> Form:
        form = []
        for part in parts:
            key = str(part.key)
            if key not in self.inputs:
                source = label if key.startswith("stock:") else part.name
                self.inputs[key] = Input(key, 0.0, part.u_delta, key=key, source=source)
            form.append((key, part.sensitivity))
        return tuple(form)

    def put_form(self, name: str, *terms: tuple[float, str]) -> None:
        """A quantity made of others: ``put_form("rise", (1, "final_C"), (-1, "cup_C"))``."""
        total: dict[str, float] = {}
        for factor, other in terms:
            for key, coefficient in self.forms[other]:
                total[key] = total.get(key, 0.0) + factor * coefficient
        self.forms[name] = tuple((key, c) for key, c in total.items() if c != 0.0)

    def add_to_form(self, name: str, factor: float, other: str) -> None:
        """Add a multiple of another quantity to an existing one."""
        self.put_form(name, (1.0, name), (factor, other))

    def of(self, x: Mapping[str, Any], name: str) -> Any:
        """The quantity's value for input values ``x``."""
        form = self.forms[name]
        total = form[0][1] * x[form[0][0]]
        for key, coefficient in form[1:]:
            total = total + coefficient * x[key]
        return total

    def value(self, name: str) -> float:
        """The quantity's estimate."""
        return float(sum(c * self.inputs[key].value for key, c in self.forms[name]))

    def inputs_used(self) -> tuple[Input, ...]:
        """Every input, in the order added."""
        return tuple(self.inputs.values())

    def change(self, name: str, **values: Any) -> None:
        """Replace fields of an input."""
        self.inputs[name] = replace(self.inputs[name], **values)
