"""What the bench knows, as frozen objects under keys. Pure.

Every change replaces an object by a new one (`replace`), so an undo is nothing but putting the old objects back, a
snapshot is a list of objects, and the ledger's tables are copies of them. Decimals stand as text, times as RFC 3339
text (UTC) or monotonic nanoseconds; an object's fields are plain JSON values, tuples or mappings of them.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, ClassVar, Literal, Protocol, TypeVar

import msgspec

from ..checks.specimen import kin

SpecimenState = Literal["open", "ready", "closed"]
End = Literal["complete", "incomplete", "lost", "void", "same-as"]
Outcome = Literal["taken", "waiting", "superseded", "doubled", "stale", "tare", "loose", "refused"]
Status = Literal["stands", "questioned", "superseded", "withdrawn"]
QuestionState = Literal["open", "quiet", "answered", "read-out"]
ContainerState = Literal["expected", "filled", "empty", "orphan", "skipped", "torn", "void"]
Verdict = Literal[1, 2, 3, 4, 9]

Json = None | bool | int | str | list[Any] | dict[str, Any]
Key = tuple[str, str | int]


class Specimen(msgspec.Struct, frozen=True, gc=False):
    """One animal. `values` maps a measurand key (`gonad_mass.left`) to the seq of the measurement that stands."""

    KIND: ClassVar[str] = "specimen"
    specimen_id: str
    number: int
    batch: str
    species: str | None
    state: SpecimenState
    end: End | None
    place: str
    opened_seq: int
    opened_utc: str
    closed_utc: str | None = None
    same_as: int | None = None
    tag: str | None = None
    """Scanned tag it carries through a row, until it is closed."""
    structures: Mapping[str, Json] = msgspec.field(default_factory=dict)
    """Structure → what was got of it: `taken`, `side`, `condition`."""
    practice: bool = False
    provisional: bool = False
    values: Mapping[str, int] = msgspec.field(default_factory=dict)
    missing: Mapping[str, str] = msgspec.field(default_factory=dict)
    codes: Mapping[str, int] = msgspec.field(default_factory=dict)
    """Coded field → seq of the observation that stands."""
    containers: tuple[str, ...] = ()
    worst_verdict: Verdict | None = None
    given: int = 0
    """How many readings, hand entries and codes it was given: a fish with none is never closed by `next`."""
    doubted: int | None = None
    """The last question a statistical check asked about its values."""
    learned: int | None = None
    """Seq of the decision by which its species model learned from it."""
    taught: Mapping[str, str] = msgspec.field(default_factory=dict)
    """What it taught: its kind, its group, and each value with its division and what became of it."""

    @property
    def id(self) -> str:
        """Its key."""
        return self.specimen_id


class Reading(msgspec.Struct, frozen=True, gc=False):
    """What an instrument said, with what became of it. `seq` is its input entry's."""

    KIND: ClassVar[str] = "reading"
    seq: int
    instrument: str
    place: str | None
    raw: str
    value: str | None
    unit: str | None
    base_value: str | None
    condition: str
    settled: str
    spread: str | None
    samples: int
    zero_before: str | None
    plateau: int
    arrived_utc: str
    arrived_ns: int
    done_utc: str
    arrived_after_seq: int
    outcome: Outcome | None
    why: str | None = None
    specimen_id: str | None = None
    """The specimen that was in hand at its place when it arrived, whatever became of it."""
    measurement_seq: int | None = None
    """The measurement last made of it, whatever became of that."""
    practice: bool = False

    @property
    def id(self) -> int:
        """Its key."""
        return self.seq


