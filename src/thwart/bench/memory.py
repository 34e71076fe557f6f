"""What is learned of fish, as text: between the checks' states and what entries and objects of the bench hold. Pure.

Entries hold no floats, and folding them must compute none: so every number of a state stands as text with its six
significant digits, fields of one thing in a line, and an entry carries the lines that changed.
"""

from __future__ import annotations

import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Generic, TypeVar

from ..checks import sequence as following
from ..checks.heaping import Digits
from ..checks.level import LevelWatch, Residual
from ..checks.ration import Ration
from ..checks.relation import Kept, Outcome, Relation, Sizes
from ..checks.repeats import RepeatWatch
from ..checks.slip import Pair, Seen, SlipWatch, Step
from ..checks.specimen import Specimen as Fish
from ..checks.specimen import Value
from ..checks.state import Learned as Kind
from ..checks.stuck import StuckWatch
from .state import Json, Learned, Watch

T = TypeVar("T")

_EMPTY = "-"


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, float):
        return f"{value:.6g}"
    return _EMPTY if value is None or value == "" else str(value)


def _parser(hint: Any) -> Callable[[str], Any]:
    if type(None) in typing.get_args(hint):
        (inner,) = (h for h in typing.get_args(hint) if h is not type(None))
        parse = _parser(inner)
        return lambda text: None if text == _EMPTY else parse(text)
    plain: dict[Any, Callable[[str], Any]] = {
        bool: lambda text: text == "1", int: int, float: float, str: lambda text: "" if text == _EMPTY else text,
    }  # fmt: skip
    return plain[hint]


class Line(Generic[T]):
    """Some fields of a class of the checks (all that are plain values, or those named) as a line of words."""

    def __init__(self, cls: type[T], *names: str) -> None:
        hints = typing.get_type_hints(cls)
        plain = [n for n, hint in hints.items() if not n.isupper() and _is_plain(hint)]
        self.names = names or tuple(plain)
        self._parsers = [_parser(hints[n]) for n in self.names]
        self._cls = cls

    def write(self, thing: T) -> str:
        """The line."""
        return " ".join(_text(getattr(thing, name)) for name in self.names)

    def fields(self, line: str) -> dict[str, Any]:
        """The fields in a line; none in an empty one."""
        words = line.split(" ")
        if not line:
            return {}
        return {name: parse(word) for name, parse, word in zip(self.names, self._parsers, words, strict=True)}

    def read(self, line: str) -> T:
        """The thing of a line that holds all its fields."""
        return self._cls(**self.fields(line))


def _is_plain(hint: Any) -> bool:
    kinds = typing.get_args(hint) or (hint,)
    return all(kind in (bool, int, float, str, type(None)) for kind in kinds)


_SAME = "="


def _squeezed(old: str, new: str) -> str:
    """A line with `=` for each word that is as in the line before it: an entry carries what changed."""
    before, words = old.split(" "), new.split(" ")
    if len(before) != len(words):
        return new
    return " ".join(_SAME if a == b else b for a, b in zip(before, words, strict=True))


def _whole(old: str, line: str) -> str:
    """The line that was squeezed."""
    words = line.split(" ")
    if _SAME not in words:
        return line
    return " ".join(a if b == _SAME else b for a, b in zip(old.split(" "), words, strict=True))


def _all_whole(old: Mapping[str, str], lines: Mapping[str, str]) -> dict[str, str]:
    return {**old, **{name: _whole(old.get(name, ""), line) for name, line in lines.items()}}


_BEGUN = ("x0", "known")
_RELATION = Line(Relation, "m0", "m1", "v00", "v01", "v11", "nu", "ss", "fish")
_PRIOR = Line(Relation, *_BEGUN)
_KEPT, _SIZE, _RATION = Line(Kept), Line(Sizes), Line(Ration)
_SLIP, _SEEN, _STEP, _PAIR = Line(SlipWatch), Line(Seen), Line(Step), Line(Pair)
_LEVEL, _RESIDUAL, _REPEATS = Line(LevelWatch), Line(Residual), Line(RepeatWatch)
_DIGITS = Line(Digits)

# The same lines come fish after fish: each is read and written once.
_read_step, _write_step = lru_cache(512)(_STEP.read), lru_cache(512)(_STEP.write)
_read_residual, _write_residual = lru_cache(1024)(_RESIDUAL.read), lru_cache(1024)(_RESIDUAL.write)
_read_kept, _write_kept = lru_cache(2048)(_KEPT.read), lru_cache(2048)(_KEPT.write)


# ---- what is learned of a kind of fish -----------------------------------------------------------------------------


def prior_of(relation: Relation) -> str:
    """Where a relation began."""
    return " ".join([_PRIOR.write(relation), *(_text(v) for v in relation.start)])


@lru_cache(maxsize=1024)
def _relation(prior: str, line: str, kept: str) -> Relation:
    x0, known, *start = prior.split(" ")
    return Relation(
        x0=float(x0), known=known == "1", start=tuple(map(float, start)),
        kept=tuple(_read_kept(one) for one in kept.split(";")) if kept else (), **_RELATION.fields(line),
    )  # fmt: skip


