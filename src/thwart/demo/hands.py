"""Simulated hands: they measure, weigh and put otoliths into envelopes, and now and then something goes wrong.

They hear what the bench says, as a person would, and keep their own record of what they really did.
"""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from ..bench.labels import Template, card
from .instruments import Board, Scale, Scanner
from .lake import Fish

Entry = Mapping[str, Any]


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

    def wait(self, since: int, wanted: Callable[[Entry], bool], timeout_s: float = 8.0) -> Entry | None:
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
class Done:
    """What the hands really did with a fish."""

    fish: Fish
    label: str


@dataclass(frozen=True, slots=True)
class Planted:
    """A trouble, at which fish, and what of it must be in the ledger: a query that counts it."""

    name: str
    fish: int
    seen_as: str
    query: str


@dataclass(slots=True)
class Hands:
    """One person at the table. `tell` shows what they do."""

    board: Board
    scale: Scale
    scanner: Scanner
    ears: Ears
    template: Template
    first: str
    rng: random.Random
    pace_s: float
    tell: Callable[[str], None]
    done: list[Done] = field(default_factory=list)
    planted: list[Planted] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    _next_label: int = 0

    # ---- plain work --------------------------------------------------------------------------------------------

    def work(self, catch: list[Fish], troubles: Mapping[int, str]) -> None:
        """Work up the catch; `troubles` says at which fish (from 0) which trouble happens."""
        for i, fish in enumerate(catch):
            started = time.monotonic()
            trouble = troubles.get(i)
            self._species(fish)
            self._length(fish, i, trouble)
            self._mass(fish, i, trouble)
            self._envelope(fish, i, trouble)
            time.sleep(max(0.0, self.pace_s - (time.monotonic() - started)))

    def _await(self, mark: int, what: str, wanted: Callable[[Entry], bool]) -> Entry | None:
        heard = self.ears.wait(mark, wanted)
        if heard is None:
            self.missed.append(what)
        return heard

    def _scan(self, text: str, kind: str, what: str) -> None:
        mark = self.ears.mark()
        self.scanner.scan(text)
        self._await(mark, what, lambda e: e["kind"] == kind)

    def _species(self, fish: Fish) -> None:
        self._scan(card(["species", fish.species]), "species", f"species {fish.species}")

    def _touch(self, mm: int, kind: str = "measured") -> None:
        mark = self.ears.mark()
        self.board.touch(mm)
        self._await(mark, f"touch {mm}", lambda e: e["kind"] == kind)

    def _lay(self, grams: int) -> None:
        mark = self.ears.mark()
        self.scale.put(grams)
        self._await(mark, f"mass {grams}", lambda e: e["kind"] == "measured" and e["body"]["measurand"] == "whole_mass")

    def _lift(self) -> None:
        mark = self.ears.mark()
        self.scale.put(0)
        self._await(mark, "emptied", lambda e: e["kind"] == "emptied")

    def _label(self, skip: int = 0) -> str:
        label = self.template.moved(self.first, self._next_label + skip)
        assert label is not None
        self._next_label += 1 + skip
        return label

    def _plant(self, name: str, fish: int, story: str, seen_as: str, query: str) -> None:
        self.tell(story)
        self.planted.append(Planted(name, fish + 1, seen_as, query))

    # ---- each step, with what can go wrong in it ---------------------------------------------------------------

    def _length(self, fish: Fish, i: int, trouble: str | None) -> None:
        match trouble:
            case "doubled touch":
                self._plant(trouble, i, "the stylus bounces: one touch, two prints", "doubled",
                            "SELECT count(*) FROM readings WHERE outcome = 'doubled'")  # fmt: skip
                mark = self.ears.mark()
                self.board.touch(fish.length_mm)
                time.sleep(0.06)
                self.board.touch(fish.length_mm)
                self._await(mark, trouble, lambda e: e["kind"] == "outcome" and e["body"]["event"] == "same again")
            case "torn line":
                self._plant(trouble, i, f"the board's plug slips out and in: of {fish.length_mm} mm only the end arrives", "rejected, torn",
                            "SELECT count(*) FROM entry WHERE kind = 'rejected' AND data LIKE '%\"board\"%torn%'")  # fmt: skip
                mark = self.ears.mark()
                self.board.line.unplug()
                self._await(mark, "board gone", lambda e: e["kind"] == "port" and not e["body"]["present"])
                mark = self.ears.mark()
                self.board.line.replug()
                self._await(mark, "board back", lambda e: e["kind"] == "port" and e["body"]["present"])
                self.board.line.send(f"{fish.length_mm % 100:d} mm\r\n".encode())
                self._await(mark, trouble, lambda e: e["kind"] == "rejected")
                self._touch(fish.length_mm)
            case "second touch":
                self._touch(fish.length_mm - 6)
                self._plant(trouble, i, f"the mouth was open: touched again at {fish.length_mm} mm", "asked: again or new?",
                            "SELECT count(*) FROM findings WHERE cause = 'again-or-new' AND answered_by IS NOT NULL")  # fmt: skip
                self._touch(fish.length_mm, kind="asked")
                self.tell("answers with the card `again`")
                self._scan(card(["again"]), "measured", "again")
            case _:
                self._touch(fish.length_mm)

    def _mass(self, fish: Fish, i: int, trouble: str | None) -> None:
        if trouble != "unplugged scale":
            self._lay(fish.mass_g)
            if trouble != "stale mass":
                self._lift()
            return
        self._plant(trouble, i, "the scale's plug is pulled with the fish on it, and put back", "gone, asked when back",
                    "SELECT count(*) FROM findings WHERE cause = 'load-at-start'")  # fmt: skip
        mark = self.ears.mark()
        self.scale.line.unplug()
        self._await(mark, "scale gone", lambda e: e["kind"] == "port" and not e["body"]["present"])
        self.scale.put(fish.mass_g)
        time.sleep(0.4)
        mark = self.ears.mark()
        self.scale.line.replug()
        self._await(mark, trouble, lambda e: e["kind"] == "asked" and e["body"]["code"] == "load-at-start")
        self.tell("lifts the fish and lays it on again")
        self._lift()
        self._lay(fish.mass_g)
        self._lift()

    def _envelope(self, fish: Fish, i: int, trouble: str | None) -> None:
        if trouble == "misread label":
            label = self._label()
            digit = self.template.text.rindex("#")
            wrong = label[:digit] + str((int(label[digit]) + 1) % 10) + label[digit + 1 :]
            self._plant(trouble, i, f"the scanner reads {wrong} for {label}", "refused: check character",
                        "SELECT count(*) FROM changes WHERE kind = 'refused'")  # fmt: skip
            self._scan(wrong, "refused", trouble)
        elif trouble == "skipped label":
            label = self._label(skip=1)
            self._plant(trouble, i, "two envelopes stick together: one is left out", "asked: label out of order",
                        "SELECT count(*) FROM findings WHERE cause = 'label-order'")  # fmt: skip
        else:
            label = self._label()
        self._scan(label, "closed", f"envelope {label}")
        self.done.append(Done(fish, label))
        if trouble == "stale mass":
            self._plant(trouble, i, "the fish still lies on the scale, and a wet cloth is dropped on it", "stale",
                        "SELECT count(*) FROM readings WHERE outcome = 'stale'")  # fmt: skip
            mark = self.ears.mark()
            self.scale.put(fish.mass_g + 14)
            self._await(
                mark, trouble, lambda e: e["kind"] == "outcome" and e["body"]["event"] == "load of a fish before"
            )
            self._lift()


#: The troubles the demo plants, in the order of the day.
TROUBLES = (
    "doubled touch", "second touch", "stale mass", "torn line", "misread label", "unplugged scale", "skipped label",
)  # fmt: skip


def plan(count: int, rng: random.Random) -> dict[int, str]:
    """At which fish (from 0) which trouble happens: spread over the day, in order, one a fish."""
    places = sorted(rng.sample(range(1, count), k=min(len(TROUBLES), max(0, count - 1))))
    return dict(zip(places, TROUBLES, strict=False))
