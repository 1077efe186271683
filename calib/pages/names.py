"""Names of groups on a page: shown, replaceable by numbers, or left out of the file altogether.

A name can stand elsewhere than in a label: in a curve file's name, in a cell that could not be
read, in the label of a row that was not used. Where names are left out, whatever a sentence quotes
from the table or names as a file is left out with them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from markupsafe import Markup, escape


class Naming:
    """Numbers the labels of runs from 1 and shows or hides them."""

    def __init__(
        self, labels: Sequence[str], *, anonymous: bool = False, unused: Sequence[str] = ()
    ) -> None:
        self.anonymous = anonymous
        self._number = {label: number for number, label in enumerate(labels, 1)}
        everywhere = (*labels, *unused) if anonymous else labels
        named = [label for label in everywhere if re.search(r"[^\W\d_]", label)]
        longest_first = sorted(named, key=len, reverse=True)
        self._any = _words(longest_first) if named else None

    def shown(self, label: str) -> str:
        """What stands for the label: itself, or its number as text."""
        return str(self._number[label]) if self.anonymous else label

    def shown_text(self, label: str) -> str:
        """As `shown`, for a label that may not be among the numbered ones."""
        if not self.anonymous:
            return label
        number = self._number.get(label)
        return "a row" if number is None else str(number)

    def masked(self, text: str, label: str | None = None) -> Markup:
        """A text in which labels of groups can be replaced by numbers, escaped.

        Args:
            text: a sentence that may name groups.
            label: look for this label only; None looks for every label that holds a letter.
        """
        if self.anonymous:
            text, label = _unquoted(text), None
        pattern = self._any if label is None else _words([label])
        if pattern is None or (label is not None and not re.search(r"[^\W\d_]", label)):
            return escape(text)
        out, at = Markup(""), 0
        for match in pattern.finditer(text):
            number = self._number.get(match.group(0))
            if number is None:  # a row that was not used
                out += escape(text[at : match.start()]) + "a row"
                at = match.end()
                continue
            name = str(number) if self.anonymous else match.group(0)
            out += escape(text[at : match.start()])
            out += Markup('<span class="who" data-number="{}">{}</span>').format(number, name)
            at = match.end()
        return out + escape(text[at:])


def _unquoted(text: str) -> str:
    """A sentence without what it quotes from the table, and without the names of files."""
    text = re.sub(r"(?<!\w)(['\"])(?:(?!\1).)*\1(?!\w)", "…", text)
    text = re.sub(r"(?:^|(?<=; ))[^:;,]*\.[A-Za-z]{2,4}(?=[,:;])", "a file", text)
    return re.sub(r"[^\s'\",;:()]+(?:[/\\][^\s'\",;:()]+|\.[A-Za-z]{2,4}\b)", "a file", text)


def _words(labels: Sequence[str]) -> re.Pattern[str]:
    return re.compile(r"(?<!\w)(?:" + "|".join(map(re.escape, labels)) + r")(?!\w)")
