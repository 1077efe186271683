"""What may hurt somebody is said before anything else, on the paths of errors too."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from calib.cli.output import Output, say_on

if TYPE_CHECKING:
    from calib.hazards.asking import Hazard

_asked: list[dict[str, Any]] = []


def forget() -> None:
    """Begin a command: nothing was asked yet."""
    _asked.clear()


def ask_first(out: Output, hazards: Sequence[Hazard]) -> None:
    """Say the hazards of what the command was given; raise HazardError where it is refused."""
    from calib.hazards.asking import refuse

    refuse(hazards)
    say_first(out, [one.to_json() for one in hazards])


def say_first(out: Output, hazards: Sequence[Mapping[str, Any]]) -> None:
    """Say what was not said yet: on stdout for people, on stderr beside a JSON object."""
    known = {one["happens"] for one in _asked}
    for one in hazards:
        if one["happens"] not in known:
            (out.note if out.as_json else out.say)(str(one["sentence"]))
            _asked.append(dict(one))


def before_error(hazards: Sequence[Any], message: str) -> dict[str, Any]:
    """Say on stderr what stands with an error; the JSON object's key ``hazards``, if there is any.

    A refusal's message begins with them itself; they are not said twice.
    """
    facts = [one.to_json() for one in hazards] or list(_asked)
    known = {one["happens"] for one in _asked}
    for one in facts:
        if not message.startswith(facts[0]["sentence"]) and one["happens"] not in known:
            say_on(sys.stderr, one["sentence"])
    return {"hazards": facts} if facts else {}
