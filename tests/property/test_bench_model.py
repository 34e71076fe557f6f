"""The bench against plain models, written from the rules alone: the same values for each fish, and the same of everything else."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from tests.benchkit import Play, check, folded, state_of
from thwart.bench.rules import expected_label
from thwart.bench.state import Batch, Container, Specimen

BUDGET = settings(max_examples=100, suppress_health_check=list(HealthCheck))


@dataclass
class Model:
    """What a clerk with a pencil would write down."""

    fish: list[dict[str, int]] = field(default_factory=lambda: [{}])
    waiting: tuple[str, int] | None = None
    fresh: bool = False
    """Whether the waiting value was the last thing that happened."""
    filled: list[str] = field(default_factory=list)
    reopened: str | None = None

    def measure(self, what: str, value: int) -> None:
        now = self.fish[-1]
        if self.reopened == what and what in now:
            self.reopened = None
            self._write(what, value)
            self.fresh = False
        elif what not in now:
            self._write(what, value)
            self.fresh = False
        else:
            self.waiting, self.fresh = (what, value), True

    def _write(self, what: str, value: int) -> None:
        self.fish[-1][what] = value
        self.filled.append(what)
        if self.reopened == what:
            self.reopened = None

    def again(self) -> None:
        if self.waiting is not None:
            what, value = self.waiting
            self.waiting = None
            self._write(what, value)
        elif self.filled:
            self.reopened = self.filled[-1]
        self.fresh = False

    def next(self) -> None:
        if not self.fish[-1]:
            return
        starts = self.waiting if self.fresh else None
        self._turn()
        if starts is not None:
            self._write(*starts)

    def label(self) -> None:
        self._turn()

    def _turn(self) -> None:
        self.fish.append({})
        self.waiting, self.fresh, self.filled, self.reopened = None, False, [], None


steps = st.lists(
    st.one_of(
        st.tuples(st.just("total_length"), st.integers(60, 400)),
        st.tuples(st.just("total_length"), st.integers(60, 400)),
        st.tuples(st.just("whole_mass"), st.integers(1, 900)),
        st.tuples(st.just("whole_mass"), st.integers(1, 900)),
        st.tuples(st.sampled_from(["next", "label", "again"]), st.just(0)),
    ),
    min_size=5,
    max_size=40,
)


@BUDGET
@given(steps)
def test_the_bench_writes_what_a_clerk_would(script: list[tuple[str, int]]) -> None:
    play, model = Play(), Model()
    for what, value in script:
        match what:
            case "total_length":
                play.touch(value)
                model.measure(what, value)
            case "whole_mass":
                play.weigh(value)
                model.measure(what, value)
            case "next":
                play.act("next")
                model.next()
            case "label":
                play.label(play.expected())
                model.label()
            case _:
                play.act("again")
                model.again()
    assert [play.values(n) for n in range(1, len(model.fish) + 1)] == [
        {what: str(value) for what, value in fish.items()} for fish in model.fish
    ]
    assert play.fish.number == len(model.fish)
    waiting = play.here.waiting
    assert (waiting is None) == (model.waiting is None)


# ---- the other acts, at two places ---------------------------------------------------------------------------------

LEFT, RIGHT = PLACES = ("left", "right")
#: All instruments stand at the left; at the right everything is typed.
SERVES = dict.fromkeys(("board", "scale", "hand-scale", "scanner", "pedal"), (LEFT,))


@dataclass
class Sheet:
    """A fish on the clerk's paper."""

    values: dict[str, str] = field(default_factory=dict)
    closed: bool = False
    end: str | None = None
    """`lost` or `void`, where it was said."""
    label: str | None = None


@dataclass
class Hand:
    """What a clerk keeps in mind of a place."""

    batch: str | None = None
    fish: int | None = None
    waiting: tuple[str, str] | None = None
    typed: str = ""
    known: bool = False
    """A known length is to be measured next."""


