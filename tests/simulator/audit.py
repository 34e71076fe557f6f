"""The ledger's objects against what really happened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from thwart.bench.state import Coded, Container, Measurement, Question, Reading, Specimen, Tally
from thwart.entries import Entry

from .instruments import MASS_OFF_G
from .site import Site
from .troubles import Trouble
from .world import Cause, Fish

#: Questions that concern the whole fish: which one it is.
_WHICH_FISH = {
    "label-order",
    "label-behind",
    "overtaken",
    "out-of-step",
    "split",
    "same-fish",
    "again-or-next",
    "hosing",
    "unscanned",
    "said-otherwise",
}

#: Refusals that say which fish the bench holds, when another one was meant.
_REFUSED_OF_FISH = {"has-tag", "tag-elsewhere", "hand-full", "has-container"}


@dataclass(frozen=True)
class Wrong:
    """Something in the ledger that isn't so."""

    number: int
    what: str
    says: str
    truly: str
    trouble: str | None
    traces: tuple[str, ...]
    """What the ledger has about it: empty is silent."""
    displaced: bool = True
    """Right in itself, but another fish's."""


@dataclass
class Report:
    """How a run ended."""

    fish: int = 0
    specimens: int = 0
    values: int = 0
    """Values, codes, species and containers that stand."""
    wrong: list[Wrong] = field(default_factory=list)
    silent: list[Wrong] = field(default_factory=list)
    by_nature: list[Wrong] = field(default_factory=list)
    slipped: list[Wrong] = field(default_factory=list)
    """Silent, behind a fish that left a row of unmarked ones."""
    lost: list[str] = field(default_factory=list)
    """Fish that were worked on and are nowhere in the ledger, with nothing said about it."""
    readings: int = 0
    """Of real fish: each touch and load once."""
    same: int = 0
    """The same touch or load once more, seen to be so: nobody has to be asked, and there is nothing to give."""
    unasked: int = 0
    asked: int = 0
    set_aside: int = 0
    """Loose, refused or tare."""
    sound: int = 0
    sound_unasked: int = 0
    planted: Counter[str] = field(default_factory=Counter)
    unseen: Counter[str] = field(default_factory=Counter)
    seen: dict[str, Counter[str]] = field(default_factory=dict)

    def add(self, other: Report) -> None:
        """Count another run's in."""
        for name in (
            "fish",
            "specimens",
            "values",
            "readings",
            "same",
            "unasked",
            "asked",
            "set_aside",
            "sound",
            "sound_unasked",
        ):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for name in ("wrong", "silent", "by_nature", "slipped", "lost"):
            getattr(self, name).extend(getattr(other, name))
        self.planted += other.planted
        self.unseen += other.unseen
        for name, seen in other.seen.items():
            self.seen.setdefault(name, Counter()).update(seen)


