"""Labels of containers and tags, and the grammar of command cards. Pure.

A label is a template: `#` a digit, `@` a capital letter, `?` the check character(s) at the end, anything else itself.
The run of `#` counts. So what a template admits is known exactly, position by position, and a label that could be taken
for a card is refused when the protocol is loaded.

A card is `ACT.` + the words of an act joined by `.` + `.` + the ISO/IEC 7064 MOD 37,36 check character over the letters
and digits before it: `ACT.MISSING.OTOLITH.BROKEN.` and its check character. A measurand with side and replicate is so
many words on a card (`ACT.AS.GONAD_MASS.LEFT.`), and acts take it in words as well as with dots.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from ..checkchars import SCHEMES

CARD_PREFIX = "ACT."
_CARD_SCHEME = SCHEMES["mod-37-36"]
_CARD_WORD = re.compile(r"[A-Za-z0-9_-]+|[A-Za-z][A-Za-z0-9_-]*(?:\.[A-Za-z0-9_-]+)+")
_DIGITS = frozenset("0123456789")
_LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_CHECKS = _DIGITS | _LETTERS | {"*"}


class LabelError(ValueError):
    """Why a text is no label or no card; `code` is the reason."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Template:
    """A label template with its check scheme (None: no check character). `text` ends with `?` where there is one."""

    text: str
    scheme: str | None

    def __post_init__(self) -> None:
        body = self.text.rstrip("?")
        marks = len(self.text) - len(body)
        if "?" in body:
            raise LabelError("check-inside")
        if marks != (0 if self.scheme is None else 2 if self.scheme == "mod-97-10" else 1):
            raise LabelError("check-length")
        if "#" not in body:
            raise LabelError("no-digits")
        if set(body[body.index("#") : body.rindex("#") + 1]) != {"#"}:
            raise LabelError("two-runs")

    def admits(self) -> tuple[frozenset[str], ...]:
        """For each position the characters that may stand there."""
        return _admitted(self.text)

    def could_be_card(self) -> bool:
        """Whether any label of this template starts like a card."""
        admits = self.admits()
        return len(admits) >= len(CARD_PREFIX) and all(
            any(c == one.upper() for one in s) for c, s in zip(CARD_PREFIX, admits, strict=False)
        )

    def overlaps(self, other: Template) -> bool:
        """Whether some text could be a label of both."""
        mine, theirs = self.admits(), other.admits()
        return len(mine) == len(theirs) and all(a & b for a, b in zip(mine, theirs, strict=True))

    def fits(self, text: str) -> bool:
        """Whether `text` is a label of this template."""
        try:
            self.read(text)
        except LabelError:
            return False
        return True

    def read(self, text: str) -> str:
        """The label if `text` is one. Raises LabelError: `not-a-label`, or `check` where only that is wrong."""
        admits = self.admits()
        if len(text) != len(admits) or not all(c in s for c, s in zip(text, admits, strict=True)):
            raise LabelError("not-a-label")
        if self.scheme is not None:
            body = text[: len(self.text.rstrip("?"))]
            if self._check(body) != text[len(body) :]:
                raise LabelError("check")
        return text

    def _check(self, body: str) -> str:
        if self.scheme is None:
            return ""
        wanted = _DIGITS if self.scheme in ("mod-11-2", "mod-11-10", "luhn", "gs1") else _DIGITS | _LETTERS
        return SCHEMES[self.scheme]("".join(c for c in body if c in wanted))

    def count(self, label: str) -> int:
        """The running number inside a label."""
        start, end = self.text.index("#"), self.text.rindex("#") + 1
        return int(label[start:end])

    def moved(self, label: str, by: int) -> str | None:
        """The label `by` steps on in its series, or None where the series ends."""
        start, end = self.text.index("#"), self.text.rindex("#") + 1
        number = int(label[start:end]) + by
        if not 0 <= number < 10 ** (end - start):
            return None
        body = label[:start] + f"{number:0{end - start}d}" + label[end : len(self.text.rstrip("?"))]
        return body + self._check(body)


@cache
def _admitted(text: str) -> tuple[frozenset[str], ...]:
    sets = {"#": _DIGITS, "@": _LETTERS, "?": _CHECKS}
    return tuple(sets.get(c, frozenset(c)) for c in text)


def card(words: tuple[str, ...] | list[str]) -> str:
    """The text of the card for an act; `gonad_mass.left` becomes two words. Raises ValueError for an empty act or a word no card can hold."""
    if not words or not all(_CARD_WORD.fullmatch(word) for word in words):
        raise ValueError(
            f"{' '.join(words)!r}: a card holds words of letters, digits, - and _, and names with dots in them"
        )
    body = CARD_PREFIX + ".".join(word.upper() for word in words) + "."
    return body + _card_check(body)


def _card_check(body: str) -> str:
    return _CARD_SCHEME("".join(c for c in body.upper() if c in _DIGITS or c in _LETTERS))


def is_card(text: str) -> bool:
    """Whether a scan claims to be a card."""
    return text.upper().startswith(CARD_PREFIX)


def read_card(text: str) -> list[str]:
    """The words of a card, in lower case. Raises LabelError `check` or `card-form`."""
    body, dot, check = text.rpartition(".")
    if not dot or len(check) != 1 or len(body) < len(CARD_PREFIX):
        raise LabelError("card-form")
    if _card_check(body + ".") != check.upper():
        raise LabelError("check")
    words = body[len(CARD_PREFIX) :].lower().split(".")
    if not all(words):
        raise LabelError("card-form")
    return words