class Measurement(msgspec.Struct, frozen=True, gc=False):
    """A reading or hand entry given to a specimen and a measurand. `value` is in the base unit; `raw_value` as sent."""

    KIND: ClassVar[str] = "measurement"
    seq: int
    specimen_id: str
    number: int
    measurand: str
    side: str | None
    replicate: int | None
    value: str
    unit: str
    raw_value: str
    raw_unit: str
    rounded_value: str | None
    status: Status
    verdict: Verdict
    cause: str | None
    place: str
    instrument: str | None
    how: str
    measurer: str | None
    recorder: str | None
    zero_before: str | None
    zero_after: str | None
    taken_utc: str
    supersedes: int | None
    reading_seq: int | None
    practice: bool = False
    stood_by: bool = False
    """A person accepted it: no rule asks about it again."""

    @property
    def id(self) -> int:
        """Its key."""
        return self.seq

    @property
    def key(self) -> str:
        """Measurand, side and replicate in one word (`gonad_mass.left.2`)."""
        return measurand_key(self.measurand, self.side, self.replicate)


class Coded(msgspec.Struct, frozen=True, gc=False):
    """A coded observation (sex, maturity …), or the reason why there is none."""

    KIND: ClassVar[str] = "coded"
    seq: int
    specimen_id: str
    field: str
    scale: str | None
    code: str | None
    missing_reason: str | None
    who: str | None
    at_utc: str
    supersedes: int | None
    status: Status = "stands"
    practice: bool = False

    @property
    def id(self) -> int:
        """Its key."""
        return self.seq


class Container(msgspec.Struct, frozen=True, gc=False):
    """An envelope or vial. Its number and the specimen's are two things even when equal.

    Its specimen is the one whose structure is in it or should be: one found `empty` keeps it, one that is `torn`, and an
    `orphan` (something in it, no fish known), have none.
    """

    KIND: ClassVar[str] = "container"
    number: str
    specimen_id: str | None
    structure: str | None
    taken: int | None
    side: str | None
    condition: str | None
    kind: str
    dried: bool | None
    state: ContainerState
    at_utc: str
    practice: bool = False

    @property
    def id(self) -> str:
        """Its key."""
        return self.number

    @property
    def free(self) -> bool:
        """Whether it can still be given to a specimen: seen or not, it is nobody's."""
        return self.specimen_id is None and self.state in ("expected", "empty", "orphan")


class Batch(msgspec.Struct, frozen=True, gc=False):
    """What specimens come from. `opened_utc` is None while it is only planned."""

    KIND: ClassVar[str] = "batch"
    batch: str
    parent: str | None
    kind: str | None
    opened_utc: str | None
    closed_utc: str | None
    species: str | None
    total_mass_g: str | None
    sub_mass_g: str | None
    counted: int | None
    measured: int
    selection: str | None
    preservation: str | None
    presentation: str | None
    end_reason: str | None
    practice: bool = False
    skipped: tuple[str, ...] = ()
    """Containers left out for good while it was open."""
    passed: tuple[str, ...] = ()
    """Containers passed over in their series while it was open."""

    @property
    def id(self) -> str:
        """Its key."""
        return self.batch


class Question(msgspec.Struct, frozen=True, gc=False):
    """A finding, and whether it was asked. `kind` is the cause code; `args` fill its words; `text` is the English."""

    KIND: ClassVar[str] = "question"
    seq: int
    place: str | None
    specimen_id: str | None
    measurand: str | None
    verdict: Verdict
    kind: str
    args: Mapping[str, Json]
    probability: str | None
    runner_up: str | None
    text: str
    asked: bool
    state: QuestionState
    answered_by: int | None
    about: int | None = None
    """Seq of the reading or measurement it is about."""
    practice: bool = False

    @property
    def id(self) -> int:
        """Its key."""
        return self.seq


