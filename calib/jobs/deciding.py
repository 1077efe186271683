"""Decisions about stored constants: put in force, withdraw, and what each of them changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from calib.errors import InputError

if TYPE_CHECKING:
    from calib.registry import StoredConstant, StoredResult
    from calib.registry.validation import Unreadable


def approve_drafts(
    numbers: Sequence[int],
    registry: str | None = None,
    *,
    reason: str = "",
    valid_from: date | None = None,
    in_place_of: int | None = None,
    by: str | None = None,
) -> list[tuple[StoredConstant, tuple[StoredConstant, ...]]]:
    """Put drafts in force, all or none; each with the constants that it superseded.

    Raises:
        InputError: ``in_place_of`` with more than one draft.
        RegistryError: a number is no draft, failed its checks without a reason, or does not take
            over from ``in_place_of``.
    """
    from calib.registry import open_registry

    if in_place_of is not None and len(numbers) != 1:
        raise InputError("--in-place-of goes with one NUMBER; nothing was changed")
    with open_registry(registry, create=False) as store:
        if in_place_of is not None:
            done = [store.supersede(in_place_of, numbers[0], by, reason, valid_from=valid_from)]
        else:
            done = [*store.approve_all(numbers, by, reason, valid_from=valid_from)]
        every = store.constants()
    return [(kept, tuple(old for old in every if old.superseded_by == kept.id)) for kept in done]


def withdraw_constant(
    number: int, registry: str | None = None, *, reason: str, by: str | None = None
) -> tuple[StoredConstant | Unreadable, tuple[StoredResult, ...]]:
    """Take a constant out of use; it (or why it cannot be read), and what rests on it.

    Raises RegistryError: there is no such constant, no reason, or it is withdrawn already.
    """
    from calib.registry import open_registry

    with open_registry(registry, create=False) as store:
        return store.withdraw(number, reason, by), store.impact(number)
