"""A frame's bytes → words, numbers and what stands between them. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

#: How a number is written: with a point, a comma, without either (the decimals are implied), in hexadecimal.
Style = Literal["point", "comma", "plain", "hex"]
STYLES: tuple[Style, ...] = ("point", "comma", "plain", "hex")

_NUMBERS = {
    "point": rb"[0-9]+(?:\.[0-9]*)?|\.[0-9]+",
    "comma": rb"[0-9]+(?:,[0-9]+)?|(?<= ),[0-9]+",
    "plain": rb"[0-9]+",
    "hex": rb"(?<![A-Fa-f])(?:[0-9A-F]{2,}+(?![a-f])|[0-9a-f]{2,})",
}
_SPLIT = {
    # A number, a word, a row of dashes, a piece of a gap, any other byte.
    style: re.compile(rb"(" + number + rb")|([A-Za-z]+)|([+-]{2,})|([ +-])|(.)", re.DOTALL)
    for style, number in _NUMBERS.items()
}


@dataclass(frozen=True, slots=True)
class Split:
    """`cores` are words, single other bytes and numbers; `numbers` says which are numbers; `gaps` (one more than cores)
    hold the spaces and lone signs around them. Joined in turn they are the frame again."""

    cores: tuple[bytes, ...]
    numbers: tuple[bool, ...]
    gaps: tuple[bytes, ...]

    @property
    def signature(self) -> tuple[bytes | None, ...]:
        """The words, None for a number: frames of one form share it."""
        return tuple(None if number else core for core, number in zip(self.cores, self.numbers, strict=True))


def split(body: bytes, style: Style) -> Split:
    """Take a frame apart."""
    cores: list[bytes] = []
    numbers: list[bool] = []
    gaps = [b""]
    for match in _SPLIT[style].finditer(body):
        number, word, dashes, gap, other = match.groups()
        if gap is not None:
            gaps[-1] += gap
            continue
        cores.append(number or word or dashes or other)
        numbers.append(number is not None)
        gaps.append(b"")
    return Split(tuple(cores), tuple(numbers), tuple(gaps))