class Instrument(msgspec.Struct, frozen=True, gc=False):
    """An instrument as the bench sees it: presence, the load that lies on it, its last frame and its zero."""

    KIND: ClassVar[str] = "instrument"
    instrument: str
    profile: str
    port: str
    present: bool
    changed_utc: str | None = None
    last_verified_utc: str | None = None
    verified: bool | None = None
    load_seq: int | None = None
    """Seq of the arrival of what lies on it; None when it is clear."""
    load_specimens: Mapping[str, str | None] = msgspec.field(default_factory=dict)
    """Place → specimen in hand there when the load arrived."""
    load_readings: tuple[int, ...] = ()
    blind: bool = False
    """A load may lie on it that nobody saw arrive (start, replug): it counts only after an emptying or an act."""
    last_seq: int | None = None
    last_text: str | None = None
    last_ns: int | None = None
    zero: str | None = None
    """Last good resting value, base unit."""
    arrivals_ns: tuple[int, ...] = ()
    """When its last readings arrived, bounces apart: three touches within two seconds look like hosing."""
    since_zero: tuple[int, ...] = ()
    """Measurements since the last good zero."""

    @property
    def id(self) -> str:
        """Its key."""
        return self.instrument


class Place(msgspec.Struct, frozen=True, gc=False):
    """Where a specimen is handled. Nothing here is shared with another place."""

    KIND: ClassVar[str] = "place"
    place: str
    in_hand: str | None = None
    aside: tuple[str, ...] = ()
    """Set aside for a recalled one; comes back when that closes."""
    previous: str | None = None
    batch: str | None = None
    waiting: int | None = None
    """A reading that found its measurand filled: again or new?"""
    last_input: int | None = None
    route_as: str | None = None
    reopened: str | None = None
    """Measurand key whose next reading supersedes (`again` without a waiting reading)."""
    species_next: str | None = None
    armed: str | None = None
    """A destructive act said once; said again it happens."""
    armed_until_ns: int | None = None
    paused: bool = False
    paused_ns: int | None = None
    """Since when the last pause lasts or lasted; None where that can't be told any more."""
    measurer: str | None = None
    recorder: str | None = None
    stager: str | None = None
    tray: tuple[str, ...] = ()
    """Closed fish, in order, until their quiet list was read out."""
    filled: tuple[int, ...] = ()
    """Measurements of the fish in hand in the order they were filled here."""
    last_key_ns: int | None = None
    last_ns: int | None = None
    """When its last event was, of this boot."""
    queue: tuple[str, ...] = ()
    """In a row: specimens that wait before this place, the first first."""
    stays: str | None = None
    """In a row: the specimen in hand that is done here and finds no room before the next place."""
    came_idle: str | None = None
    """In a row: the specimen that came while nothing was in hand or waited here: nobody stood between it and the place."""
    unbroken: tuple[str, ...] = ()
    """In a row: specimens taken here since one that came so: until then a fish nobody accounted for would have shown."""
    typed: str = ""
    """A number typed by single digits, for the next act that says `typed`."""
    typed_ns: int | None = None
    tally_species: str | None = None
    tally_sex: str | None = None
    """In a tally these stick until said otherwise."""
    parts_of: str | None = None
    """Measurand key whose pieces are being summed, with how many are still to come and their values so far."""
    parts_left: int = 0
    parts_values: tuple[str, ...] = ()
    pool: int | None = None
    """The next mass is for so many animals."""
    pan: str | None = None
    known: str | None = None
    """A known length or mass (`300 mm`) that the next reading of its quantity is of, and since when it is awaited."""
    known_ns: int | None = None

    @property
    def id(self) -> str:
        """Its key."""
        return self.place


class Desk(msgspec.Struct, frozen=True, gc=False):
    """What belongs to the bench as a whole: numbers, expected container, practice, counts of interruptions."""

    KIND: ClassVar[str] = "desk"
    next_number: int = 1
    free_numbers: tuple[int, ...] = ()
    expected: str | None = None
    practice: bool = False
    fish_closed: int = 0
    asked: int = 0
    asked_statistical: int = 0
    started_seq: int | None = None
    boot: str | None = None
    """Boot of the last start: monotonic times of another can't be compared."""
    config_sha256: str | None = None
    """Hash of the configuration last recorded whole."""
    parked: tuple[str, ...] = ()
    """Taken out of a row for a while, the last one last."""
    kinds: tuple[str, ...] = ()
    """Kinds of fish, and groups of them, something was learned of."""
    ration: str = ""
    """The state of the ration of questions, as a line of numbers."""
    trays: tuple[str, ...] = ()
    """Masses in g that were tared lately: trays that may not be tared the next time."""
    printed: tuple[str, ...] = ()
    """Ranges of labels that were printed, each `FIRST LAST`."""
    people: tuple[str, ...] = ()
    """Names of people as they were said first."""

    @property
    def id(self) -> str:
        """Its key: there is one."""
        return "desk"


