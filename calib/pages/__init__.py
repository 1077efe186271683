"""Self-contained HTML pages: one curve, one class, one constant's certificate.

Import the functions from here; what they need is loaded when one of them is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.pages.one_class import class_page as class_page
    from calib.pages.one_constant import certificate_page as certificate_page
    from calib.pages.one_cooldown import cooldown_page as cooldown_page
    from calib.pages.one_curve import curve_page as curve_page
    from calib.pages.rendering import write_page as write_page

_WHERE = {
    "certificate_page": "calib.pages.one_constant",
    "class_page": "calib.pages.one_class",
    "cooldown_page": "calib.pages.one_cooldown",
    "curve_page": "calib.pages.one_curve",
    "write_page": "calib.pages.rendering",
}

__all__ = ["certificate_page", "class_page", "cooldown_page", "curve_page", "write_page"]


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
