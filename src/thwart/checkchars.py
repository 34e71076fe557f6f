"""Check characters of labels and cards: ISO/IEC 7064, Luhn (ISO/IEC 7812-1) and GS1 modulo 10. Pure.

Checked against the reference library python-stdnum in `tests/unit/test_checkchars.py`.
"""

from __future__ import annotations

from collections.abc import Callable

_DIGITS = "0123456789"
_ALNUM = _DIGITS + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def _values(text: str, alphabet: str) -> list[int]:
    """Raises ValueError for a character outside the alphabet."""
    return [alphabet.index(c) for c in text]


def _pure(alphabet: str, modulus: int) -> Callable[[str], str]:
    """A pure system of ISO/IEC 7064 (radix 2): MOD 11-2 and MOD 37-2."""

    def check(text: str) -> str:
        rest = 0
        for value in _values(text, alphabet[: modulus - 1]):
            rest = (rest + value) * 2 % modulus
        return alphabet[(1 - rest) % modulus]

    return check


def _hybrid(alphabet: str) -> Callable[[str], str]:
    """A hybrid system of ISO/IEC 7064: MOD 11,10 and MOD 37,36."""
    modulus = len(alphabet)

    def check(text: str) -> str:
        rest = modulus
        for value in _values(text, alphabet):
            rest = ((rest + value) % modulus or modulus) * 2 % (modulus + 1)
        return alphabet[(1 - rest) % modulus]

    return check


def _mod97(text: str) -> str:
    number = int("".join(str(v) for v in _values(text, _ALNUM)) or "0")
    return f"{98 - number * 100 % 97:02d}"


def _luhn(text: str) -> str:
    total = 0
    for place, value in enumerate(reversed(_values(text, _DIGITS))):
        total += sum(divmod(value * 2, 10)) if place % 2 == 0 else value
    return _DIGITS[-total % 10]


def _gs1(text: str) -> str:
    total = sum(v * (3 if place % 2 == 0 else 1) for place, v in enumerate(reversed(_values(text, _DIGITS))))
    return _DIGITS[-total % 10]


#: Scheme → check character(s) of a payload. Each raises ValueError for a character the scheme doesn't know.
SCHEMES: dict[str, Callable[[str], str]] = {
    "mod-11-2": _pure(_DIGITS + "X", 11),
    "mod-37-2": _pure(_ALNUM + "*", 37),
    "mod-11-10": _hybrid(_DIGITS),
    "mod-37-36": _hybrid(_ALNUM),
    "mod-97-10": _mod97,
    "luhn": _luhn,
    "gs1": _gs1,
}