class Tally(msgspec.Struct, frozen=True, gc=False):
    """How many animals of a class were counted at a place. `class_mm` is the class's lower bound or nearest step, in mm."""

    KIND: ClassVar[str] = "tally"
    tally: str
    batch: str
    place: str
    species: str
    sex: str | None
    measurand: str
    class_mm: str
    n: int
    practice: bool = False

    @property
    def id(self) -> str:
        """Its key: batch, place, species, sex, measurand and class in one word."""
        return self.tally


class Pool(msgspec.Struct, frozen=True, gc=False):
    """One mass for `n` animals: never split among them, never checked against a length."""

    KIND: ClassVar[str] = "pool"
    seq: int
    batch: str
    place: str
    species: str | None
    n: int
    measurand: str
    value: str
    unit: str
    raw_value: str
    raw_unit: str
    status: Status
    at_utc: str
    reading_seq: int
    practice: bool = False

    @property
    def id(self) -> int:
        """Its key."""
        return self.seq


class Learned(msgspec.Struct, frozen=True, gc=False):
    """What is learned of one kind of fish (species, presentation, preservation): lines of numbers, written by `memory`.

    With a `group`, of those of the kind alone that are in it; `apart` is what made the groups of a kind. `relations`, `priors` (where each began) and `kept` (fish of the robust start) by `y|x`; `sizes` by measurand.
    """

    KIND: ClassVar[str] = "learned"
    kind: str
    fish: int = 0
    relations: Mapping[str, str] = msgspec.field(default_factory=dict)
    priors: Mapping[str, str] = msgspec.field(default_factory=dict)
    kept: Mapping[str, str] = msgspec.field(default_factory=dict)
    sizes: Mapping[str, str] = msgspec.field(default_factory=dict)
    group: str = ""
    apart: str = ""

    @property
    def id(self) -> str:
        """Its key."""
        return kin(self.kind, self.group)


class Watch(msgspec.Struct, frozen=True, gc=False):
    """What the sequence tests remember of a place: lines of numbers, written by `memory`."""

    KIND: ClassVar[str] = "watch"
    place: str
    slips: str = ""
    anchor: Mapping[str, Json] | None = None
    """What was learned of each kind when a slip may have begun."""
    levels: str = ""
    residuals: tuple[str, ...] = ()
    stuck: str = ""
    runs: Mapping[str, str] = msgspec.field(default_factory=dict)
    digits: Mapping[str, str] = msgspec.field(default_factory=dict)
    fish: tuple[str, ...] = ()
    """The last fish closed here, as they taught, the nearest last."""
    tared: bool = False
    """A scale of the place was tared since."""
    instruments: Mapping[str, str] = msgspec.field(default_factory=dict)
    """Measurand → what its last value was read off; empty: by hand."""

    @property
    def id(self) -> str:
        """Its key."""
        return self.place


Object = (
    Specimen
    | Reading
    | Measurement
    | Coded
    | Container
    | Batch
    | Question
    | Instrument
    | Place
    | Desk
    | Tally
    | Pool
    | Learned
    | Watch
)
KINDS: dict[str, type[Any]] = {cls.KIND: cls for cls in typing.get_args(Object)}
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


def key_of(thing: Object) -> Key:
    """The key an object stands under."""
    return (thing.KIND, thing.id)


