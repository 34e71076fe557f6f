"""Frames → forms: which share their words, where the value stands in them, what else varies and whether it may. Pure."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from typing import Literal

from .evidence import NUMBERED
from .places import Frame, Group, Place, carve, in_decimal, magnitude, places
from .splitting import Split, Style, parts_of, split

#: What a core of a form is: a word that stays, the value, its part in the smaller unit, a number that means nothing to
#: us (any digits), or a few alternatives that were seen.
Role = Literal["word", "value", "minor", "loose", "listed"]


#: A status has hardly more values than conditions were shown, and so many more at most.
_FEW_STATES = 3
#: More forms than this, most of them of one frame, are no forms.
_MANY = 40


@dataclass
class Form:
    """Frames that have the same words and the same roles; `place` is None where no number counts."""

    frames: list[Frame]
    splits: list[Split]
    roles: tuple[Role, ...]
    place: Place | None
    conditions: set[str]
    seen_at: dict[int, tuple[bytes, ...]] = field(default_factory=dict)
    """Core → what it was in all forms that share it."""
    pairs_at: dict[int, tuple[tuple[bytes, bytes], ...]] = field(default_factory=dict)
    """The same with the gap before it."""

    @property
    def words(self) -> tuple[bytes, ...]:
        """The words in order."""
        return tuple(c for c, role in zip(self.splits[0].cores, self.roles, strict=True) if role == "word")

    @property
    def rows(self) -> set[int]:
        """Rows in which frames of this form came."""
        return {frame.seen.number for frame in self.frames if frame.seen is not None}

    @cached_property
    def width(self) -> int | None:
        """The length all frames share and keep; None where it changes, or would with a counter's next digit."""
        sizes = {len(frame.body) for frame in self.frames}
        growing = any(role == "loose" and self._grows(at) for at, role in enumerate(self.roles))
        return sizes.pop() if len(sizes) == 1 and not growing else None

    def _grows(self, at: int) -> bool:
        texts = self.seen_at.get(at) or self.core(at)
        ends = {len(gap) + len(core) for gap, core in zip(self.gap(at), self.core(at), strict=True)}
        gaps = {len(gap) for gap in self.gap(at)}
        room = len(ends) == 1 and min(gaps) > 0 and (len(gaps) > 1 or min(gaps) > 1)
        zeros = any(len(text) > 1 and text[:1] == b"0" for text in texts)
        return not (clockwork(self.splits[0], at) or room or (zeros and len({len(text) for text in texts}) == 1))

    def core(self, at: int) -> list[bytes]:
        """What core `at` was in each frame."""
        return [one.cores[at] for one in self.splits]

    def gap(self, at: int) -> list[bytes]:
        """What gap `at` was in each frame."""
        return [one.gaps[at] for one in self.splits]


@dataclass(slots=True)
class Reading:
    """What the frames were read as: forms with a number, forms without, and what the rows say against it."""

    style: Style
    backwards: bool
    solved: list[Form] = field(default_factory=list)
    mute: list[Form] = field(default_factory=list)
    explained: set[int] = field(default_factory=set)
    doubts: list[str] = field(default_factory=list)
    """Places that fit equally well, worded."""
    missed: dict[int, int] = field(default_factory=dict)
    """Row → how many rows the best partial account without it explains."""


