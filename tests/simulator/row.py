"""Three people in a row: board, scale, knife; a fish goes from hand to hand, with room for one in between, or for three with tags."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from thwart.bench.state import Measurement, Specimen

from .instruments import Board, Pan
from .people import NOTICES, Envelopes, Person
from .site import Site
from .world import Cause, Doing, Fish

BENCH = """
name = "row"
places = ["board", "scale", "knife"]

[instruments.board]
profile = "number-unit-length"
port = "/dev/board"
places = ["board"]

[instruments.scale]
profile = "status-commas-mass"
port = "/dev/scale"
places = ["scale"]

[instruments.scanner_board]
profile = "label-scanner"
port = "/dev/scanner_board"
places = ["board"]

[instruments.scanner_scale]
profile = "label-scanner"
port = "/dev/scanner_scale"
places = ["scale"]

[instruments.scanner_knife]
profile = "label-scanner"
port = "/dev/scanner_knife"
places = ["knife"]
"""

#: These need a second fish on the table, so they happen there or not at all.
AT_THE_SCALE = ("overtaken", "next laid before last lifted")
#: How often somebody in a row sees that the page shows another species, or a length far off.
SEES_SPECIES, SEES_LENGTH = 0.5, 0.2

LENGTHS = ("fork_length", "total_length")


@dataclass
class Table:
    """What lies between two people, in the order it was put down."""

    room: int
    lies: list[Fish] = field(default_factory=list)


class Hand(Person):
    """One of the three."""

    tags: Tags
    before_me: Table

    def tag(self, fish: Fish, first: bool = False) -> Doing:
        """Scan the fish's tag, where fish carry some."""
        if not self.tags.carried:
            return
        if first:
            self.tags.put_on(fish)
        text = self.tags.on.get(fish.n)
        if text is not None:
            mark = self.mark()
            self.site.scan(self.scanner, text, Cause(fish, "tag", True, fish.trouble, text))
            yield 1.0
            elsewhere = any(e.body["code"] == "tag-elsewhere" for e in self.since(mark, "refused"))
            if any(
                e.body["code"] in ("hand-full", "has-tag") for e in self.since(mark, "refused")
            ) and self.world.happens(NOTICES):
                yield from self.say("next")  # the page still shows one that is done here
                mark = self.mark()
                self.site.scan(self.scanner, text, Cause(fish, "tag", True, fish.trouble, text))
                yield 1.0
                elsewhere = any(e.body["code"] == "tag-elsewhere" for e in self.since(mark, "refused"))
            waits = self.site.bench.place(self.place).queue if self.site.on else ()
            if (
                elsewhere or any(e.body["code"] == "overtaken" for e in self.since(mark, "noted"))
            ) and self.world.happens(NOTICES):
                yield from self.clear_ghosts(waits, fish)
                self.site.scan(self.scanner, text, Cause(fish, "tag", True, fish.trouble, text))
                yield 1.0
            if not self.since(mark) and self.world.happens(NOTICES):  # no power
                yield 4.0
                self.site.scan(self.scanner, text, Cause(fish, "tag", True, fish.trouble, text))
                yield 1.0

    def clear_ghosts(self, waits: tuple[str, ...], fish: Fish) -> Doing:
        """The page shows fish that wait here; what isn't on the table is gone, and said to be."""
        here = {self.tags.on.get(f.n) for f in [fish, *self.before_me.lies]}
        for ident in waits:
            shown = self.site.bench.get(Specimen, ident) if self.site.on else None
            if shown is not None and shown.tag is not None and shown.tag not in here:
                yield from self.say(f"lost of {shown.number}")
                yield from self.say(f"lost of {shown.number}")

    def hand_on(self, fish: Fish, to: Table, *, push: bool = False) -> Doing:
        """Put it down before the next person, when there is room."""
        while len(to.lies) >= to.room and not push:
            yield 0.5
        to.lies.append(fish)

    def next_from(self, table: Table, last: Callable[[], bool]) -> Doing:
        """Wait for a fish to lie there."""
        while not table.lies and not last():
            yield 0.3

    def takes_it_for_another(self, fish: Fish) -> bool:
        """Looks at the page before working on it: is the fish it shows here this one? Mostly people don't look."""
        if not self.site.on:
            return False
        here = self.site.bench.place(self.place)
        ident = here.in_hand or (here.queue[0] if here.queue else None)
        shown = self.site.bench.get(Specimen, ident) if ident is not None else None
        if shown is None:
            return False
        if shown.species is not None and shown.species != fish.species:
            return self.world.happens(SEES_SPECIES)
        seq = shown.values.get("total_length")
        length = self.site.bench.get(Measurement, seq) if seq is not None else None
        off = (
            length is not None
            and abs(float(length.value) - fish.true["total_length"]) > 0.2 * fish.true["total_length"]
        )
        return off and self.world.happens(SEES_LENGTH)


