"""Last digits that heap: chi-square over the digits 0 to 9, per measurer and instrument, excused by resolution. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from .numeric import chi_square_upper, six
from .specimen import Value

#: Counts at which the digits are looked at; at each the probability it takes.
LOOKS = (50, 100, 200, 400, 800, 1600)
RARE = 2e-4
#: The values must range over so many divisions; within fewer the digits aren't evenly spread anyway.
RANGE = 25.0


class Digits(msgspec.Struct, frozen=True):
    """Counts of last digits, the range of the values in divisions, and whether heaping was told."""

    counts: tuple[int, ...] = (0,) * 10
    low: int = 0
    high: int = 0
    told: bool = False

    @property
    def total(self) -> int:
        """How many values."""
        return sum(self.counts)


def whose(measurer: str, instrument: str, measurand: str) -> str:
    """The key of the digits of one measurand as one person reads them off one instrument (empty: by hand)."""
    return f"{measurer}|{instrument}|{measurand}" if instrument else f"{measurer}|{measurand}"


class Heaping(NamedTuple):
    """Digits that come too often, the chi-square and how probable as much is without preference."""

    digits: str
    chi_square: float
    probability: float


def last_digit(value: Value) -> int | None:
    """The last digit in steps of the division; without a division, of the digits as shown."""
    if value.division > 0.0:
        return round(value.value / value.division) % 10
    digits = [c for c in value.digits if c.isdigit()]
    return int(digits[-1]) if digits else None


def uniform(counts: Sequence[int]) -> tuple[float, float]:
    """Chi-square of `counts` against equal shares, and P(as much or more)."""
    expected = sum(counts) / len(counts)
    chi = sum((c - expected) ** 2 / expected for c in counts)
    return chi, chi_square_upper(chi, len(counts) - 1)


def follow_digits(digits: Digits, value: Value) -> tuple[Digits, Heaping | None]:
    """The counts after one more value, and what was found if it is time to look."""
    digit = last_digit(value)
    if digit is None:
        return digits, None
    counts = (*digits.counts[:digit], digits.counts[digit] + 1, *digits.counts[digit + 1 :])
    at = round(value.value / (value.division or 1.0))
    first = digits.total == 0
    new = Digits(counts, at if first else min(digits.low, at), at if first else max(digits.high, at), digits.told)
    if digits.told or new.total not in LOOKS or new.high - new.low < RANGE:
        return new, None
    chi, probability = uniform(counts)
    if probability >= RARE:
        return new, None
    often = [str(i) for i, c in enumerate(counts) if c > 1.5 * new.total / 10]
    return msgspec.structs.replace(new, told=True), Heaping(
        " ".join(often) or str(counts.index(max(counts))), six(chi), six(probability)
    )
