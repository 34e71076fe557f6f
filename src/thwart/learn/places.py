"""Where in a form's frames the shown value stands: every account that fits what was shown. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property, lru_cache
from itertools import pairwise

from .. import units
from .evidence import NUMBERED, PAIRS, Observation
from .splitting import MARKS, Split, Style, parts_of

#: An instrument implies no more decimals than this.
_MOST_DECIMALS = 6
#: In a stretch where the display stood still, so few frames may differ: damaged ones.
_STRAY_SHARE = 0.2
_MARKED_BELOW = -2


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame's bytes without framing and check (`body`), as it came (`raw`), where, and what was shown meanwhile."""

    body: bytes
    raw: bytes
    offset: int
    seen: Observation | None


@dataclass(frozen=True, slots=True)
class Place:
    """An account of where the value is: core `at` (and `minor`, of two units), its digits' `columns` where others stand
    glued to them, the implied `decimals`, the `unit` it is in, and `sign`: the gap that holds its sign, if one was seen.
    `negative`: all values of the form were below zero, and what else marks it says so.
    """

    at: int
    columns: tuple[int, int] | None = None
    decimals: int | None = None
    unit: str | None = None
    sign: int | None = None
    minor: int | None = None
    compound: tuple[str, str] | None = None
    negative: bool = False


@lru_cache(maxsize=65536)
def magnitude(core: bytes, style: Style, backwards: bool, decimals: int | None) -> Decimal | None:
    """The number a core is, without sign (but for one in two's complement), or None."""
    if style in ("hex", "hex-signed"):
        value = int(core, 16)
        if style == "hex-signed" and core[:1] > b"7":
            value -= 1 << 4 * len(core)
        return Decimal(value).scaleb(-(decimals or 0))
    whole, point, rest = parts_of(core, style, backwards=backwards)
    text = whole + ("." if point else "") + rest
    if not re.fullmatch(r"[0-9]+\.?[0-9]*|\.[0-9]+", text):
        return None
    return Decimal(text).scaleb(-(decimals or 0))


def carve(one: Split, at: int, columns: tuple[int, int]) -> Split:
    """The core `at` cut into what stands before the columns, in them, and after them."""
    first, last = columns
    core = one.cores[at]
    parts = [core[:first], core[first:last], core[last:]]
    return Split(
        (*one.cores[:at], *parts, *one.cores[at + 1 :]),
        (*one.numbers[:at], True, True, True, *one.numbers[at + 1 :]),
        (*one.gaps[: at + 1], b"", b"", *one.gaps[at + 1 :]),
    )


class Group:
    """Frames of one form, taken apart the same way."""

    def __init__(self, frames: Sequence[Frame], splits: Sequence[Split]) -> None:
        self.frames = list(frames)
        self.splits = list(splits)

    @cached_property
    def valued(self) -> list[tuple[Split, Observation]]:
        """What the display's number is known for; the same frame in the same row once."""
        pairs = {
            (frame.body, frame.seen.number): (one, frame.seen)
            for frame, one in zip(self.frames, self.splits, strict=True)
            if frame.seen is not None and frame.seen.value is not None and frame.seen.condition in NUMBERED
        }
        return list(pairs.values())

    @cached_property
    def needed(self) -> set[int]:
        """Rows an account must explain."""
        return {seen.number for _, seen in self.valued}

    @property
    def conditions(self) -> set[str]:
        """What was shown while frames of this form came."""
        return {frame.seen.condition for frame in self.frames if frame.seen is not None}


def places(
    group: Group, style: Style, backwards: bool, unit: str | None, foreign: bool, known: Sequence[Place] = ()
) -> list[tuple[int, Place]]:
    """Accounts with the number of rows each explains, the best first; `unit` is meant where a row names none.

    `foreign` admits units that neither the rows nor the frames name. `known`: only these are tried.
    """
    valued = group.valued
    if not valued:
        return []
    found: list[tuple[int, Place]] = []
    for code in _units(group, unit, foreign):
        targets = [_target(seen, code, unit) for _, seen in valued]
        for place in known or _candidates(group, style, backwards, targets):
            here = replace(place, unit=None if place.compound else code)
            rows = _explained(group, here, style, backwards, targets)
            if rows is not None and rows[0]:
                negative = rows[1] == _MARKED_BELOW
                found.append((rows[0], replace(here, sign=None if negative else rows[1], negative=negative)))
        if any(n == len(group.needed) for n, _ in found):
            break
    return sorted(found, key=lambda each: -each[0])


