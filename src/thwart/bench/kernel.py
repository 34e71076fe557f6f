"""The kernel: takes inputs one by one, decides, and holds the state that the decisions make. Pure.

`Bench.take` decides an input; `Bench.fold` applies what was decided before. Both change state only through `put`, `add`
and `drop`, so a restart, a rebuild and the live bench can't differ. What an input changed is reported and remembered for
undo.

Memory holds what is in play and what was touched lately; `Records` has the rest. An object that left memory and is
wanted again comes back by a decision of its own (`loaded`) that carries it whole: so folding needs no records, whether
they lag behind the entries or are ahead of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from itertools import takewhile
from operator import attrgetter, itemgetter
from typing import Any, TypeVar

import msgspec
from msgspec.structs import replace

from ..entries import INPUTS, Entry
from . import tables, words
from .setup import Setup
from .state import (
    KINDS,
    Batch,
    Coded,
    Container,
    Desk,
    Instrument,
    Key,
    Learned,
    Measurement,
    Object,
    Place,
    Pool,
    Question,
    Reading,
    Records,
    Specimen,
    Tally,
    Watch,
    from_json,
    key_of,
    to_json,
)

T = TypeVar(
    "T",
    Specimen,
    Reading,
    Measurement,
    Coded,
    Container,
    Batch,
    Question,
    Instrument,
    Place,
    Desk,
    Tally,
    Pool,
    Learned,
    Watch,
)
R = TypeVar("R", Learned, Watch)
V = TypeVar("V")
Change = tuple[Object | None, Object | None]

#: An object out of play leaves memory when so many inputs didn't touch it. The records may lag behind by fewer.
FORGET_AFTER = 320
#: How often what can leave memory is looked for, in inputs.
_SWEEP_EVERY = 64
#: Steps that `undo` can go back at a place where no fish was closed yet.
_LONGEST_UNDO = 200

#: Kinds an undo takes a part in; the others are facts of the world, or only say what happened.
_UNDOABLE_KINDS = (
    "specimen",
    "measurement",
    "coded",
    "container",
    "batch",
    "tally",
    "pool",
    "place",
    "desk",
    "learned",
    "watch",
)
#: Fields undo leaves as they are: numbers never run backwards, interruptions stay counted, a pedal stays pressed, and what
#: lies on a scale is a fact of the world.
_KEPT: dict[str, frozenset[str]] = {
    "desk": frozenset({"next_number", "free_numbers", "asked", "asked_statistical", "fish_closed", "started_seq", "boot", "config_sha256", "printed"}),
    "instrument": frozenset(Instrument.__struct_fields__) - {"verified", "last_verified_utc"},
    "place": frozenset({"last_input", "last_key_ns", "last_ns", "armed", "armed_until_ns", "paused_ns"}),
}  # fmt: skip
#: Fields that count: undo takes its part off, whatever was added since.
_COUNTED = {"batch": frozenset({"measured"}), "specimen": frozenset({"given"})}
#: QARTOD precedence: 4 > 3 > 1 > 2 > 9.
RANK: Mapping[int | None, int] = {None: 0, 9: 1, 2: 2, 1: 3, 3: 4, 4: 5}
#: Lists that several places add to and take from: undo takes its own part back, whatever others did since.
_SHARED = {"place": frozenset({"queue"}), "desk": frozenset({"parked"}), "batch": frozenset({"skipped", "passed"})}
#: What a question can be in while somebody may still see it.
_LIVE = ("open", "quiet")


class Refusal(Exception):
    """An input that changes nothing, with the code and arguments of why. Never escapes the room."""

    def __init__(self, code: str, /, **args: Any) -> None:
        super().__init__(code)
        self.code = code
        self.args_ = args


class Memento(msgspec.Struct, frozen=True, gc=False):
    """What one input changed, for undo: key → (before, after)."""

    input_seq: int
    label: str
    changes: Mapping[Key, Change]


class Bench:
    """The state of one bench and the rules that move it. Not thread-safe: one clerk owns it.

    `forget_after` is the number of inputs after which an untouched object out of play leaves memory.
    """

    def __init__(self, setup: Setup, records: Records, *, forget_after: int = FORGET_AFTER) -> None:
        self.setup = setup
        self.records = records
        self.objects: dict[Key, Object] = {}
        self.seq = 0
        self.turn = 0
        self.mementos: dict[str, list[Memento]] = {}
        self.undone: dict[str, list[tuple[Memento, Memento]]] = {}
        self._forget_after = forget_after
        self._touched: dict[Key, int] = {}
        """The turn in which each object was last touched, the longest ago first."""
        self._gone: dict[Key, int] = {}
        self._live: dict[int, Question] = {}
        self._open: dict[int, Question] = {}
        self._theirs: dict[str | None, dict[int, Question]] = {}
        self._before: dict[Key, Object | None] = {}
        self._mark: dict[Key, tuple[Object | None, int | None]] | None = None
        self._loaded: list[Key] = []
        self._brought: set[str] = set()
        """Specimens that are in memory with all that is theirs, as far as the input being taken goes."""
        self._input: Entry | None = None
        self._decisions: list[Entry] = []
        self._ids = 0
        self._deciding = False
        self._read: dict[Key, tuple[Object, Any]] = {}
        self.reset(setup)

    def reset(self, setup: Setup) -> None:
        """Take up a setup: places and instruments not yet known are added, others keep their state."""
        self.setup = setup
        self.objects.setdefault(("desk", "desk"), Desk())
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
        """An object in memory, or from the records; while an input is being decided that is a decision too."""
        key = (cls.KIND, ident)
        thing = self.objects.get(key)
        if thing is None and key not in self._gone and (self._deciding or self._input is None):
            thing = self.records.get(key)
            if thing is not None and self._deciding:
                self.decide("loaded", None, kind=cls.KIND, object=to_json(thing))
                thing = self.objects[key]
        return thing  # type: ignore[return-value]  # its key says its kind

    def need(self, cls: type[T], ident: str | int) -> T:
        """The same where it must be there. Raises KeyError: a fault of the program."""
        thing = self.objects.get((cls.KIND, ident))
        if thing is None:
            thing = self.get(cls, ident)
        if thing is None:
            raise KeyError((cls.KIND, ident))
        return thing  # type: ignore[return-value]

    @property
    def desk(self) -> Desk:
        """The bench as a whole."""
        return self.need(Desk, "desk")

    def seen(self, cls: type[T], ident: str | int) -> T | None:
        """An object that is only looked at: one that had left memory isn't loaded."""
        key = (cls.KIND, ident)
        thing = self.objects.get(key)
        if thing is None and key not in self._gone:
            thing = self.records.get(key)
        return thing if isinstance(thing, cls) else None

    def before(self, cls: type[T], ident: str | int) -> T | None:
        """An object as it was before the input being taken."""
        key = (cls.KIND, ident)
        thing = self._before[key] if key in self._before else self.objects.get(key)
        return thing if isinstance(thing, cls) else None

    def new_id(self) -> str:
        """The next of the ids that were supplied with the input. Raises IndexError: a fault of the caller."""
        ident: str = self.input.body["ids"][self._ids]
        self._ids += 1
        return ident

    def ids_left(self) -> int:
        """How many of the ids supplied with the input aren't used."""
        return len(self.input.body.get("ids", ())) - self._ids

    @property
    def input(self) -> Entry:
        """The input being taken."""
        assert self._input is not None
        return self._input

    def place(self, name: str) -> Place:
        """A place by name; one of another day's setup is made anew, so that its entries fold."""
        found = self.objects.get(("place", name))
        return Place(name) if found is None else found  # type: ignore[return-value]

    def instrument(self, name: str) -> Instrument:
        """An instrument by name; one of another day's setup is made anew, so that its entries fold."""
        found = self.objects.get(("instrument", name))
        return Instrument(name, "", "", present=False, blind=True) if found is None else found  # type: ignore[return-value]

    def in_hand(self, place: str) -> Specimen | None:
        """The specimen in hand at a place."""
        ident = self.place(place).in_hand
        return None if ident is None else self.need(Specimen, ident)

    def all(self, cls: type[T]) -> Iterator[T]:
        """Objects of a kind in memory, in no order that matters."""
        return (thing for thing in list(self.objects.values()) if isinstance(thing, cls))

    def live_questions(self) -> list[Question]:
        """Questions that are open or on a quiet list, in order of asking."""
        return sorted(self._live.values(), key=lambda q: q.seq)

    def open_questions(self, place: str) -> list[Question]:
        """Open questions of a place in order of asking."""
        if not self._open:
            return []
        return sorted((q for q in self._open.values() if q.place == place), key=lambda q: q.seq)

    def live_questions_of(self, specimen_id: str | None) -> list[Question]:
        """Questions of one specimen (None: of none) that are open or on a quiet list, in order of asking."""
        return sorted(self._theirs.get(specimen_id, {}).values(), key=lambda q: q.seq)

    def read_once(self, thing: R, read: Callable[[R], V]) -> V:
        """What an object's lines of text say; read again only where another object stands in its place."""
        key = key_of(thing)
        known = self._read.get(key)
        if known is None or known[0] is not thing:
            known = self._read[key] = (thing, read(thing))
        found: V = known[1]
        return found

    def changed(self) -> list[Key]:
        """Keys of what the input being taken has changed so far."""
        return list(self._before)

    def decided(self, kind: str) -> list[Entry]:
        """The decisions of a kind that were made on the input being taken."""
        return [d for d in self._decisions if d.kind == kind]

    def taught(self, kind: str, most: int) -> list[Specimen]:
        """The last specimens that taught something of a kind of fish, as they are now, in the order they did."""
        stored = self.records.taught(kind, most)
        found = {s.specimen_id: s for s in stored if ("specimen", s.id) not in self._gone}
        found.update({s.specimen_id: s for s in self.all(Specimen) if s.specimen_id in found or s.taught})
        theirs = [s for s in found.values() if s.taught.get("kind") == kind]
        return sorted(theirs, key=lambda s: s.learned or 0)[-most:]

    def specimens_of(self, batch: str) -> list[Specimen]:
        """A batch's specimens in order of opening, as they are now; what is only looked at isn't loaded."""
        found = {s.specimen_id: s for s in self.records.specimens_of(batch) if ("specimen", s.id) not in self._gone}
        found.update({s.specimen_id: s for s in self.all(Specimen) if s.batch == batch})
        return sorted((s for s in found.values() if s.batch == batch), key=lambda s: s.opened_seq)

    def numbered(self, number: int) -> Specimen | None:
        """The specimen that bears a number."""
        here = next((s for s in self.all(Specimen) if s.number == number), None)
        if here is not None:
            return here
        ident = self.records.numbered(number)
        return self.get(Specimen, ident) if ident is not None else None

    def highest_number(self, first: int, last: int) -> int | None:
        """The highest number in a range that a specimen bears, or None."""
        stored = self.records.highest_number(first, last)
        here = [s.number for s in self.all(Specimen) if first <= s.number <= last]
        return max([*here, *([] if stored is None else [stored])], default=None)

    def container(self, label: str) -> Container | None:
        """The container that bears a label; one that was only practised with is as new once practice is over."""
        found = self.get(Container, label)
        if found is None or not found.practice or self.desk.practice:
            return found
        if found.specimen_id is not None:
            self.get(Specimen, found.specimen_id)  # it loses it to whom it is given now
        return None

    def batch_called(self, name: str) -> Batch | None:
        """The batch of a name; one planned or open in other capitals too, since a card has none."""
        found = self.get(Batch, name)
        if found is None:
            same = (b for b in self.all(Batch) if b.closed_utc is None and b.batch.lower() == name.lower())
            found = min(same, key=lambda b: b.batch, default=None)
        return found

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
        before = self.seq
        self._begin(entry)
        self._mark = {}
        self._deciding = True
        try:
            _rules().decide(self, entry)
        except Refusal as refusal:
            self._roll_back()
            text = words.say(words.REFUSALS, refusal.code, refusal.args_)
            self.decide("refused", None, code=refusal.code, args=_plain(refusal.args_), text=text)
            _rules().refused(self, entry)
        finally:
            self._deciding = False
        if entry.kind == "wake" and not self._decisions:
            self.seq = before
            self._input = None
            self._mark = None
            self.turn -= 1
            return [], {}
        decisions = self._decisions
        return decisions, self._finish()

    def decide(self, kind: str, specimen_id: str | None, /, **body: Any) -> int:
        """Make a decision and apply it at once. Returns its seq."""
        assert self._input is not None
        if self._deciding and specimen_id is not None and kind != "opened":
            self._bring(specimen_id, body)
        entry = Entry(self.seq + 1, kind, self._input.seq, specimen_id, self._input.stamp, body)
        self._apply(entry)
        return entry.seq

    def tell(self, specimen_id: str | None, /, *, place: str | None, code: str, **args: Any) -> int:
        """Tell a person something, by its code in the languages' table `told`. Changes nothing. Returns its seq."""
        text = words.say(words.TOLD, code, args)
        return self.decide("told", specimen_id, place=place, code=code, args=_plain(args), text=text)

    def _bring(self, specimen_id: str, body: Mapping[str, Any]) -> None:
        """Bring back into memory what a decision about a specimen may touch: its values, codes, containers."""
        brought = specimen_id in self._brought
        specimen = None if brought else self.get(Specimen, specimen_id)
        if specimen is None and not brought:
            return
        for name in ("measurement", "supersedes"):
            if (seq := body.get(name)) is not None and ("coded", seq) not in self.objects:
                self.get(Measurement, seq)
        if specimen is None:
            return
        self._brought.add(specimen_id)
        for seq in specimen.values.values():
            if ("measurement", seq) not in self.objects:
                self.get(Measurement, seq)
        for seq in specimen.codes.values():
            if ("coded", seq) not in self.objects:
                self.get(Coded, seq)
        for label in specimen.containers:
            if ("container", label) not in self.objects:
                self.get(Container, label)

    def spoilt(self, entry: Entry, fault: str) -> tuple[list[Entry], dict[Key, Object | None]]:
        """After `take` failed by a fault of the program (its name): put back what it did, and keep the input undecided."""
        self._roll_back()
        if entry.kind == "reading":
            self.decide("outcome", None, reading=entry.seq, event="unusable", why="fault", place=None)
        self.tell(None, place=None, code="fault", fault=fault)
        decisions = self._decisions
        return decisions, self._finish()

    def fold(self, entries: Iterable[Entry]) -> Iterator[tuple[Entry, dict[Key, Object | None]]]:
        """Apply recorded entries; yields each input with what it and its decisions changed. Asks no records."""
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
        self._set((thing.KIND, thing.id), thing)

    def drop(self, key: Key) -> None:
        """Remove an object."""
        self._set(key, None)

    def reckon(self, specimen: Specimen) -> None:
        """Keep a specimen whose values changed: its worst verdict is that of the values that stand."""
        worst: Any = None
        for seq in specimen.values.values():
            verdict = self.need(Measurement, seq).verdict
            if RANK[verdict] > RANK[worst]:
                worst = verdict
        self.put(specimen if specimen.worst_verdict == worst else replace(specimen, worst_verdict=worst))

    def _set(self, key: Key, thing: Object | None) -> None:
        old = self.objects.get(key)
        self._before.setdefault(key, old)
        if self._mark is not None and key not in self._mark:
            self._mark[key] = (old, self._gone.get(key))
        if thing is None:
            self.objects.pop(key, None)
            self._gone[key] = self.turn
        else:
            self.objects[key] = thing
            if self._gone:
                self._gone.pop(key, None)
        if key[0] == "question":
            self._index(int(key[1]), thing)

    def _index(self, seq: int, thing: Object | None) -> None:
        """Keep at hand what is asked: a question that somebody may still see, or one that is over (None)."""
        old = self._live.pop(seq, None)
        if old is not None:
            self._open.pop(seq, None)
            theirs = self._theirs[old.specimen_id]
            del theirs[seq]
            if not theirs:
                del self._theirs[old.specimen_id]
        if isinstance(thing, Question) and thing.state in _LIVE:
            self._live[seq] = thing
            self._theirs.setdefault(thing.specimen_id, {})[seq] = thing
            if thing.state == "open":
                self._open[seq] = thing

    def _roll_back(self) -> None:
        """Take back what the rules did with the input; what the input itself says stays."""
        mark, self._mark = self._mark or {}, None
        for key, (old, gone) in mark.items():
            self._set(key, old)
            self._gone.pop(key, None)
            if gone is not None:
                self._gone[key] = gone
            if self._before[key] is old:
                del self._before[key]
        for key in self._loaded:
            self.objects.pop(key, None)
            self._touched.pop(key, None)
            if key[0] == "question":
                self._index(int(key[1]), None)
        self._loaded = []
        self._brought = set()
        self._decisions = []
        self._ids = 0
        self.seq = self.input.seq

    def _begin(self, entry: Entry) -> None:
        assert entry.kind in INPUTS, entry.kind
        self.seq = entry.seq
        self.turn += 1
        self._input = entry
        self._before = {}
        self._mark = None
        self._loaded = []
        self._brought = set()
        self._decisions = []
        self._ids = 0
        if effect := _effects().INPUT_EFFECTS.get(entry.kind):
            effect(self, entry)

    def _apply(self, entry: Entry) -> None:
        self.seq = entry.seq
        self._decisions.append(entry)
        deciding, self._deciding = self._deciding, False  # an effect finds in memory what the rules looked at
        _effects().EFFECTS[entry.kind](self, entry)
        self._deciding = deciding

    def load(self, thing: Object) -> None:
        """Bring back an object that left memory. It changes nothing, so it is no part of what the input changed."""
        key = key_of(thing)
        if key not in self.objects:
            self.objects[key] = thing
            self._touched.pop(key, None)
            self._touched[key] = self.turn
            self._loaded.append(key)
            if isinstance(thing, Question):
                self._index(thing.seq, thing)

    def _finish(self) -> dict[Key, Object | None]:
        entry = self.input
        changed = {key: self.objects.get(key) for key in self._before}
        for key, thing in changed.items():
            self._touched.pop(key, None)
            if thing is not None:
                self._touched[key] = self.turn
        self._remember(entry, changed)
        if self.turn % _SWEEP_EVERY == 0:
            self._sweep()
        self._before = {}
        self._mark = None
        self._input = None
        return changed

    # ---- undo --------------------------------------------------------------------------------------------------

    def _remember(self, entry: Entry, changed: Mapping[Key, Object | None]) -> None:
        """Keep the books of undo: a new step, or a step moved over by undo and back by redo."""
        if entry.kind not in ("act", "scan", "key", "reading"):
            return
        undone = next((d.body for d in self._decisions if d.kind == "undone"), None)
        if undone is None and not self._undoable():
            return
        here = {str(key[1]) for key in changed if key[0] == "place" and self._acted_at(key)}
        if not here:
            here = {str(d.body["place"]) for d in self._decisions if d.body.get("place") is not None}
        changes = {k: (b, changed[k]) for k, b in self._before.items() if b is not changed[k]}
        if undone is not None:
            memento = Memento(entry.seq, "", changes)
            place = str(undone["place"])
            stack, over = self.mementos.setdefault(place, []), self.undone.setdefault(place, [])
            if undone["redo"]:
                stack.append(over.pop()[0])
            else:
                over.append((stack.pop(), memento))
        elif len(here) == 1:
            (place,) = here
            self.mementos.setdefault(place, []).append(Memento(entry.seq, self._label(entry), changes))
            self.undone.pop(place, None)
            self._forget_older(place)
        else:
            # What concerned several places can't be taken back at one of them, nor what lies before it.
            for place in here:
                self.mementos.pop(place, None)
                self.undone.pop(place, None)

    def _acted_at(self, key: Key) -> bool:
        """Whether a place itself did something: a fish that came into its queue, or went, is another place's doing."""
        before, after = self._before[key], self.objects.get(key)
        if before is None or after is None:
            return True
        return bool(_OWN_DOING(before) != _OWN_DOING(after))

    def _undoable(self) -> bool:
        """Only what changed more than is said of it."""
        for key, before in self._before.items():
            kind = key[0]
            if kind not in _UNDOABLE_KINDS:
                continue
            after = self.objects.get(key)
            if before is after:
                continue
            taken_back = _TAKEN_BACK.get(kind)
            if taken_back is None or before is None or after is None or taken_back(before) != taken_back(after):
                return True
        return False

    def _label(self, entry: Entry) -> str:
        """What the input did, in a few words, for undo to say what goes. From the entries alone, so that they fold."""
        for d in reversed(self._decisions):
            b = d.body
            match d.kind:
                case "measured" if entry.kind == "reading":
                    return f"{b['measurand']} {b['raw_value']} {b['raw_unit']} of {b['number']}"
                case "container" if b["fish"] is not None:
                    return f"container {b['number']} of {b['fish']}"
                case "container":
                    return f"skip {b['number']}"
                case "recalled":
                    return f"recall {b['number']}"
        b = entry.body
        match entry.kind:
            case "act":
                return " ".join([str(b["act"]), *map(str, b.get("args") or ())])
            case "reading":
                return f"{b.get('value')} {b.get('unit')} from {b['instrument']}"
            case _:
                return str(b.get("text"))

    def last_memento(self, place: str, redo: bool) -> Memento | None:
        """What an undo (or a redo) at a place would take back."""
        if redo:
            over = self.undone.get(place)
            return over[-1][1] if over else None
        stack = self.mementos.get(place)
        return stack[-1] if stack else None

    def redo_label(self, place: str) -> str:
        """What the undo took back that a redo would do again."""
        return self.undone[place][-1][0].label

    def entangled(self, place: str, memento: Memento) -> Specimen | None:
        """A specimen that the memento changed and that was worked on at another place since, or None."""
        others = [m for name, stack in self.mementos.items() if name != place for m in stack]
        later = {key for m in others if m.input_seq > memento.input_seq for key in m.changes if key[0] in _OWNED}
        for key, (before, after) in memento.changes.items():
            now = self.objects.get(key)
            if key == ("place", place) and isinstance(before, Place) and isinstance(after, Place):
                knot = self._went_on(before, after)
                if knot is not None:
                    return knot
            touched = key in later
            if key[0] == "specimen" and isinstance(now, Specimen):
                made = before is None and isinstance(after, Specimen) and now.given != after.given
                if touched or made:
                    return now
            elif touched and (owner := getattr(now or before or after, "specimen_id", None)):
                found = self.objects.get(("specimen", owner))
                if isinstance(found, Specimen):
                    return found
            if key[0] == "specimen" and now is None and isinstance(before, Specimen):
                free = before.number in self.desk.free_numbers
                if not free and not before.containers:
                    return before  # its number went to another fish
        return None

    def _went_on(self, before: Place, after: Place) -> Specimen | None:
        """In a row: a fish that left the hand since, moved on by what happened at another place."""
        if before.in_hand == after.in_hand:
            return None
        held = {i for p in self.all(Place) if p.place != before.place for i in (p.in_hand, *p.aside) if i}
        gone = self.place(before.place).in_hand != after.in_hand
        ident = after.in_hand if gone else before.in_hand if before.in_hand in held else None
        found = (
            self.objects.get(("specimen", ident or self.place(before.place).in_hand or "")) if ident or gone else None
        )
        return found if isinstance(found, Specimen) else None

    def unwind(self, memento: Memento, by: int) -> None:
        """Put back what a memento changed: field by field, so that what others did since stays."""
        for key, (before, after) in memento.changes.items():
            current = self.objects.get(key)
            if before is None:
                self._unmake(key, current, by)
            elif current is None:
                self._remake(before)
            else:
                self.put(_mixed(key[0], current, before, after))
        for key in memento.changes:
            if key[0] == "specimen" and isinstance(s := self.objects.get(key), Specimen):
                self.reckon(s)

    def _unmake(self, key: Key, current: Object | None, by: int) -> None:
        match current:
            case None:
                return
            case Specimen():
                self.drop(key)
                if not current.containers:
                    self.put(replace(self.desk, free_numbers=tuple(sorted({*self.desk.free_numbers, current.number}))))
            case Measurement():
                if current.status in ("stands", "questioned"):
                    status = tables.step(tables.MEASUREMENT, current.status, "withdrawn")
                    self.put(replace(current, status=status))
            case Coded():
                self.put(replace(current, status="withdrawn"))
            case Question():
                if current.state in _LIVE:
                    state = tables.step(tables.QUESTION, current.state, "answered")
                    self.put(replace(current, state=state, answered_by=by))
            case Reading():
                if current.outcome in ("taken", "waiting"):
                    loose = tables.step(tables.READING, current.outcome, "taken back")
                    self.put(replace(current, outcome=loose, why="taken-back"))
            case Pool():
                self.put(replace(current, status=tables.step(tables.MEASUREMENT, current.status, "withdrawn")))
            case Container() | Batch():
                self.drop(key)
            case Tally():
                self.put(replace(current, n=current.n - 1))
            case Learned() | Watch():
                self.drop(key)

    def _remake(self, before: Object) -> None:
        self.put(before)
        if isinstance(before, Specimen):
            self.put(replace(self.desk, free_numbers=tuple(n for n in self.desk.free_numbers if n != before.number)))

    def _forget_older(self, place: str) -> None:
        """What is older than the previous fish is a mend: undo reaches back to its opening, no further."""
        now = self.place(place)
        stack = self.mementos[place]
        if now.previous is None:
            del stack[:-_LONGEST_UNDO]
            return
        held = [self.objects.get(("specimen", i)) for i in (now.in_hand, now.previous) if i]
        oldest = min((s.opened_seq for s in held if isinstance(s, Specimen)), default=0)
        while stack and stack[0].input_seq < oldest:
            stack.pop(0)

    # ---- memory ------------------------------------------------------------------------------------------------

    def _in_play(self) -> tuple[set[str], set[Key]]:
        """Ids of specimens that must stay in memory with all that is theirs, and keys of what else must."""
        specimens: set[str] = set()
        keys: set[Key] = set()
        for p in self.all(Place):
            specimens.update(i for i in (p.in_hand, p.previous, *p.aside, *p.tray, *p.queue) if i)
            keys.update(("measurement", seq) for seq in p.filled)
            if p.waiting is not None:
                keys.add(("reading", p.waiting))
        for i in self.all(Instrument):
            keys.update(("reading", seq) for seq in i.load_readings)
            keys.update(("measurement", seq) for seq in i.since_zero)
            if i.last_seq is not None:
                keys.add(("reading", i.last_seq))
            specimens.update(s for s in i.load_specimens.values() if s)
        for stack in self.mementos.values():
            for m in stack:
                keys.update(m.changes)
        for pairs in self.undone.values():
            for pair in pairs:
                for m in pair:
                    keys.update(m.changes)
        specimens.update(str(ident) for kind, ident in keys if kind == "specimen")
        return specimens, keys

    def _sweep(self) -> None:
        """Let what is out of play and wasn't touched for long leave memory."""
        limit = self.turn - self._forget_after
        for key in [key for key, turn in self._gone.items() if turn < limit]:
            del self._gone[key]
        old = [key for key, _ in takewhile(lambda touched: touched[1] < limit, self._touched.items())]
        if not old:
            return
        specimens, keys = self._in_play()
        for key in old:
            del self._touched[key]
            if key in keys or not _may_leave(self.objects[key], specimens):
                self._touched[key] = self.turn  # not looked at again at the very next sweep
            else:
                del self.objects[key]

    def snapshot(self) -> bytes:
        """Everything in memory as JSON, for a start that doesn't fold the whole ledger."""

        def mementos(items: Iterable[Memento]) -> list[Any]:
            return [[m.input_seq, m.label, [(k, *c) for k, c in m.changes.items()]] for m in items]

        return msgspec.json.encode(
            {
                "seq": self.seq,
                "turn": self.turn,
                "objects": [(key[0], self._touched.get(key, 0), thing) for key, thing in _sorted(self.objects)],
                "gone": [(*key, turn) for key, turn in _sorted(self._gone)],
                "mementos": {p: mementos(stack) for p, stack in self.mementos.items() if stack},
                "undone": {p: [mementos(pair) for pair in stack] for p, stack in self.undone.items() if stack},
            }
        )

    def restore(self, kept: bytes | str) -> None:
        """Take up a snapshot."""
        data = msgspec.json.decode(kept)

        def memento(item: Any) -> Memento:
            changes = {
                (k[0], k[1]): (None if b is None else from_json(k[0], b), None if a is None else from_json(k[0], a))
                for k, b, a in item[2]
            }
            return Memento(item[0], item[1], changes)

        self.seq, self.turn = data["seq"], data["turn"]
        self.objects = {}
        touched: dict[Key, int] = {}
        for kind, turn, fields in data["objects"]:
            thing = from_json(kind, fields)
            key = key_of(thing)
            self.objects[key] = thing
            if turn:
                touched[key] = turn
        self._touched = dict(sorted(touched.items(), key=itemgetter(1)))
        self._gone = {(kind, ident): turn for kind, ident, turn in data["gone"]}
        self._live, self._open, self._theirs = {}, {}, {}
        for q in self.all(Question):
            self._index(q.seq, q)
        self.mementos = {place: [memento(m) for m in stack] for place, stack in data["mementos"].items()}
        self.undone = {p: [(memento(a), memento(b)) for a, b in stack] for p, stack in data["undone"].items()}
        self.reset(self.setup)


