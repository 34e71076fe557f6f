"""The demo `tally`: length frequencies by species and sex, touch after touch, and what goes wrong."""

from __future__ import annotations

import random
import sqlite3
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from ..bench.labels import card
from .comparing import Table, rows, verdict
from .hands import Person, Stage, plan
from .instruments import Board
from .lake import Fish, catch
from .screen import Fish as Gathered
from .show import Day

#: The troubles it plants, in the order of the day.
TROUBLES = ("wrong basket", "doubled touch", "wrong sex", "misread card", "under the hose", "hosed unsaid", "torn line")

#: Three touches within two seconds are water.
_APART_S = 2.1

#: In which order the baskets come to the table.
_BASKETS = ("perch", "roach", "bream", "pike")

#: How the bench says what is counted from now on: with the sex, and with what waits, where there is any.
_COUNTING = frozenset({"counting", "counting-sex", "counting-waits", "counting-sex-waits"})

Class = tuple[str, str, int]


class Sorter(Person):
    """At the board: touches fish after fish, and scans a card where species or sex changes."""

    def __init__(self, stage: Stage, place: str) -> None:
        super().__init__(stage, place)
        self.done: Counter[Class] = Counter()
        self._now: tuple[str, str] = ("", "")

    def work(self, fishes: Iterable[Fish], troubles: Mapping[int, str]) -> None:
        """Count the catch; `troubles` says at which fish (from 0) which trouble happens."""
        for i, fish in enumerate(fishes):
            started = time.monotonic()
            trouble = troubles.get(i)
            if trouble:
                self.breathe()
            if trouble == "wrong basket":
                self._wrong_basket(i + 1)
            self._cards(fish, i + 1, trouble)
            self._touch(fish, i + 1, trouble)
            if trouble:
                self.breathe()
            self.rest(started)

    def _cards(self, fish: Fish, number: int, trouble: str | None) -> None:
        if trouble == "misread card":
            right = card(["undo"])
            text = right[:-1] + ("0" if right[-1] != "0" else "1")
            self.plant(trouble, number, f"a worn card is read as {text}", "refused: check character",
                       "SELECT count(*) FROM entry WHERE kind = 'refused' AND data LIKE '%card-check%'")  # fmt: skip
            self.scan("cards", text, "refused")
        species, sex = self._now
        if fish.species != species:
            self.card("cards", f"species {fish.species}", "told", code=_COUNTING)
        if fish.sex != sex:
            self.card("cards", f"code sex {fish.sex}", "told", code=_COUNTING)
        self._now = fish.species, fish.sex

    def _touch(self, fish: Fish, number: int, trouble: str | None) -> None:
        board, mm = self.at("board", Board), fish.length_mm
        match trouble:
            case "doubled touch":
                self.plant(trouble, number, "the stylus bounces: one touch, two prints", "doubled, counted once",
                           "SELECT count(*) FROM readings WHERE outcome = 'doubled'")  # fmt: skip
                self.do(trouble, lambda: board.touch(mm, prints=2), "outcome", event="same again")
            case "wrong sex":
                other = "F" if fish.sex == "M" else "M"
                self.card("cards", f"code sex {other}", "told", code=_COUNTING)
                self.touch(mm, "tallied")
                self.plant(trouble, number, f"it was counted as {other}: `undo`, the right card, and touched again", "taken back",
                           "SELECT count(*) FROM changes WHERE kind = 'undone'")  # fmt: skip
                self.card("cards", "undo", "undone")
                self.card("cards", f"code sex {fish.sex}", "told", code=_COUNTING)
                self.breathe()
                self.touch(mm, "tallied", sex=fish.sex)
            case "under the hose":
                self.plant(trouble, number, "the board is hosed down: `pause`, and drops touch it", "loose",
                           "SELECT count(*) FROM readings WHERE outcome = 'loose' AND why = 'paused'")  # fmt: skip
                self.card("cards", "pause", "told", code="paused")
                for drop in (113, 487, 264):
                    self.touch(drop, "told", code="loose")
                self.breathe()
                self.card("cards", "resume", "told", code="resumed")
                self.touch(mm, "tallied")
            case "hosed unsaid":
                time.sleep(_APART_S)  # a touch of just before would count as one of the water's
                self.plant(trouble, number, "the board is hosed down, and nobody said `pause`: drops touch it", "taken back",
                           "SELECT count(*) FROM readings WHERE outcome = 'loose' AND why = 'hosed'")  # fmt: skip
                self.touch(388, "tallied")
                self.touch(141, "tallied")
                self.touch(525, "asked", code="hosing")
                self.tell("answers with the card `hosed`")
                self.card("cards", "hosed", "told", code="hosed")
                time.sleep(_APART_S)
                self.touch(mm, "tallied")
            case "torn line":
                self.plant(trouble, number, f"the board's plug slips out and in: of {mm} mm only the end arrives",
                           "rejected, torn", "SELECT count(*) FROM entry WHERE kind = 'rejected' AND data LIKE '%\"board\"%torn%'")  # fmt: skip
                self.replug("board")
                self.do(trouble, lambda: board.line.send(f"{mm % 100:d} mm\r\n".encode()), "rejected")
                self.touch(mm, "tallied")
            case _:
                self.touch(mm, "tallied", sex=fish.sex)
        self.done[fish.species, fish.sex, mm // 10 * 10] += 1

    def _wrong_basket(self, number: int) -> None:
        """A fish too long for the species that is being counted."""
        mm = 1043
        self.plant("wrong basket", number, f"a pike of {mm} mm lies in the basket of {self._now[0]}", "asked: beyond the species",
                   "SELECT count(*) FROM findings WHERE cause = 'class-beyond'")  # fmt: skip
        self.touch(mm, "asked", code="class-beyond")
        self.tell("scans the card of pike, and touches it again")
        self.card("cards", "species pike", "told", code=_COUNTING)
        self.breathe()
        self.touch(mm, "tallied", species="pike")
        self.breathe()
        self.done["pike", self._now[1], mm // 10 * 10] += 1
        self._now = "pike", self._now[1]


def baskets(count: int, rng: random.Random) -> list[Fish]:
    """A catch sorted by species and sex; of the small ones the sex is often not told."""
    fishes = [
        Fish(f.species, f.length_mm, f.mass_g, "U" if f.length_mm < 160 and rng.random() < 0.5 else f.sex)
        for f in catch(count, rng)
    ]
    return sorted(fishes, key=lambda f: (_BASKETS.index(f.species), f.sex))


class Tally:
    """A morning at the length table, and what of it must be in the ledger."""

    fish, pace_s = 60, 1.1
    intro = (
        "Length frequencies of an invented lake survey: {fish} perch, roach, bream and pike, sorted into baskets. No numbers,\n"
        "no envelopes: each touch is one fish more in its class of species and sex, which stay until another card is scanned.\n"
        "Instruments and people are simulated. A line every ten touches."
    )
    query = "SELECT species, sex, class_mm, n FROM tallies ORDER BY species, sex, class_mm"

    def __init__(self) -> None:
        self.done: Counter[Class] = Counter()
        self._heard: dict[int, tuple[str, str]] = {}

    def days(self) -> Sequence[Day]:
        """One morning."""
        return [("tally", "", self.morning)]

    def morning(self, stage: Stage) -> None:
        """The one morning."""
        book = stage.book
        sorter = Sorter(stage, "table")
        sorter.say("batch open haul-9", "batch")
        sorter.work(baskets(book.fish, book.rng), plan(book.fish, TROUBLES, book.rng))
        sorter.say("batch close all counted", "batch")
        self.done = sorter.done

    def line(self, entry: Mapping[str, Any], fish: Gathered) -> str | None:
        """Every ten touches, and at the end: how many of each species and sex."""
        body, before = entry["body"], len(self._heard)
        if entry["kind"] == "tallied":
            self._heard[entry["input"]] = (body["species"], body["sex"] or "-")
        elif entry["kind"] == "undone":
            self._heard.pop(body["of"], None)
        elif entry["kind"] == "uncounted":
            self._heard.pop(body["reading"], None)
        now = len(self._heard)
        closes = entry["kind"] == "batch" and body["op"] == "close" and now % 10
        if not closes and (now <= before or now % 10):
            return None
        counts = Counter(self._heard.values())
        told = [
            f"{species} " + " ".join(f"{sex} {n}" for (of, sex), n in sorted(counts.items()) if of == species)
            for species in _BASKETS
            if any(of == species for of, _ in counts)
        ]
        return f"{now:>4} counted   " + "  ·  ".join(told)

    def compare(self, db: sqlite3.Connection) -> Table:
        """Every class of every species and sex, gathered to a row for each species and sex."""
        found: Counter[Class] = Counter()
        for row in rows(db, "SELECT species, sex, class_mm, n FROM tallies WHERE n > 0"):
            mm = int(str(row["class_mm"]).partition(".")[0])
            found[str(row["species"]), str(row["sex"]), mm] += int(str(row["n"]))
        table, wrong = [], 0
        for species in _BASKETS:
            for sex in "FMU":
                real, said = (_classes(counter, species, sex) for counter in (self.done, found))
                if not real and not said:
                    continue
                faults = [f"{mm // 10} cm: {said[mm]}" for mm in sorted(real | said) if real[mm] != said[mm]]
                classes = " ".join(f"{mm // 10}:{n}" for mm, n in sorted(real.items()))
                table.append((species, sex, str(real.total()), classes, verdict(faults)))
                wrong += bool(faults)
        strange = sum(n for (species, sex, _), n in found.items() if species not in _BASKETS or sex not in "FMU")
        if strange:
            table.append(("?", "?", str(strange), "", "DIFFERS: nobody counted these"))
            wrong += 1
        return Table("groups", ("species", "sex", "fish", "class in cm : fish", "in the ledger"), table, wrong)


def _classes(counter: Counter[Class], species: str, sex: str) -> Counter[int]:
    return Counter({mm: n for (of, its, mm), n in counter.items() if (of, its) == (species, sex)})