@lru_cache(maxsize=1024)
def _size(line: str) -> Sizes:
    return _SIZE.read(line)


def kind_of(learned: Learned | Mapping[str, Any]) -> Kind:
    """What the checks know of a kind of fish."""
    parts: Mapping[str, Any] = plain_of(learned) if isinstance(learned, Learned) else learned
    relations, priors, kept = parts["relations"], parts["priors"], parts["kept"]
    return Kind(
        {name: _relation(priors[name], line, kept.get(name, "")) for name, line in relations.items()},
        {name: _size(line) for name, line in parts["sizes"].items()},
        parts["fish"],
    )


def plain_of(learned: Learned) -> dict[str, Any]:
    """Its parts, shared and not copied: what a watch holds on to."""
    return {
        "fish": learned.fish, "relations": learned.relations, "priors": learned.priors, "kept": learned.kept,
        "sizes": learned.sizes,
    }  # fmt: skip


def lines_of(kind: Kind) -> dict[str, Any]:
    """A kind whole, as `plain_of`."""
    return {
        "fish": kind.fish,
        "relations": {name: _RELATION.write(r) for name, r in kind.relations.items()},
        "priors": {name: prior_of(r) for name, r in kind.relations.items()},
        "kept": {name: ";".join(map(_write_kept, r.kept)) for name, r in kind.relations.items() if r.kept},
        "sizes": {name: _SIZE.write(s) for name, s in kind.sizes.items()},
    }


def taught(old: Learned | None, new: Kind, by: Fish) -> dict[str, Any]:
    """What a fish changed of its kind: the lines that `learn_more` needs, in an entry's body."""
    names = [name for name, r in new.relations.items() if old is None or old.relations.get(name) != _RELATION.write(r)]
    before: Mapping[str, str] = old.relations if old is not None else {}
    lines: dict[str, Any] = {
        "relations": {n: _squeezed(before.get(n, ""), _RELATION.write(new.relations[n])) for n in names}
    }
    fresh = {name: prior_of(new.relations[name]) for name in names if old is None or name not in old.priors}
    if fresh:
        lines["priors"] = fresh
    # Of the fish of the robust start one is added; with the last of them all are let go.
    kept = {
        name: _write_kept(r.kept[-1]) if (r := new.relations[name]).kept else ""
        for name in names
        if new.relations[name].kept or (old is not None and old.kept.get(name))
    }
    if kept:
        lines["kept"] = kept
    lines["sizes"] = {name: _SIZE.write(new.sizes[name]) for name in by.values if name in new.sizes}
    return lines


def learn_more(old: Learned, body: Mapping[str, Any]) -> Learned:
    """What a kind is once the lines of `taught` are taken in."""
    kept = dict(old.kept)
    for name, line in body.get("kept", {}).items():
        if not line:
            kept.pop(name, None)
        else:
            kept[name] = f"{kept[name]};{line}" if name in kept else line
    return Learned(
        old.kind, old.fish + 1, _all_whole(old.relations, body["relations"]), {**old.priors, **body.get("priors", {})}, kept,
        {**old.sizes, **body["sizes"]},
    )  # fmt: skip


def ration_of(line: str) -> Ration:
    """The ration's state in a line; a new one where there is none."""
    return Ration(**_RATION.fields(line))


def ration_line(ration: Ration) -> str:
    """The ration's state as a line."""
    return _RATION.write(ration)


# ---- what the sequence tests remember ------------------------------------------------------------------------------


def sequence_of(watch: Watch) -> following.Sequence:
    """What the sequence tests remember of a place."""
    slip = SlipWatch(
        **_SLIP.fields(watch.slip),
        last=_SEEN.read(watch.last) if watch.last else None,
        steps=tuple(map(_read_step, watch.steps)),
        swap=_PAIR.read(watch.swap) if watch.swap else None,
        anchor=None if watch.anchor is None else {k: kind_of(_mapping(parts)) for k, parts in watch.anchor.items()},
    )
    level = LevelWatch(**_LEVEL.fields(watch.level), recent=tuple(map(_read_residual, watch.recent)))
    return following.Sequence(
        slip, level, _stuck(watch.stuck), {name: _REPEATS.read(line) for name, line in watch.repeats.items()},
        {name: _digits(line) for name, line in watch.digits.items()},
    )  # fmt: skip


def _mapping(parts: Json) -> Mapping[str, Any]:
    assert isinstance(parts, dict)
    return parts


def _stuck(line: str) -> StuckWatch:
    kind, *sums = line.split(";")
    words = (one.split(" ") for one in sums)
    return StuckWatch(kind, tuple((name, float(total), start) for name, total, start in words))


def _stuck_line(watch: StuckWatch) -> str:
    return ";".join([watch.kind, *(f"{name} {_text(total)} {start}" for name, total, start in watch.sums)])


def _digits(line: str) -> Digits:
    *counts, low, high, told = line.split(" ")
    return Digits(tuple(map(int, counts)), float(low), float(high), told == "1")