class Measurer(Hand):
    """Species and both lengths."""

    def work(self, row: Row) -> Doing:
        for i, fish in enumerate(row.fishes):
            following = row.fishes[i + 1] if i + 1 < len(row.fishes) else None
            planted = self.site.plant(fish.trouble, fish.n) if fish.trouble and self._matters(fish) else None
            self.holds = fish
            for _ in range(40):
                if not row.careful or fish.trouble == "too fast" or not self._waits_in_sight():
                    break
                yield 0.5
            yield from self._one(fish, following, row)
            row.began.add(fish.n)
            if planted is not None:
                self.world.at(60.0, lambda p=planted: setattr(p, "last_seq", self.site.entries[-1].seq))  # type: ignore[misc]
            yield self.rng.uniform(2.0, 5.0)
        row.measured_all = True

    def _matters(self, fish: Fish) -> bool:
        """Whether what goes wrong with it goes wrong here and now."""
        if fish.trouble == "too fast":
            return self.tags.carried or self._waits_in_sight()
        return fish.trouble not in AT_THE_SCALE

    def _waits_in_sight(self) -> bool:
        """Whether the page still shows a fish waiting before the scale."""
        return self.site.on and bool(self.site.bench.place("scale").queue)

    def _one(self, fish: Fish, following: Fish | None, row: Row) -> Doing:
        match fish.trouble:
            case "power cut":
                dark = self.rng.choice((0.0, 0.5, 3.0, 8.0))
                self.world.at(self.rng.uniform(0.0, 40.0), lambda: self.site.power_cut(dark))
            case "hosing":
                yield from self._water("hosing")
            case "hosing, paused":
                yield from self.say("pause")
                yield from self._water("hosing, paused")
                yield from self.say("resume")
            case "board unplugged":
                self.site.unplug("board")
                yield 2.0
                self.site.replug("board")
                yield 1.0
            case "too fast":
                # The next fish is taken up though the one before still lies here: no room before the scale.
                yield from self.measure(fish)
                yield from self.hand_on(fish, row.to_scale, push=True)
                return
        if self.on_the_page() and self.world.happens(NOTICES):
            yield from self.say("next")  # the page still shows the fish before, or water: it is off the board
        yield from self.tag(fish, first=True)
        yield from self.measure(fish)
        if fish.trouble == "thrown away":
            fish.gone = True
            return
        if fish.trouble == "leaves":
            fish.gone = True
            mark = self.mark()
            yield from self.say("leaves")
            if any(e.body["code"] == "no-readings" for e in self.since(mark, "refused")):
                self.site.act("leaves", "scale", None)  # it had gone on already
            return
        yield from self.hand_on(fish, row.to_scale, push=fish.trouble == "overtaken" or row.shuffle)
        if fish.trouble == "overtaken" and following is not None:
            row.shuffle = True

    def measure(self, fish: Fish) -> Doing:
        trouble = fish.trouble
        if trouble == "wrong species, mended late":
            yield from self.species(
                fish, self.rng.choice([s for s in ("perch", "roach") if s != fish.species]), trouble
            )
        else:
            yield from self.species(fish)
        for what in LENGTHS:
            match trouble:
                case "doubled touch":
                    mark = self.mark()
                    self.board.touch(fish.true[what], fish, what)
                    yield self.rng.uniform(0.03, 0.2)
                    self.board.touch(fish.true[what] + self.rng.choice((0, 1)), fish, what, trouble)
                    fish.done.add(what)
                    yield 1.5
                    yield from self.heed(mark, fish, what, again=True)
                case "re-touch" if what == LENGTHS[0]:
                    yield from self.touch(fish, what, off=-self.rng.randint(4, 12), trouble=trouble)
                    yield 0.8
                    yield from self.touch(fish, what)
                case "open mouth unnoticed":
                    yield from self.touch(fish, what, off=-self.rng.randint(4, 12), trouble=trouble)
                case _:
                    yield from self.touch(fish, what)
        if self.world.happens(NOTICES):
            for what in LENGTHS:
                if not self.sees_taken(fish, what):
                    yield from self.redo(fish, what)
        if trouble == "wrong species, mended late":
            yield 4.0
            # The page shows whether it is still here, held by a question.
            here = any(cause is not None and cause.fish is fish for _, cause in self.on_the_page())
            yield from self.species(fish, of="" if here else " of previous")

    def sees_taken(self, fish: Fish, what: str) -> bool:
        """Whether the page (or the ear) said that this fish's length was taken: it may be at the next place already."""
        return any(
            e.kind == "measured" and e.body["measurand"] == what
            and self.site.causes.get(e.body.get("reading") or 0, _NOBODY).fish is fish
            for e in self.heard[-60:]
        )  # fmt: skip

    def _water(self, trouble: str) -> Doing:
        for _ in range(self.rng.randint(1, 5)):
            self.board.touch(self.rng.uniform(15, 620), None, "total_length", trouble)
            yield self.rng.choice((0.05, 0.3, 0.6, 3.0))
        yield 1.0


