"""Deciding a recorded day again: the same inputs through the rules of this program, compared with what was decided then.

Each input is decided by a bench in the recorded state. Where the outcome differs, the bench goes on from what was
recorded, so that one difference doesn't make others.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from .bench.kernel import Bench
from .bench.state import Key, MemoryRecords, Object
from .entries import Entry
from .folding import setup_of
from .service.clerk import fault_text

#: Numbers agree to so many significant digits, one unit in the last.
DIGITS = 6

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing decided otherwise: of which input, what, and both values as text."""

    input_seq: int
    kind: str
    what: str
    recorded: str
    again: str


def decided(bench: Bench, entry: Entry) -> tuple[list[Entry], dict[Key, Object | None]]:
    """Have a bench decide an input. A fault of the rules leaves the input undecided, and raises nothing."""
    try:
        return bench.take(entry)
    except Exception as fault:
        return bench.spoilt(entry, fault_text(fault))


def decide_again(groups: Iterable[Sequence[Entry]]) -> Iterator[tuple[Sequence[Entry], list[Difference]]]:
    """Each recorded group (an input, then its decisions) with what this program decides otherwise.

    Raises ThwartError where the entries don't begin with a configuration, or with one this program can't read.
    """
    told: Bench | None = None
    judge: Bench | None = None
    for group in groups:
        if told is None or judge is None:
            setup = setup_of(group[0])
            told, judge = Bench(setup, MemoryRecords()), Bench(setup, MemoryRecords())
        elif group[0].kind == "configured":  # what comes after was decided by another configuration
            told.reset(setup_of(group[0]))
            judge.reset(told.setup)
        decisions, changed = decided(judge, group[0])
        _records(judge).store(changed)
        for _, recorded in told.fold(group):
            _records(told).store(recorded)
        differences = list(_differences(group[0], group[1:], decisions))
        if differences:
            judge = _like(told)
        yield group, differences


def _records(bench: Bench) -> MemoryRecords:
    assert isinstance(bench.records, MemoryRecords)
    return bench.records


def _like(other: Bench) -> Bench:
    records = MemoryRecords()
    records.objects = dict(_records(other).objects)
    bench = Bench(other.setup, records)
    bench.restore(other.snapshot())
    return bench


def _differences(source: Entry, recorded: Sequence[Entry], again: Sequence[Entry]) -> Iterator[Difference]:
    for i in range(max(len(recorded), len(again))):
        old = recorded[i] if i < len(recorded) else None
        new = again[i] if i < len(again) else None
        if old is None or new is None or old.kind != new.kind:
            yield Difference(source.seq, source.kind, "decision", _named(old), _named(new))
            return
        if old.specimen_id != new.specimen_id:
            yield Difference(
                source.seq, source.kind, f"{old.kind}: specimen", f"{old.specimen_id}", f"{new.specimen_id}"
            )
        for path, was, now in _unequal(old.body, new.body, ""):
            yield Difference(source.seq, source.kind, f"{old.kind}: {path}", was, now)


def _named(entry: Entry | None) -> str:
    if entry is None:
        return "nothing"
    text = entry.body.get("text")
    return f"{entry.kind} ({text})" if text else entry.kind


def _unequal(was: Any, now: Any, path: str) -> Iterator[tuple[str, str, str]]:
    match was, now:
        case dict(), dict():
            for key in sorted(was.keys() | now.keys()):
                yield from _unequal(was.get(key, _ABSENT), now.get(key, _ABSENT), f"{path}.{key}".lstrip("."))
        case (list() | tuple(), list() | tuple()) if len(was) == len(now):
            for i, (a, b) in enumerate(zip(was, now, strict=True)):
                yield from _unequal(a, b, f"{path}[{i}]")
        case str(), str():
            if not same_text(was, now):
                yield path, was, now
        case _:
            if was != now:
                yield path, str(was), str(now)


_ABSENT = "(absent)"


def same_text(was: str, now: str) -> bool:
    """Whether two texts are equal but for numbers with a fraction that agree to 6 digits, one unit in the last."""
    if was == now:
        return True
    if _NUMBER.sub("#", was) != _NUMBER.sub("#", now):
        return False
    return all(_same_number(a, b) for a, b in zip(_NUMBER.findall(was), _NUMBER.findall(now), strict=True))


def _same_number(was: str, now: str) -> bool:
    if was == now:
        return True
    if not any(mark in was + now for mark in ".eE"):
        return False  # whole numbers count things or name them
    a, b = Decimal(was), Decimal(now)
    leading = max(a.adjusted() if a else -400, b.adjusted() if b else -400)
    return abs(a - b) <= Decimal(1).scaleb(leading - DIGITS + 1)
