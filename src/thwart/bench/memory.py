"""What is learned of fish, as text: between the checks' states and what entries and objects of the bench hold. Pure.

Entries hold no floats, and folding them must compute none: so every number of a state stands as text with its six
significant digits, fields of one thing in a line, and an entry carries the lines that changed.
"""

from __future__ import annotations

import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from operator import attrgetter
from typing import Any, Generic, TypeVar

from ..checks import sequence as following
from ..checks.heaping import Digits, whose
from ..checks.level import KEEP, LevelWatch
from ..checks.ration import Ration
from ..checks.relation import Kept, Outcome, Relation, Sizes
from ..checks.repeats import Run
from ..checks.slip import SlipWatch
from ..checks.specimen import Specimen as Fish
from ..checks.specimen import Value
from ..checks.state import Learned as Kind
from ..checks.stuck import StuckWatch
from .state import Json, Learned, Watch

T = TypeVar("T")

_EMPTY = "-"


def _text(value: Any) -> str:
    kind = type(value)
    if kind is float:
        return f"{value:.6g}"
    if kind is bool:
        return "1" if value else "0"
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
        self._values = attrgetter(*self.names)

    def write(self, thing: T) -> str:
        """The line."""
        return " ".join(map(_text, self._values(thing)))

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


_SAME, _ONE_MORE = "=", "+"


def _squeezed(old: str, new: str) -> str:
    """A line with `=` for each word that is as in the line before it and `+` for a count that is one more: an entry
    carries what changed."""
    before, words = old.split(" "), new.split(" ")
    if len(before) != len(words):
        return new
    return " ".join(
        _SAME if a == b else _ONE_MORE if a.isdecimal() and b.isdecimal() and int(b) == int(a) + 1 else b
        for a, b in zip(before, words, strict=True)
    )


def _whole(old: str, line: str) -> str:
    """The line that was squeezed."""
    words = line.split(" ")
    if _SAME not in words and _ONE_MORE not in words:
        return line
    return " ".join(
        a if b == _SAME else str(int(a) + 1) if b == _ONE_MORE else b
        for a, b in zip(old.split(" "), words, strict=True)
    )


def _all_whole(old: Mapping[str, str], lines: Mapping[str, str]) -> dict[str, str]:
    return {**old, **{name: _whole(old.get(name, ""), line) for name, line in lines.items()}}


_RELATION = Line(Relation, "m0", "m1", "v00", "v01", "v11", "nu", "ss", "fish")
_KEPT, _SIZE, _RATION = Line(Kept), Line(Sizes), Line(Ration)
_SLIP, _LEVEL, _RUN, _DIGITS = Line(SlipWatch), Line(LevelWatch), Line(Run), Line(Digits)

# The same lines come fish after fish: each is read and written once.
_read_kept, _write_kept = lru_cache(2048)(_KEPT.read), lru_cache(2048)(_KEPT.write)
_read_run = lru_cache(256)(_RUN.read)


# ---- what is learned of a kind of fish -----------------------------------------------------------------------------


def prior_of(relation: Relation) -> str:
    """Where a relation began."""
    return _prior_line(relation.x0, relation.known, relation.start)


def begins_known(prior: str) -> bool:
    """Whether a line of `prior_of` is that of a prior of the protocol."""
    return prior.split(" ")[1] == "1"


@lru_cache(maxsize=256)
def _prior_line(x0: float, known: bool, start: tuple[float, ...]) -> str:
    return " ".join(map(_text, (x0, known, *start)))


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
    priors: Mapping[str, str] = old.priors if old is not None else {}
    fresh = {n: prior for n in names if (prior := prior_of(new.relations[n])) != priors.get(n)}
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
    sizes = old.sizes if old is not None else {}
    lines["sizes"] = {
        name: _squeezed(sizes.get(name, ""), _SIZE.write(new.sizes[name])) for name in by.values if name in new.sizes
    }
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
        _all_whole(old.sizes, body["sizes"]), old.group, body.get("apart", old.apart),
    )  # fmt: skip


@lru_cache(maxsize=64)
def ration_of(line: str) -> Ration:
    """The ration's state in a line; a new one where there is none."""
    return Ration(**_RATION.fields(line))


def ration_line(old: str, ration: Ration) -> str:
    """The ration's state as a line, beside the one before it."""
    return _squeezed(old, _RATION.write(ration))


def ration_after(old: str, line: str) -> str:
    """The line of the ration's state after `ration_line` gave `line`."""
    return _whole(old, line)


# ---- what the sequence tests remember ------------------------------------------------------------------------------


def sequence_of(watch: Watch) -> following.Sequence:
    """What the sequence tests remember of a place."""
    anchor = None if watch.anchor is None else {k: kind_of(_mapping(parts)) for k, parts in watch.anchor.items()}
    return following.Sequence(
        tuple(map(fish_of_line, watch.fish)),
        SlipWatch(**_SLIP.fields(watch.slips), anchor=anchor),
        LevelWatch(
            **_LEVEL.fields(watch.levels), recent=tuple(None if z == _EMPTY else float(z) for z in watch.residuals)
        ),
        _stuck(watch.stuck),
        {name: _read_run(line) for name, line in watch.runs.items()},
        {name: _digits(line) for name, line in watch.digits.items()},
    )


def _mapping(parts: Json) -> Mapping[str, Any]:
    assert isinstance(parts, dict)
    return parts


def _stuck(line: str) -> StuckWatch:
    kind, *sums = line.split(";")
    words = (one.split(" ") for one in sums)
    return StuckWatch(kind, tuple((name, float(total), start) for name, total, start in words))


