"""The core of the solo flow against a plain model, written from the rules alone: the same values for each fish."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.benchkit import Play

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
