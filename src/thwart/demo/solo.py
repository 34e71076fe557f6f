"""The demo `solo`: one person measures, weighs and fills envelopes, and now and then something goes wrong."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from .comparing import Table, differences, rows, verdict
from .hands import Envelopes, Person, Stage, envelopes, plan
from .instruments import Board, Scale
from .lake import Fish, catch
from .screen import fish_line
from .show import Day

#: The troubles it plants, in the order of the day.
TROUBLES = (
    "doubled touch", "second touch", "stale mass", "torn line", "misread label", "unplugged scale", "skipped label",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Done:
    """What was really done with a fish: its otoliths are in this envelope."""

    fish: Fish
    label: str


class Cutter(Person):
    """The one person at the table. What was done stands in `done`."""

    def __init__(self, stage: Stage, labels: Envelopes) -> None:
        super().__init__(stage, "table")
        self.labels = labels
        self.done: list[Done] = []

    def work(self, fishes: list[Fish], troubles: Mapping[int, str]) -> None:
        """Work up the catch; `troubles` says at which fish (from 0) which trouble happens."""
        for i, fish in enumerate(fishes):
            started = time.monotonic()
            trouble = troubles.get(i, "")
            if trouble:
                self.breathe()
            self.card("scanner", f"species {fish.species}", "species")
            self._length(fish, i + 1, trouble)
            self._mass(fish, i + 1, trouble)
            self._envelope(fish, i + 1, trouble)
            if trouble:
                self.breathe()
            self.rest(started)

    def _length(self, fish: Fish, number: int, trouble: str) -> None:
        board = self.at("board", Board)
        match trouble:
            case "doubled touch":
                self.plant(trouble, number, "the stylus bounces: one touch, two prints", "doubled",
                           "SELECT count(*) FROM readings WHERE outcome = 'doubled'")  # fmt: skip
                self.do(trouble, lambda: board.touch(fish.length_mm, prints=2), "outcome", event="same again")
            case "torn line":
                self.plant(trouble, number, f"the board's plug slips out and in: of {fish.length_mm} mm only the end arrives",
                           "rejected, torn", "SELECT count(*) FROM entry WHERE kind = 'rejected' AND data LIKE '%\"board\"%torn%'")  # fmt: skip
                self.replug("board")
                self.do(trouble, lambda: board.line.send(f"{fish.length_mm % 100:d} mm\r\n".encode()), "rejected")
                self.touch(fish.length_mm)
            case "second touch":
                self.touch(fish.length_mm - 6)
                self.plant(trouble, number, f"the mouth was open: touched again at {fish.length_mm} mm", "asked: again or new?",
                           "SELECT count(*) FROM findings WHERE cause = 'again-or-new' AND answered_by IS NOT NULL")  # fmt: skip
                self.touch(fish.length_mm, kind="asked", code="again-or-new")
                self.tell("answers with the card `again`")
                self.card("scanner", "again", "measured")
            case _:
                self.touch(fish.length_mm)

    def _mass(self, fish: Fish, number: int, trouble: str) -> None:
        if trouble == "unplugged scale":
            self.plant(trouble, number, "the scale's plug is pulled with the fish on it, and put back", "gone, asked when back",
                       "SELECT count(*) FROM findings WHERE cause = 'load-at-start'")  # fmt: skip

            def lay() -> None:
                self.at("scale", Scale).put(fish.mass_g)
                time.sleep(0.4)

            mark = self.stage.ears.mark()
            self.replug("scale", lay)
            self.hears(mark, trouble, "asked", code="load-at-start")
            self.tell("lifts the fish and lays it on again")
            self.lift("scale")
        mark = self.stage.ears.mark()
        self.lay("scale", fish.mass_g, measurand="whole_mass")
        if trouble != "stale mass":
            self.lift("scale")
        self.look_again(mark)

    def _envelope(self, fish: Fish, number: int, trouble: str) -> None:
        label = self.labels.take(leave=1 if trouble == "skipped label" else 0)
        if trouble == "misread label":
            wrong = self.labels.misread(label)
            self.plant(trouble, number, f"the scanner reads {wrong} for {label}", "refused: check character",
                       "SELECT count(*) FROM changes WHERE kind = 'refused'")  # fmt: skip
            self.scan("scanner", wrong, "refused")
        if trouble == "skipped label":
            self.plant(trouble, number, "two envelopes stick together: one is left out", "asked: label out of order",
                       "SELECT count(*) FROM findings WHERE cause = 'label-order'")  # fmt: skip
        self.scan("scanner", label, "closed")
        self.done.append(Done(fish, label))
        if trouble == "stale mass":
            self.plant(trouble, number, "the fish still lies on the scale, and a wet cloth is dropped on it", "stale",
                       "SELECT count(*) FROM readings WHERE outcome = 'stale'")  # fmt: skip
            self.lay("scale", fish.mass_g + 14, "outcome", event="load of a fish before")
            self.lift("scale")


class Solo:
    """A day at the table, and what of it must be in the ledger."""

    fish, pace_s = 60, 1.1
    intro = (
        "A short lake survey, invented: {fish} perch, roach, bream and pike. One person at a table with a board that prints\n"
        "on touch, a scale that streams and a label scanner, all simulated."
    )
    query = "SELECT number, species, total_length_mm, whole_mass_g, containers FROM specimens LIMIT 5"
    line = staticmethod(fish_line)

    def __init__(self) -> None:
        self.done: list[Done] = []

    def days(self) -> Sequence[Day]:
        """One day."""
        return [("solo", "", self.day)]

    def day(self, stage: Stage) -> None:
        """The one day."""
        book = stage.book
        cutter = Cutter(stage, envelopes(stage.protocol))
        cutter.say("batch open north-bay", "batch")
        cutter.work(catch(book.fish, book.rng), plan(book.fish, TROUBLES, book.rng))
        cutter.say("batch close all worked up", "batch")
        self.done = cutter.done

    def compare(self, db: sqlite3.Connection) -> Table:
        """Every envelope: the fish whose otoliths are in it."""
        found = {
            str(row["label"]): row
            for row in rows(
                db,
                """SELECT c.number AS label, s.number, s.species, s.total_length_mm AS length, s.whole_mass_g AS mass,
                          s.end FROM containers c JOIN specimens s USING (specimen_id)""",
            )
        }
        table, wrong = [], 0
        for done in self.done:
            row, fish = found.pop(done.label, None), done.fish
            if row is None:
                faults = ["no such envelope"]
            else:
                real = {"species": fish.species, "length": fish.length_mm, "mass": fish.mass_g, "end": "complete"}
                faults = differences(row, real)
            number = str(row["number"]) if row else "-"
            table.append((number, done.label, fish.species, str(fish.length_mm), str(fish.mass_g), verdict(faults)))
            wrong += bool(faults)
        for label, row in found.items():
            table.append((str(row["number"]), label, "?", "?", "?", "DIFFERS: no such envelope was filled"))
            wrong += 1
        return Table("fish", ("number", "envelope", "species", "mm", "g", "in the ledger"), table, wrong)