class Audit:
    """One run, looked through."""

    def __init__(
        self, site: Site, fishes: list[Fish], hold: Mapping[str, Fish], troubles: Mapping[str, Trouble]
    ) -> None:
        self.site, self.fishes, self.hold, self.troubles = site, fishes, hold, troubles
        things = site.records.objects.values()
        self.specimens = sorted((t for t in things if isinstance(t, Specimen)), key=lambda s: s.number)
        self.questions = [t for t in things if isinstance(t, Question)]
        self.readings = {t.seq: t for t in things if isinstance(t, Reading)}
        self.measurements = {t.seq: t for t in things if isinstance(t, Measurement)}
        self.coded = {t.seq: t for t in things if isinstance(t, Coded)}
        self.containers = {t.number: t for t in things if isinstance(t, Container)}
        self.entries = {e.seq: e for e in site.entries}
        self.theirs: dict[str, list[Question]] = {}
        self.about: dict[int, list[Question]] = {}
        self.refusals: dict[int, list[str]] = {}
        """What was refused aloud about a fish, by its number."""
        for e in site.entries:
            if e.kind == "refused" and e.body["code"] in _REFUSED_OF_FISH:
                self.refusals.setdefault(int(e.body["args"]["number"]), []).append(f"refused {e.body['code']}")
        for q in self.questions:
            if q.specimen_id is not None:
                self.theirs.setdefault(q.specimen_id, []).append(q)
            if q.about is not None:
                self.about.setdefault(q.about, []).append(q)

    def report(self) -> Report:
        """Everything."""
        r = Report(fish=len(self.fishes), specimens=len(self.specimens))
        known: set[int] = set()
        for s in self.specimens:
            if s.end == "void":
                continue
            fish = self._is(s)
            known |= self._fish_on(s)
            for wrong in self._looked_at(s, fish):
                r.values += 1
                if wrong is None:
                    continue
                r.wrong.append(wrong)
                unseen = self._unseen(wrong.trouble)
                if not wrong.traces:
                    slips = wrong.displaced and any(
                        self.troubles[p.name].slips and p.first_seq < s.opened_seq + 200 for p in self.site.planted
                    )
                    (r.by_nature if unseen else r.slipped if slips else r.silent).append(wrong)
        told = {
            c.fish.n
            for seq, c in self.site.causes.items()
            if c.fish is not None and (self._set_aside(seq) or self._asked(seq))
        }
        heard = {c.fish.n for c in self.site.causes.values() if c.fish is not None}
        r.lost = [repr(f) for f in self.fishes if f.n in heard and not f.gone and f.n not in known | told]
        self._readings(r)
        self._planted(r)
        return r

    # ---- values ------------------------------------------------------------------------------------------------

    def _cause(self, m: Measurement) -> Cause | None:
        seq = m.reading_seq if m.reading_seq is not None else self.entries[m.seq].input_seq
        return self.site.causes.get(seq or 0)

    def _is(self, s: Specimen) -> Fish | None:
        """Which fish a specimen is: the one whose otoliths its envelope holds; without one, that of most of what stands."""
        votes: Counter[int] = Counter()
        by_n = {f.n: f for f in self.fishes}
        for seq in s.values.values():
            cause = self._cause(self.measurements[seq])
            if cause is not None and cause.fish is not None:
                votes[cause.fish.n] += 2
        for label in s.containers:
            if (held := self.hold.get(label)) is not None:
                votes[held.n] += 100
        for seq in s.codes.values():
            cause = self.site.causes.get(self.entries[seq].input_seq or 0)
            if cause is not None and cause.fish is not None:
                votes[cause.fish.n] += 1
        return by_n[votes.most_common(1)[0][0]] if votes else None

    def _fish_on(self, s: Specimen) -> set[int]:
        """Whose values stand on it, rightly or not."""
        causes = [self._cause(self.measurements[seq]) for seq in s.values.values()]
        causes += [self.site.causes.get(self.entries[seq].input_seq or 0) for seq in s.codes.values()]
        return {c.fish.n for c in causes if c is not None and c.fish is not None}

    def _looked_at(self, s: Specimen, fish: Fish | None) -> Iterator[Wrong | None]:
        """What stands of a specimen, one by one: None is right."""
        for key, seq in s.values.items():
            m = self.measurements[seq]
            cause = self._cause(m)
            if cause is not None and cause.fish is fish and _right(m, cause):
                yield None
                continue
            truly = "nobody knows" if cause is None else f"{cause.what} of {cause.fish}, right: {cause.right}"
            trouble = cause.trouble if cause is not None else None
            yield Wrong(
                s.number,
                key,
                f"{m.value} {m.unit}",
                truly,
                trouble,
                tuple(self._traces(s, m)),
                displaced=cause is not None and (cause.right or cause.fish is None),
            )
        for name, seq in s.codes.items():
            cause = self.site.causes.get(self.entries[seq].input_seq or 0)
            if cause is not None and cause.fish is fish and cause.right:
                yield None
            else:
                yield Wrong(s.number, name, str(self.coded[seq].code), f"{cause}", None, tuple(self._of_fish(s)))
        if s.species is not None:
            if fish is None or s.species == fish.species:
                yield None
            else:
                yield Wrong(s.number, "species", s.species, fish.species, fish.trouble, tuple(self._of_fish(s)))
        for label in s.containers:
            held = self.hold.get(label)
            if held is fish:
                yield None
            else:
                trouble = fish.trouble if fish is not None else None
                yield Wrong(s.number, "container", label, f"holds {held}", trouble, tuple(self._of_fish(s)))

    def _traces(self, s: Specimen, m: Measurement) -> Iterator[str]:
        if m.status == "questioned":
            yield "questioned"
        if m.verdict >= 3:
            yield f"suspect: {m.cause}"
        yield from self._of_fish(s)
        for q in self.about.get(m.seq, []) + self.about.get(m.reading_seq or 0, []):
            yield q.kind
        for q in self.theirs.get(s.specimen_id, []):
            other = self.measurements.get(q.about or 0)
            reading = (
                self.readings.get(other.reading_seq or 0) if other is not None else self.readings.get(q.about or 0)
            )
            if q.measurand == m.measurand or (reading is not None and reading.instrument == m.instrument):
                yield q.kind

    def _of_fish(self, s: Specimen) -> Iterator[str]:
        yield from (q.kind for q in self.theirs.get(s.specimen_id, []) if q.kind in _WHICH_FISH)
        yield from self.refusals.get(s.number, ())

    # ---- readings ----------------------------------------------------------------------------------------------

    def _set_aside(self, seq: int) -> bool:
        reading = self.readings.get(seq)
        return reading is not None and reading.outcome not in ("taken", "superseded")

    def tallied(self, r: Report) -> None:
        """Of a tally: what was counted, one by one, and not taken back."""
        back: set[int] = set()
        water: set[int] = set()
        """Readings a run of which was taken back at once; nobody here undoes that."""
        for e in self.site.entries:
            if e.kind == "undone":
                (back.discard if e.body["redo"] else back.add)(e.body["of"])
            elif e.kind == "uncounted":
                water.add(e.body["reading"])
        back |= water
        counted: set[int] = set()
        for e in self.site.entries:
            if e.kind != "tallied" or e.body["reading"] in back or e.input_seq in back:
                continue
            r.values += 1
            seq = e.body["reading"]
            cause = self.site.causes.get(seq)
            fish = cause.fish if cause is not None else None
            said = (e.body["species"], e.body["sex"])
            if (
                fish is not None
                and cause is not None
                and cause.right
                and fish.n not in counted
                and said == (fish.species, fish.sex)
            ):
                counted.add(fish.n)
                continue
            trouble = (cause.trouble if cause is not None else None) or (fish.trouble if fish is not None else None)
            if fish is not None and said != (fish.species, fish.sex):
                trouble = "card forgotten"
            near = [q.kind for q in self.questions if q.kind == "hosing" and abs(q.seq - seq) < 30]
            traces = (*near, *(q.kind for q in self.about.get(seq, [])))
            wrong = Wrong(0, "tally", f"{said} {e.body['class_mm']}", repr(fish), trouble, traces)
            r.wrong.append(wrong)
            if not traces:
                unseen = self._unseen(trouble)
                (r.by_nature if unseen else r.silent).append(wrong)
        # What stands in the table is what was counted one by one.
        things = self.site.records.objects.values()
        table = {t.tally: t.n for t in things if isinstance(t, Tally) and t.n}
        one_by_one: Counter[str] = Counter()
        for e in self.site.entries:
            if e.kind == "tallied" and e.input_seq not in back:
                one_by_one[e.body["tally"]] += 1
        assert table == dict(one_by_one), "the table isn't what was counted"
        heard = {c.fish.n for c in self.site.causes.values() if c.fish is not None}
        r.lost = [
            repr(f)
            for f in self.fishes
            if f.n not in counted
            and f.n in heard
            and f.trouble not in ("undo by a helper", "open mouth unnoticed", "card forgotten")
        ]

    def _unseen(self, trouble: str | None) -> str | None:
        return self.troubles[trouble].unseen if trouble is not None and trouble in self.troubles else None

    def _asked(self, seq: int) -> bool:
        return seq in self.readings and bool(self._questions_on(self.readings[seq]))

    def _readings(self, r: Report) -> None:
        hit = {p.fish + d for p in self.site.planted for d in (0, 1)}
        for seq, reading in self.readings.items():
            cause = self.site.causes.get(seq)
            if cause is None or cause.fish is None:
                continue
            if reading.outcome in ("doubled", "stale"):
                r.same += 1
                continue
            r.readings += 1
            asked = any(q.asked for q in self._questions_on(reading))
            given = reading.outcome in ("taken", "superseded")
            r.unasked += given and not asked
            r.asked += asked
            r.set_aside += not given
            if cause.fish.n not in hit and cause.right:
                r.sound += 1
                r.sound_unasked += given and not asked

    def _questions_on(self, reading: Reading) -> list[Question]:
        return self.about.get(reading.seq, []) + self.about.get(reading.measurement_seq or 0, [])

    # ---- troubles ----------------------------------------------------------------------------------------------

    def _planted(self, r: Report) -> None:
        """What the ledger shows of each trouble, from when it began until it was over."""
        for p in self.site.planted:
            r.planted[p.name] += 1
            last = p.last_seq or self.site.entries[-1].seq
            first_at = p.first_seq
            seen: set[str] = set()
            lies = False
            for e in self._between(first_at, last):
                if (sign := sign_of(e.kind, e.body)) is not None:
                    seen.add(sign)
                if e.kind == "arrival":
                    lies = True
                elif e.kind == "reading" and e.body["instrument"] == "scale":
                    lies = False
                elif e.kind == "emptied" and lies:
                    seen.add("emptied without a reading")
            if not seen:
                r.unseen[p.name] += 1
            r.seen.setdefault(p.name, Counter()).update(seen)

    def _between(self, first: int, last: int) -> Iterator[Entry]:
        for seq in range(first, last + 1):
            if seq in self.entries:
                yield self.entries[seq]


