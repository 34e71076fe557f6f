"""The demo `lab`: fish that were frozen ashore are weighed thawed, opened, and weighed part by part, in two passes."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from . import screen, solo
from .comparing import Table, differences, rows, verdict
from .hands import Person, Stage, envelopes, plan
from .lake import Insides, catch, opened
from .show import Day

#: The troubles it plants in the first pass, and in the second.
FIRST = ("foreign envelope", "not scanned", "neighbour's carcass", "gonad not found", "envelope before")
SECOND = ("forceps on the pan",)

#: What the first pass weighs of each fish, in the protocol's order.
_WEIGHED = (
    ("thawed_whole_mass", None), ("thawed_gutted_mass", None), ("gonad_mass", "left"), ("gonad_mass", "right"), ("liver_mass", None),
)  # fmt: skip

_HEADINGS = (
    "number", "envelope", "fresh g", "thawed", "gutted", "gonad l", "gonad r", "liver", "otoliths", "in the ledger",
)  # fmt: skip


@dataclass(slots=True)
class Done:
    """A fish that was opened: what it really weighed, and whether its right gonad was there."""

    ashore: solo.Done
    real: Insides
    right_found: bool = True

    @property
    def weighed(self) -> tuple[float, ...]:
        """The masses of the first pass, in order."""
        real = self.real
        return real.thawed, real.gutted, real.gonad_left, real.gonad_right, real.liver


class Technician(Person):
    """The one person in the lab."""

    def first_pass(self, fishes: Sequence[Done], troubles: Mapping[int, str], foreign: str) -> None:
        """Scan, weigh part by part, scan the next."""
        for i, done in enumerate(fishes):
            started = time.monotonic()
            trouble = troubles.get(i)
            if trouble == "foreign envelope":
                self.plant(trouble, i + 1, f"an envelope of another survey lies among them: {foreign}", "refused: no such fish",
                           "SELECT count(*) FROM entry WHERE kind = 'refused' AND data LIKE '%label-orphan%'")  # fmt: skip
                self.scan("scanner", foreign, "refused")
            if trouble == "not scanned":
                self._not_scanned(fishes[i - 1], done, i)
            if trouble == "envelope before":
                self._envelope_before(fishes[i - 1], done, i)
            self.scan("scanner", done.ashore.label, "recalled")
            self._weigh(done, i, trouble)
            self.rest(started)
        self.scan("scanner", fishes[-1].ashore.label, "closed")

    def _put(self, grams: float, what: tuple[str, str | None]) -> None:
        self.lay("balance", grams, measurand=what[0], side=what[1])
        self.lift("balance")

    def _weigh(self, done: Done, i: int, trouble: str | None) -> None:
        for grams, what in zip(done.weighed, _WEIGHED, strict=True):
            if trouble == "neighbour's carcass" and what[0] == "thawed_gutted_mass":
                self._carcass(done, i, what)
            elif trouble == "gonad not found" and what[1] == "right":
                done.right_found = False
                self.plant(trouble, i + 1, "the right gonad isn't there: a card says so", "missing, not found",
                           "SELECT count(*) FROM specimens WHERE missing LIKE '%gonad_mass.right%not-found%'")  # fmt: skip
                self.card("scanner", "missing gonad_mass not-found", "missing")
            else:
                self._put(grams, what)

    def _carcass(self, done: Done, i: int, what: tuple[str, str | None]) -> None:
        heavier = round(done.real.thawed + 12.34, 2)
        self.plant("neighbour's carcass", i + 1, "the neighbour's carcass lands on the balance", "asked: heavier than whole",
                   "SELECT count(*) FROM findings WHERE cause = 'order'")  # fmt: skip
        self.lay("balance", heavier, "asked", code="order")
        self.lift("balance")
        self.tell("scans the card `again` and lays the right one on")
        self.card("scanner", "again", "told", code="reopened")
        self._put(done.real.gutted, what)

    def _not_scanned(self, before: Done, done: Done, i: int) -> None:
        self.scan("scanner", before.ashore.label, "closed")
        self.plant("not scanned", i + 1, "a fish is laid on before its envelope is scanned", "loose",
                   "SELECT count(*) FROM readings WHERE outcome = 'loose' AND why = 'no-fish'")  # fmt: skip
        self.lay("balance", done.real.thawed, "noted", code="loose")
        self.lift("balance")
        self.tell("scans it, and lays the fish on again")

    def _envelope_before(self, before: Done, done: Done, i: int) -> None:
        self.scan("scanner", before.ashore.label, "closed")
        self.plant("envelope before", i + 1, f"the envelope of the fish before is scanned again: {before.ashore.label}",
                   "asked: again or new?", "SELECT count(*) FROM findings WHERE cause = 'again-or-new'")  # fmt: skip
        self.scan("scanner", before.ashore.label, "recalled")
        self.lay("balance", done.real.thawed, "asked", code="again-or-new")
        self.lift("balance")
        self.tell("scans the right one, and lays the fish on again")

    def second_pass(self, fishes: Sequence[Done], troubles: Mapping[int, str]) -> None:
        """Scan, weigh the pair of dry otoliths, scan the next."""
        for i, done in enumerate(fishes):
            started = time.monotonic()
            grams = done.real.otoliths
            self.scan("scanner", done.ashore.label, "recalled")
            if troubles.get(i) in SECOND:
                self.plant(SECOND[0], i + 1, "the forceps still touch the pan", "asked: changed on the pan",
                           "SELECT count(*) FROM findings WHERE cause = 'changed-on-the-pan' AND answered_by IS NOT NULL")  # fmt: skip
                self.lay("fine_balance", grams * 1.5, measurand="otolith_mass")
                self.lay("fine_balance", grams, "asked", code="changed-on-the-pan")
                self.tell("takes them off and answers with the card `again`")
                self.card("scanner", "again", "measured", measurand="otolith_mass")
            else:
                self.lay("fine_balance", grams, measurand="otolith_mass")
            self.lift("fine_balance")
            self.rest(started)
        self.scan("scanner", fishes[-1].ashore.label, "closed")


class Lab:
    """A day ashore, then two passes in the lab on the same bench folder, and what of it must be in the ledger."""

    fish, pace_s = 14, 1.1
    intro = (
        "{fish} fish of an invented lake survey. Ashore they are measured, weighed and frozen; in the lab each comes back by the\n"
        "scan of its envelope: first thawed whole, gutted, gonads and liver on a balance of 0.01 g, then, in a second pass, its\n"
        "dry otoliths on one of 0.0001 g. Instruments and people are simulated."
    )
    query = (
        "SELECT number, whole_mass_g, thawed_whole_mass_g, thawed_gutted_mass_g, otolith_mass_g FROM specimens LIMIT 5"
    )

    def __init__(self) -> None:
        self.ashore: list[solo.Done] = []
        self.done: list[Done] = []

    def days(self) -> Sequence[Day]:
        """One day ashore, one in the lab."""
        return [
            ("solo", "Ashore, with the protocol demo/solo:", self.shore),
            ("lab", "In the lab, the same bench folder with the protocol demo/lab:", self.passes),
        ]

    def shore(self, stage: Stage) -> None:
        """The day that makes the fish; nothing goes wrong."""
        cutter = solo.Cutter(stage, envelopes(stage.protocol))
        cutter.say("batch open north-bay preservation=frozen", "batch")
        cutter.work(catch(stage.book.fish, stage.book.rng), {})
        cutter.say("batch close all in the freezer", "batch")
        self.ashore = cutter.done

    def passes(self, stage: Stage) -> None:
        """Both passes."""
        book = stage.book
        self.done = [Done(one, opened(one.fish, book.rng)) for one in self.ashore]
        technician = Technician(stage, "lab")
        technician.say("batch note north-bay preservation=thawed", "batch-noted")
        template = envelopes(stage.protocol)
        foreign = template.take(leave=8000)
        technician.first_pass(self.done, plan(book.fish, FIRST, book.rng), foreign)
        technician.tell("days later: the dry otoliths, on the fine balance")
        technician.second_pass(self.done, plan(book.fish, SECOND, book.rng))

    @staticmethod
    def line(entry: Mapping[str, Any], fish: screen.Fish) -> str | None:
        """Ashore as in `solo`; in the lab what the pass added."""
        if entry["kind"] != "closed" or "thawed_whole_mass" not in fish:
            return screen.fish_line(entry, fish)
        start = f"fish {entry['body']['number']:>3}  {fish.get('species', '?'):<6} {fish.get('container', '-')}"
        if "otolith_mass" in fish:
            return f"{start}  otoliths {fish['otolith_mass']}"
        if fish.setdefault("first pass", "") == "shown":
            return None  # scanned again by mistake, and nothing came of it
        fish["first pass"] = "shown"
        whole, gutted, left, right, liver = (
            fish.get(".".join(filter(None, what)), "-").removesuffix(" g") for what in _WEIGHED
        )
        return f"{start}  whole {whole:>7}  gutted {gutted:>7}  gonads {left:>5} {right:>5}  liver {liver:>5} g"

    def compare(self, db: sqlite3.Connection) -> Table:
        """Every fish by its envelope."""
        found = {
            row["containers"]: row
            for row in rows(
                db,
                """SELECT number, containers, total_length_mm AS length, whole_mass_g AS mass, thawed_whole_mass_g AS thawed,
                          thawed_gutted_mass_g AS gutted, gonad_mass_left_g AS "left", gonad_mass_right_g AS "right",
                          liver_mass_g AS liver, otolith_mass_g AS otoliths, "end" FROM specimens""",
            )
        }
        table, wrong = [], 0
        for done in self.done:
            row, fish, real = found.get(done.ashore.label), done.ashore.fish, done.real
            right = real.gonad_right if done.right_found else None
            expected: dict[str, object] = {
                "length": fish.length_mm, "mass": fish.mass_g, "thawed": real.thawed, "gutted": real.gutted,
                "left": real.gonad_left, "right": right, "liver": real.liver, "otoliths": real.otoliths, "end": "complete",
            }  # fmt: skip
            faults = ["no such envelope"] if row is None else differences(row, expected)
            thawed = (real.thawed, real.gutted, real.gonad_left, right, real.liver)
            cells = ["-" if value is None else f"{value:.2f}" for value in thawed]
            cells = [str(fish.mass_g), *cells, f"{real.otoliths:.4f}"]
            table.append((str(row["number"]) if row else "-", done.ashore.label, *cells, verdict(faults)))
            wrong += bool(faults)
        if len(found) > len(self.done):
            more = len(found) - len(self.done)
            table.append((*("?" for _ in _HEADINGS[1:]), f"DIFFERS: {more} fish more than there were"))
            wrong += 1
        return Table("fish", _HEADINGS, table, wrong)
