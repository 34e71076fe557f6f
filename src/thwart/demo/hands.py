"""Simulated people: what any of them can do, and how they hear what the bench says.

They know what they really did, and nothing of the bench's rules. A trouble is planted with a query that must find it in
the ledger afterwards.
"""

from __future__ import annotations

import contextlib
import random
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from ..bench.labels import Template, card
from ..bench.protocol import Protocol
from ..errors import ThwartError
from ..service.control import Client
from .instruments import Board, Instrument, Pedal, Scale, Scanner
from .screen import Screen

Entry = Mapping[str, Any]
T = TypeVar("T", Board, Pedal, Scale, Scanner)

#: How long somebody waits to hear something before going on without, and how long once something never came.
PATIENCE_S, SHORT_S = 8.0, 1.0
#: So many things that never came, and the demo is given up.
_TOO_MANY = 10
#: Nobody touches a board twice in less.
TOUCH_S = 0.3


class Ears:
    """What the bench has said so far."""

    def __init__(self) -> None:
        self._heard: list[Entry] = []
        self._news = threading.Condition()

    def hear(self, entry: Entry) -> None:
        """One entry of the feed."""
        with self._news:
            self._heard.append(entry)
            self._news.notify_all()

    def mark(self) -> int:
        """Where we are, to wait for what comes after."""
        return len(self._heard)

    def wait(self, since: int, wanted: Callable[[Entry], bool], timeout_s: float) -> Entry | None:
        """The first entry after a mark that is wanted, or None when it doesn't come."""
        end = time.monotonic() + timeout_s
        with self._news:
            while True:
                for entry in self._heard[since:]:
                    if wanted(entry):
                        return entry
                since = len(self._heard)
                if (left := end - time.monotonic()) <= 0:
                    return None
                self._news.wait(left)


@dataclass(frozen=True, slots=True)
class Planted:
    """A trouble, at which fish, and what of it must be in the ledger: a query that counts it."""

    name: str
    fish: int
    seen_as: str
    query: str


@dataclass(slots=True)
class Book:
    """What the people of a demo keep among themselves: how much there is to do, what was planted, what never came."""

    fish: int
    pace_s: float
    rng: random.Random
    screen: Screen
    planted: list[Planted] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)

    @property
    def patience_s(self) -> float:
        """How long to wait to hear something."""
        return SHORT_S if self.missed else PATIENCE_S


@dataclass(slots=True)
class Stage:
    """A bench that runs: its instruments by name, what it says, a way to talk to it."""

    book: Book
    protocol: Protocol
    instruments: Mapping[str, Instrument]
    ears: Ears
    folder: Path

    def ask(self, **request: Any) -> None:
        """Ask the service something over its control port. Raises ThwartError where it is refused."""
        client = Client(self.folder)
        try:
            client.ask(**request)
        finally:
            client.close()


