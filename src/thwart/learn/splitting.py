"""A frame's bytes → words, numbers and what stands between them. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

#: How a number is written: with a point, a comma, without either (the decimals are implied), in hexadecimal (`-signed`: in
#: two's complement); or with
#: its decimal mark and then what parts groups of three digits. `filled`: dots, underscores or asterisks fill its columns.
Style = Literal[
    "point", "comma", "plain", "hex", "point-comma", "comma-point", "point-quote", "comma-quote", "point-space", "comma-space",
    "point-filled", "comma-filled", "plain-filled", "point-comma-filled", "comma-point-filled", "hex-signed",
]  # fmt: skip
STYLES: tuple[Style, ...] = get_args(Style)
_FILLED: frozenset[Style] = frozenset(style for style in STYLES if style.endswith("-filled"))
#: What may fill the columns before a number, but for spaces and zeros.
FILLS = b"._*"
_FILL = rb"(?<![0-9.,])(?:\.+|_+|\*+)(?=[0-9])"
_PLAINLY_FILLED = re.compile(rb"(?<![0-9.,])(?:\.{2,}|_{2,}|\*{2,})[0-9]")
#: Style → decimal mark, and what parts thousands.
MARKS: dict[Style, tuple[str, str]] = {
    "point": (".", ""), "comma": (",", ""), "plain": ("", ""), "hex": ("", ""), "point-comma": (".", ","),
    "comma-point": (",", "."), "point-quote": (".", "'"), "comma-quote": (",", "'"), "point-space": (".", " "),
    "comma-space": (",", " "), "point-filled": (".", ""), "comma-filled": (",", ""), "plain-filled": ("", ""),
    "point-comma-filled": (".", ","), "comma-point-filled": (",", "."), "hex-signed": ("", ""),
}  # fmt: skip

_NUMBERS = {
    "point": rb"[0-9]+(?:\.[0-9]*)?|\.[0-9]+",
    "comma": rb"[0-9]+(?:,[0-9]+)?|(?<= ),[0-9]+",
    "plain": rb"[0-9]+",
    "point-filled": rb"[0-9]+(?:\.[0-9]+)?",
    "comma-filled": rb"[0-9]+(?:,[0-9]+)?",
    "plain-filled": rb"[0-9]+",
    "hex": rb"(?<![A-Fa-f])(?:[0-9A-F]{2,}+(?![a-f])|[0-9a-f]{2,})",
}
_NUMBERS["hex-signed"] = _NUMBERS["hex"]
_GROUPED = {
    style: rb"[0-9]{1,3}(?:%b[0-9]{3})+(?![0-9])" % re.escape(group.encode())
    for style, (_, group) in MARKS.items() if group
}  # fmt: skip
for _style, _grouped in _GROUPED.items():
    _mark = re.escape(MARKS[_style][0].encode())
    _NUMBERS[_style] = rb"%b(?:%b[0-9]+)?|[0-9]+(?:%b[0-9]+)?" % (_grouped, _mark, _mark)
_SPLIT = {
    # A number, a word, a row of dashes, a piece of a gap, any other byte.
    style: re.compile(
        rb"(" + number + rb")|([A-Za-z]+)|([+-]{2,})|([ +-]" + (b"|" + _FILL if style in _FILLED else b"") + rb")|(.)",
        re.DOTALL,
    )
    for style, number in _NUMBERS.items()
}


@dataclass(frozen=True, slots=True)
class Split:
    """`cores` are words, single other bytes and numbers; `numbers` says which are numbers; `gaps` (one more than cores)
    hold the spaces, lone signs and fill characters around them. Joined in turn they are the frame again."""

    cores: tuple[bytes, ...]
    numbers: tuple[bool, ...]
    gaps: tuple[bytes, ...]

    @property
    def signature(self) -> tuple[bytes | None, ...]:
        """The words, None for a number: frames of one form share it."""
        return tuple(None if number else core for core, number in zip(self.cores, self.numbers, strict=True))


def parts_of(core: bytes, style: Style, *, backwards: bool) -> tuple[str, str, str]:
    """Whole part without what parts its thousands, decimal mark, decimals; in the order people read."""
    mark, group = MARKS[style]
    text = core.decode("latin-1")
    text = text[::-1] if backwards else text
    whole, point, rest = text.partition(mark) if mark else (text, "", "")
    return (whole.replace(group, "") if group else whole), point, rest


def styles_in(data: bytes) -> tuple[Style, ...]:
    """The styles that numbers in `data` could have."""
    filled = _PLAINLY_FILLED.search(data) is not None
    return tuple(
        style
        # Filled ones first: taken for words, fill characters would make a form of each number's length.
        for style in sorted(STYLES, key=lambda style: style not in _FILLED)
        if (filled or style not in _FILLED) and (style not in _GROUPED or re.search(_GROUPED[style], data))
    )


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