class Clerk(RuleBasedStateMachine):
    """Batches planned and dropped, containers found, labels printed, numbers typed, ends from afar, acts `at` a place."""

    def __init__(self) -> None:
        super().__init__()
        self.play = Play(batch=False, places=PLACES, serves=SERVES)
        self.hands = {place: Hand() for place in PLACES}
        self.fish: dict[int, Sheet] = {}
        self.free: list[int] = []
        self.batches: dict[str, str] = {}
        self.parents: dict[str, str] = {}
        self.containers: dict[str, tuple[str, int | None]] = {}
        self.printed: set[int] = set()
        self.verified: bool | None = None

    # ---- what the clerk does ---------------------------------------------------------------------------------------

    def _say(self, words: str, place: str, *, at: bool = False, used: bool = True) -> str | None:
        """Say an act; the code of its refusal, else None. `at`: said by a card of another place."""
        told = self.play.act(f"at {place} {words}") if at else self.play.act(words, place)
        codes = [d.body["code"] for d in told if d.kind == "refused"]
        if not codes and used:
            self.hands[place].typed = ""
        return codes[0] if codes else None

    def _open(self, place: str) -> None:
        number = min(self.free) if self.free else max(self.fish, default=0) + 1
        if self.free:
            self.free.remove(number)
        self.fish[number] = Sheet()
        self.hands[place].fish = number
        self.hands[place].waiting = None

    def _end(self, place: str, end: str | None = None) -> None:
        hand = self.hands[place]
        assert hand.fish is not None
        sheet = self.fish[hand.fish]
        sheet.closed, sheet.end = True, end
        hand.fish, hand.waiting = None, None

    def _given(self, number: int) -> bool:
        return bool(self.fish[number].values or self.fish[number].label)

    # ---- batches ---------------------------------------------------------------------------------------------------

    @rule(name=st.sampled_from("abc"), parent=st.sampled_from([None, "a", "b", "c"]))
    def plan(self, name: str, parent: str | None) -> None:
        refusal = self._say(f"batch plan {name}" + (f" parent={parent}" if parent else ""), LEFT, used=False)
        above: str | None = parent
        while above is not None and above != name:
            above = self.parents.get(above)
        if self.batches.get(name) in ("open", "closed"):
            assert refusal == "batch-begun"
        elif parent is not None and parent not in self.batches:
            assert refusal == "unknown-parent"
        elif above == name:
            assert refusal == "batch-circle"
        else:
            assert refusal is None
            self.batches[name] = "planned"
            self.parents.pop(name, None)
            if parent is not None:
                self.parents[name] = parent

    @rule(name=st.sampled_from("abc"))
    def drop(self, name: str) -> None:
        refusal = self._say(f"batch drop {name}", LEFT, used=False)
        if name not in self.batches:
            assert refusal == "unknown-batch"
        elif self.batches[name] != "planned":
            assert refusal == "batch-begun"
        elif name in self.parents.values():
            assert refusal == "batch-parts"
        else:
            assert refusal is None
            del self.batches[name]
            self.parents.pop(name, None)

    @rule(name=st.sampled_from("abc"))
    def open(self, name: str) -> None:
        told = self.play.act(f"batch open {name}")
        refused = [d.body["code"] for d in told if d.kind == "refused"]
        free = [place for place in PLACES if self.hands[place].batch is None]
        if not free:
            assert refused == ["batch-open"]
        elif self.batches.get(name) == "closed":
            assert refused == ["batch-used"]
        else:
            assert refused == []
            self.batches[name] = "open"
            for place in free:
                self.hands[place].batch = name
            for place in free:
                self._open(place)

    @rule()
    def close(self) -> None:
        told = self.play.act("batch close done")
        refused = [d.body["code"] for d in told if d.kind == "refused"]
        if not any(hand.batch for hand in self.hands.values()):
            assert refused == ["no-batch"]
            return
        assert refused == []
        for place, hand in self.hands.items():
            if hand.batch is None:
                continue
            self.batches[hand.batch] = "closed"
            if hand.fish is not None and self._given(hand.fish):
                self._end(place)
            elif hand.fish is not None:
                del self.fish[hand.fish]
                self.free.append(hand.fish)
                hand.fish, hand.waiting = None, None
            hand.batch = None

    # ---- values ----------------------------------------------------------------------------------------------------

    @rule(what=st.sampled_from(["total_length", "whole_mass"]), value=st.integers(60, 400))
    def measure(self, what: str, value: int) -> None:
        hand = self.hands[LEFT]
        if what == "total_length":
            self.play.touch(value)
            if hand.known:
                hand.known = False
                self.verified = abs(value - 300) <= 1
                return
        else:
            self.play.weigh(value)
        if hand.fish is None:
            return
        sheet = self.fish[hand.fish]
        if what in sheet.values:
            hand.waiting = (what, str(value))
        else:
            sheet.values[what] = str(value)

    @rule()
    def verify(self) -> None:
        assert self._say("verify 300 mm", LEFT) is None
        self.hands[LEFT].known = True

    @rule(digits=st.text("0123456789", min_size=1, max_size=3), place=st.sampled_from(PLACES), at=st.booleans())
    def type(self, digits: str, place: str, at: bool) -> None:
        hand = self.hands[place]
        for digit in digits:
            refusal = self._say(f"digit {digit}", place, at=at, used=False)
            if len(hand.typed) < 9:
                assert refusal is None
                hand.typed += digit
            else:
                assert refusal == "not-a-number"

    @rule(what=st.sampled_from(["total_length", "whole_mass"]), place=st.sampled_from(PLACES), at=st.booleans())
    def value(self, what: str, place: str, at: bool) -> None:
        hand = self.hands[place]
        typed = hand.typed
        refusal = self._say(f"value {what} typed {'mm' if what == 'total_length' else 'g'}", place, at=at)
        if not typed:
            assert refusal == "nothing-typed"
        elif hand.fish is None:
            assert refusal == "nothing-in-hand"
        else:
            assert refusal is None
            self.fish[hand.fish].values[what] = str(int(typed))

    # ---- fish ------------------------------------------------------------------------------------------------------

    @rule(place=st.sampled_from(PLACES), at=st.booleans())
    def next(self, place: str, at: bool) -> None:
        hand = self.hands[place]
        fresh = (
            hand.waiting is not None and self.play.bench.place(place).last_input == self.play.bench.place(place).waiting
        )
        refusal = self._say("next", place, at=at)
        if hand.batch is None:
            assert refusal == "no-batch"
            return
        assert refusal is None
        assert hand.fish is not None
        if self._given(hand.fish):
            starts = hand.waiting if fresh else None
            self._end(place)
            self._open(place)
            if starts is not None:
                self.fish[hand.fish].values[starts[0]] = starts[1]

    @rule(
        end=st.sampled_from(["lost", "void"]), number=st.one_of(st.none(), st.integers(1, 9)), place=st.sampled_from(PLACES),
        at=st.booleans(),
    )  # fmt: skip
    def end(self, end: str, number: int | None, place: str, at: bool) -> None:
        said = end if number is None else f"{end} of {number}"
        refusal = self._say(said, place, at=at, used=False) or self._say(said, place, at=at)
        hand = self.hands[place]
        other = self.hands[LEFT if place == RIGHT else RIGHT]
        if number is None and hand.fish is None:
            assert refusal == "nothing-in-hand"
        elif number is not None and number not in self.fish:
            assert refusal == "unknown-fish"
        elif number is not None and self.fish[number].end == "void":
            assert refusal == "void-fish"
        elif number is not None and number == other.fish:
            assert refusal == "in-hand-elsewhere"
        elif number is not None and number != hand.fish and hand.batch is None:
            assert refusal == "no-batch"
        else:
            assert refusal is None
            ended = hand.fish if number is None else number
            assert ended is not None
            if ended == hand.fish:
                self._end(place, end)
                self._open(place)
            else:
                self.fish[ended].end = end  # what is in hand comes back to it
                hand.waiting = None
            if end == "void":
                sheet = self.fish[ended]
                sheet.values = {}
                if sheet.label is not None:
                    self.containers[sheet.label] = ("void", ended)

    # ---- containers ------------------------------------------------------------------------------------------------

    @rule()
    def label(self) -> None:
        label = expected_label(self.play.bench)
        assert label is not None
        told = self.play.scan(label)
        refused = [d.body["code"] for d in told if d.kind == "refused"]
        hand = self.hands[LEFT]
        if hand.batch is None:
            assert refused == ["no-batch"]
            return
        assert hand.fish is not None
        if (held := self.fish[hand.fish].label) is not None:
            assert held != label
            assert refused == ["has-container"]
            return
        assert refused == []
        assert self.containers.get(label, ("empty", None)) == ("empty", None)  # else it wouldn't be expected
        self.fish[hand.fish].label = label
        self.containers[label] = ("filled", hand.fish)
        self._end(LEFT)
        self._open(LEFT)

    @rule(n=st.integers(0, 5), what=st.sampled_from(["empty", "full"]))
    def find(self, n: int, what: str) -> None:
        label = self._label(n)
        state, fish = self.containers.get(label, (None, None))
        refusal = self._say(f"found {label} {what}", LEFT)
        now = "empty" if what == "empty" else "orphan" if fish is None else "filled"
        if state == now:
            assert refusal == "already"
        elif state == "void":
            assert refusal == "container-taken"
        else:
            assert refusal is None
            self.containers[label] = (now, fish)

    @rule(n=st.integers(0, 5), number=st.integers(1, 6))
    def find_of(self, n: int, number: int) -> None:
        label = self._label(n)
        state, owner = self.containers.get(label, (None, None))
        refusal = self._say(f"found {label} full of {number}", LEFT)
        if number not in self.fish:
            assert refusal == "unknown-fish"
        elif self.fish[number].end == "void":
            assert refusal == "void-fish"
        elif owner is not None or state not in (None, "empty", "orphan"):
            assert refusal == "container-taken"
        elif (held := self.fish[number].label) is not None and self.containers[held][0] != "empty":
            assert refusal == "has-container"
        else:
            assert refusal is None
            self.fish[number].label = self.fish[number].label or label
            self.containers[label] = ("filled", number)

    @rule(first=st.integers(0, 12), more=st.integers(0, 5), again=st.booleans())
    def prints(self, first: int, more: int, again: bool) -> None:
        labels = set(range(first, first + more + 1))
        refusal = self._say(
            f"printed {self._label(first)} {self._label(first + more)}{' again' if again else ''}", LEFT, used=False
        )
        if labels & self.printed and not again:
            assert refusal == "printed-before"
        else:
            assert refusal is None
            self.printed |= labels

    def _label(self, n: int) -> str:
        """The n-th label of the series."""
        containers = self.play.setup.protocol.containers
        assert containers is not None
        label = containers.template.moved("K-00013", n)
        assert label is not None
        return label

    # ---- the paper against the bench -------------------------------------------------------------------------------

    @invariant()
    def the_bench_knows_what_the_clerk_wrote(self) -> None:
        play = self.play
        kept = {s.number: s for s in play.records.objects.values() if isinstance(s, Specimen)}
        assert {n: play.values(n) for n in kept} == {n: sheet.values for n, sheet in self.fish.items()}
        assert {n: s.state == "closed" for n, s in kept.items()} == {n: s.closed for n, s in self.fish.items()}
        ends = {n: s.end for n, s in kept.items() if s.end in ("lost", "void")}
        assert ends == {n: s.end for n, s in self.fish.items() if s.end is not None}
        for place, hand in self.hands.items():
            here = play.bench.place(place)
            fish = play.bench.in_hand(place)
            assert (here.batch, None if fish is None else fish.number) == (hand.batch, hand.fish)
            assert here.typed == hand.typed
            assert (here.waiting is None) == (hand.waiting is None)
        batches = {b.batch: b for b in play.records.objects.values() if isinstance(b, Batch)}
        state = {n: "closed" if b.closed_utc else "open" if b.opened_utc else "planned" for n, b in batches.items()}
        assert state == self.batches
        assert {n: b.parent for n, b in batches.items() if b.parent is not None} == self.parents
        containers = {c.number: c for c in play.records.objects.values() if isinstance(c, Container)}
        owners = {s.specimen_id: n for n, s in kept.items()}
        assert {n: (c.state, owners.get(c.specimen_id or "")) for n, c in containers.items()} == self.containers
        printed = [text.split() for text in play.bench.desk.printed]
        numbers = {n for n in range(40) for low, high in printed if low <= self._label(n) <= high}
        assert numbers == self.printed
        assert play.bench.instrument("board").verified == self.verified

    def teardown(self) -> None:
        check(self.play)
        assert state_of(folded(self.play)) == state_of(self.play.bench)


TestClerk = Clerk.TestCase
TestClerk.settings = settings(max_examples=40, stateful_step_count=40, suppress_health_check=list(HealthCheck))
