"""Whether bytes heard from a line make sense as text, and what they say of the line's settings. Pure."""

from __future__ import annotations

import re
from typing import Literal

#: Controls that instruments frame their text with.
_CONTROLS = b"\r\n\t\x02\x03\x04\x0c\x1d\x1e"
#: A check byte in every frame may be any byte; more strange ones than these are no text.
_MOST_STRANGE = 0.1
#: Fewer bytes prove nothing.
FEWEST_BYTES = 4
_WORD = re.compile(rb"[0-9]{2}|[0-9][.,][0-9]|[A-Za-z]{2}|[0-9A-Za-z][\r\n\x03]")


def makes_sense(data: bytes) -> bool:
    """Whether `data` reads as text: hardly a byte that text doesn't have, and digits or words in it."""
    if len(data) < FEWEST_BYTES or not _WORD.search(data):
        return False
    strange = sum(not (0x20 <= byte < 0x7F or byte in _CONTROLS) for byte in data)
    return strange <= _MOST_STRANGE * len(data)


def format_of(data: bytes) -> tuple[Literal[7], Literal["even", "odd", "mark"]] | None:
    """Data bits and parity, where bytes heard with eight data bits and no parity are text of seven with a parity bit.

    The eighth bit is then the parity of the other seven in every byte. None where that isn't so.
    """
    high = sum(byte >> 7 for byte in data)
    if not high or not makes_sense(bytes(byte & 0x7F for byte in data)):
        return None
    odd = sum(byte.bit_count() & 1 for byte in data)
    if high == len(data):
        return 7, "mark"
    if odd == 0:
        return 7, "even"
    return (7, "odd") if odd == len(data) else None
