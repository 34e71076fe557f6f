"""Two people at one table on the shore: a board each, one pedal (a key each) and one scanner between them, one scale; masses typed from a hand balance.

Large fish go over the board's end (tape) and in two pieces over the scale; handfuls of young ones are weighed as a pool.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from .people import NOTICES, Person
from .world import Cause, Doing, Fish

BENCH = """
name = "shore"
places = ["left", "right"]

[instruments.board_left]
profile = "number-unit-length"
port = "/dev/board_left"
places = ["left"]

[instruments.board_right]
profile = "number-unit-length"
port = "/dev/board_right"
places = ["right"]

[instruments.scale]
profile = "status-commas-mass"
port = "/dev/scale"
places = ["left"]

[instruments.scanner]
profile = "label-scanner"
port = "/dev/scanner"

[instruments.pedal]
profile = "key"
port = "/dev/pedal"
keys = { K1 = "at left next", K2 = "at right next" }
"""

#: The board's end, and what the scale bears in one piece.
BOARD_MM, SCALE_G = 420, 600
#: A handful of young fish comes between so many others.
HANDFUL_EVERY = 12


class Shore(Person):
    """Species, length, mass; `next` by the pedal both share."""

    LENGTH = "total_length"

    def work(self, fishes: list[Fish]) -> Doing:
        """Work up this place's share of the catch."""
        yield from self.open_batch()
        for i, fish in enumerate(fishes):
            self.holds = fish
            following = fishes[i + 1] if i + 1 < len(fishes) else None
            trouble = fish.trouble
            planted = self.site.plant(trouble, fish.n) if trouble else None
            step = TROUBLES.get(trouble, Shore.one) if trouble else Shore.one
            yield from step(self, fish, following)
            if planted is not None:
                self.world.at(25.0, lambda p=planted: setattr(p, "last_seq", self.site.entries[-1].seq))  # type: ignore[misc]
            if self._pan is not None and i % HANDFUL_EVERY == HANDFUL_EVERY - 1:
                yield from self.handful(fish.n)
            yield self.rng.uniform(1.0, 5.0)

    def say(self, words: str, cause: Cause | None = None) -> Doing:
        """The cards of a shared scanner name their place."""
        plain = words.startswith("batch")
        yield from super().say(words if plain else f"at {self.place} {words}", cause)

    # ---- sound steps -------------------------------------------------------------------------------------------

    def one(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        yield from self.weighed(fish)
        yield from self.done(fish)

    def begin(self, fish: Fish) -> Doing:
        if not (self.LENGTH in fish.done and self.shows(fish, self.LENGTH)):
            yield from self.species(fish)
            yield from self.long(fish)
        else:  # its touch began it
            yield from self.species(fish)

    def long(self, fish: Fish) -> Doing:
        """Its length: by the board, or by tape where the board ends."""
        if fish.true[self.LENGTH] <= BOARD_MM:
            yield from self.touch(fish, self.LENGTH)
            return
        yield from self.say(f"over {self.LENGTH}")
        yield from self.typed(fish, self.LENGTH, f"{fish.true[self.LENGTH]:.0f} mm tape")

    def weighed(self, fish: Fish) -> Doing:
        """Its mass: typed from the balance that hangs there; large ones in two pieces over the scale."""
        if fish.true["whole_mass"] > SCALE_G and self._pan is not None:
            yield from self.in_pieces(fish, 2)
        else:
            yield from self.typed(fish, "whole_mass", f"{fish.true['whole_mass']:.0f} g balance")

    def typed(self, fish: Fish, key: str, words: str) -> Doing:
        yield from self.light()
        for _ in range(3):
            self.site.act(f"value {key} {words}", self.place, Cause(fish, key, True))
            fish.done.add(key)
            yield 2.0
            if self.shows(fish, key) or not self.world.happens(NOTICES):
                return
            yield from self.light()

    def in_pieces(self, fish: Fish, laid: int) -> Doing:
        yield from self.say("parts whole_mass 2")
        share = self.rng.uniform(0.3, 0.7)
        fish.true |= {"piece.1": fish.true["whole_mass"] * share, "piece.2": fish.true["whole_mass"] * (1 - share)}
        for piece in ("piece.1", "piece.2")[:laid]:
            mark = self.mark()
            self.pan.lay(fish, piece)
            yield from self.wait(mark, lambda e: e.kind in ("outcome", "measured"))
            yield self.rng.uniform(0.3, 2.0)
            self.pan.lift(fish)
            yield 1.2
            if (
                laid > 1
                and any(e.body["code"] == "pieces-left" for e in self.since(mark, "asked"))
                and self.mood() == "rightly"
            ):
                yield from self.say("undo")  # the neighbour's card closed it

    def done(self, fish: Fish) -> Doing:
        """Is all there? Then the pedal, and the card where that did nothing."""
        for key, again in ((self.LENGTH, self.long), ("whole_mass", self.weighed)):
            if not self.sees(key) and self.world.happens(NOTICES):
                yield from again(fish)
        mark = self.mark()
        yield from self.light()
        self.press(fish)
        yield 1.0
        if not any(e.kind == "closed" for e in self.since(mark)) and self.world.happens(NOTICES):
            yield from self.say("next")

    def press(self, fish: Fish, trouble: str | None = None) -> None:
        """This place's key of the pedal."""
        key = "K1" if self.place == "left" else "K2"
        self.site.bytes("pedal", f"{key}\r\n".encode(), Cause(fish, "next", True, trouble))

    def handful(self, n: int) -> Doing:
        """Young fish, one mass for all."""
        young = Fish(10_000 + n, "perch", "U", {"pool": self.rng.uniform(40, 300)})
        yield from self.say("pool 12")
        mark = self.mark()
        self.pan.lay(young, "pool")
        yield from self.wait(mark, lambda e: e.kind in ("pooled", "measured", "noted", "asked"))
        yield self.rng.uniform(0.3, 2.0)
        self.pan.lift(young)
        yield 1.2

    # ---- what goes wrong ---------------------------------------------------------------------------------------

    def eager(self, fish: Fish, following: Fish | None) -> Doing:
        """The next fish is touched before `next`."""
        yield from self.begin(fish)
        yield from self.weighed(fish)
        if following is None or following.true[self.LENGTH] > BOARD_MM or fish.true[self.LENGTH] > BOARD_MM:
            yield from self.done(fish)
            return
        mark = self.mark()
        self.board.touch(following.true[self.LENGTH], following, self.LENGTH, "eager")
        yield 1.5
        asked = any(e.body["code"] == "again-or-new" for e in self.since(mark, "asked"))
        if asked and self.mood() == "rightly":
            following.done.add(self.LENGTH)
            yield from self.say("next")
        else:
            yield from self.done(fish)

    def typed_late(self, fish: Fish, following: Fish | None) -> Doing:
        """The mass is typed when the fish is closed already."""
        yield from self.begin(fish)
        yield from self.say("next")
        if fish.true["whole_mass"] <= SCALE_G and following is not None:
            self.site.act(
                f"value whole_mass {fish.true['whole_mass']:.0f} g balance",
                self.place,
                Cause(fish, "whole_mass", True, "typed late"),
            )
            yield 2.0

    def piece_forgotten(self, fish: Fish, following: Fish | None) -> Doing:
        """One piece of two is laid on the scale."""
        yield from self.begin(fish)
        if self._pan is None:
            yield from self.typed_late(fish, following)
            return
        yield from self.in_pieces(fish, 1)
        yield from self.say("next")

    def neighbours_card(self, fish: Fish, following: Fish | None) -> Doing:
        """The other place's `next` is scanned."""
        yield from self.begin(fish)
        yield from self.weighed(fish)
        other = "right" if self.place == "left" else "left"
        self.site.card(self.scanner, f"at {other} next", Cause(fish, "next", False, "neighbour's card"))
        yield 1.5
        yield from self.done(fish)

    def pedal_twice(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        yield from self.weighed(fish)
        yield from self.done(fish)
        self.press(fish, "pedal twice")
        yield 1.0

    def thrown_away(self, fish: Fish, following: Fish | None) -> Doing:
        """Back into the water when its length is taken; the next fish comes."""
        yield from self.begin(fish)
        fish.gone = True
        yield from self.say("next")


TROUBLES: Mapping[str, Callable[[Shore, Fish, Fish | None], Doing]] = {
    "eager": Shore.eager,
    "typed late": Shore.typed_late,
    "piece forgotten": Shore.piece_forgotten,
    "neighbour's card": Shore.neighbours_card,
    "pedal twice": Shore.pedal_twice,
    "thrown away": Shore.thrown_away,
}
