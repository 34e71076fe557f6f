"""The demo `row`: three people at a board, a scale and a knife, each with another fish, and what goes wrong between them."""

from __future__ import annotations

import sqlite3
import time
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from threading import Barrier, Condition

from .comparing import Table, differences, rows, verdict
from .hands import Person, Stage, envelopes, plan, together
from .instruments import Pedal, Scale
from .lake import Fish, catch
from .screen import fish_line
from .show import Day

#: The troubles it plants, in the order of the day. Two fish are measured in a hurry, so the knife's trouble comes next.
TROUBLES = (
    "second touch", "stranger weighed", "hurried board", "broken otolith", "wet pan", "overboard", "skipped label",
)  # fmt: skip

#: How long two people wait for each other before something must be wrong.
_MEETING_S = 60.0


@dataclass(slots=True)
class Carried:
    """A fish on its way, with the number the bench said at the board."""

    index: int
    fish: Fish
    number: int
    label: str | None = None
    lost: bool = False


class Between:
    """The table between two people: one puts fish down, the other takes the first of them."""

    def __init__(self) -> None:
        self._lie: deque[Carried | None] = deque()
        self._busy = False
        self._change = Condition()

    def put(self, carried: Carried | None) -> None:
        """Put a fish down; None: there are no more."""
        with self._change:
            self._lie.append(carried)
            self._change.notify_all()

    def take(self) -> Carried | None:
        """Take the first one, or wait for it."""
        with self._change:
            self._change.wait_for(lambda: self._lie)
            self._busy = True
            return self._lie.popleft()

    def done(self) -> None:
        """The one who took it has it where it belongs."""
        with self._change:
            self._busy = False
            self._change.notify_all()

    def wait_clear(self) -> None:
        """Wait until nothing lies here and what was taken is where it belongs."""
        with self._change:
            self._change.wait_for(lambda: not self._lie and not self._busy, _MEETING_S)


class Measurer(Person):
    """At the board."""

    def work(self, fishes: Sequence[Fish], troubles: Mapping[int, str], to: Between, strangers: Barrier) -> None:
        """Measure the catch, each fish once the one before is off the table."""
        held: list[Carried] = []  # measured, and not put down yet
        for i, fish in enumerate(fishes):
            started = time.monotonic()
            if not held:
                to.wait_clear()
            if troubles.get(i) == "stranger weighed":
                strangers.wait(_MEETING_S)  # the other one begins
                strangers.wait(_MEETING_S)  # and has done
            if i in troubles and not held:
                self.breathe()
            mark = self.stage.ears.mark()
            number = self._hurried(fish, i) if held else self._measure(fish, i, troubles.get(i))
            carried = Carried(i, fish, number)
            if troubles.get(i) == "hurried board":
                held.append(carried)
                self.tell("in a hurry: the fish still lies before the scale, and the next is on the board")
                continue
            if not held:
                self.hears(mark, f"{number} goes on", "moved", number=number)
            for one in (*held, carried):
                to.put(one)
            held = []
            if i in troubles:
                self.breathe()
            self.rest(started)
        to.put(None)

    def _measure(self, fish: Fish, i: int, trouble: str | None) -> int:
        self.card("cards", f"species {fish.species}", "species")
        if trouble != "second touch":
            return _number(self.touch(fish.length_mm))
        self.touch(fish.length_mm - 6)
        self.plant(trouble, i + 1, f"the mouth was open: touched again at {fish.length_mm} mm", "asked: again or next?",
                   "SELECT count(*) FROM measurements WHERE measurand = 'total_length' AND supersedes IS NOT NULL")  # fmt: skip
        self.touch(fish.length_mm, kind="asked", code="again-or-next")
        self.tell("answers with the card `again`")
        return _number(self.card("cards", "again", "measured"))

    def _hurried(self, fish: Fish, i: int) -> int:
        """The next one is touched, its species unsaid, while the one before still lies there; the pedal is pressed twice."""
        self.touch(fish.length_mm, kind="asked", code="again-or-next")
        self.plant("hurried board", i + 1, "presses the pedal (`next`), and once more", "refused: pressed again",
                   "SELECT count(*) FROM entry WHERE kind = 'refused' AND data LIKE '%dead-time%'")  # fmt: skip
        pedal = self.at("pedal", Pedal)

        def twice() -> None:
            pedal.press()
            time.sleep(0.4)
            pedal.press()

        mark = self.stage.ears.mark()
        heard = self.do("next", twice, "measured")
        self.hears(mark, "no room", "told", code="stays")
        self.card("cards", f"species {fish.species}", "species")
        self.breathe()
        return _number(heard)