#: Kinds that belong to one specimen.
_OWNED = ("specimen", "measurement", "coded", "container")
_FIELDS = {kind: cls.__struct_fields__ for kind, cls in KINDS.items()}
#: What undo takes back of the kinds that keep something.
_TAKEN_BACK = {kind: attrgetter(*(n for n in _FIELDS[kind] if n not in kept)) for kind, kept in _KEPT.items()}
#: What changes at a place by what it does itself, not another place of its row.
_OWN_DOING = attrgetter(*(n for n in _FIELDS["place"] if n not in ("queue", "stays", "came_idle", "unbroken")))


@cache
def _rules() -> Any:
    from . import rules  # they need this module's Refusal

    return rules


@cache
def _effects() -> Any:
    from . import effects

    return effects


def _may_leave(thing: Object, in_play: set[str]) -> bool:
    """Whether an object may leave memory when it wasn't touched for long."""
    match thing:
        case Specimen():
            return thing.state == "closed" and thing.specimen_id not in in_play
        case Question():
            return thing.state not in _LIVE
        case Tally() | Pool():
            return True
        case Measurement() | Coded() | Reading() | Container():
            return thing.specimen_id not in in_play
        case _:
            return False


def _mixed(kind: str, current: Object, before: Object, after: Object | None) -> Object:
    """`current` with what differs between before and after put back, as far as nobody changed it since.

    Mappings are put back key by key; counts have their part taken off.
    """
    kept, counted = _KEPT.get(kind, frozenset()), _COUNTED.get(kind, frozenset())
    back: dict[str, Any] = {}
    for name in _FIELDS[kind]:
        old, new, now = getattr(before, name), getattr(after, name, None), getattr(current, name)
        if name in kept or old == new:
            continue
        if name in counted:
            back[name] = now + old - (new or 0)
        elif isinstance(old, Mapping) and isinstance(now, Mapping):
            merged, said = dict(now), new or {}
            for k in {*old, *said}:
                if old.get(k) != said.get(k) and now.get(k) == said.get(k):
                    if k in old:
                        merged[k] = old[k]
                    else:
                        merged.pop(k, None)
            # as they stood: the order of a mapping is part of what is compared
            order = [*old, *(k for k in merged if k not in old)]
            back[name] = {k: merged[k] for k in order if k in merged}
        elif after is None or now == new:
            back[name] = old
        elif name in _SHARED.get(kind, frozenset()):
            added = {*new} - {*old} if new else set()
            back[name] = (
                *(i for i in old if i in now or i not in (new or ())),
                *(i for i in now if i not in {*old, *added}),
            )
    return replace(current, **back) if back else current


def _sorted(things: Mapping[Key, V]) -> list[tuple[Key, V]]:
    return sorted(things.items(), key=lambda item: (item[0][0], str(item[0][1])))


def _plain(args: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v if isinstance(v, bool | int | str) or v is None else str(v) for k, v in args.items()}
