"""Animal tags after ISO 11784: one tag, printed by readers in four forms, made one identifier of 15 digits. Pure.

The 64-bit code, highest bit first: animal flag (1), reserved (14), flag of a data block (1), country or manufacturer
(10), national part (38). Readers print it as 15 decimal digits (a separator after the third is common), as `3E7.1CBE991A14`
(both parts in hexadecimal), as 16 hexadecimal digits, or as those with all 64 bits reversed, as they come off the air.
"""

from __future__ import annotations

import re

#: The national part has 38 bits: a printed 12-digit part above this is no ISO tag.
LARGEST_NATIONAL = 2**38 - 1

_DECIMAL = re.compile(r"(\d{3})[ ._-]?(\d{12})")
_DOTTED = re.compile(r"([0-9A-F]{3})\.([0-9A-F]{10})")
_HEX = re.compile(r"[0-9A-F]{16}")
#: The top 16 bits of an animal's tag: animal flag set, reserved bits clear, with or without a data block.
_TOPS = (0x8000, 0x8001)


def canonical(printed: str) -> str | None:
    """The 15-digit identifier of a tag as printed, or None where it is no animal's ISO 11784 code or could be two.

    Sixteen hexadecimal digits are told from their reversal by the animal flag and the reserved bits; the rare code that
    fits both ways round is refused, for a wrong fish is worse than a second scan.
    """
    text = printed.strip().upper()
    if match := _DECIMAL.fullmatch(text):
        return _joined(int(match[1]), int(match[2]))
    if match := _DOTTED.fullmatch(text):
        return _joined(int(match[1], 16), int(match[2], 16))
    if _HEX.fullmatch(text):
        code = int(text, 16)
        both = (code, int(format(code, "064b")[::-1], 2))
        found = {_joined(c >> 38 & 0x3FF, c & LARGEST_NATIONAL) for c in both if c >> 48 in _TOPS} - {None}
        return found.pop() if len(found) == 1 else None
    return None


def _joined(country: int, national: int) -> str | None:
    if not 0 < country <= 999 or national > LARGEST_NATIONAL:
        return None
    return f"{country:03d}{national:012d}"
