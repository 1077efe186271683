"""From templates to one self-contained HTML text, and from there to a file.

The page loads nothing: styles, drawings and the one script are inside it, and a content security
policy in its head (W3C *Content Security Policy Level 3*, the meta element) forbids every request
and every script but the one whose hash it names.
"""

from __future__ import annotations

import base64
import hashlib
import re
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from calib.outputs import PAGE, TEMPLATES, Outputs, made_by, page_kind
from calib.version import __version__
from fitting.drawings.style import DARK, LIGHT
from fitting.files.outputs import BEGINNING

if TYPE_CHECKING:
    from jinja2 import Environment

_TEMPLATES = Path(__file__).parent / "templates"

_KIND = re.compile(r'<meta name="generator" content="cupledger [^":]*: ([^"]*)">')
_LOWERED = re.compile(r"_([A-Za-z0-9]+)")

SAFETY_SENTENCE = (
    "This list is a reminder and not a risk assessment: the safety data sheet of each substance, "
    "the local rules and the qualified staff in charge come first."
)


def render(template: str, *, script: str = "", **context: Any) -> str:
    """Fill a template of ``calib/pages/templates``.

    A value that is missing raises; every text is escaped unless it was made as `Markup` here.

    Args:
        template: file name in the folder of templates.
        script: file name of the page's one script; empty for none.
        context: what the template names.
    """
    code = (_TEMPLATES / script).read_text(encoding="utf-8").strip() if script else ""
    return (
        _environment()
        .get_template(template)
        .render(
            policy=_policy(code),
            script=Markup(code),
            style=Markup(_style()),
            version=__version__,
            made_by=made_by(TEMPLATES.get(template.partition(".")[0], "page")),
            safety_sentence=SAFETY_SENTENCE,
            **context,
        )
    )


def write_page(path: str | Path, html: str, *, outputs: Outputs | None = None) -> Path:
    """Write a page as UTF-8, whole or not at all; an older page of its kind is replaced.

    Which kind it is, the page says itself. ``outputs`` says what the call reads and whether a file
    of others may be replaced.

    Raises:
        OutputError: the file may not or cannot be written there.
    """
    kind = _KIND.search(html[:BEGINNING])
    return (outputs or Outputs()).write(page_kind(kind[1]) if kind else PAGE, path, html)


def _policy(code: str) -> str:
    scripts = "'none'"
    if code:
        digest = base64.b64encode(hashlib.sha256(code.encode("utf-8")).digest()).decode("ascii")
        scripts = f"'sha256-{digest}'"
    return (
        f"default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


@cache
def _style() -> str:
    text = (_TEMPLATES / "style.css").read_text(encoding="utf-8")
    light = " ".join(f"--{name}: {colour};" for name, colour in LIGHT.items())
    dark = " ".join(f"--{name}: {colour};" for name, colour in DARK.items())
    return text.replace("/*light*/", light).replace("/*dark*/", dark)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_kept_together,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(day=_day, equation=_equation, sentence=_sentence)
    return environment


def _kept_together(value: Any) -> Any:
    """A per cent sign stays on its number's line."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return value.replace(" %", "\N{NO-BREAK SPACE}%")
    return value


def _day(value: date | str | None) -> str:
    """An ISO 8601 date, or a dash."""
    if value is None or value == "":
        return "–"
    return value if isinstance(value, str) else value.isoformat()[:10]


def _equation(text: str) -> Markup:
    """An equation with its lowered indices: T_end, t_m."""
    return Markup(_LOWERED.sub(r"<sub>\1</sub>", str(escape(text))))


def _sentence(text: str) -> str:
    """A text that starts with a capital, unless with a symbol, and ends with a full stop."""
    trimmed = text.strip()
    if not trimmed:
        return ""
    first = trimmed.split(None, 1)[0]
    start = trimmed[0].upper() if first.isalpha() and len(first) > 1 else trimmed[0]
    return start + trimmed[1:] + ("" if trimmed.endswith((".", "!", "?")) else ".")