def _digits_line(digits: Digits) -> str:
    return " ".join([*map(str, digits.counts), _DIGITS.write(digits)])


def followed(old: Watch, new: following.Sequence) -> dict[str, Any]:
    """What a fish changed of what the sequence tests remember, in an entry's body."""
    slip, level = new.slip, new.level
    lines = {
        "slip": _SLIP.write(slip), "last": _SEEN.write(slip.last) if slip.last else "",
        "swap": _PAIR.write(slip.swap) if slip.swap else "", "level": _LEVEL.write(level),
        "stuck": _stuck_line(new.stuck),
    }  # fmt: skip
    out: dict[str, Any] = {
        name: _squeezed(getattr(old, name), line) for name, line in lines.items() if line != getattr(old, name)
    }
    for name, rows in (("steps", map(_write_step, slip.steps)), ("recent", map(_write_residual, level.recent))):
        now, before = tuple(rows), getattr(old, name)
        if now != before:
            out[name] = _moved(before, now)
    if (slip.anchor is not None) != (old.anchor is not None):
        out["anchored"] = slip.anchor is not None
    repeats = {name: _REPEATS.write(r) for name, r in new.repeats.items()}
    changed = {n: _squeezed(old.repeats.get(n, ""), line) for n, line in repeats.items() if old.repeats.get(n) != line}
    if changed:
        out["repeats"] = changed
    if counted := {n: line for n, d in new.digits.items() if (line := _counted(old.digits.get(n), d)) is not None}:
        out["digits"] = counted
    return out


def _moved(old: Sequence[str], new: Sequence[str]) -> list[Any]:
    """A list whose head falls off and whose tail is new: how many to skip, how many to keep, what comes after."""
    skip = next((i for i in range(len(old)) if new and old[i] == new[0]), len(old))
    keep = 0
    while skip + keep < len(old) and keep < len(new) and old[skip + keep] == new[keep]:
        keep += 1
    return [skip, keep, *new[keep:]]


def _counted(old: str | None, new: Digits) -> str | None:
    """The digit that came once more, or the whole line where more than a count changed."""
    line = _digits_line(new)
    if old is None or old == line:
        return None if old == line else line
    counts, words = old.split(" "), line.split(" ")
    more = [i for i, (a, b) in enumerate(zip(counts, words, strict=True)) if a != b]
    return str(more[0]) if len(more) == 1 and more[0] < 10 else line


def follow_on(old: Watch, body: Mapping[str, Any], before: Mapping[str, str], kinds: Mapping[str, Learned]) -> Watch:
    """What the tests remember once the lines of `followed` are taken in; `kinds` as before the fish was learned."""
    fields: dict[str, Any] = {
        n: _whole(getattr(old, n), body[n]) for n in ("slip", "last", "swap", "level", "stuck") if n in body
    }
    for name in ("steps", "recent"):
        if name in body:
            skip, keep, *more = body[name]
            fields[name] = (*getattr(old, name)[skip : skip + keep], *more)
    if "anchored" in body:
        fields["anchor"] = {k: plain_of(v) for k, v in kinds.items()} if body["anchored"] else None
    digits = dict(old.digits)
    for name, line in body.get("digits", {}).items():
        if line.isdecimal():
            words = digits[name].split(" ")
            words[int(line)] = str(int(words[int(line)]) + 1)
            line = " ".join(words)
        digits[name] = line
    fields["digits"] = digits
    fields["repeats"] = _all_whole(old.repeats, body.get("repeats", {}))
    fields["before"] = (*old.before, before)[-NEIGHBOURS:]
    known = {name: getattr(old, name) for name in Watch.__struct_fields__}
    return Watch(**{**known, "tared": False, **fields})


# ---- a fish as it taught -------------------------------------------------------------------------------------------

#: How many fish before one are compared with it.
NEIGHBOURS = 3
#: Keys of what a fish taught that are no measurands.
_NO_VALUES = ("kind", "number")


@dataclass(frozen=True, slots=True)
class Lesson:
    """A fish with what became of each of its values."""

    fish: Fish
    outcomes: Mapping[str, Outcome]

    def to_json(self) -> dict[str, str]:
        """Its kind, and per measurand value, division and (unless it passed) outcome, as text."""
        made = {"kind": self.fish.kind}
        for name, v in self.fish.values.items():
            outcome = self.outcomes.get(name, "passed")
            made[name] = " ".join([v.text, _text(v.division), *([] if outcome == "passed" else [outcome])])
        return made

    @classmethod
    def from_json(cls, number: str, data: Mapping[str, str]) -> Lesson:
        """From `to_json`'s form, with the fish's number."""
        species, presentation, preservation = data["kind"].rsplit("|", 2)
        values: dict[str, Value] = {}
        outcomes: dict[str, Any] = {}
        for name, line in data.items():
            if name not in _NO_VALUES:
                text, division, *outcome = line.split(" ")
                values[name] = Value(float(text), text, float(division), typed=False)
                if outcome:
                    outcomes[name] = outcome[0]
        return cls(Fish(number, species, values, presentation, preservation), outcomes)