def _stuck_line(watch: StuckWatch) -> str:
    return ";".join([watch.kind, *(f"{name} {_text(total)} {start}" for name, total, start in watch.sums)])


@lru_cache(maxsize=256)
def _digits(line: str) -> Digits:
    *counts, low, high, told = line.split(" ")
    return Digits(tuple(map(int, counts)), int(low), int(high), told == "1")


def _digits_line(digits: Digits) -> str:
    return " ".join([*map(str, digits.counts), _DIGITS.write(digits)])


def followed(old: Watch, new: following.Sequence, measurer: str, instruments: Mapping[str, str] = {}) -> dict[str, Any]:
    """What a fish changed of what the sequence tests remember, in an entry's body; what it leaves alone isn't named.

    `z` is its residual; `digits` the last digit of each of its values in their order, `digit_lines` a count that was
    begun, or whose range it widened, whole; `instruments` where a value was read off another one than the last.
    """
    lines = (
        ("slip", old.slips, _SLIP.write(new.slip)),
        ("level", old.levels, _LEVEL.write(new.level)),
        ("stuck", old.stuck, _stuck_line(new.stuck)),
    )
    out: dict[str, Any] = {name: _squeezed(before, line) for name, before, line in lines if line != before}
    if new.level.recent and (z := new.level.recent[-1]) is not None:
        out["z"] = _text(z)
    if (new.slip.anchor is not None) != (old.anchor is not None):
        out["anchored"] = new.slip.anchor is not None
    runs = {name: _RUN.write(run) for name, run in new.runs.items()}
    if runs != old.runs:
        out["runs"] = runs
    if measurer:
        out["measurer"] = measurer
    values = new.before[-1].values
    others = {n: instruments.get(n, "") for n in values if instruments.get(n, "") != old.instruments.get(n, "")}
    if others:
        out["instruments"] = others
    digits, whole = [], {}
    for name in values:
        key = whose(measurer, instruments.get(name, ""), name)
        line = _digits_line(new.digits[key]) if key in new.digits else old.digits.get(key, "")
        digit = _counted(old.digits.get(key), line)
        digits.append(digit)
        if digit == _EMPTY and line != old.digits.get(key, ""):
            whole[name] = line
    if any(digit != _EMPTY for digit in digits):
        out["digits"] = "".join(digits)
    if whole:
        out["digit_lines"] = whole
    return out


def _counted(old: str | None, line: str) -> str:
    """The digit that came once more; `-` where that isn't all that changed."""
    more = [i for i, (a, b) in enumerate(zip((old or "").split(" "), line.split(" "), strict=False)) if a != b]
    return str(more[0]) if old and len(more) == 1 and more[0] < 10 else _EMPTY


def follow_on(
    old: Watch, body: Mapping[str, Any], number: str, lesson: Mapping[str, str], kinds: Mapping[str, Learned]
) -> Watch:
    """What the tests remember once the lines of `followed` are taken in; `kinds` as before the fish was learned.

    Entries of version 0.1 before this form (with `watch`) tell the fish alone: the tests begin anew.
    """
    fish = (*old.fish, line_of_fish(number, lesson))[-KEEP:]
    if "watch" in body:
        return Watch(old.place, fish=fish)
    anchor = old.anchor
    if "anchored" in body:
        anchor = {k: plain_of(v) for k, v in kinds.items()} if body["anchored"] else None
    measurer, digits = body.get("measurer", ""), dict(old.digits)
    instruments = {**old.instruments, **body.get("instruments", {})}
    for name, digit in zip((n for n in lesson if n not in _NO_VALUES), body.get("digits", ""), strict=False):
        if digit != _EMPTY:
            key = whose(measurer, instruments.get(name, ""), name)
            words = digits[key].split(" ")
            words[int(digit)] = str(int(words[int(digit)]) + 1)
            digits[key] = " ".join(words)
    for name, line in body.get("digit_lines", {}).items():
        digits[whose(measurer, instruments.get(name, ""), name)] = line
    return Watch(
        old.place,
        _whole(old.slips, body.get("slip", old.slips)),
        anchor,
        _whole(old.levels, body.get("level", old.levels)),
        (*old.residuals, body.get("z", _EMPTY))[-KEEP:],
        _whole(old.stuck, body.get("stuck", old.stuck)),
        body.get("runs", old.runs),
        digits,
        fish,
        instruments=instruments,
    )


# ---- a fish as it taught -------------------------------------------------------------------------------------------

#: How many fish before one are compared with it.
NEIGHBOURS = 3
#: Keys of what a fish taught that are no measurands.
_NO_VALUES = ("kind", "group")


def line_of_fish(number: str, lesson: Mapping[str, str]) -> str:
    """A fish as it taught, in one text."""
    return "\n".join([number, *(f"{name}\t{words}" for name, words in lesson.items())])


@lru_cache(maxsize=1024)
def fish_of_line(line: str) -> Fish:
    """The fish of such a text."""
    number, *rest = line.split("\n")
    return Lesson.from_json(number, dict(one.split("\t", 1) for one in rest)).fish


@dataclass(frozen=True, slots=True)
class Lesson:
    """A fish with what became of each of its values."""

    fish: Fish
    outcomes: Mapping[str, Outcome]

    def to_json(self) -> dict[str, str]:
        """Its kind, its group where it is in one, and per measurand value, division and (unless it passed) outcome, as text."""
        made = {"kind": self.fish.kind}
        if self.fish.group:
            made["group"] = self.fish.group
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
        fish = Fish(number, species, values, presentation, preservation, group=data.get("group", ""))
        return cls(fish, outcomes)