class Weigher(Person):
    """At the scale."""

    def work(self, troubles: Mapping[int, str], come: Between, to: Between, strangers: Barrier) -> None:
        """Weigh what comes."""
        before = [i for i, trouble in troubles.items() if trouble == "stranger weighed"]
        count = 0
        while True:
            if count in before:
                self._stranger(count, to, strangers)
            carried = come.take()
            if carried is None:
                break
            count += 1
            self._weigh(carried, troubles.get(carried.index), come, to)
        to.put(None)

    def _stranger(self, i: int, to: Between, strangers: Barrier) -> None:
        strangers.wait(_MEETING_S)
        self.plant("stranger weighed", i + 1, "a crab from the net is laid on the scale while no fish waits for it", "loose",
                   "SELECT count(*) FROM readings WHERE outcome = 'loose' AND why = 'no-fish'")  # fmt: skip
        self.lay("scale", 77, "noted", code="loose")
        self.lift("scale")
        strangers.wait(_MEETING_S)

    def _weigh(self, carried: Carried, trouble: str | None, come: Between, to: Between) -> None:
        number, grams = carried.number, carried.fish.mass_g
        mark = self.stage.ears.mark()
        self.lay("scale", grams, measurand="whole_mass")
        come.done()
        if trouble == "overboard":
            self.plant(trouble, carried.index + 1, f"{number} slips overboard: `lost`, said twice", "end: lost",
                       "SELECT count(*) FROM specimens WHERE \"end\" = 'lost'")  # fmt: skip
            self.say("lost", "told", code="armed")
            self.say("lost", "closed", end="lost")
            self.lift("scale")
            carried.lost = True
        elif trouble == "wet pan":
            self.plant(trouble, carried.index + 1, "water stays on the pan: 4 g", "zero moved, masses suspect",
                       "SELECT count(*) FROM findings WHERE cause = 'zero-moved'")  # fmt: skip
            self.lift("scale", rest=4)
            self.hears(mark, trouble, "asked", code="zero-moved")
            self.tell("wipes the pan")
            self.at("scale", Scale).put(0)
            time.sleep(0.5)
        else:
            self.lift("scale")
        if not carried.lost:
            self.look_again(mark)
            self.hears(mark, f"{number} goes on", "moved", number=number)
        to.put(carried)


class Cutter(Person):
    """At the knife. What was done stands in `done`."""

    def __init__(self, stage: Stage, place: str) -> None:
        super().__init__(stage, place)
        self.labels = envelopes(stage.protocol)
        self.done: list[Carried] = []

    def work(self, troubles: Mapping[int, str], come: Between) -> None:
        """Cut what comes, say the sex, fill the envelope."""
        while (carried := come.take()) is not None:
            if not carried.lost:
                self._cut(carried, troubles.get(carried.index))
            self.done.append(carried)
            come.done()

    def _cut(self, carried: Carried, trouble: str | None) -> None:
        self.card("scanner", f"code sex {carried.fish.sex}", "coded")
        if trouble == "broken otolith":
            self.plant(trouble, carried.index + 1, "only the left otolith is found, and it is broken: a card says so", "kept with the envelope",
                       "SELECT count(*) FROM containers WHERE taken = 1 AND condition = 'broken'")  # fmt: skip
            self.card("scanner", "structure otolith 1 left broken", "structure")
        carried.label = self.labels.take(leave=1 if trouble == "skipped label" else 0)
        mark = self.stage.ears.mark()
        if trouble == "skipped label":
            self.plant(trouble, carried.index + 1, "two envelopes stick together: one is left out", "asked: label out of order",
                       "SELECT count(*) FROM findings WHERE cause = 'label-order'")  # fmt: skip
        self.scan("scanner", carried.label, "closed", number=carried.number)
        if trouble == "skipped label":
            self.hears(mark, trouble, "asked", code="label-order")
            self.tell("it is the right one: `stands`")
            self.card("scanner", "stands", "told", code="stands")