def read(frames: Sequence[Frame], style: Style, backwards: bool, unit: str | None, foreign: bool = False) -> Reading:
    """Read frames with numbers written in one style."""
    reading = Reading(style, backwards)
    groups: dict[tuple[bytes | None, ...], Group] = {}
    for frame in frames:
        one = split(frame.body, style)
        groups.setdefault(one.signature, Group([], [])).frames.append(frame)
        groups[one.signature].splits.append(one)
    if len(groups) > max(_MANY, len(frames) // 2):
        # Hardly two frames share their words: cut in the wrong places, or with a check that wasn't taken off.
        return reading
    parts = [part for group in groups.values() for part in _parts(group, style, backwards, unit, foreign)]
    found = [places(part, style, backwards, unit, foreign) if part.needed else [] for part in parts]
    open_ = [(part, full) for part, best in zip(parts, found, strict=True) if (full := _full(part, best))]
    for part, best in zip(parts, found, strict=True):
        rows = part.needed
        if _full(part, best):
            reading.explained |= rows
            continue
        columns = _columns_of_others(part, open_) if rows else []
        if columns and (full := _full(part, places(part, style, backwards, unit, foreign, columns))):
            open_.append((part, full))
            reading.explained |= rows
            continue
        if best and len(rows) > 1:
            _note_missed(reading, part, best[0], rows)
        told = part.conditions and not part.conditions & {"ok", "nothing"}
        for signed in _signed(part) if told else [part]:
            for quiet in _promoted(signed, set()) if told else [signed]:
                reading.mute += _muted(quiet)
    for group, place in _settle_places(open_, reading):
        _add_solved(reading, group, place)
    _share_roles(reading)
    _adopt(reading)
    _share_roles(reading)
    _quiet_numbers(reading)
    for form in [*reading.solved, *reading.mute]:
        # Its roles are settled only now.
        form.__dict__.pop("width", None)
    return reading


def _full(group: Group, found: Sequence[tuple[int, Place]]) -> list[Place]:
    """The accounts that explain all rows of the group."""
    return [place for n, place in found if n == len(group.needed)]


def _columns_of_others(group: Group, open_: Sequence[tuple[Group, list[Place]]]) -> list[Place]:
    """Columns of the value in groups with numbers of the same length at the same places: one row can't tell its own."""
    first = group.splits[0]
    return [
        place
        for other, full in open_
        for place in full
        if place.columns is not None
        and other.splits[0].numbers == first.numbers
        and len(other.splits[0].cores[place.at]) == len(first.cores[place.at])
    ]


def _parts(group: Group, style: Style, backwards: bool, unit: str | None, foreign: bool) -> Iterator[Group]:
    """The group, or its parts by a status number where only they can be read (decimals or unit told by a digit)."""
    rows = group.needed
    if not rows or _full(group, places(group, style, backwards, unit, foreign)):
        yield group
        return
    numbers = [at for at, number in enumerate(group.splits[0].numbers) if number]
    tries = [(group, at) for at in numbers] + list(_sign_digits(group, numbers, style))
    for whole, at in tries:
        texts = dict.fromkeys(one.cores[at] for one in whole.splits)
        if not 2 <= len(texts) <= 4 or max(map(len, texts)) > 2:
            continue
        parts = [_picked(whole, at, text) for text in texts]
        valued = [part for part in parts if part.valued]
        full = [_full(part, places(part, style, backwards, unit, foreign)) for part in valued]
        # One row alone can't tell the columns of its value, but those of the other rows it can have.
        columns = [place for some in full for place in some if place.columns is not None]
        if all(
            some or (columns and _full(part, places(part, style, backwards, unit, foreign, columns)))
            for part, some in zip(valued, full, strict=True)
        ):
            yield from (_worded(part, at) for part in parts)
            return
    yield group


def _sign_digits(group: Group, numbers: Sequence[int], style: Style) -> Iterator[tuple[Group, int]]:
    """The group with a digit apart that was one with all values below zero and another with all others."""
    below = [one for one, seen in group.valued if seen.value is not None and seen.value < 0]
    above = [one for one, seen in group.valued if seen.value is not None and seen.value > 0]
    if style not in ("plain", "point") or not below or not above:
        return
    for at in numbers:
        if len({len(one.cores[at]) for one in group.splits}) > 1:
            continue
        for digit in range(len(below[0].cores[at]) - 1):
            minus, plus = ({one.cores[at][digit] for one in some} for some in (below, above))
            if len(minus) == len(plus) == 1 and minus != plus and below[0].cores[at][digit : digit + 1].isdigit():
                yield Group(group.frames, [carve(one, at, (digit, digit + 1)) for one in group.splits]), at + 1


def _picked(group: Group, at: int, text: bytes) -> Group:
    chosen = [(f, s) for f, s in zip(group.frames, group.splits, strict=True) if s.cores[at] == text]
    return Group([f for f, _ in chosen], [s for _, s in chosen])


def _worded(group: Group, at: int) -> Group:
    """The group with core `at` no longer taken for a number."""
    return Group(
        group.frames,
        [replace(s, numbers=(*s.numbers[:at], False, *s.numbers[at + 1 :])) for s in group.splits],
    )


def _note_missed(reading: Reading, group: Group, best: tuple[int, Place], rows: set[int]) -> None:
    n, place = best
    for row in rows:
        values = {
            magnitude(one.cores[place.at], reading.style, reading.backwards, place.decimals)
            for one, seen in group.valued
            if seen.number == row and place.columns is None and place.minor is None
        }
        shown = {abs(seen.value) for _, seen in group.valued if seen.number == row and seen.value is not None}
        if not values & shown:
            reading.missed[row] = max(n, reading.missed.get(row, 0))


def _muted(group: Group) -> Iterator[Form]:
    roles: tuple[Role, ...] = tuple("listed" if number else "word" for number in group.splits[0].numbers)
    yield Form(group.frames, group.splits, roles, None, group.conditions)


def _settle_places(open_: list[tuple[Group, list[Place]]], reading: Reading) -> Iterator[tuple[Group, Place]]:
    """One place for each group: where several fit, the one that fits the other groups as well."""
    sure = {_context(group, full[0]) for group, full in open_ if len(full) == 1}
    ends = {end for group, full in open_ if len(full) == 1 and (end := _end(group, full[0])) is not None}
    decimals = {full[0].decimals for group, full in open_ if any(seen.value for _, seen in group.valued)} or {None}
    shapes: dict[tuple[bool, ...], list[set[int]]] = {}
    for group, full in open_:
        shapes.setdefault(group.splits[0].numbers, []).append({place.at for place in full})
    for group, full in open_:
        fitting = full
        if len(fitting) > 1:
            common = set.intersection(*shapes[group.splits[0].numbers])
            fitting = [place for place in fitting if place.at in common] or fitting
        if len(fitting) > 1 and sure:
            fitting = [place for place in fitting if _context(group, place) in sure] or fitting
        if len(fitting) > 1 and ends:
            fitting = [place for place in fitting if _end(group, place) in ends] or fitting
        if len(fitting) > 1 and len({place.at for place in fitting}) > 1:
            if not any(seen.value for _, seen in group.valued):
                # Nothing but zeros in a form of its own: which zero is meant can't be told, nor need it.
                reading.explained -= {seen.number for _, seen in group.valued}
                reading.mute += _muted(group)
                continue
            reading.doubts.append(_doubt(group, fitting))
        place = fitting[0]
        if reading.style in ("plain", "hex", "hex-signed") and not any(seen.value for _, seen in group.valued):
            if len(decimals) > 1 or (not sure and decimals == {None}):
                reading.doubts.append("only zeros were shown: where the decimal point belongs can't be told")
            place = replace(place, decimals=min((d for d in decimals if d is not None), default=0))
        yield group, place


def _context(group: Group, place: Place) -> tuple[bytes | None, bytes | None]:
    """The words nearest to a place: forms of one instrument put the value between the same ones."""
    one = group.splits[0]
    before = next((c for c, n in zip(one.cores[place.at - 1 :: -1], one.numbers[place.at - 1 :: -1], strict=True) if not n), None) if place.at else None  # fmt: skip
    after = next(
        (c for c, n in zip(one.cores[place.at + 1 :], one.numbers[place.at + 1 :], strict=True) if not n), None
    )
    return before, after


def _end(group: Group, place: Place) -> tuple[int, int] | None:
    """The column at which the value ends, and the frames' length, where all frames agree."""
    found = set()
    for one in group.splits:
        ahead = sum(map(len, one.gaps[: place.at + 1])) + sum(map(len, one.cores[: place.at + 1]))
        found.add((ahead, sum(map(len, one.gaps)) + sum(map(len, one.cores))))
    return found.pop() if len(found) == 1 else None


def _doubt(group: Group, fitting: Sequence[Place]) -> str:
    frame, one = group.frames[0], group.splits[0]
    words = [one.cores[at].decode("latin-1") for at in sorted({place.at for place in fitting})]
    return (
        f"the value stands at several places of {frame.body.decode('latin-1')!r} ({', '.join(words)}), "
        "and they were equal whenever a value was shown"
    )


def _apart(group: Group, place: Place | None) -> tuple[Group, Place | None]:
    """Where the comma is the decimal sign, it still separates numbers other than the value: a counter from a status."""
    at = len(group.splits[0].cores) - 1
    while at >= 0:
        texts = [one.cores[at] for one in group.splits]
        other = place is None or at not in (place.at, place.minor)
        if other and group.splits[0].numbers[at] and all(re.fullmatch(rb"[0-9]+,[0-9]+", text) for text in texts):
            group = Group(group.frames, [_cut_comma(one, at) for one in group.splits])
            if place is not None:
                shift = {
                    name: value + 2
                    for name, value in (("at", place.at), ("minor", place.minor), ("sign", place.sign))
                    if value is not None and value > at
                }
                place = replace(place, **shift)  # type: ignore[arg-type]
        at -= 1
    return group, place


def _cut_comma(one: Split, at: int) -> Split:
    first, _, second = one.cores[at].partition(b",")
    return Split(
        (*one.cores[:at], first, b",", second, *one.cores[at + 1 :]),
        (*one.numbers[:at], True, False, True, *one.numbers[at + 1 :]),
        (*one.gaps[: at + 1], b"", b"", *one.gaps[at + 1 :]),
    )


def _add_solved(reading: Reading, group: Group, place: Place) -> None:
    if reading.style == "comma":
        group, moved = _apart(group, place)
        place = moved or place
    if place.columns is not None:
        columns, at = place.columns, place.at
        sign = None if place.sign is None else place.sign + (2 if place.sign > at else 0)
        group = Group(group.frames, [carve(one, at, columns) for one in group.splits])
        place = replace(place, at=at + 1, columns=None, sign=sign)
    for part in _promoted(group, {place.at, place.minor}):
        roles = _roles(part, place)
        said = [
            f.seen.condition if f.seen is not None and f.seen.condition not in (*NUMBERED, "nothing") else ""
            for f in part.frames
        ]
        for quiet in dict.fromkeys(said):
            chosen = [(f, s) for f, s, q in zip(part.frames, part.splits, said, strict=True) if q == quiet]
            frames, splits = [f for f, _ in chosen], [s for _, s in chosen]
            conditions = Group(frames, splits).conditions
            reading.solved.append(Form(frames, splits, roles, place, conditions))


def _promoted(group: Group, kept: set[int | None]) -> Iterator[Group]:
    """The group's parts by status numbers: those that tell the condition and come again."""
    for at, number in enumerate(group.splits[0].numbers):
        if not number or at in kept or clockwork(group.splits[0], at):
            continue
        by_text: dict[bytes, list[Frame]] = {}
        for frame, one in zip(group.frames, group.splits, strict=True):
            by_text.setdefault(one.cores[at], []).append(frame)
        if len(by_text) > 1 and max(map(len, by_text)) <= 3 and _tells(by_text.values()):
            for text in by_text:
                yield from _promoted(_worded(_picked(group, at, text), at), kept)
            return
    yield group


def _signed(group: Group) -> Iterator[Group]:
    """The group, or its parts by the signs in its gaps where those tell the condition."""
    by_signs: dict[tuple[bytes, ...], list[tuple[Frame, Split]]] = {}
    for frame, one in zip(group.frames, group.splits, strict=True):
        by_signs.setdefault(tuple(gap.strip() for gap in one.gaps), []).append((frame, one))
    if len(by_signs) > 1 and _tells([[frame for frame, _ in pairs] for pairs in by_signs.values()]):
        yield from (Group([f for f, _ in pairs], [s for _, s in pairs]) for pairs in by_signs.values())
    else:
        yield group


def _tells(parts: Collection[Sequence[Frame]]) -> bool:
    """Whether each part came under one condition only, and some part in several rows; zero may be told elsewhere."""
    seen = [{f.seen.condition for f in frames if f.seen is not None} for frames in parts]
    rows = [{f.seen.number for f in frames if f.seen is not None} for frames in parts]
    return any(
        len(conditions) > 1
        and all(len(c) <= 1 for c in told)
        and len(parts) <= len(conditions) + 1
        and (max(map(len, rows)) > 1 or len(parts) == len(conditions))
        for told in (seen, [{"ok" if each == "zero" else each for each in c} for c in seen])
        for conditions in [set().union(*told)]
    )


def _roles(group: Group, place: Place) -> tuple[Role, ...]:
    first = group.splits[0]
    return tuple(
        "value" if at == place.at else "minor" if at == place.minor else "listed" if number else "word"
        for at, number in enumerate(first.numbers)
    )


def _share_roles(reading: Reading) -> None:
    """What a number that isn't the value may be is judged over all forms that have it at the same place.

    Between the same words that is the same place; else, before the value, the same from the front; behind it, in forms
    that are alike altogether.
    """
    alike: dict[tuple[object, ...], list[tuple[Form, int]]] = {}
    fronts = {form.place.at for form in reading.solved if form.place is not None}
    for form in [*reading.solved, *reading.mute]:
        numbers = form.splits[0].numbers
        for at, number in enumerate(numbers):
            if not number or form.roles[at] in ("value", "minor"):
                continue
            near = _neighbours(form, at)
            if any(near):
                alike.setdefault((near,), []).append((form, at))
                continue
            front = form.place is None or at < form.place.at
            if form.place is None and at >= max(fronts, default=0):
                continue
            alike.setdefault((at, front, numbers[: at + 1] if front else numbers), []).append((form, at))
    for together in alike.values():
        if any(form.place is not None for form, _ in together):
            _judge(together)


def _judge(together: Sequence[tuple[Form, int]]) -> None:
    pairs = sorted(
        (
            (frame, one, at)
            for form, at in together
            for frame, one in zip(form.frames, form.splits, strict=True)
        ),
        key=lambda pair: pair[0].offset,
    )  # fmt: skip
    texts = [one.cores[at] for _, one, at in pairs]
    clock = all(clockwork(form.splits[0], at) for form, at in together)
    conditions = {frame.seen.condition for frame, _, _ in pairs if frame.seen is not None}
    # No status has decimals.
    decimals = len(set(texts)) > 1 and all(in_decimal(one, at) for _, one, at in pairs)
    loose = clock or decimals or independent(texts, len(conditions))
    shared = tuple(dict.fromkeys(texts))
    seen = tuple(dict.fromkeys((one.gaps[at], one.cores[at]) for _, one, at in pairs))
    for form, at in together:
        role: Role = "loose" if loose else "word" if len(set(form.core(at))) == 1 else "listed"
        form.roles = (*form.roles[:at], role, *form.roles[at + 1 :])
        form.seen_at[at] = shared
        form.pairs_at[at] = seen


def clockwork(one: Split, at: int) -> bool:
    """Whether a number is a part of a time of day or a date: two digits or four, with its neighbours between : / -."""
    for first in range(at - 4, at + 1, 1):
        parts = range(first, first + 5, 2)
        if first < 0 or parts[-1] >= len(one.cores):
            continue
        marks = {one.cores[first + 1], one.cores[first + 3]}
        tight = all(not one.gaps[gap] for gap in range(first + 1, first + 5))
        if (
            at in parts
            and tight
            and all(one.numbers[p] and len(one.cores[p]) in (2, 4) and one.cores[p].isdigit() for p in parts)
            and len(marks) == 1
            and marks <= {b":", b"/"}
        ):
            return True
    pair = [p for p in (at - 2, at + 2) if 0 <= p < len(one.cores)]
    for other in pair:
        low = min(at, other)
        if (
            one.cores[low + 1] == b":"
            and one.numbers[other]
            and not one.gaps[low + 1]
            and not one.gaps[low + 2]
            and len(one.cores[low]) == 2
            and int(one.cores[low] if one.cores[low].isdigit() else b"99") < 24
            and len(one.cores[low + 2]) == 2
        ):
            return True
    # A date with dashes or points: three numbers, the dashes being gaps.
    for first in range(at - 2, at + 1):
        parts = range(first, first + 3)
        if first < 0 or parts[-1] >= len(one.cores):
            continue
        if all(one.numbers[p] and len(one.cores[p]) in (2, 4) for p in parts) and all(
            one.gaps[p] == b"-" for p in list(parts)[1:]
        ):
            return True
    return False


def independent(texts: Sequence[bytes], conditions: int) -> bool:
    """Whether a number that varies can be no status: it has decimals, counts up, or has more values and digits than states."""
    different = list(dict.fromkeys(texts))
    if len(different) > 1 and all(re.fullmatch(rb"[0-9]+[.,][0-9]+", text) for text in different):
        return True
    if len(different) < 3:
        return False
    if all(text.isdigit() for text in different):
        numbers = [int(text) for text in different]
        if all(a < b for a, b in pairwise(numbers)):
            return True
    longest = max(map(len, different))
    return longest >= 3 or (longest == 2 and len(different) > max(_FEW_STATES, conditions + 1))


def _adopt(reading: Reading) -> None:
    """Forms without a known value that are as a solved one but for their words take over the place of its number."""
    left: list[Form] = []
    for form in reading.mute:
        made = [one for model in reading.solved if (one := _as(form, model, reading)) is not None]
        nearest = [one for differing, one in made if differing == min(made, key=lambda each: each[0])[0]]
        units = {one.place.unit for one in nearest if one.place is not None}
        if form.conditions & {"ok", "nothing"} or not form.conditions or len(units) != 1:
            apart = _apart(Group(form.frames, form.splits), None)[0] if reading.style == "comma" else None
            left += [form] if apart is None else _muted(apart)
            continue
        reading.solved.append(nearest[0])
        if form.conditions <= NUMBERED:
            reading.explained |= form.rows
    reading.mute = left


def _quiet_numbers(reading: Reading) -> None:
    """In forms without a number that counts: one between the same words as a loose one elsewhere is loose as well."""
    known = {
        where: form.seen_at.get(at, ())
        for form in reading.solved
        for at, role in enumerate(form.roles)
        if role == "loose" and (where := _neighbours(form, at))
    }
    for form in reading.mute:
        for at, role in enumerate(form.roles):
            if role == "listed" and (where := _neighbours(form, at)) in known:
                form.roles = (*form.roles[:at], "loose", *form.roles[at + 1 :])
                form.seen_at[at] = tuple(dict.fromkeys((*known[where], *form.core(at))))


def _neighbours(form: Form, at: int) -> tuple[bytes, bytes]:
    """The words right before and behind a number, with nothing between; empty where there is none before."""
    one = form.splits[0]
    if not at or one.numbers[at - 1] or one.gaps[at]:
        return b"", b""
    behind = at + 1 < len(one.cores) and not one.numbers[at + 1] and not one.gaps[at + 1]
    return one.cores[at - 1], one.cores[at + 1] if behind else b""


def _as(form: Form, model: Form, reading: Reading) -> tuple[int, Form] | None:
    """The form with the model's place, where it has the model's numbers and, but for one or two, its words; how many."""
    if model.place is None or form.place is not None:
        return None
    here, there = form.splits[0], model.splits[0]
    numbers = [at for at, number in enumerate(here.numbers) if number]
    others = [at for at, number in enumerate(there.numbers) if number]
    place = model.place
    if len(numbers) != len(others) or place.columns is not None:
        return None
    where = dict(zip(others, numbers, strict=True))
    fractions = {
        len(parts_of(core, reading.style, backwards=reading.backwards)[2])
        for core in (*form.core(where[place.at]), there.cores[place.at])
    }
    same_width = form.width is not None and form.width == model.width
    differing = _differing(here, there)
    if len(fractions) > 1 or differing is None or differing > (2 if same_width else 1):
        return None
    if differing != 1 and not same_width and form.width is not None and model.width is not None:
        return None
    if len(here.cores) != len(there.cores) and place.sign not in (None, place.at, place.at + 1):
        return None
    moved = where[place.at] - place.at
    roles: list[Role] = ["word"] * len(here.cores)
    for other, at in where.items():
        roles[at] = model.roles[other]
    place = replace(
        place,
        at=where[place.at],
        minor=None if place.minor is None else where[place.minor],
        sign=None if place.sign is None else place.sign + moved,
    )
    return differing, Form(form.frames, form.splits, tuple(roles), place, form.conditions)


def _differing(here: Split, there: Split) -> int | None:
    """How many words differ between the same numbers; one may be missing in either. None where more do."""
    if len(here.cores) == len(there.cores):
        if here.numbers != there.numbers:
            return None
        pairs = zip(here.cores, there.cores, here.numbers, strict=True)
        return sum(a != b for a, b, number in pairs if not number)
    short, long = sorted((here.signature, there.signature), key=len)
    if len(long) - len(short) == 1 and any(
        long[at] is not None and long[:at] + long[at + 1 :] == short for at in range(len(long))
    ):
        return 1
    return None
