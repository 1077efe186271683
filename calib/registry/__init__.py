"""Where constants are kept, with their history.

>>> from calib.registry import open_registry
>>> with open_registry(":memory:") as registry:
...     registry.register("H1", "double foam cup, foam lid").kind
'double foam cup, foam lid'
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from calib.registry.errors import NoConstant, RegistryError, UnknownApparatus
from calib.registry.records import (
    Apparatus,
    AuditLine,
    NewConstant,
    NewResult,
    StoredConstant,
    StoredResult,
)

if TYPE_CHECKING:
    from calib.registry.listing import Listing, list_constants
    from calib.registry.pooling import KindPooled
    from calib.registry.store import Registry, open_registry

__all__ = [
    "Apparatus",
    "AuditLine",
    "KindPooled",
    "Listing",
    "NewConstant",
    "NewResult",
    "NoConstant",
    "Registry",
    "RegistryError",
    "StoredConstant",
    "StoredResult",
    "UnknownApparatus",
    "list_constants",
    "open_registry",
]

_HOMES = {
    "KindPooled": "pooling",
    "Listing": "listing",
    "Registry": "store",
    "list_constants": "listing",
    "open_registry": "store",
}


def __getattr__(name: str) -> Any:  # SQLAlchemy loads only for those who open a registry
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(f"calib.registry.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