class Person:
    """Somebody at one place of the bench."""

    def __init__(self, stage: Stage, place: str) -> None:
        self.stage, self.place, self.book = stage, place, stage.book
        self._touched = 0.0

    # ---- what is at hand ---------------------------------------------------------------------------------------

    def at(self, name: str, kind: type[T]) -> T:
        """An instrument of the bench by name."""
        found = self.stage.instruments[name]
        assert isinstance(found, kind)
        return found

    def tell(self, text: str) -> None:
        """Something out of the ordinary, shown on the screen."""
        self.book.screen.hands(text, self.place)

    def plant(self, name: str, fish: int, story: str, seen_as: str, query: str) -> None:
        """A trouble happens; `query` must count it in the ledger afterwards."""
        self.tell(story)
        self.book.planted.append(Planted(name, fish, seen_as, query))

    def rest(self, started: float) -> None:
        """Until the pace is kept again."""
        time.sleep(max(0.0, self.book.pace_s - (time.monotonic() - started)))

    def breathe(self) -> None:
        """Before and after a fumble nobody is quick."""
        time.sleep(min(2.0, 2 * self.book.pace_s))

    # ---- doing and hearing -------------------------------------------------------------------------------------

    def do(self, what: str, action: Callable[[], object], kind: str, **body: object) -> Entry | None:
        """Do something and wait to hear an entry of this kind, at this place, with these words in it (a set: one of them)."""
        mark = self.stage.ears.mark()
        action()
        return self.hears(mark, what, kind, **body)

    def hears(self, mark: int, what: str, kind: str, **body: object) -> Entry | None:
        """Wait for an entry heard after a mark; what never comes is noted. Raises ThwartError when it is too much."""
        heard = self.stage.ears.wait(mark, lambda e: self._is(e, kind, body), self.book.patience_s)
        if heard is None:
            self.book.missed.append(f"{what} ({kind})")
            if len(self.book.missed) >= _TOO_MANY:
                raise ThwartError(
                    f"the demo lost its thread: waited in vain for {', '.join(self.book.missed)}",
                    "run it again with --keep DIR, and look at service.log there",
                )
        return heard

    def _is(self, entry: Entry, kind: str, body: Mapping[str, object]) -> bool:
        if entry["kind"] != kind or entry["place"] not in (None, self.place):
            return False
        said = entry["body"]
        return all(said.get(k) in v if isinstance(v, frozenset) else said.get(k) == v for k, v in body.items())

    def scan(self, scanner: str, text: str, kind: str, **body: object) -> Entry | None:
        """Scan a label."""
        return self.do(f"scan {text}", lambda: self.at(scanner, Scanner).scan(text), kind, **body)

    def card(self, scanner: str, words: str, kind: str, **body: object) -> Entry | None:
        """Scan the card of an act."""
        return self.do(f"card {words}", lambda: self.at(scanner, Scanner).scan(card(words.split())), kind, **body)

    def say(self, words: str, kind: str, **body: object) -> Entry | None:
        """Type an act for this place, as `thwart act --place` does."""
        return self.do(words, lambda: self._ask(words, self.place), kind, **body)

    def everywhere(self, words: str, kind: str, **body: object) -> Entry | None:
        """Type an act that concerns the whole bench."""
        return self.do(words, lambda: self._ask(words, None), kind, **body)

    def _ask(self, words: str, place: str | None) -> None:
        act, *args = words.split()
        with contextlib.suppress(ThwartError):  # a refusal is heard like everything else
            self.stage.ask(do="act", act=act, args=args, place=place)

    def touch(self, mm: int, kind: str = "measured", **body: object) -> Entry | None:
        """Touch the board."""
        time.sleep(max(0.0, self._touched + TOUCH_S - time.monotonic()))
        self._touched = time.monotonic()
        return self.do(f"touch {mm} mm", lambda: self.at("board", Board).touch(mm), kind, **body)

    def lay(self, scale: str, grams: float, kind: str = "measured", **body: object) -> Entry | None:
        """Lay something on a scale: so much lies there then."""
        return self.do(f"{grams} g on {scale}", lambda: self.at(scale, Scale).put(grams), kind, **body)

    def lift(self, scale: str, rest: float = 0.0) -> Entry | None:
        """Lift it off, and look until the scale is seen to be empty."""
        mark = self.stage.ears.mark()
        self.at(scale, Scale).put(rest)
        end = time.monotonic() + self.book.patience_s
        while time.monotonic() < end:
            heard = self.stage.ears.wait(mark, lambda e: e["kind"] == "emptied", 0.1)
            if heard is not None:
                return heard
            self.stage.ask(do="status")  # a glance at the page: what waits to be saved is saved with it
        self.book.missed.append(f"{scale} emptied")
        return None

    def look_again(self, mark: int) -> None:
        """Where a sound value was asked about since a mark because it is unlikely: looks, and says that it is so."""
        asked = self.stage.ears.wait(
            mark, lambda e: self._is(e, "asked", {"statistical": True, "verdict": 3}), timeout_s=0.0
        )
        if asked is not None:
            self.tell("looks again, and it is so: `stands`")
            self.say("stands", "stood-by")

    def replug(self, name: str, between: Callable[[], object] = lambda: None) -> None:
        """Pull an instrument's plug and put it back."""
        out = self.stage.instruments[name].line
        self.do(f"{name} gone", out.unplug, "port", instrument=name, present=False)
        between()
        self.do(f"{name} back", out.replug, "port", instrument=name, present=True)


class Envelopes:
    """The stack of numbered envelopes."""

    def __init__(self, template: Template, first: str) -> None:
        self._template, self._first, self._used = template, first, 0

    def take(self, leave: int = 0) -> str:
        """The next one; before it so many are left out."""
        label = self._template.moved(self._first, self._used + leave)
        assert label is not None
        self._used += 1 + leave
        return label

    def misread(self, label: str) -> str:
        """The label with a wrong last digit, its check character as it was."""
        digit = self._template.text.rindex("#")
        return label[:digit] + str((int(label[digit]) + 1) % 10) + label[digit + 1 :]


def envelopes(protocol: Protocol) -> Envelopes:
    """The stack that belongs to a protocol with a declared series."""
    containers = protocol.containers
    assert containers is not None
    assert containers.first is not None
    return Envelopes(containers.template, containers.first)


def together(*works: Callable[[], None]) -> None:
    """Several people work at once, each in a thread of their own. Raises what any of them raises, as soon as it does."""
    failed: list[BaseException] = []

    def work(one: Callable[[], None]) -> None:
        try:
            one()
        except BaseException as fault:
            failed.append(fault)

    threads = [threading.Thread(target=work, args=(one,), daemon=True) for one in works]
    for thread in threads:
        thread.start()
    while not failed and any(thread.is_alive() for thread in threads):
        for thread in threads:
            thread.join(0.05)
    if failed:
        raise failed[0]


def plan(count: int, troubles: Sequence[str], rng: random.Random) -> dict[int, str]:
    """At which fish (from 0, never the first) which trouble happens: spread over the day, in order, one a fish."""
    places = sorted(rng.sample(range(1, count), k=min(len(troubles), max(0, count - 1))))
    return dict(zip(places, troubles, strict=False))