def _number(heard: Mapping[str, object] | None) -> int:
    """The number that was heard, 0 where nothing was."""
    body = heard["body"] if heard is not None else {}
    return int(body.get("number", 0)) if isinstance(body, Mapping) else 0


class Row:
    """A haul worked up by three people, and what of it must be in the ledger."""

    fish, pace_s = 40, 1.5
    intro = (
        "A haul of an invented lake survey: {fish} perch, roach, bream and pike. Three people on a vessel: one measures, one\n"
        "weighs, one cuts and fills envelopes. Each has another fish in hand; a fish goes on by itself when a place is done\n"
        "with it, and one may wait before each. Instruments and people are simulated."
    )
    query = "SELECT number, species, total_length_mm, whole_mass_g, containers FROM specimens LIMIT 5"
    line = staticmethod(fish_line)

    def __init__(self) -> None:
        self.done: list[Carried] = []

    def days(self) -> Sequence[Day]:
        """One haul."""
        return [("row", "", self.haul)]

    def haul(self, stage: Stage) -> None:
        """The one haul: three people at once."""
        book = stage.book
        fishes = catch(book.fish, book.rng)
        troubles = plan(book.fish, TROUBLES, book.rng)
        if troubles.get(book.fish - 1) == "hurried board":
            del troubles[book.fish - 1]  # nobody hurries with the last one
        measurer, weigher, cutter = Measurer(stage, "board"), Weigher(stage, "scale"), Cutter(stage, "knife")
        first, second, strangers = Between(), Between(), Barrier(2)
        measurer.everywhere("batch open haul-7", "batch")
        together(
            lambda: measurer.work(fishes, troubles, first, strangers),
            lambda: weigher.work(troubles, first, second, strangers),
            lambda: cutter.work(troubles, second),
        )
        measurer.everywhere("batch close all worked up", "batch")
        self.done = cutter.done

    def compare(self, db: sqlite3.Connection) -> Table:
        """Every fish by the number that was heard at the board."""
        found = {
            row["number"]: row
            for row in rows(
                db,
                """SELECT s.number, s.containers AS envelope, s.species, s.total_length_mm AS length,
                          s.whole_mass_g AS mass, s.end, (SELECT code FROM codes c WHERE c.specimen_id = s.specimen_id
                          AND c.field = 'sex' AND c.status = 'stands') AS sex FROM specimens s""",
            )
        }
        table, wrong = [], 0
        for done in self.done:
            row, fish = found.pop(done.number, None), done.fish
            real: dict[str, object] = {"species": fish.species, "length": fish.length_mm, "mass": fish.mass_g}
            real |= {"end": "lost"} if done.lost else {"end": "complete", "sex": fish.sex, "envelope": done.label}
            faults = ["no such fish"] if row is None else differences(row, real)
            cells = (fish.species, "-" if done.lost else fish.sex, str(fish.length_mm), str(fish.mass_g))
            table.append((str(done.number), done.label or "overboard", *cells, verdict(faults)))
            wrong += bool(faults)
        for number, row in found.items():
            table.append((str(number), str(row["envelope"]), "?", "?", "?", "?", "DIFFERS: there was no such fish"))
            wrong += 1
        return Table("fish", ("number", "envelope", "species", "sex", "mm", "g", "in the ledger"), table, wrong)