def _right(m: Measurement, cause: Cause) -> bool:
    """Whether a value says what was measured. The last of its pieces stands for their sum."""
    if m.how == "parts" and cause.fish is not None:
        return cause.what == "piece.2" and abs(float(m.value) - cause.fish.true[m.key]) <= 2 * MASS_OFF_G
    return cause.right and cause.what == m.key


def sign_of(kind: str, body: Mapping[str, object]) -> str | None:
    """The sign of trouble in an entry, in a word or two."""
    match kind:
        case "asked" | "noted":
            return f"{kind} {body['code']}"
        case "refused":
            return f"refused {body['code']}"
        case "outcome" if body["event"] not in ("fills", "given", "counts", "finds filled", "fits badly"):
            return str(body.get("why") or body["event"])
        case "rejected" | "undone" | "recalled" | "overflow":
            return kind
        case "measured" if body.get("supersedes") is not None:
            return "measured again"
        case "port" if not body["present"]:
            return "port gone"
        case "started":
            return "started"
        case "told" if body["code"] in ("armed", "stays", "loose", "next-nothing", "tag"):
            return f"told {body['code']}"
        case "closed" if body["end"] in ("lost", "void", "incomplete"):
            return f"end {body['end']}"
        case "scan" if "OF.PREVIOUS" in str(body["text"]):
            return "mended of previous"
        case "species" if body.get("before"):
            return "species changed"
        case _:
            return None
