"""Every refusal: what leads to it, that it changes nothing, and that no code is left out."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.benchkit import FIRST, FORKED, LAB, ROW, SOLO, TALLY, Play, check, refused
from thwart.bench.words import REFUSALS
from thwart.entries import Entry

Way = Callable[[], tuple[Play, list[Entry]]]


def after(*said: str, text: str = SOLO, batch: bool = True, places: tuple[str, ...] = ("table",)) -> Way:
    """Acts one after the other; the last is the one refused."""

    def way() -> tuple[Play, list[Entry]]:
        play = Play(text, batch=batch, places=places, serves=SERVES if places == THREE else None)
        for words in said[:-1]:
            play.act(words)
        return play, play.act(said[-1])

    return way


def doing(*steps: Callable[[Play], list[Entry]], text: str = SOLO, places: tuple[str, ...] = ("table",)) -> Way:
    def way() -> tuple[Play, list[Entry]]:
        play = Play(text, places=places, serves=SERVES if places == THREE else None)
        for step in steps[:-1]:
            step(play)
        return play, steps[-1](play)

    return way


def fish(play: Play) -> list[Entry]:
    """A whole fish with the label that is next."""
    play.touch(212)
    play.weigh(120)
    return play.label(play.expected())


SERIES = SOLO + 'last = "K-00021"\n'
FEW = SOLO + "\n[numbers]\nlast = 1\n"
TWO = ("left", "right")
THREE = ("board", "scale", "knife")
TAGS = ROW + '\n[tags]\nlabel = "T-#"\n'
OTOLITHS = SOLO + "\n[structures.otolith]\nmost = 2\n\n[pans]\nblue = 120\n"
SERVES = {
    "board": ("board",),
    "scale": ("scale",),
    "scanner": ("board", "knife"),
    "pedal": ("board",),
    "hand-scale": (),
}

WAYS: list[tuple[str, Way]] = [
    ("unknown-act", after("dance")),
    ("arguments", after("batch")),
    ("arguments", after("batch open a b c")),
    ("arguments", after("batch close")),
    ("arguments", after("batch reopen bay")),
    ("arguments", after("practice maybe")),
    ("arguments", after("next now")),
    ("arguments", after("again and again")),
    ("arguments", after("as")),
    ("arguments", after("value whole_mass 12")),
    ("arguments", after("value whole_mass 12 g guess")),
    ("arguments", after("missing whole_mass")),
    ("arguments", after("code sex")),
    ("arguments", after("code sex F of")),
    ("arguments", after("species")),
    ("arguments", after("confirm K")),
    ("arguments", after("skip 2 3")),
    ("arguments", after("void 3")),
    ("arguments", after("lost 3")),
    ("arguments", after("recall")),
    ("arguments", after("swap a b")),
    ("arguments", after("tared 5")),
    ("arguments", after("pause 5")),
    ("arguments", after("resume 5")),
    ("arguments", after("measurer")),
    ("arguments", after("undo twice")),
    ("which-place", after("next", places=TWO)),
    ("which-place", doing(lambda p: p.card("next"), places=TWO)),
    ("which-place", doing(lambda p: p.label(1), places=TWO)),
    ("which-place", doing(lambda p: p.pedal(), places=TWO)),
    ("unknown-place", doing(lambda p: p.act("next", "attic"))),
    ("unknown-place", doing(lambda p: p.put("scan", instrument="scanner", text="K-00013", place="attic"))),
    ("unknown-place", doing(lambda p: p.put("key", instrument="pedal", text="P1", at_ns=1, place="attic"))),
    ("no-batch", after("next", batch=False)),
    ("no-batch", after("batch close done", batch=False)),
    ("no-batch", after("confirm", batch=False)),
    ("no-batch", doing(fish, lambda p: p.act("batch close done"), lambda p: p.act("recall 1"))),
    ("batch-open", after("batch open cove")),
    ("batch-open", after("batch close done", "batch open cove", "batch reopen bay mistake")),
    ("batch-used", after("batch close done", "batch open bay")),
    ("unknown-batch", after("batch close done", "batch reopen cove so")),
    ("already", after("batch reopen bay mistake")),
    ("already", after("pause", "pause")),
    ("already", after("resume")),
    ("already", after("practice off", batch=False)),
    ("practice-open", after("practice on")),
    ("nothing-in-hand", after("void", batch=False)),
    ("nothing-in-hand", after("lost", batch=False)),
    ("nothing-in-hand", after("as whole_mass", batch=False)),
    ("nothing-in-hand", after("value whole_mass 3 g", batch=False)),
    ("nothing-in-hand", after("missing whole_mass mislaid", batch=False)),
    ("nothing-in-hand", after("code sex F", batch=False)),
    ("nothing-in-hand", after("swap", batch=False)),
    ("nothing-waiting", after("again")),
    ("nothing-questioned", after("stands")),
    ("nothing-to-undo", after("undo", batch=False)),
    ("nothing-undone", after("undo undo")),
    ("undo-elsewhere", doing(
        lambda p: p.act("value whole_mass 5 g", "left"), lambda p: p.act("code sex F of 1", "right"), lambda p: p.act("undo", "left"),
        text=FORKED + '[codes.sex]\nscale = "sex"\nvalues = { F = "female" }\n', places=TWO,
    )),
    ("unknown-measurand", after("as girth")),
    ("unknown-measurand", after("value girth 3 g")),
    ("unknown-field", after("missing girth broken")),
    ("unknown-field", after("code colour F")),
    ("unknown-code", after("code sex X")),
    ("unknown-species", after("species perh")),
    ("unknown-species", after("batch close done", "batch open cove perh")),
    ("unknown-reason", after("missing whole_mass because")),
    ("unknown-unit", after("value whole_mass 3 mm")),
    ("unknown-unit", after("value whole_mass 3 stone")),
    ("not-a-number", after("value whole_mass much g")),
    ("not-a-number", after("value whole_mass -3 g")),
    ("not-a-number", after("value whole_mass 1e99 g")),
    ("not-a-number", after("value whole_mass ٣ g")),
    ("not-the-division", after("value whole_mass 412 g", text=FORKED)),
    ("unknown-fish", after("recall 7")),
    ("unknown-fish", after("recall seven")),
    ("unknown-fish", after("code sex F of previous")),
    ("fish-not-closed", after("recall 1")),
    ("void-fish", after("void", "void", "recall 1")),
    ("void-fish", after("void", "void", "code sex F of previous")),
    ("printed-before", after("printed K-00013 K-00249", "printed K-00208 K-00304")),
    ("nothing-typed", after("value whole_mass typed g")),
    ("no-containers", after("confirm", text=FORKED)),
    ("no-containers", after("skip", text=SOLO.replace('first = "K-00013"', ""))),
    ("series-at-end", after("confirm", "skip", "skip", text=SERIES)),
    ("series-at-end", after("confirm", "skip", "confirm", text=SERIES)),
    ("has-container", doing(fish, lambda p: p.act("recall 1"), lambda p: p.label(2))),
    ("has-container", doing(lambda p: p.label(1), lambda p: p.label(1), text=FIRST)),
    ("label-check", doing(lambda p: p.scan("K-00014"))),
    ("card-check", doing(lambda p: p.scan("ACT.NEXT.0"))),
    ("card-form", doing(lambda p: p.scan("ACT.NEXT"))),
    ("card-form", doing(lambda p: p.scan("ACT."))),
    ("label-used", doing(fish, lambda p: p.touch(300), lambda p: p.label(1))),
    ("label-out-of-series", doing(lambda p: p.label(5), text=SERIES)),
    ("label-out-of-series", doing(lambda p: p.label(0))),
    ("label-torn", doing(fish, lambda p: p.act("move K-00013 K-00021"), lambda p: p.label(1))),
    ("batch-begun", after("batch plan bay")),
    ("batch-begun", after("batch drop bay")),
    ("batch-planned", after("batch plan cove", "batch reopen cove why")),
    ("batch-circle", after("batch plan b", "batch plan a parent=b", "batch plan b parent=a")),
    ("unknown-parent", after("batch plan a parent=b")),
    ("unknown-parent", after("batch note bay parent=haul-3")),
    ("unknown-parent", after("batch open bay parent=haul-3", batch=False)),
    ("batch-parts", after("batch plan b", "batch plan a parent=b", "batch drop b")),
    ("batch-circle", after("batch note bay parent=bay")),
    ("unknown-batch", after("batch drop cove")),
    ("practice-fish", doing(
        lambda p: p.act("batch close done"), lambda p: p.act("practice on"), lambda p: p.act("batch open dry"), fish,
        lambda p: p.act("batch close done"), lambda p: p.act("practice off"), lambda p: p.act("batch open cove"),
        lambda p: p.act("recall 1"),
    )),
    ("no-practice-fish", doing(
        fish, lambda p: p.act("batch close done"), lambda p: p.act("practice on"), lambda p: p.act("batch open dry"),
        lambda p: p.act("code sex F of 1"),
    )),
    ("practice-other", after("batch close done", "practice on", "batch reopen bay once-more")),
    ("practice-other", after("batch plan cove", "practice on", "batch open cove", batch=False)),
    ("container-taken", doing(fish, lambda p: p.act("skip K-00013"))),
    ("container-taken", doing(fish, lambda p: p.act("found K-00013 full of 1"))),
    ("container-taken", after("skip", "found K-00013 empty")),
    ("has-container", doing(fish, lambda p: p.act("found K-00021 full of 1"))),
    ("already", after("found K-00021 empty", "found K-00021 empty")),
    ("arguments", after("found K-00021")),
    ("arguments", after("found K-00021 full mislaid")),
    ("unknown-reason", after("found K-00021 empty gone")),
    ("label-check", after("found K-00022 empty")),
    ("not-known", after("skip 2")),
    ("label-skipped", doing(lambda p: p.act("skip"), lambda p: p.label(1))),
    ("not-known", doing(lambda p: p.scan("hello"))),
    ("not-known", doing(lambda p: p.scan("hello"), text=FORKED)),
    ("unknown-key", doing(lambda p: p.pedal("P9"))),
    ("unknown-act", doing(lambda p: p.pedal("P3"))),
    ("dead-time", doing(lambda p: p.pedal(), lambda p: p.pedal(after_ms=699))),
    ("paused", after("pause", "next")),
    ("paused", doing(lambda p: p.act("pause"), lambda p: p.label(1))),
    ("nothing-to-swap", doing(lambda p: p.touch(212), lambda p: p.act("swap"))),
    ("nothing-to-swap", doing(lambda p: p.touch(212), lambda p: p.weigh(100), lambda p: p.act("swap"))),
    ("nothing-to-verify", doing(lambda p: p.act("verify 3 fathoms"))),
    ("no-run", doing(lambda p: p.touch(212), lambda p: p.act("hosed"))),
    ("nothing-on-it", doing(lambda p: p.weigh(100), lambda p: p.act("tared"))),
    ("no-room", doing(lambda p: p.touch(200), lambda p: p.touch(210), lambda p: p.act("next", "board"), lambda p: p.act("next", "board"), text=ROW, places=THREE)),
    ("not-in-a-row", after("leaves")),
    ("no-readings", doing(lambda p: p.touch(200), lambda p: p.act("leaves", "board"), text=ROW, places=THREE)),
    ("not-parked", doing(lambda p: p.touch(200), lambda p: p.act("back 1", "board"), text=ROW, places=THREE)),
    ("hand-full", doing(
        lambda p: p.act("value total_length 200 mm", "board"), lambda p: p.act("code sex F", "scale"),
        lambda p: p.act("park", "scale"), lambda p: p.act("species perch", "board"),
        lambda p: p.act("code sex F", "board"), lambda p: p.act("back 1", "board"), text=ROW, places=THREE,
    )),
    ("has-tag", doing(lambda p: p.scan("T-1"), lambda p: p.scan("T-2"), text=TAGS, places=THREE)),
    ("tag-elsewhere", doing(
        lambda p: p.put("scan", instrument="scanner", text="T-1", place="board"),
        lambda p: p.put("scan", instrument="scanner", text="T-1", place="knife"), text=TAGS, places=THREE,
    )),
    ("label-orphan", doing(lambda p: p.label(1), text=LAB)),
    ("no-fish-in-a-tally", after("next", text=TALLY)),
    ("no-fish-in-a-tally", after("again", text=TALLY)),
    ("unknown-structure", after("structure bone 1", text=OTOLITHS)),
    ("unknown-pan", after("pan green", text=OTOLITHS)),
    ("too-many", after("structure otolith 3", text=OTOLITHS)),
    ("too-many", after("pool 5000")),
    ("unknown-container", after("move K-00013 K-00021")),
    ("container-taken", doing(fish, lambda p: p.act("move K-00013 K-00013"))),
    ("nothing-to-mend", doing(lambda p: p.touch(200), lambda p: p.act("mend missing 1 whole_mass mislaid mistyped"))),
    ("nothing-to-slide", doing(
        lambda p: p.touch(200), lambda p: p.act("slide whole_mass 1 1 +1"), lambda p: p.act("slide whole_mass 1 1 +1"),
    )),
    ("same-fish-twice", after("same-as 1", "same-as 1")),
    ("which-fish", doing(
        lambda p: p.touch(200), lambda p: p.weigh(90), lambda p: p.touch(210), lambda p: p.act("lost", "scale"),
        text=ROW, places=THREE,
    )),
    ("in-hand-elsewhere", doing(
        lambda p: p.touch(200), lambda p: p.lay(), lambda p: p.act("lost of 1", "knife"), text=ROW, places=THREE,
    )),
    ("batch-key", after("batch note bay colour=blue")),
    ("numbers-used-up", doing(
        lambda p: p.touch(200), lambda p: p.act("next"), lambda p: p.act("next"), text=FEW,
    )),
]  # fmt: skip


@pytest.mark.parametrize(("code", "way"), WAYS, ids=[f"{code}-{at}" for at, (code, _) in enumerate(WAYS)])
def test_a_refusal_says_why_and_changes_nothing(code: str, way: Way) -> None:
    play, decisions = way()
    assert refused(decisions) == code
    # A destructive act said before lapses; a key that was pressed stays pressed.
    assert [d.kind for d in decisions if d.kind not in ("lapsed", "key")] == ["refused"]
    said = decisions[0].body["text"]
    assert said
    assert "{" not in said
    check(play)


def test_every_refusal_is_reached() -> None:
    assert {code for code, _ in WAYS} == set(REFUSALS)


def test_a_refusal_takes_back_what_the_input_did_before_it() -> None:
    """A `first` label closes the fish in hand before it opens the next: not when there is no number left for that."""
    play = Play(FIRST + "\n[numbers]\nlast = 1\n")
    play.label(1)
    play.touch(212)
    before = dict(play.bench.objects)
    assert refused(play.label(2)) == "numbers-used-up"
    assert play.bench.objects == before
    assert play.fish.number == 1