class Weigher(Hand):
    """The scale."""

    def work(self, row: Row) -> Doing:
        while True:
            yield from self.next_from(row.to_scale, lambda: row.measured_all)
            if not row.to_scale.lies:
                row.weighed_all = True
                return
            at = 0
            if row.shuffle:
                for _ in range(200):  # busy with something else, until the next fish lies there too
                    if len(row.to_scale.lies) > 1 or row.measured_all:
                        break
                    yield 0.3
                row.shuffle = False
                if len(row.to_scale.lies) > 1:  # who looked at the page would take the one that it shows
                    at = 1
                    row.exchanged |= {fish.n for fish in row.to_scale.lies[:2]}
                    self._planted("overtaken", row.to_scale.lies[0])
            fish = row.to_scale.lies.pop(at)
            yield 0.8
            yield from self._one(fish, row)

    def _one(self, fish: Fish, row: Row) -> Doing:
        self.holds = fish
        if fish.trouble == "skipped place" and fish.n not in row.skipped:
            row.skipped.add(fish.n)
            yield from self.hand_on(fish, row.to_knife)
            return
        yield from self.tag(fish)
        for _ in range(3):
            if self.tags.carried or fish.n in row.exchanged or not self.takes_it_for_another(fish):
                break
            yield from self.say("lost")  # the one it shows is gone
            yield from self.say("lost")
        match fish.trouble:
            case "lifted early":
                self.pan.lay(fish)
                yield self.rng.uniform(0.1, 0.55)
                self.pan.lift(fish)
                yield 1.5
                if self.world.happens(NOTICES):
                    yield from self.weigh_here(fish)
            case "leans, lets go":
                mark = self.mark()
                self.pan.lean(self.rng.uniform(15, 400), fish.trouble)
                self.pan.lay(fish)
                yield 1.5
                self.pan.let_go()
                yield 1.5
                yield from self.heed(mark, fish, "whole_mass")
                self.pan.lift(fish)
                yield 1.2
            case "leans on the empty pan":
                self.pan.lean(self.rng.uniform(15, 900), fish.trouble)
                yield self.rng.uniform(0.3, 2.0)
                self.pan.let_go()
                yield 1.5
                yield from self.weigh_here(fish)
            case "leans throughout":
                mark = self.mark()
                self.pan.lean(self.rng.uniform(15, 120), fish.trouble)
                self.pan.lay(fish)
                yield 2.0
                yield from self.heed(mark, fish, "whole_mass")
                self.pan.force = 0.0
                self.pan.lift(fish)
                yield 1.2
            case "next laid before last lifted" if row.to_scale.lies:
                mark = self.mark()
                self.pan.lay(fish)
                yield from self.wait(mark, lambda e: e.kind == "measured")
                self._planted(fish.trouble, fish)
                following = row.to_scale.lies[0]
                self.pan.trouble = fish.trouble
                self.pan.lay(following)
                yield self.rng.uniform(0.5, 2.0)
                self.pan.lift(fish)
                yield self.rng.uniform(0.5, 2.0)
                yield from self.heed(mark, fish, "whole_mass")
                self.pan.lift(following)
                yield 1.0
            case "scale unplugged":
                mark = self.mark()
                self.pan.lay(fish)
                yield self.rng.uniform(0.0, 1.2)
                self.site.unplug("scale")
                yield 2.0
                self.site.replug("scale")
                self.pan.talk()
                yield 2.5
                yield from self.heed(mark, fish, "whole_mass")
                self.pan.lift(fish)
                yield 1.2
            case "undo by a helper":
                yield from self.weigh_here(fish)
                self.site.act("undo", self.place, Cause(None, "undo", False, fish.trouble))
                yield 2.0
            case _:
                yield from self.weigh_here(fish)
        if fish.trouble == "overboard":
            fish.gone = True
            mark = self.mark()
            yield from self.say("lost")
            if self.since(mark, "refused") and self.world.happens(NOTICES):  # it had gone on when it was lifted
                yield from self.say("lost of previous")
                yield from self.say("lost of previous")
                return
            yield from self.say("lost")
            return
        if fish.trouble == "dropped after the scale":
            fish.gone = True
            return
        yield from self.hand_on(fish, row.to_knife)

    def _planted(self, name: str, fish: Fish) -> None:
        planted = self.site.plant(name, fish.n)
        self.world.at(60.0, lambda: setattr(planted, "last_seq", self.site.entries[-1].seq))

    def weigh_here(self, fish: Fish) -> Doing:
        """Lay, listen, lift; lay again when nothing was said."""
        for _ in range(3):
            yield from self.light()
            mark = self.mark()
            self.pan.lay(fish)
            yield from self.wait(mark, lambda e: e.kind in ("measured", "asked", "noted"), 3.0)
            fish.done.add("whole_mass")
            yield 0.8
            yield from self.heed(mark, fish, "whole_mass")
            self.pan.lift(fish)
            yield 1.2
            if self.since(mark, "measured") or not self.world.happens(NOTICES):
                return


