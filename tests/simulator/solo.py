"""One person, one table: board, scale, scanner, pedal; an envelope for each fish."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from .people import NOTICES, Person
from .world import Cause, Doing, Fish

BENCH = """
name = "solo"
places = ["table"]

[instruments.board]
profile = "number-unit-length"
port = "/dev/board"

[instruments.scale]
profile = "status-commas-mass"
port = "/dev/scale"

[instruments.scanner]
profile = "label-scanner"
port = "/dev/scanner"

[instruments.pedal]
profile = "key"
port = "/dev/pedal"
keys = { K1 = "next" }
"""


#: Half of those who see that a touch was bad say `again` before they touch once more; the others just touch.
SAYS_AGAIN = 0.5


class Solo(Person):
    """Species, length, mass, sex, envelope."""

    LENGTHS: tuple[str, ...] = ("total_length",)

    def work(self, fishes: list[Fish]) -> Doing:
        """Work up the catch."""
        yield from self.open_batch()
        for i, fish in enumerate(fishes):
            self.holds = fish
            following = fishes[i + 1] if i + 1 < len(fishes) else None
            yield from self.one(fish, following)
            self.before = fish
        self.site.act("batch close all worked up", None, None)

    def one(self, fish: Fish, following: Fish | None) -> Doing:
        trouble = fish.trouble
        planted = self.site.plant(trouble, fish.n) if trouble else None
        step = TROUBLES.get(trouble) if trouble else None
        if step is None:
            yield from self.begin(fish)
            yield from self.measured(fish)
            yield from self.finish(fish)
        else:
            yield from step(self, fish, following)
        if planted is not None:
            self.world.at(25.0, lambda: _over(planted, self))
        yield self.rng.uniform(1.0, 6.0)

    # ---- sound steps -------------------------------------------------------------------------------------------

    def begin(self, fish: Fish) -> Doing:
        yield from self.species(fish)
        yield from self.lengths(fish, self.LENGTHS)

    def measured(self, fish: Fish) -> Doing:
        yield from self.weigh(fish)

    def glance(self, fish: Fish) -> Doing:
        """Before the fish is gone: is all there?"""
        if not self.world.happens(NOTICES):
            return
        for what in (*self.LENGTHS, "whole_mass"):
            if not self.sees(what):
                yield from self.redo(fish, what)
        if any(f is fish for f, _ in self.pan.lies):
            self.pan.lift(fish)
            yield 1.0
        if not self.sees("species"):
            yield from self.species(fish)

    def finish(self, fish: Fish) -> Doing:
        yield from self.glance(fish)
        yield from self.code(fish)
        yield from self.envelope(fish)

    # ---- what goes wrong ---------------------------------------------------------------------------------------

    def doubled_touch(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.species(fish)
        mark = self.mark()
        mm = fish.true["total_length"]
        for what in self.LENGTHS:
            mm = fish.true[what]
            self.board.touch(mm, fish, what)
            yield self.rng.uniform(0.03, 0.2)
            self.board.touch(mm + self.rng.choice((0, 0, 1)), fish, what, "doubled touch")
            fish.done.add(what)
            yield 1.5
        yield from self.heed(mark, fish, what, again=True)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def retouch(self, fish: Fish, following: Fish | None) -> Doing:
        """The mouth was open; it is noticed, and touched again."""
        yield from self.species(fish)
        first, *rest = self.LENGTHS
        yield from self.touch(fish, first, off=-self.rng.randint(4, 12), trouble="re-touch")
        yield 1.0
        if self.world.happens(SAYS_AGAIN):
            yield from self.say("again")
        yield from self.touch(fish, first)
        yield from self.lengths(fish, rest)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def open_mouth(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.species(fish)
        for what in self.LENGTHS:
            yield from self.touch(fish, what, off=-self.rng.randint(4, 12), trouble="open mouth unnoticed")
        yield from self.measured(fish)
        yield from self.finish(fish)

    def load_before(self, fish: Fish, following: Fish | None) -> Doing:
        """A helper lays the next fish on the scale before this one's envelope is scanned."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        if following is not None:
            self.pan.trouble = "load before next"
            self.pan.lay(following)
            yield self.rng.uniform(0.2, 2.5)
        yield from self.code(fish)
        yield from self.envelope(fish)
        if following is not None:
            yield 1.5
            self.pan.lift(following)
            yield 1.0

    def late_envelope(self, fish: Fish, following: Fish | None) -> Doing:
        """The envelope is filled, and its label scanned only when the next fish was touched already."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.code(fish)
        label = self.envelopes.take()
        self.envelopes.fill(label, fish)
        self.pending = (fish, label)
        if following is None:
            yield from self.late_scan()

    def lifted_early(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        self.pan.lay(fish)
        yield self.rng.uniform(0.1, 0.55)
        self.pan.lift(fish)
        yield 1.5
        if self.world.happens(NOTICES) and not self.sees("whole_mass"):
            yield from self.measured(fish)
        yield from self.finish(fish)

    def leans(self, fish: Fish, following: Fish | None) -> Doing:
        """A helper's hand on the pan while the fish lies there; then it is taken off."""
        yield from self.begin(fish)
        mark = self.mark()
        self.pan.lean(self.rng.uniform(15, 400), "leans, lets go")
        self.pan.lay(fish)
        yield 1.5
        self.pan.let_go()
        yield 1.5
        yield from self.heed(mark, fish, "whole_mass")
        self.pan.lift(fish)
        yield 1.2
        yield from self.finish(fish)

    def leans_on_empty(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        self.pan.lean(self.rng.uniform(15, 900), "leans on the empty pan")
        yield self.rng.uniform(0.3, 2.0)
        self.pan.let_go()
        yield 1.5
        yield from self.clear_page(fish)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def leans_throughout(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        mark = self.mark()
        self.pan.lean(self.rng.uniform(15, 120), "leans throughout")
        self.pan.lay(fish)
        yield 2.0
        yield from self.heed(mark, fish, "whole_mass")
        self.pan.force = 0.0
        self.pan.lift(fish)
        yield 1.2
        yield from self.finish(fish)

    def laid_on_top(self, fish: Fish, following: Fish | None) -> Doing:
        """The next fish is laid down before this one is lifted."""
        yield from self.begin(fish)
        mark = self.mark()
        self.pan.lay(fish)
        yield from self.wait(mark, lambda e: e.kind == "measured")
        yield 0.5
        if following is not None:
            self.pan.trouble = "next laid before last lifted"
            self.pan.lay(following)
            yield self.rng.uniform(0.5, 2.0)
        self.pan.lift(fish)
        yield self.rng.uniform(0.5, 2.0)
        yield from self.heed(mark, fish, "whole_mass")
        yield from self.code(fish)
        yield from self.envelope(fish)
        if following is not None:
            yield 1.0
            self.pan.lift(following)
            yield 1.2

    def _water(self, trouble: str) -> Doing:
        for _ in range(self.rng.randint(1, 5)):
            if self.world.happens(0.7):
                self.board.touch(self.rng.uniform(15, 620), None, "total_length", trouble)
                yield self.rng.choice((0.05, 0.3, 0.6, 3.0))
            else:
                self.pan.lean(self.rng.uniform(10, 900), trouble)
                yield self.rng.uniform(0.2, 2.0)
                self.pan.let_go()
                yield 0.8
        yield 1.0

    def clear_page(self, fish: Fish) -> Doing:
        """Each value is spoken and shown: one that nobody measured was water or a hand, and is taken back."""
        for _ in range(3):
            strange = [key for key, cause in self.on_the_page() if cause is None or cause.fish is not fish]
            if not strange or not self.world.happens(NOTICES):
                return
            yield from self.say("undo")

    def hosing(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self._water("hosing")
        yield from self.clear_page(fish)
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def hosing_paused(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.say("pause")
        yield from self._water("hosing, paused")
        for _ in range(2):
            yield from self.say("resume")
            if not self.site.bench.place(self.place).paused or not self.world.happens(NOTICES):
                break
        yield from self.begin(fish)
        if self.site.bench.place(self.place).paused:  # seen now at the latest
            yield from self.say("resume")
            yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def untared_tray(self, fish: Fish, following: Fish | None) -> Doing:
        """A tray is put on the scale and nobody tares."""
        yield from self.begin(fish)
        mark = self.mark()
        self.pan.trouble = "untared tray"
        self.pan.tray = self.rng.uniform(25, 60)
        self.pan.change()
        yield self.rng.uniform(0.4, 2.0)
        self.pan.lay(fish)
        yield 2.0
        yield from self.heed(mark, fish, "whole_mass")
        self.pan.lift(fish)
        yield 1.2
        self.pan.tray = 0.0
        self.pan.change()
        yield 1.5
        if self.world.happens(NOTICES):  # and weighs it without
            yield from self.redo(fish, "whole_mass")
            mark = self.mark() - 2
            yield from self.heed(max(0, mark), fish, "whole_mass")
            if any(f is fish for f, _ in self.pan.lies):
                self.pan.lift(fish)
                yield 1.0
        yield from self.finish(fish)

    def pan_swapped(self, fish: Fish, following: Fish | None) -> Doing:
        """Another pan stands on the scale than the one it was zeroed with: all it says is off, until it is zeroed."""
        off = self.rng.choice((-1, 1)) * self.rng.uniform(8, 40)
        self.pan.trouble = "pan swapped"
        self.pan.zeroed -= off
        self.pan.change()
        yield 2.0
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.finish(fish)
        self.pan.zeroed = 0.0
        self.pan.change()
        yield 2.0

    def stale_load(self, fish: Fish, following: Fish | None) -> Doing:
        """It still lies on the scale when its envelope is scanned, and something falls on it."""
        yield from self.begin(fish)
        mark = self.mark()
        self.pan.lay(fish)
        yield from self.wait(mark, lambda e: e.kind == "measured")
        yield 0.5
        yield from self.code(fish)
        yield from self.envelope(fish)
        self.pan.lean(self.rng.uniform(6, 60), "stale load")
        yield 2.0
        self.pan.force = 0.0
        self.pan.lift(fish)
        yield 1.2

    def neighbours_envelope(self, fish: Fish, following: Fish | None) -> Doing:
        """The label beside the right one is read."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        label = self.envelopes.take()
        self.envelopes.fill(label, fish)
        yield from self.envelope(fish, self.site.label(self.envelopes.used), fill=False)

    def skipped_envelope(self, fish: Fish, following: Fish | None) -> Doing:
        """Two stick together."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        yield from self.envelope(fish, self.envelopes.take(skip=1))

    def used_envelope(self, fish: Fish, following: Fish | None) -> Doing:
        """An envelope that is filled already is taken up and scanned."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        used = list(self.envelopes.hold)[-4:]
        if used:
            self.scan(self.rng.choice(used), fish, "used envelope")
            yield 1.5
        yield from self.envelope(fish)

    def misread_label(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        label = self.envelopes.take()
        self.envelopes.fill(label, fish)
        at = self.rng.choice([i for i, c in enumerate(label) if c.isdigit()])
        wrong = label[:at] + str((int(label[at]) + self.rng.randint(1, 9)) % 10) + label[at + 1 :]
        self.scan(label, fish, "misread label", wrong)
        yield 1.5
        yield from self.envelope(fish, label)

    def overboard(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        fish.gone = True
        yield from self.say("lost")
        yield from self.say("lost")

    def thrown_away(self, fish: Fish, following: Fish | None) -> Doing:
        """It goes back into the water, and nobody says so: the next fish comes."""
        yield from self.begin(fish)
        fish.gone = True
        if following is None:
            yield from self.say("next")
            return
        mark = self.mark()
        what = self.LENGTHS[0]
        yield from self.species(following)
        self.board.touch(following.true[what], following, what, "thrown away")
        yield 1.5
        asked = [e for e in self.since(mark, "asked") if e.body["code"] == "again-or-new"]
        if asked and self.mood() == "rightly":
            # `next` closes it as it is, incomplete; the reading starts the next fish, and each gets its own species.
            yield from self.say("next")
            following.done.add(what)
            if following.species != fish.species:
                yield from self.species(fish, of=" of previous")

    def helper_undoes(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        yield from self.measured(fish)
        mark = self.mark()
        self.site.act("undo", self.place, Cause(None, "undo", False, "undo by a helper"))
        yield 2.0
        if self.since(mark, "undone") and self.world.happens(0.6):
            yield from self.say("undo undo")
        yield from self.finish(fish)

    def scale_unplugged(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.begin(fish)
        mark = self.mark()
        self.pan.lay(fish)
        yield self.rng.uniform(0.0, 1.2)
        self.site.unplug(self.pan.name)
        yield self.rng.uniform(1.0, 4.0)
        self.site.replug(self.pan.name)
        self.pan.talk()
        yield 2.5
        yield from self.heed(mark, fish, "whole_mass")
        self.pan.lift(fish)
        yield 1.2
        yield from self.finish(fish)

    def board_unplugged(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.species(fish)
        self.site.unplug(self.board.name)
        self.board.touch(fish.true[self.LENGTHS[0]], fish, self.LENGTHS[0])
        yield 2.0
        self.site.replug(self.board.name)
        yield 0.05
        self.site.bytes(
            self.board.name,
            f"{round(fish.true[self.LENGTHS[0]]) % 100:d} mm\r\n".encode(),
            Cause(None, "total_length", False, "board unplugged"),
        )
        yield 1.0
        yield from self.lengths(fish, self.LENGTHS)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def power_cut(self, fish: Fish, following: Fish | None) -> Doing:
        dark = self.rng.choice((0.0, 0.5, 3.0, 8.0))
        self.world.at(self.rng.uniform(0.0, 16.0), lambda: self.site.power_cut(dark))
        mark = self.mark()
        yield from self.begin(fish)
        yield from self.heed(mark, fish, self.LENGTHS[-1])
        yield from self.measured(fish)
        yield from self.finish(fish)

    def species_mended(self, fish: Fish, following: Fish | None) -> Doing:
        """The wrong card is read; it is seen when the fish is in its envelope."""
        yield from self.species(fish, self._other(fish), "wrong species, mended late")
        yield from self.lengths(fish, self.LENGTHS)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        yield from self.envelope(fish)
        yield from self.species(fish, of=" of previous")

    def species_unnoticed(self, fish: Fish, following: Fish | None) -> Doing:
        yield from self.species(fish, self._other(fish), "wrong species unnoticed")
        yield from self.lengths(fish, self.LENGTHS)
        yield from self.measured(fish)
        yield from self.finish(fish)

    def _other(self, fish: Fish) -> str:
        return self.rng.choice([s for s in ("perch", "roach", "bream") if s != fish.species])

    def otoliths_elsewhere(self, fish: Fish, following: Fish | None) -> Doing:
        """The right label is scanned, but the otoliths go into the envelope beside it, which is put back on the stack's end."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        label = self.envelopes.take()
        self.envelopes.fill(self.site.label(9000 + fish.n % 900), fish)
        yield from self.envelope(fish, label, fill=False)

    def pedal_twice(self, fish: Fish, following: Fish | None) -> Doing:
        """No otoliths found: `missing`, then the pedal, which is pressed twice."""
        yield from self.begin(fish)
        yield from self.measured(fish)
        yield from self.glance(fish)
        yield from self.code(fish)
        yield from self.say("missing container not-found")
        for wait in (self.rng.uniform(0.3, 0.9), 1.5):
            self.site.bytes("pedal", b"K1\r\n", Cause(fish, "next", True, "pedal twice"))
            yield wait


def _over(planted: object, person: Person) -> None:
    planted.last_seq = person.site.entries[-1].seq  # type: ignore[attr-defined]


TROUBLES: Mapping[str, Callable[[Solo, Fish, Fish | None], Doing]] = {
    "doubled touch": Solo.doubled_touch,
    "re-touch": Solo.retouch,
    "open mouth unnoticed": Solo.open_mouth,
    "load before next": Solo.load_before,
    "late scan": Solo.late_envelope,
    "lifted early": Solo.lifted_early,
    "leans, lets go": Solo.leans,
    "leans on the empty pan": Solo.leans_on_empty,
    "leans throughout": Solo.leans_throughout,
    "next laid before last lifted": Solo.laid_on_top,
    "hosing, paused": Solo.hosing_paused,
    "hosing": Solo.hosing,
    "untared tray": Solo.untared_tray,
    "pan swapped": Solo.pan_swapped,
    "stale load": Solo.stale_load,
    "neighbour's envelope": Solo.neighbours_envelope,
    "skipped envelope": Solo.skipped_envelope,
    "used envelope": Solo.used_envelope,
    "misread label": Solo.misread_label,
    "overboard": Solo.overboard,
    "thrown away": Solo.thrown_away,
    "undo by a helper": Solo.helper_undoes,
    "scale unplugged": Solo.scale_unplugged,
    "board unplugged": Solo.board_unplugged,
    "power cut": Solo.power_cut,
    "wrong species, mended late": Solo.species_mended,
    "wrong species unnoticed": Solo.species_unnoticed,
    "otoliths in the neighbour's envelope": Solo.otoliths_elsewhere,
    "pedal twice": Solo.pedal_twice,
}
