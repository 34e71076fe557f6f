"""A length table: species and sex stick, each touch counts."""

from __future__ import annotations

import re

from .people import Person
from .world import Cause, Doing, Fish

BENCH = """
name = "tally"
places = ["table"]

[instruments.board]
profile = "number-unit-length"
port = "/dev/board"

[instruments.scanner]
profile = "label-scanner"
port = "/dev/scanner"
"""


class Tally(Person):
    """Fish sorted by species and sex, one touch each, one in 2.4 s."""

    before: Fish | None = None

    def work(self, fishes: list[Fish]) -> Doing:
        yield from self.open_batch()
        said: tuple[str, str] = ("", "")
        for fish in sorted(fishes, key=lambda f: (f.n // 20, f.species, f.sex)):  # baskets of twenty
            planted = self.site.plant(fish.trouble, fish.n) if fish.trouble else None
            if said != (fish.species, fish.sex) and fish.trouble != "card forgotten":
                if said[0] != fish.species:
                    yield from self.say(f"species {fish.species}")
                yield from self.say(f"code sex {fish.sex}")
                said = (fish.species, fish.sex)
            yield from self.one(fish)
            self.before = fish
            if planted is not None:
                self.world.at(6.0, lambda p=planted: setattr(p, "last_seq", self.site.entries[-1].seq))  # type: ignore[misc]
            yield 1.4
        self.site.act("batch close all counted", None, None)

    def one(self, fish: Fish) -> Doing:
        what, trouble = "total_length", fish.trouble
        match trouble:
            case "doubled touch":
                self.board.touch(fish.true[what], fish, what)
                yield self.rng.uniform(0.03, 0.2)
                self.board.touch(fish.true[what] + self.rng.choice((0, 1)), fish, what, trouble)
            case "dragged over the board":
                self.board.touch(fish.true[what], fish, what)
                yield self.rng.uniform(0.3, 0.6)
                self.board.touch(fish.true[what], fish, what, trouble)
            case "re-touch":
                self.board.touch(fish.true[what] - self.rng.randint(4, 12), fish, what, trouble)
                yield 0.8
                yield from self.say("undo")
                self.board.touch(fish.true[what], fish, what)
            case "undo by a helper":
                self.board.touch(fish.true[what], fish, what)
                yield 0.8
                yield from self.say("undo", Cause(None, "undo", False, trouble))
            case "open mouth unnoticed":
                self.board.touch(fish.true[what] - self.rng.randint(4, 12), fish, what, trouble)
            case "hosing":
                mark = self.mark()
                for _ in range(self.rng.randint(1, 5)):
                    self.board.touch(self.rng.uniform(15, 620), None, what, trouble)
                    yield self.rng.choice((0.05, 0.3, 0.6))
                asked = any(e.body["code"] == "hosing" for e in self.since(mark, "asked"))
                if asked and self.rng.random() < 0.5:  # the others don't hear it
                    yield from self.say("hosed")
                    yield 2.0
                    named = [e.body["text"] for e in self.since(mark, "told") if e.body["code"] == "hosed"]
                    lengths = re.findall(r"\d+ mm", " ".join(named))
                    if self.before is not None and f"{self.before.true[what]:.0f} mm" in lengths:
                        self.board.touch(self.before.true[what], self.before, what)  # it was among them
                        yield 2.0
                self.board.touch(fish.true[what], fish, what)
            case "hosing, paused":
                yield from self.say("pause")
                self.board.touch(self.rng.uniform(15, 620), None, what, trouble)
                yield 0.5
                yield from self.say("resume")
                self.board.touch(fish.true[what], fish, what)
            case "beyond the limits":
                self.board.touch(1900, fish, what, trouble)
                yield 1.5
                self.board.touch(fish.true[what], fish, what)
            case "power cut":
                dark = self.rng.choice((0.0, 0.5, 3.0))
                self.world.at(self.rng.uniform(0.0, 2.0), lambda: self.site.power_cut(dark))
                yield 1.0
                mark = self.mark()
                self.board.touch(fish.true[what], fish, what)
                yield 1.0
                while not self.since(mark, "tallied") and not self.site.on:
                    yield 1.0
                if not self.since(mark, "tallied"):
                    self.board.touch(fish.true[what], fish, what)
            case _:
                self.board.touch(fish.true[what], fish, what)
        yield 1.0
