"""The shore lab: thawed fish come back by their labels; five masses on a scale and a fine balance."""

from __future__ import annotations

from .instruments import Balance
from .people import NOTICES, Person
from .solo import Solo
from .world import Cause, Doing, Fish

BENCH = """
name = "lab"
places = ["table"]

[instruments.board]
profile = "number-unit-length"
port = "/dev/board"

[instruments.scale]
profile = "status-commas-mass"
port = "/dev/scale"
serves = ["thawed_whole_mass", "thawed_gutted_mass"]

[instruments.balance]
profile = "number-mass"
port = "/dev/balance"
serves = ["gonad_mass", "liver_mass"]

[instruments.scanner]
profile = "label-scanner"
port = "/dev/scanner"
"""

ON_SCALE = ("thawed_whole_mass", "thawed_gutted_mass")
ON_BALANCE = ("gonad_mass.left", "gonad_mass.right", "liver_mass")


class Field(Solo):
    """The day before: species, length, sex, envelope, no mass."""

    def measured(self, fish: Fish) -> Doing:
        yield 0.1

    def glance(self, fish: Fish) -> Doing:
        yield 0.1

    def work(self, fishes: list[Fish]) -> Doing:
        yield from self.open_batch()
        for fish in fishes:
            self.holds = fish
            yield from self.begin(fish)
            yield from self.finish(fish)
        self.site.act("batch close all worked up", None, None)


class Lab(Person):
    """Scan, weigh, open, weigh, print, print, print."""

    balance: Balance
    labels: dict[int, str]

    def work(self, fishes: list[Fish]) -> Doing:
        for i, fish in enumerate(fishes):
            self.holds = fish
            planted = self.site.plant(fish.trouble, fish.n) if fish.trouble else None
            yield from self.one(fish, fishes[i + 1] if i + 1 < len(fishes) else None)
            if planted is not None:
                self.world.at(40.0, lambda p=planted: setattr(p, "last_seq", self.site.entries[-1].seq))  # type: ignore[misc]
            yield self.rng.uniform(2.0, 6.0)
        if self.holds is not None:
            self.scan(self.labels[self.holds.n], self.holds)
            yield 2.0

    def call(self, fish: Fish, label: str | None = None) -> Doing:
        """Scan the label of a jar, and look whether its fish comes."""
        label = label or self.labels[fish.n]
        for _ in range(3):
            mark = self.mark()
            self.scan(label, fish)
            yield 1.5
            said = self.since(mark, "recalled", "closed", "refused")
            if any(e.kind == "recalled" for e in said) or not self.world.happens(NOTICES):
                return
            if any(e.kind == "closed" for e in said):
                continue  # it was in hand already, and is put away: once more
            yield 1.5

    def print(self, fish: Fish, what: str, trouble: str | None = None) -> Doing:
        mark = self.mark()
        self.balance.print(fish.true[what], fish, what, trouble)
        fish.done.add(what)
        yield 2.0
        yield from self.heed(mark, fish, what)

    def redo(self, fish: Fish, what: str) -> Doing:
        if self.site.on and self.site.bench.in_hand(self.place) is None and self.world.happens(NOTICES):
            yield from self.call(fish)  # the page shows no fish: it was put away
            self.site.act(f"as {what}", self.place, None)
        if what in ON_BALANCE:
            self.balance.print(fish.true[what], fish, what)
            yield 2.0
        else:
            yield from super().redo(fish, what)

    def glance(self, fish: Fish) -> Doing:
        """Is everything there before the next jar? What is missing is weighed now, said by name."""
        if not self.world.happens(NOTICES):
            return
        for what in (*ON_SCALE, *ON_BALANCE):
            if not self.sees(what) and self.site.on:
                self.site.act(f"as {what}", self.place, None)
                yield 1.0
                yield from self.redo(fish, what)
                if any(f is fish for f, _ in self.pan.lies):
                    self.pan.lift(fish)
                    yield 1.2

    def one(self, fish: Fish, following: Fish | None) -> Doing:
        trouble = fish.trouble
        match trouble:
            case "neighbour's jar":
                other = self.rng.choice([-1, 1])
                label = self.labels.get(fish.n + other, self.labels[fish.n])
                self.scan(label, fish, trouble)
                yield 1.5
            case "forgotten scan":
                pass
            case "used envelope":
                self.scan(self.site.label(8000), fish, trouble)
                yield 1.5
                yield from self.call(fish)
            case "misread label":
                label = self.labels[fish.n]
                self.scan(label, fish, trouble, label[:-1] + str((int(label[-1]) + 1) % 10))
                yield 1.5
                yield from self.call(fish)
            case "power cut":
                dark = self.rng.choice((0.0, 0.5, 3.0, 8.0))
                self.world.at(self.rng.uniform(0.0, 25.0), lambda: self.site.power_cut(dark))
                yield from self.call(fish)
            case _:
                yield from self.call(fish)
        for what in ON_SCALE:
            yield from self.on_scale(fish, what, trouble if what == ON_SCALE[0] else None)
            yield 3.0
        for what in ON_BALANCE:
            match trouble:
                case "printed twice" if what == ON_BALANCE[0]:
                    yield from self.print(fish, what)
                    yield self.rng.choice((0.05, 0.4, 1.0))
                    yield from self.print(fish, what, trouble)
                case "organ left out" if what == ON_BALANCE[1]:
                    continue
                case "organ left out" if what == ON_BALANCE[2]:
                    yield from self.print(fish, what, trouble)
                case "organs changed over" if what == ON_BALANCE[1]:
                    yield from self.print(fish, ON_BALANCE[2], trouble)
                    yield from self.print(fish, ON_BALANCE[1], trouble)
                    break
                case _:
                    yield from self.print(fish, what)
        if trouble == "undo by a helper":
            self.site.act("undo", self.place, Cause(None, "undo", False, trouble))
            yield 2.0
        if trouble == "knife on the balance":
            self.balance.print(self.rng.uniform(20, 90), None, "liver_mass", trouble)
            yield 1.5
        if trouble != "organ left out":
            yield from self.glance(fish)
        else:
            yield from self.say(f"missing {ON_BALANCE[2]} mislaid")

    def on_scale(self, fish: Fish, what: str, trouble: str | None) -> Doing:
        match trouble:
            case "lifted early":
                self.pan.lay(fish, what)
                yield self.rng.uniform(0.1, 0.55)
                self.pan.lift(fish)
                yield 1.5
                yield from self.weigh(fish, what)
            case "leans, lets go":
                mark = self.mark()
                self.pan.lean(self.rng.uniform(15, 400), trouble)
                self.pan.lay(fish, what)
                yield 1.5
                self.pan.let_go()
                yield 1.5
                yield from self.heed(mark, fish, what)
                self.pan.lift(fish)
                yield 1.2
            case "leans throughout":
                self.pan.lean(self.rng.uniform(15, 60), trouble)
                self.pan.lay(fish, what)
                yield 2.0
                self.pan.force = 0.0
                self.pan.lift(fish)
                yield 1.2
            case "scale unplugged":
                mark = self.mark()
                self.pan.lay(fish, what)
                yield self.rng.uniform(0.0, 1.2)
                self.site.unplug("scale")
                yield 2.0
                self.site.replug("scale")
                self.pan.talk()
                yield 2.5
                yield from self.heed(mark, fish, what)
                self.pan.lift(fish)
                yield 1.2
            case _:
                yield from self.weigh(fish, what)
