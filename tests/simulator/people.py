"""People at the bench: what they do with fish, and how they take what the bench says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from thwart.bench.state import Measurement, Specimen
from thwart.entries import Entry

from .instruments import Board, Pan
from .site import Site
from .world import Cause, Doing, Fish

#: What a person does with a question: answers it rightly, ignores it, or says something wrong.
RIGHTLY, IGNORED = 0.93, 0.05
#: How often a person notices on the page that something wanted isn't there.
NOTICES = 0.93


@dataclass
class Envelopes:
    """The stack of envelopes, and what was really put into them."""

    site: Site
    used: int = 0
    hold: dict[str, Fish] = field(default_factory=dict)

    def take(self, skip: int = 0) -> str:
        """The next one from the stack."""
        self.used += 1 + skip
        return self.site.label(self.used - 1)

    def fill(self, label: str, fish: Fish) -> None:
        """The fish's otoliths go into it."""
        self.hold = {k: f for k, f in self.hold.items() if f is not fish} | {label: fish}
        fish.done.add("label")


class Person:
    """Somebody at a place, with what stands there."""

    def __init__(
        self, site: Site, place: str, *, envelopes: Envelopes, scanner: str = "scanner", board: Board | None = None,
        pan: Pan | None = None, pedal: str | None = None,
    ) -> None:  # fmt: skip
        self.site, self.place, self.envelopes, self.scanner = site, place, envelopes, scanner
        self._board, self._pan, self.pedal = board, pan, pedal
        self.world = site.world
        self.rng = site.world.rng
        self.heard: list[Entry] = []
        site.ears.append(self._hear)
        self.holds: Fish | None = None
        self.before: Fish | None = None
        self.pending: tuple[Fish, str] | None = None
        """A fish whose envelope is filled but not scanned yet."""

    @property
    def board(self) -> Board:
        assert self._board is not None
        return self._board

    @property
    def pan(self) -> Pan:
        assert self._pan is not None
        return self._pan

    # ---- eyes and ears -----------------------------------------------------------------------------------------

    def _hear(self, entries: list[Entry]) -> None:
        for e in entries:
            if e.input_seq is not None and e.body.get("place") in (self.place, None):
                self.heard.append(e)

    def mark(self) -> int:
        return len(self.heard)

    def since(self, mark: int, *kinds: str) -> list[Entry]:
        return [e for e in self.heard[mark:] if not kinds or e.kind in kinds]

    def wait(self, mark: int, wanted: Callable[[Entry], bool], patience_s: float = 3.0) -> Doing:
        """Until something wanted is heard, or patience ends."""
        end = self.world.now + round(patience_s * 1e9)
        while self.world.now < end and not any(wanted(e) for e in self.heard[mark:]):
            yield 0.2

    def light(self) -> Doing:
        """While the page is dark people mostly wait."""
        if not self.site.on and self.world.happens(NOTICES):
            while not self.site.on:
                yield 0.5

    def sees(self, key: str) -> bool:
        """Whether the page shows this measurand (or field) for the fish in hand here."""
        if not self.site.on:
            return False
        specimen = self.site.bench.in_hand(self.place)
        return specimen is not None and (
            key in specimen.values or key in specimen.codes or key in specimen.missing or (key == "species" and specimen.species is not None)
        )  # fmt: skip

    def shows(self, fish: Fish, key: str) -> bool:
        """Whether the page shows this very value of the fish: the number read a moment ago is there."""
        return any(name == key and cause is not None and cause.fish is fish for name, cause in self.on_the_page())

    # ---- saying things -----------------------------------------------------------------------------------------

    def say(self, words: str, cause: Cause | None = None) -> Doing:
        """Scan the card of an act; scan it again when nothing is heard."""
        yield from self.light()
        for _ in range(3):
            mark = self.mark()
            self.site.card(self.scanner, words, cause)
            yield 1.2
            if self.since(mark) or not self.world.happens(NOTICES):
                return
            yield 2.0

    def open_batch(self) -> Doing:
        """Until the page shows it."""
        while self.site.bench.place(self.place).batch is None:
            yield from self.say("batch open bay")

    def mood(self) -> str:
        """How this person takes a question now."""
        draw = self.rng.random()
        return "rightly" if draw < RIGHTLY else "ignored" if draw < RIGHTLY + IGNORED else "wrongly"

    # ---- measuring ---------------------------------------------------------------------------------------------

    def touch(self, fish: Fish, what: str, off: float = 0.0, trouble: str | None = None) -> Doing:
        """One touch, and what is heard of it."""
        yield from self.light()
        mark = self.mark()
        known = what in fish.done
        self.board.touch(fish.true[what] + off + self.rng.choice((-1, 0, 0, 0, 1)), fish, what, trouble)
        fish.done.add(what)
        yield 1.5
        yield from self.heed(mark, fish, what, again=known)

    def lengths(self, fish: Fish, whats: Sequence[str]) -> Doing:
        """All lengths of a fish that the page doesn't show already."""
        for what in whats:
            if not (what in fish.done and self.shows(fish, what)):
                yield from self.touch(fish, what)

    def weigh(self, fish: Fish, what: str = "whole_mass", hold_s: float = 0.8) -> Doing:
        """Lay, wait, listen, lift."""
        for _ in range(3):
            yield from self.light()
            mark = self.mark()
            self.pan.lay(fish, what)
            yield from self.wait(mark, _about_mass, 3.0)
            fish.done.add(what)
            yield hold_s
            yield from self.heed(mark, fish, what)
            self.pan.lift(fish)
            yield 1.2
            if self.sees(what) or not self.world.happens(NOTICES):
                return

    def heed(self, mark: int, fish: Fish, what: str, *, again: bool = False) -> Doing:
        """Take what was said since then as a person would."""
        for said in self.since(mark, "asked", "noted", "told", "refused"):
            code = said.body.get("code")
            if said.kind == "asked":
                mood = self.mood()
                if mood != "ignored":
                    yield from self.reply(str(code), said, mood == "rightly", fish, what, again)
            elif code == "loose" and self.world.happens(NOTICES):
                yield from self.redo(fish, what)

    def reply(self, code: str, said: Entry, rightly: bool, fish: Fish, what: str, again: bool) -> Doing:
        """Answer a question, rightly or the other way round."""
        match code:
            case "again-or-new" | "again-or-next" | "same-value":
                if not rightly:
                    yield from self.say("undo" if again else "again")
                elif code == "again-or-next":
                    yield from self.say("again" if again or self.knows(said.specimen_id, fish) else "next")
                elif (
                    again is False
                    and code == "again-or-new"
                    and self._pan is not None
                    and self._board is None
                    and not self.knows(said.specimen_id, fish)
                ):
                    yield from self.say("stands")  # another fish is shown than lies here
                elif self.pending is not None:
                    yield from self.late_scan()
                    yield from self.redo(fish, what)
                else:
                    yield from self.say("again")
            case "ratio":
                yield from self.say("again" if rightly == again else "stands")
            case "changed-on-the-pan":
                # What lies there now is right, or the first value was.
                now = len(self.pan.lies) == 1 and not self.pan.force and not self.pan.tray
                yield from self.say("again" if now == rightly else "stands")
            case "load-at-start":
                one = len(self.pan.lies) == 1 and not self.pan.force and self.pan.lies[0][0] is fish
                if one == rightly:
                    yield from self.say("stands")
            case "order" if rightly and self._board is not None:
                yield from self.right_lengths(fish)
            case "impossible" | "unusual" | "not-positive" | "order":
                if rightly and not self._was_right(said):
                    yield from self.say("again")
                    yield from self.redo(fish, what)
                else:
                    yield from self.say("stands")
            case "no-species":
                if rightly:
                    yield from self.species(fish, of=" of previous")
            case "same-fish" | "zero-moved":
                if rightly:
                    yield from self.say("stands")
            case _:
                pass  # heard, and left

    def knows(self, specimen_id: str | None, fish: Fish) -> bool:
        """The page shows species and lengths of the fish that is asked about: are they this one's?"""
        shown = self.site.bench.get(Specimen, specimen_id) if specimen_id is not None and self.site.on else None
        seq = shown.values.get("total_length") if shown is not None else None
        m = self.site.bench.get(Measurement, seq) if seq is not None else None
        cause = self.site.causes.get(m.reading_seq or 0) if m is not None else None
        return cause is not None and cause.fish is fish

    def right_lengths(self, fish: Fish) -> Doing:
        """Compare the lengths on the page with the fish on the board, and measure anew what is off."""
        for key, cause in self.on_the_page():
            if key.endswith("length") and not (
                cause is not None and cause.fish is fish and cause.right and cause.what == key
            ):
                yield from self.say(f"as {key}")
                mark = self.mark()
                self.board.touch(fish.true[key], fish, key)
                yield 1.5
                if any(e.body["code"] == "again-or-new" for e in self.since(mark, "asked")):
                    yield from self.say("again")
                return
        yield from self.say("stands")

    def on_the_page(self) -> list[tuple[str, Cause | None]]:
        """What stands of the fish in hand here, with what really was behind each number: a person sees whether it is so."""
        specimen = self.site.bench.in_hand(self.place) if self.site.on else None
        out = []
        for key, seq in specimen.values.items() if specimen is not None else ():
            m = self.site.bench.get(Measurement, seq)
            said = (
                None
                if m is None
                else m.reading_seq or next(e.input_seq for e in reversed(self.site.entries) if e.seq == seq)
            )
            out.append((key, self.site.causes.get(said or 0)))
        return out

    def _was_right(self, said: Entry) -> bool:
        """A person with the fish in hand looks again, and sees whether the number is right."""
        about = next((e for e in self.site.entries if e.seq == said.body.get("about")), None)
        reading = about.body.get("reading") if about is not None and about.kind == "measured" else None
        cause = self.site.causes.get(reading) if reading is not None else None
        return cause is not None and cause.right and cause.fish is self.holds

    def redo(self, fish: Fish, what: str) -> Doing:
        """Measure it once more."""
        yield 1.0
        yield from self.light()
        if what.endswith("length"):
            self.board.touch(fish.true[what], fish, what)
            yield 1.5
        elif what.endswith("mass"):
            if any(f is fish for f, _ in self.pan.lies):
                self.pan.lift(fish)
                yield 1.2
            mark = self.mark()
            self.pan.lay(fish, what)
            yield from self.wait(mark, _about_mass, 3.0)

    # ---- species, codes, envelopes -----------------------------------------------------------------------------

    def species(self, fish: Fish, said: str | None = None, trouble: str | None = None, of: str = "") -> Doing:
        name = said or fish.species
        yield from self.say(f"species {name}{of}", Cause(fish, "species", name == fish.species, trouble, name))

    def code(self, fish: Fish, field_: str = "sex") -> Doing:
        value = fish.sex
        yield from self.say(f"code {field_} {value}", Cause(fish, field_, True, None, value))

    def scan(self, label: str, fish: Fish, trouble: str | None = None, text: str | None = None) -> list[Entry]:
        """Scan a label, meaning it for this fish."""
        return self.site.scan(self.scanner, text or label, Cause(fish, "label", True, trouble, label))

    def late_scan(self) -> Doing:
        """The envelope that was forgotten."""
        assert self.pending is not None
        fish, label = self.pending
        self.pending = None
        yield 1.5
        self.scan(label, fish)
        yield 1.0

    def envelope(self, fish: Fish, label: str | None = None, *, fill: bool = True) -> Doing:
        """Otoliths into the next envelope, and its label scanned until the bench takes it."""
        label = label or self.envelopes.take()
        if fill:
            self.envelopes.fill(label, fish)
        for _ in range(3):
            yield from self.light()
            mark = self.mark()
            self.scan(label, fish)
            yield 1.2
            said = self.since(mark, "container", "refused", "asked", "told", "noted", "recalled", "closed")
            refused = next((e for e in said if e.kind == "refused"), None)
            if refused is not None and refused.body["code"] == "label-used" and self.world.happens(NOTICES):
                label = self.envelopes.take()  # the otoliths go into another one
                self.envelopes.fill(label, fish)
                continue
            if any(e.kind in ("container", "closed", "recalled") for e in said):
                yield from self.after_scan(said, fish, label)
                return
            if not self.world.happens(NOTICES):
                return
            yield 1.5

    def after_scan(self, said: Iterable[Entry], fish: Fish, label: str) -> Doing:
        """A label out of order: is it the right one?"""
        for e in said:
            if e.kind != "asked" or e.body["code"] not in ("label-order", "label-behind"):
                continue
            mood = self.mood()
            if mood == "ignored":
                continue
            mine = self.envelopes.hold.get(label) is fish
            if mine == (mood == "rightly"):
                yield from self.say("stands")
            else:
                yield from self.say("undo")
                true = next((k for k, f in self.envelopes.hold.items() if f is fish), None)
                if true is not None and true != label:
                    self.scan(true, fish)
                    yield 1.2


def _about_mass(e: Entry) -> bool:
    return (e.kind == "measured" and "mass" in e.body["measurand"]) or (
        e.kind in ("asked", "noted") and e.body["code"] in ("again-or-new", "changed-on-the-pan", "load-at-start", "loose", "beyond-instrument")
    )  # fmt: skip
