"""The kernel: takes inputs one by one, decides, and holds the state that the decisions make. Pure.

`Bench.take` decides an input; `Bench.fold` applies what was decided before. Both change state only through `apply`, so
a restart, a rebuild and the live bench can't differ. What an input changed is reported, remembered for undo, and
nothing else is kept of the past than the objects still in play; `Records` has the rest.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from ..entries import INPUTS, Entry
from . import tables, words
from .setup import Setup
from .state import (
    Batch,
    Coded,
    Container,
    Desk,
    Instrument,
    Key,
    Measurement,
    Object,
    Place,
    Question,
    Reading,
    Records,
    Specimen,
    from_json,
    key_of,
    to_json,
)

T = TypeVar("T", Specimen, Reading, Measurement, Coded, Container, Batch, Question, Instrument, Place, Desk)
Change = tuple[Object | None, Object | None]

#: Kinds that undo removes where the undone input made them; the others keep their history.
_REMOVED = (Specimen, Container, Batch)
#: Fields undo leaves as they are: numbers never run backwards, and interruptions that happened stay counted.
_KEPT = {
    Desk: {"next_number", "free_numbers", "asked", "asked_statistical", "fish_closed"},
    Place: {"last_input", "last_key_ns"},
}


class Refusal(Exception):
    """An input that changes nothing, with the code and arguments of why. Never escapes the room."""

    def __init__(self, code: str, /, **args: Any) -> None:
        super().__init__(code)
        self.code = code
        self.args_ = args


@dataclass(frozen=True, slots=True)
class Memento:
    """What one input changed, for undo: key → (before, after)."""

    input_seq: int
    label: str
    changes: Mapping[Key, Change]


class Bench:
    """The state of one bench and the rules that move it. Not thread-safe: one clerk owns it."""

    def __init__(self, setup: Setup, records: Records) -> None:
        self.setup = setup
        self.records = records
        self.objects: dict[Key, Object] = {}
        self.seq = 0
        self.mementos: dict[str, list[Memento]] = {}
        self.undone: dict[str, list[tuple[Memento, Memento]]] = {}
        self._before: dict[Key, Object | None] = {}
        self._input: Entry | None = None
        self._decisions: list[Entry] = []
        self._label = ""
        self._ids = 0
        self.reset(setup)

    def reset(self, setup: Setup) -> None:
        """Take up a setup: places and instruments not yet known are added, others keep their state."""
        self.setup = setup
        self.objects.setdefault(("desk", "desk"), Desk(next_number=setup.protocol.numbers.first))
        for name in setup.places:
            self.objects.setdefault(("place", name), Place(name))
        for name, i in setup.instruments.items():
            known = self.objects.get(("instrument", name))
            if not isinstance(known, Instrument):
                self.objects["instrument", name] = Instrument(name, i.profile, i.port, present=False, blind=True)
            elif (known.profile, known.port) != (i.profile, i.port):
                self.objects["instrument", name] = replace(known, profile=i.profile, port=i.port)

    # ---- reading the state -------------------------------------------------------------------------------------

    def get(self, cls: type[T], ident: str | int) -> T | None:
        """An object in play, or from the records."""
        key = (cls.KIND, ident)
        thing = self.objects.get(key)
        if thing is None and key not in self._before:
            thing = self.records.get(key)
        return thing if isinstance(thing, cls) else None

    def need(self, cls: type[T], ident: str | int) -> T:
        """The same where it must be there. Raises KeyError: a fault of the program."""
        thing = self.get(cls, ident)
        if thing is None:
            raise KeyError((cls.KIND, ident))
        return thing

    @property
    def desk(self) -> Desk:
        """The bench as a whole."""
        return self.need(Desk, "desk")

    def before(self, cls: type[T], ident: str | int) -> T | None:
        """An object as it was before the input being taken."""
        key = (cls.KIND, ident)
        thing = self._before[key] if key in self._before else self.get(cls, ident)
        return thing if isinstance(thing, cls) else None

    def new_id(self) -> str:
        """The next of the ids that were supplied with the input. Raises IndexError: a fault of the caller."""
        ident: str = self.input.body["ids"][self._ids]
        self._ids += 1
        return ident

    def coded_fields(self, specimen: Specimen) -> dict[str, Coded]:
        """The specimen's coded observations that stand, by field."""
        mine = (c for c in self.all(Coded) if c.specimen_id == specimen.specimen_id and c.status == "stands")
        return {c.field: c for c in mine}

    @property
    def input(self) -> Entry:
        """The input being taken."""
        assert self._input is not None
        return self._input

    def place(self, name: str) -> Place:
        """A place by name; one of another day's setup is made anew, so that its entries fold."""
        return self.get(Place, name) or Place(name)

    def in_hand(self, place: str) -> Specimen | None:
        """The specimen in hand at a place."""
        ident = self.place(place).in_hand
        return None if ident is None else self.need(Specimen, ident)

    def all(self, cls: type[T]) -> Iterator[T]:
        """Objects of a kind in play, in no order that matters."""
        return (thing for thing in list(self.objects.values()) if isinstance(thing, cls))

    def open_questions(self, place: str) -> list[Question]:
        """Open questions of a place in order of asking."""
        return sorted((q for q in self.all(Question) if q.place == place and q.state == "open"), key=lambda q: q.seq)

    def next_wake(self) -> int | None:
        """When (monotonic ns) a wake would change something, or None."""
        armed = (self.place(name).armed_until_ns for name in self.setup.places)
        return min((at for at in armed if at is not None), default=None)

    # ---- taking an input ---------------------------------------------------------------------------------------

    def take(self, entry: Entry) -> tuple[list[Entry], dict[Key, Object | None]]:
        """Decide one input. Returns the decisions and what changed (None: removed).

        The entry's seq must be the next one. A wake that decides nothing need not be kept: then both are empty and
        the next input may bear the same seq.
        """
        from . import rules

        before = self.seq
        self._begin(entry)
        try:
            rules.decide(self, entry)
        except Refusal as refusal:
            text = words.say(words.REFUSALS, refusal.code, refusal.args_)
            self.decide("refused", None, code=refusal.code, args=_plain(refusal.args_), text=text)
        if entry.kind == "wake" and not self._decisions:
            self.seq = before
            self._input = None
            return [], {}
        decisions = self._decisions
        return decisions, self._finish()

    def decide(self, kind: str, specimen_id: str | None, /, **body: Any) -> int:
        """Make a decision and apply it at once. Returns its seq."""
        assert self._input is not None
        entry = Entry(self.seq + 1, kind, self._input.seq, specimen_id, self._input.stamp, body)
        self._apply(entry)
        self._decisions.append(entry)
        return entry.seq

    def spoilt(self, entry: Entry, text: str) -> tuple[list[Entry], dict[Key, Object | None]]:
        """After `take` failed by a fault of the program: put back what it did, and keep the input undecided."""
        for key, before in self._before.items():
            if before is None:
                self.objects.pop(key, None)
            else:
                self.objects[key] = before
        self._begin(entry)
        if entry.kind == "reading":
            self.decide("outcome", None, reading=entry.seq, event="unusable", why="fault", place=None)
        self.decide("told", None, place=None, code="fault", text=text)
        decisions = self._decisions
        return decisions, self._finish()

    def label(self, text: str) -> None:
        """Name the input being taken, for undo to say what goes."""
        self._label = text

    def fold(self, entries: Iterable[Entry]) -> Iterator[tuple[Entry, dict[Key, Object | None]]]:
        """Apply recorded entries; yields each input with what it and its decisions changed.

        An entry `configured` brings its own setup, so entries of other days fold as they were.
        """
        current: Entry | None = None
        for entry in entries:
            if entry.input_seq is None:
                if current is not None:
                    yield current, self._finish()
                self._begin(entry)
                current = entry
            else:
                self._apply(entry)
        if current is not None:
            yield current, self._finish()

    # ---- applying ----------------------------------------------------------------------------------------------

    def put(self, thing: Object) -> None:
        """Replace or add an object."""
        key = key_of(thing)
        if key not in self._before:
            self._before[key] = self.objects.get(key) or self.records.get(key)
        self.objects[key] = thing

    def drop(self, key: Key) -> None:
        """Remove an object."""
        if key not in self._before:
            self._before[key] = self.objects.get(key) or self.records.get(key)
        self.objects.pop(key, None)

    def _begin(self, entry: Entry) -> None:
        assert entry.kind in INPUTS, entry.kind
        self.seq = entry.seq
        self._input = entry
        self._before = {}
        self._decisions = []
        self._ids = 0
        self._label = entry.kind
        from .effects import INPUT_EFFECTS

        if effect := INPUT_EFFECTS.get(entry.kind):
            effect(self, entry)

    def _apply(self, entry: Entry) -> None:
        from .effects import EFFECTS

        self.seq = entry.seq
        EFFECTS[entry.kind](self, entry)

    def _finish(self) -> dict[Key, Object | None]:
        entry = self.input
        changed = {key: self.objects.get(key) for key in self._before}
        place = entry.body.get("place") or self._place_of(changed)
        if place is not None and self._undoable(entry):
            memento = Memento(entry.seq, self._label, {k: (b, changed[k]) for k, b in self._before.items()})
            if not self._is_undo(entry):
                self.mementos.setdefault(place, []).append(memento)
                self.undone.pop(place, None)
            else:
                self._after_undo(place, memento)
            self._forget_older(place)
        self._evict()
        self._before = {}
        self._input = None
        return changed

    # ---- undo --------------------------------------------------------------------------------------------------

    @staticmethod
    def _is_undo(entry: Entry) -> bool:
        return entry.kind == "act" and entry.body.get("act") == "undo"

    def _undoable(self, entry: Entry) -> bool:
        """Only what people and instruments did at a place, and only where it changed more than what is said of it."""
        if entry.kind not in ("act", "scan", "key", "reading"):
            return False
        for key, before in self._before.items():
            after = self.objects.get(key)
            match before or after:
                case Specimen() | Measurement() | Coded() | Container() | Batch():
                    return True
                case Place() | Desk() as thing:
                    kept = _KEPT[type(thing)]
                    if any(
                        getattr(before, f.name, None) != getattr(after, f.name, None)
                        for f in dataclasses.fields(thing)
                        if f.name not in kept
                    ):
                        return True
                case _:
                    pass
        return False

    @staticmethod
    def _place_of(changed: Mapping[Key, Object | None]) -> str | None:
        names = [str(k[1]) for k in changed if k[0] == "place"]
        return names[0] if len(names) == 1 else None

    def _after_undo(self, place: str, memento: Memento) -> None:
        """Keep the books of undo: an undo moves one memento over, a redo moves it back."""
        stack = self.mementos.setdefault(place, [])
        over = self.undone.setdefault(place, [])
        if self.input.body.get("args") == ["undo"]:
            stack.append(over.pop()[0])
        else:
            over.append((stack.pop(), memento))

    def last_memento(self, place: str, redo: bool) -> Memento | None:
        """What an undo (or a redo) at a place would take back."""
        if redo:
            over = self.undone.get(place)
            return over[-1][1] if over else None
        stack = self.mementos.get(place)
        return stack[-1] if stack else None

    def unwind(self, memento: Memento, by: int) -> None:
        """Put back what a memento changed: field by field, so that what others did since stays."""
        for key, (before, after) in memento.changes.items():
            current = self.get(type(before or after), key[1])  # type: ignore[type-var]
            if isinstance(before or after, Instrument):
                continue  # what lies on a scale is a fact of the world; no act of ours takes it back
            if before is None:
                self._unmake(key, current, by)
            elif current is None:
                self._remake(before)
            else:
                self.put(_mixed(current, before, after))

    def _unmake(self, key: Key, current: Object | None, by: int) -> None:
        match current:
            case None:
                return
            case Specimen():
                self.drop(key)
                if not current.containers:
                    self.put(replace(self.desk, free_numbers=tuple(sorted({*self.desk.free_numbers, current.number}))))
            case Measurement():
                self.put(replace(current, status=tables.step(tables.MEASUREMENT, current.status, "withdrawn")))
            case Coded():
                self.put(replace(current, status="withdrawn"))
            case Question():
                if current.state in ("open", "quiet"):
                    self.put(
                        replace(current, state=tables.step(tables.QUESTION, current.state, "answered"), answered_by=by)
                    )
            case Reading():
                if current.outcome in ("taken", "waiting"):
                    loose = tables.step(tables.READING, current.outcome, "taken back")
                    self.put(replace(current, outcome=loose, why="taken-back"))
            case _ if isinstance(current, _REMOVED):
                self.drop(key)

    def _remake(self, before: Object) -> None:
        self.put(before)
        if isinstance(before, Specimen):
            self.put(replace(self.desk, free_numbers=tuple(n for n in self.desk.free_numbers if n != before.number)))

    def _forget_older(self, place: str) -> None:
        """What is older than the previous fish is a mend: undo reaches back to its opening, no further."""
        now = self.place(place)
        keep = {now.in_hand, now.previous}
        oldest = min((s.opened_seq for i in keep if i and (s := self.get(Specimen, i))), default=None)
        if oldest is None:
            return
        stack = self.mementos.get(place, [])
        while stack and stack[0].input_seq < oldest:
            stack.pop(0)

    # ---- memory ------------------------------------------------------------------------------------------------

    def _evict(self) -> None:
        """Let go of what is no longer in play: closed specimens outside hands, trays and undo, with all that is theirs."""
        if len(self.objects) < 400:
            return
        keep: set[str] = set()
        readings: set[int] = set()
        for p in self.all(Place):
            keep.update(i for i in (p.in_hand, p.previous, *p.aside, *p.tray) if i)
            readings.update(s for s in (p.waiting,) if s)
        for i in self.all(Instrument):
            readings.update(i.load_readings)
            keep.update(s for s in i.load_specimens.values() if s)
        recent = sorted((s for s in self.all(Specimen)), key=lambda s: s.opened_seq)[-20:]
        keep.update(s.specimen_id for s in recent)
        oldest = min((s.opened_seq for s in self.all(Specimen) if s.specimen_id in keep), default=0)
        for key, thing in list(self.objects.items()):
            match thing:
                case Specimen() if thing.specimen_id not in keep and thing.state == "closed":
                    del self.objects[key]
                case Measurement() | Coded() if thing.specimen_id not in keep:
                    del self.objects[key]
                case Question() if thing.state in ("answered", "read-out") or (
                    thing.seq < oldest and thing.specimen_id not in keep
                ):
                    if thing.seq < oldest:
                        del self.objects[key]
                case Reading() if thing.seq < oldest and thing.seq not in readings:
                    del self.objects[key]
                case Container() if thing.specimen_id not in keep and thing.state != "expected":
                    del self.objects[key]
                case Batch() if thing.closed_utc is not None:
                    del self.objects[key]
                case _:
                    pass

    def snapshot(self) -> dict[str, Any]:
        """Everything in play as plain JSON, for a start that doesn't fold the whole ledger."""

        def mementos(items: Iterable[Memento]) -> list[Any]:
            return [
                [m.input_seq, m.label, [[list(k), *(None if t is None else to_json(t) for t in c)] for k, c in m.changes.items()]]
                for m in items
            ]  # fmt: skip

        return {
            "seq": self.seq,
            "objects": [[key[0], to_json(thing)] for key, thing in self.objects.items()],
            "mementos": {place: mementos(stack) for place, stack in self.mementos.items()},
            "undone": {p: [mementos(pair) for pair in stack] for p, stack in self.undone.items()},
        }

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take up a snapshot."""

        def memento(item: Any) -> Memento:
            changes = {
                (k[0], k[1]): (None if b is None else from_json(k[0], b), None if a is None else from_json(k[0], a))
                for k, b, a in item[2]
            }
            return Memento(item[0], item[1], changes)

        self.seq = data["seq"]
        things = [from_json(kind, fields) for kind, fields in data["objects"]]
        self.objects = {key_of(thing): thing for thing in things}
        self.mementos = {place: [memento(m) for m in stack] for place, stack in data["mementos"].items()}
        self.undone = {p: [(memento(a), memento(b)) for a, b in stack] for p, stack in data["undone"].items()}
        self.reset(self.setup)


def _mixed(current: Object, before: Object, after: Object | None) -> Object:
    """`current` with the fields that differ between before and after put back, mappings key by key."""
    kept = _KEPT.get(type(current), set())
    back: dict[str, Any] = {}
    for f in dataclasses.fields(current):
        if f.name in kept:
            continue
        old = getattr(before, f.name)
        new = None if after is None else getattr(after, f.name)
        if old == new:
            continue
        if isinstance(old, Mapping) and isinstance(new, Mapping):
            merged = dict(getattr(current, f.name))
            for k in {*old, *new}:
                if old.get(k) != new.get(k):
                    if k in old:
                        merged[k] = old[k]
                    else:
                        merged.pop(k, None)
            back[f.name] = merged
        else:
            back[f.name] = old
    return replace(current, **back)


def _plain(args: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v if isinstance(v, bool | int | str | list | dict) or v is None else str(v) for k, v in args.items()}


Effect = Callable[[Bench, Entry], None]