class Cutter(Hand):
    """Sex, otoliths, envelope."""

    def work(self, row: Row) -> Doing:
        while True:
            yield from self.next_from(row.to_knife, lambda: row.weighed_all)
            if not row.to_knife.lies:
                return
            fish = row.to_knife.lies.pop(0)
            self.holds = fish
            yield from self._one(fish, row)
            yield self.rng.uniform(1.0, 3.0)

    def _one(self, fish: Fish, row: Row) -> Doing:
        yield from self.tag(fish)
        if not self.tags.carried and fish.n not in row.exchanged and self.takes_it_for_another(fish):
            yield from self.say("lost")  # the one it shows is gone; this one may be the next it has
            yield from self.say("lost")
        mark = self.mark()
        yield from self.code(fish)
        nothing = [e for e in self.since(mark, "refused") if e.body["code"] == "nothing-in-hand"]
        if nothing and self.world.happens(NOTICES):
            # The fish before this one's place isn't here for the bench: it wasn't weighed.
            self._back_to_the_scale(fish, row)
            return
        trouble = fish.trouble
        if trouble == "neighbour's envelope":
            label = self.envelopes.take()
            self.envelopes.fill(label, fish)
            yield from self.envelope(fish, self.site.label(self.envelopes.used), fill=False)
        elif trouble == "skipped envelope":
            yield from self.envelope(fish, self.envelopes.take(skip=1))
        elif trouble == "used envelope" and self.envelopes.hold:
            self.scan(self.rng.choice(list(self.envelopes.hold)[-4:]), fish, trouble)
            yield 1.5
            yield from self.envelope(fish)
        elif trouble == "misread label":
            label = self.envelopes.take()
            self.envelopes.fill(label, fish)
            at = self.rng.choice([i for i, c in enumerate(label) if c.isdigit()])
            self.scan(
                label, fish, trouble, label[:at] + str((int(label[at]) + self.rng.randint(1, 9)) % 10) + label[at + 1 :]
            )
            yield 1.5
            yield from self.envelope(fish, label)
        else:
            yield from self.envelope(fish)
        self.tags.off(fish)

    def _back_to_the_scale(self, fish: Fish, row: Row) -> None:
        if fish.n in row.handed_back:
            return  # the bench knows nothing more of it here: it is left as it stands
        row.handed_back.add(fish.n)
        row.to_scale.lies.insert(0, fish)
        if row.weighed_all:
            row.weighed_all = False
            self.world.person(row.weigher.work(row))