def measurand_key(measurand: str, side: str | None, replicate: int | None) -> str:
    """`gonad_mass`, `gonad_mass.left`, `gonad_mass.left.2`."""
    return ".".join([measurand, *([side] if side else []), *([str(replicate)] if replicate else [])])


def to_json(thing: Object) -> dict[str, Any]:
    """An object's fields as plain JSON values."""
    plain: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(thing))
    return plain


def from_json(kind: str, data: Mapping[str, Any]) -> Object:
    """An object from `to_json`'s form. Raises KeyError for an unknown kind, TypeError for unknown fields."""
    values = {name: tuple(v) if isinstance(v, list) else v for name, v in data.items()}
    if kind == Watch.KIND:  # snapshots of the older form hold what isn't remembered any more
        values = {name: v for name, v in values.items() if name in Watch.__struct_fields__}
    made: Object = KINDS[kind](**values)
    return made


class Records(Protocol):
    """What the bench may ask of the past: objects it no longer keeps in memory. The ledger answers; tests use a dict."""

    def get(self, key: Key) -> Object | None:
        """The object under a key, as last stored, or None."""

    def numbered(self, number: int) -> str | None:
        """Id of the specimen that bears this number, or None."""

    def measurements_of(self, specimen_id: str) -> Iterable[Measurement]:
        """All measurements ever given to it, in order of seq."""

    def questions_of(self, specimen_id: str) -> Iterable[Question]:
        """All findings about it, in order of seq."""

    def specimens_of(self, batch: str) -> Iterable[Specimen]:
        """The batch's specimens in order of opening."""

    def taught(self, kind: str, most: int) -> Iterable[Specimen]:
        """The last specimens that taught something of a kind of fish, at most so many, in no order that matters."""

    def highest_number(self, first: int, last: int) -> int | None:
        """The highest number in a range that a specimen bears, or None."""


class MemoryRecords:
    """Records kept in a dict: for tests, and for replaying decisions without a file."""

    def __init__(self) -> None:
        self.objects: dict[Key, Object] = {}

    def store(self, changed: Mapping[Key, Object | None]) -> None:
        """Keep what an input changed; None removes."""
        for key, thing in changed.items():
            if thing is None:
                self.objects.pop(key, None)
            else:
                self.objects[key] = thing

    def get(self, key: Key) -> Object | None:
        """The object under a key, or None."""
        return self.objects.get(key)

    def _all(self, cls: type[T]) -> Iterator[T]:
        return (thing for thing in self.objects.values() if isinstance(thing, cls))

    def numbered(self, number: int) -> str | None:
        """Id of the specimen that bears this number, or None."""
        return next((s.specimen_id for s in self._all(Specimen) if s.number == number), None)

    def measurements_of(self, specimen_id: str) -> Iterable[Measurement]:
        """All measurements ever given to it, in order of seq."""
        return sorted((m for m in self._all(Measurement) if m.specimen_id == specimen_id), key=lambda m: m.seq)

    def questions_of(self, specimen_id: str) -> Iterable[Question]:
        """All findings about it, in order of seq."""
        return sorted((q for q in self._all(Question) if q.specimen_id == specimen_id), key=lambda q: q.seq)

    def specimens_of(self, batch: str) -> Iterable[Specimen]:
        """The batch's specimens in order of opening."""
        return sorted((s for s in self._all(Specimen) if s.batch == batch), key=lambda s: s.opened_seq)

    def taught(self, kind: str, most: int) -> Iterable[Specimen]:
        """The last specimens that taught something of a kind of fish, at most so many."""
        found = [s for s in self._all(Specimen) if s.taught.get("kind") == kind]
        return sorted(found, key=lambda s: s.opened_seq)[-most:]

    def highest_number(self, first: int, last: int) -> int | None:
        """The highest number in a range that a specimen bears, or None."""
        return max((s.number for s in self._all(Specimen) if first <= s.number <= last), default=None)