def _units(group: Group, unit: str | None, foreign: bool) -> list[str | None]:
    """Units the number may be in: those the rows name, those the frame names, then any of that quantity."""
    named = [seen.unit or unit for _, seen in group.valued]
    shown = list(dict.fromkeys(code for code in named if code))
    if not shown:
        written = [units.ucum(core.decode("latin-1")) for one in group.splits[:1] for core in one.cores]
        return [next((code for code in written if code), None)]
    words = {core for one in group.splits[:1] for core, n in zip(one.cores, one.numbers, strict=True) if not n}
    inside = [code for word in words if (code := units.ucum(word.decode("latin-1")))]
    kind = units.quantity_of(shown[0])
    others = [code for code in ("g", "kg", "mm", "cm", "m", "mg", "t") if units.quantity_of(code) == kind]
    order = [*(c for c in inside if c in shown), *shown, *inside, *([] if inside or not foreign else others)]
    return [code for code in dict.fromkeys(order) if units.quantity_of(code) == kind]


def _target(seen: Observation, code: str | None, unit: str | None) -> Decimal:
    value = seen.value or Decimal(0)
    own = seen.unit or unit
    if code is None or own is None or own == code:
        return value
    return units.from_base(units.to_base(value, own), code)


def _candidates(group: Group, style: Style, backwards: bool, targets: Sequence[Decimal]) -> Iterator[Place]:
    valued = group.valued
    first = valued[0][0]
    numbers = [at for at, number in enumerate(first.numbers) if number]
    for at in numbers:
        cores = [one.cores[at] for one, _ in valued]
        if MARKS[style][0]:
            yield Place(at)
            size = len(cores[0])
            if size > 4 and not backwards and all(len(core) == size and core[:2].isdigit() for core in cores):
                # A status of one or two digits may be glued to it.
                yield from (Place(at, columns=(first, size)) for first in (1, 2))
            continue
        if style == "plain" and any(in_decimal(one, at) for one, _ in valued):
            continue
        for decimals in range(_MOST_DECIMALS + 1):
            if decimals and all(target == 0 for target in targets):
                break
            yield Place(at, decimals=decimals)
            if len({len(core) for core in cores}) == 1 and len(cores[0]) > 2:
                still = [
                    (core, abs(target).scaleb(decimals))
                    for core, target, (_, seen) in zip(cores, targets, valued, strict=True)
                    if seen.condition != "moving"
                ]
                for columns in _columns(
                    [c for c, _ in still],
                    [t for _, t in still],
                    backwards,
                    16 if style in ("hex", "hex-signed") else 10,
                ):
                    yield Place(at, columns=columns, decimals=decimals)
    if MARKS[style][0]:
        for at, minor in pairwise(numbers):
            for pair in PAIRS[:2]:
                yield Place(at, minor=minor, compound=pair)


def in_decimal(one: Split, at: int) -> bool:
    """Whether a run of digits is a part of a number with a point."""
    before = at >= 2 and one.cores[at - 1] == b"." and one.numbers[at - 2] and not one.gaps[at] and not one.gaps[at - 1]
    after = (
        at + 2 < len(one.cores)
        and one.cores[at + 1] == b"."
        and one.numbers[at + 2]
        and not one.gaps[at + 1]
        and not one.gaps[at + 2]
    )
    return before or after