class Tags:
    """Reusable tags, or none."""

    def __init__(self, carried: bool) -> None:
        self.carried = carried
        self.on: dict[int, str] = {}
        self._free = [f"T{n:02d}" for n in range(1, 100)]

    def put_on(self, fish: Fish) -> None:
        self.on.setdefault(fish.n, self._free.pop(0))

    def off(self, fish: Fish) -> None:
        if (text := self.on.pop(fish.n, None)) is not None:
            self._free.append(text)


class Row:
    """The three together."""

    def __init__(self, site: Site, fishes: list[Fish], *, tags: bool, careful: bool = True) -> None:
        self.site, self.fishes = site, fishes
        self.to_scale, self.to_knife = Table(3 if tags else 1), Table(3 if tags else 1)
        self.measured_all = self.weighed_all = self.shuffle = False
        self.began: set[int] = set()
        self.skipped: set[int] = set()
        self.handed_back: set[int] = set()
        self.exchanged: set[int] = set()
        """Changed places on the way to the scale, and nobody looked."""
        self.envelopes = Envelopes(site)
        self.careful = careful
        self.tags = Tags(tags)
        self.measurer = Measurer(
            site, "board", envelopes=self.envelopes, scanner="scanner_board", board=Board(site, "board")
        )
        self.weigher = Weigher(site, "scale", envelopes=self.envelopes, scanner="scanner_scale", pan=Pan(site, "scale"))
        self.cutter = Cutter(site, "knife", envelopes=self.envelopes, scanner="scanner_knife")
        for hand in (self.measurer, self.weigher, self.cutter):
            hand.tags = self.tags
        self.measurer.before_me, self.weigher.before_me, self.cutter.before_me = Table(0), self.to_scale, self.to_knife

    def start(self) -> None:
        self.site.act("batch open bay", None, None)
        for hand in (self.measurer, self.weigher, self.cutter):
            self.site.world.person(hand.work(self))

    def end(self) -> None:
        if not self.site.on:
            self.site.power_on()
        self.site.act("batch close all worked up", None, None)


_NOBODY = Cause(None, "nothing", False)
