"""What was seen: bytes, and what the instrument showed while they came."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

from .. import units
from ..errors import ConfigError, ThwartError

Shown = Literal["ok", "zero", "moving", "overload", "underload", "error", "nothing"]
CONDITIONS: Final[tuple[Shown, ...]] = ("ok", "zero", "moving", "overload", "underload", "error", "nothing")
#: With these the instrument shows a number.
NUMBERED: Final = frozenset(("ok", "zero", "moving"))
HEADER: Final = ["offset", "value", "unit", "condition"]
_NUMBER = re.compile(r"([+-]?) *(\d+(?:[.,]\d*)?|[.,]\d+)")
#: A number with its thousands apart, where that can be told from its decimals: two kinds of mark, or one kind twice.
_GROUPED = re.compile(r"([+-]?) *(\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:(?P<mark>[.,])\d{3})(?:(?P=mark)\d{3})+"
                      r"|\d{1,3}(?:[' ]\d{3})+(?:[.,]\d+)?)")  # fmt: skip
#: And one where it can't.
_EITHER = re.compile(r"([+-]?) *(\d{1,3})[.,](\d{3})")
_JOINED = re.compile(r"([+-]?) *(\d+) *([A-Za-z]*)[ :]+(\d+(?:[.,]\d+)?) *([A-Za-z]*)")
#: What the smaller unit of a value in two units is, by the larger one.
PAIRS: Final = (("[lb_av]", "[oz_av]"), ("[ft_i]", "[in_i]"), ("kg", "g"), ("m", "cm"), ("m", "mm"), ("cm", "mm"))


@dataclass(frozen=True, slots=True)
class Observation:
    """One row of what was shown: bytes from `offset` up to `end` came then. `number` counts rows from 1.

    `text` is what was typed; `value` its number in `unit` (UCUM), both None where nothing or an identifier was shown.
    """

    number: int
    offset: int
    end: int
    text: str
    value: Decimal | None
    unit: str | None
    condition: Shown

    def __str__(self) -> str:
        shown = " ".join(part for part in (self.text, self.unit or "") if part) or "no value"
        return f"row {self.number} ({shown}, {self.condition}, bytes {self.offset} to {self.end})"


@dataclass(frozen=True, slots=True)
class Evidence:
    """All bytes, what was shown meanwhile, and (where it is known) the silences: (offset, milliseconds before it)."""

    data: bytes
    observations: tuple[Observation, ...]
    silences: tuple[tuple[int, float], ...] = ()


def regrouped(observations: Sequence[Observation]) -> tuple[Observation, ...] | None:
    """The rows with `1,234` and `1.234` taken for more than a thousand; None where nothing like it was typed."""
    out = tuple(
        replace(o, value=Decimal(match[1] + match[2] + match[3])) if (match := _EITHER.fullmatch(o.text)) else o
        for o in observations
    )
    return out if out != tuple(observations) else None


def surely_grouped(observations: Sequence[Observation]) -> bool:
    """Whether a mark before three digits parts thousands: smaller values were shown without it and without decimals.

    A display that drops zeros would show decimals of one and two digits as well, and `0,5` below one.
    """
    marked = {o.unit for o in observations if o.value is not None and _EITHER.fullmatch(o.text)}
    # In another unit there may be other decimals.
    texts = [o.text.lstrip("+- ") for o in observations if o.value is not None and o.unit in marked]
    either = [text for text in texts if _EITHER.fullmatch(text)]
    return bool(either) and all(
        (_EITHER.fullmatch(text) and text[0] != "0") or (text.isdigit() and len(text) < 4) for text in texts
    ) and len(either) < len(texts)  # fmt: skip


def parse_shown(text: str, size: int, where: str) -> tuple[Observation, ...]:
    """The rows of a `--shown` file about `size` bytes. Raises ConfigError with every fault and its line."""
    rows = list(csv.reader(text.lstrip("\ufeff").splitlines()))
    if not rows or [cell.strip().lower() for cell in rows[0]] != HEADER:
        raise ConfigError(
            where, [f"{where}:1: the header must be {','.join(HEADER)}"],
            "one row for each thing the instrument showed: the offset of the first byte that came then, what it showed",
        )  # fmt: skip
    problems: list[str] = []
    found: list[Observation | int] = []
    for line, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            found.append(_observation(len(found) + 1, row, size, _begin(found[-1]) if found else 0))
        except ThwartError as wrong:
            problems.append(f"{where}:{line}: {wrong.message}")
    if problems:
        raise ConfigError(where, problems)
    if not any(isinstance(one, Observation) for one in found):
        raise ConfigError(where, [f"{where}: no row after the header"], "write a row for each thing that was shown")
    ends = [*(_begin(one) for one in found[1:]), size]
    return tuple(replace(one, end=end) for one, end in zip(found, ends, strict=True) if isinstance(one, Observation))


def _begin(row: Observation | int) -> int:
    return row if isinstance(row, int) else row.offset


def _observation(number: int, row: Sequence[str], size: int, before: int) -> Observation | int:
    """A row, or just its offset where nobody looked."""
    if len(row) != len(HEADER):
        raise ThwartError(f"needs {len(HEADER)} cells ({','.join(HEADER)}), has {len(row)}; quote a value with a comma")
    place, text, unit, condition = (cell.strip() for cell in row)
    if not place.isascii() or not place.isdigit():
        raise ThwartError(f"offset: {place!r} is no count of bytes")
    offset = int(place)
    if offset > size:
        raise ThwartError(f"offset: {offset} lies behind the capture's {size} bytes")
    if offset < before:
        raise ThwartError(f"offset: {offset} lies before the row above ({before}); rows go in order")
    if not (text or unit or condition):
        return offset
    if condition not in CONDITIONS:
        raise ThwartError(f"condition: {condition!r} is none of {', '.join(CONDITIONS)}")
    value, code = shown_value(text, unit)
    return Observation(number, offset, size, text, value, code, condition)


def shown_value(text: str, unit: str) -> tuple[Decimal | None, str | None]:
    """The number and the UCUM code of its unit. Raises ThwartError for a unit that isn't known."""
    if joined := _joined(text, unit):
        return joined
    code = units.ucum(unit) if unit else None
    if unit and code is None:
        raise ThwartError(f"unit: {unit!r} isn't known; known (UCUM codes): {', '.join(units.FACTORS)}")
    if grouped := _GROUPED.fullmatch(text):
        digits = grouped[2]
        last = max(digits.rfind("."), digits.rfind(","))
        point = last if grouped["mark"] is None and last >= 0 else len(digits)
        rest = digits[point + 1 :]
        return Decimal(grouped[1] + re.sub(r"\D", "", digits[:point]) + (f".{rest}" if rest else "")), code
    match = _NUMBER.fullmatch(text)
    return (Decimal(match[1] + match[2].replace(",", ".")) if match else None), code


def _joined(text: str, unit: str) -> tuple[Decimal, str] | None:
    """A value in two units (`2 lb 3.5 oz`, or `2 3.5` with the unit `lb oz`), in the smaller one."""
    match = _JOINED.fullmatch(text)
    if match is None:
        return None
    sign, major, first, minor, second = match.groups()
    named = (first, second) if first else tuple(unit.replace(",", " ").split())
    codes = tuple(units.ucum(name) for name in named)
    for big, small in PAIRS:
        if codes in ((big, small), (big,)):
            ratio = units.FACTORS[big][1] / units.FACTORS[small][1]
            total = Decimal(major) * ratio + Decimal(minor.replace(",", "."))
            return (-total if sign == "-" else total), small
    return None