def _columns(
    cores: Sequence[bytes], wanted: Sequence[Decimal], backwards: bool, base: int
) -> Iterator[tuple[int, int]]:
    """The widest columns within a run of digits that hold the value in all frames."""
    if not cores or any(target != target.to_integral_value() for target in wanted):
        return
    size = len(cores[0])
    numbers = [int(target) for target in wanted]
    if len(set(numbers)) < 2:
        return
    fits = []
    for first in range(size):
        for last in range(size, first, -1):
            if last - first < size and all(
                int(core[first:last][::-1] if backwards else core[first:last], base) == number
                for core, number in zip(cores, numbers, strict=True)
            ):
                fits.append((first, last))
    yield from (one for one in fits if not any(o != one and o[0] <= one[0] and one[1] <= o[1] for o in fits))


def _explained(
    group: Group, place: Place, style: Style, backwards: bool, targets: Sequence[Decimal]
) -> tuple[int, int | None] | None:
    """How many rows the account explains and the gap that holds the sign; None where signs contradict it."""
    hits: dict[int, int] = {}
    misses: dict[int, int] = {}
    matched: list[tuple[Split, Decimal, Observation]] = []
    for (one, seen), target in zip(group.valued, targets, strict=True):
        shown = _read(one, place, style, backwards, seen)
        wanted = target
        if place.compound and seen.unit:
            wanted = units.from_base(units.to_base(seen.value or Decimal(0), seen.unit), place.compound[1])
        if shown is not None and shown == (wanted if style == "hex-signed" else abs(wanted)):
            hits[seen.number] = hits.get(seen.number, 0) + 1
            matched.append((one, target, seen))
        elif seen.condition != "moving":
            misses[seen.number] = misses.get(seen.number, 0) + 1
    needed = group.needed
    rows = {
        number
        for number, n in hits.items()
        if number in needed and misses.get(number, 0) <= _STRAY_SHARE * (n + misses.get(number, 0))
    }
    if not rows:
        return None
    if style == "hex-signed":
        # How many digits there are says which bit is the sign.
        return (len(rows), None) if len({len(one.cores[place.at]) for one in group.splits}) == 1 else None
    agreed = [(one, target) for one, target, seen in matched if seen.number in rows]
    sign = _sign_gap(agreed, place.at)
    if sign == -1:
        return None
    return len(rows), sign


def _read(one: Split, place: Place, style: Style, backwards: bool, seen: Observation) -> Decimal | None:
    core = one.cores[place.at]
    if place.columns is not None:
        core = core[slice(*place.columns)]
    value = magnitude(core, style, backwards, place.decimals)
    if place.minor is None or place.compound is None or value is None:
        return value
    minor = magnitude(one.cores[place.minor], style, backwards, None)
    big, small = (units.FACTORS[code][1] for code in place.compound)
    if minor is None or value != value.to_integral_value() or minor * small >= big:
        return None
    return value * big / small + minor


def _sign_gap(agreed: Sequence[tuple[Split, Decimal]], at: int) -> int | None:
    """The gap where the sign stands; None where none was seen, -1 where the signs seen contradict the values.

    `_MARKED_BELOW` where all values were below zero and no sign says it: something else of the form must.
    """
    gaps = range(len(agreed[0][0].gaps))
    order = sorted(gaps, key=lambda gap: (gap != at, gap != at + 1, abs(gap - at)))
    negative = [target < 0 for _, target in agreed if target]
    signed = [one for one, target in agreed if target]
    if any(negative):
        for gap in order:
            if all((b"-" in one.gaps[gap]) == minus for one, minus in zip(signed, negative, strict=True)):
                hyphen = {one.gaps[gap] for one in signed} == {b"-"} and 0 < gap < len(signed[0].gaps) - 1
                if not (hyphen and all(negative) and gap not in (at, at + 1)):
                    return gap
        above = any(b"+" in one.gaps[gap] for one in signed for gap in (at, at + 1))
        return _MARKED_BELOW if all(negative) and not above else -1
    plus = [gap for gap in order if any(b"+" in one.gaps[gap] for one, _ in agreed)]
    minus = {gap for gap in gaps if any(b"-" in one.gaps[gap] for one, target in agreed if target)}
    return next((gap for gap in plus if gap not in minus), None)
