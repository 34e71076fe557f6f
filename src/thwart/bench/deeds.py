"""Which function does which act: of each of the table in `acts`, and of those only. Pure.

Here stand the acts of the bench, its people and containers; the others by family in the modules beside this one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from . import batches, digits, mending, mends, people, pieces, printing, turns, values, verifying, water, words
from .acts import ACTS
from .filling import answer, ask, said_value, standing
from .fish import leave_behind
from .judging import Finding
from .kernel import Refusal
from .parts import near, no_args, place_for, usage
from .setup import ARMED_NS
from .state import Place, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench

Deed = Callable[["Bench", str, Sequence[str]], None]


def do(bench: Bench, body: Mapping[str, Any]) -> None:
    """Do an act: `act`, `args`, `place` (or None), `places` it could mean. Raises Refusal."""
    name = str(body["act"])
    act = ACTS.get(name)
    if act is None:
        raise Refusal("unknown-act", act=words.shown(name), near=near(name, ACTS) or "see `thwart act --help`")
    args = [str(a) for a in body.get("args") or ()]
    if name == "at":
        if len(args) < 2 or args[1] == "at":
            raise usage("at")
        do(bench, {**body, "place": args[0], "act": args[1], "args": args[2:]})
        return
    if name == "batch":
        batches.batch(bench, body, args)
        return
    if name == "mend":
        mends.mend(bench, body, args)
        return
    if name == "printed":
        printing.printed(bench, args)
        return
    place = place_for(bench, body)
    here = bench.place(place)
    args = digits.filled_in(bench, place, name, args)
    said = " ".join([name, *args])
    if act.two_steps:
        if args and not act.usage:
            raise usage(name)
        if here.armed == said and _bounced(bench, body, here):
            bench.tell(None, place=place, code="armed-act", act=said)
            return
        if here.armed != said:
            fish = bench.in_hand(place) if name == "slide" else turns.ended(bench, place, name, args)
            until = bench.input.stamp.mono_ns + ARMED_NS
            ident, what = (fish.specimen_id, str(fish.number)) if fish is not None else (None, "")
            bench.decide("armed", ident, place=place, said=said, until_ns=until)
            shown = words.shown(said)
            if what:
                bench.tell(ident, place=place, code="armed", act=shown, what=what)
            else:
                bench.tell(ident, place=place, code="armed-act", act=shown)
            return
    if here.armed is not None:
        bench.decide("lapsed", None, place=place)
        if name == "undo":  # it wasn't done yet: that is all there is to take back
            bench.tell(None, place=place, code="lapsed", act=here.armed)
            return
    DEEDS[name](bench, place, args)
    digits.used_up(bench, place, name)


def _bounced(bench: Bench, body: Mapping[str, Any], here: Place) -> bool:
    """Whether a card or key comes so soon after the first that it is the same scan or press once more."""
    since = bench.input.stamp.mono_ns - ((here.armed_until_ns or 0) - ARMED_NS)
    return body.get("via") in ("card", "key") and since < bench.setup.protocol.pedal_dead_time_ms * 1_000_000


# ---- containers ----------------------------------------------------------------------------------------------------


def _confirm(bench: Bench, place: str, args: Sequence[str]) -> None:
    from .rules import take_label

    no_args("confirm", args)
    take_label(bench, place, _expected(bench, "confirm"), via="confirm")


def _expected(bench: Bench, act: str) -> str:
    from .rules import expected_label

    containers = bench.setup.protocol.containers
    if containers is None or containers.first is None:
        raise Refusal("no-containers", act=act)
    expected = expected_label(bench)
    if expected is None:
        raise Refusal("series-at-end", act=act, label=containers.last or bench.desk.expected)
    return expected


def _skip(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) > 1:
        raise usage("skip")
    label = mending.label_named(bench, "skip", args[0]) if args else _expected(bench, "skip")
    containers = bench.setup.protocol.containers
    assert containers is not None
    state = mending.container_after(bench, "skip", label, "left out")
    bench.decide(
        "container", None, place=place, number=label, kind=containers.kind, structure=None, state=state,
        expected=mending.expected_without(bench, label), via="skip", fish=None,
    )  # fmt: skip


# ---- bench and people ----------------------------------------------------------------------------------------------


def _practice(bench: Bench, place: str, args: Sequence[str]) -> None:
    if list(args) not in (["on"], ["off"]):
        raise usage("practice")
    on = args[0] == "on"
    if on == bench.desk.practice:
        raise Refusal("already", act=f"practice {args[0]}")
    batch = next((b for p in bench.setup.places if (b := bench.place(p).batch) is not None), None)
    if batch is not None:
        raise Refusal("practice-open", batch=batch)
    bench.decide("practice", None, place=place, on=on)


def _pause(bench: Bench, place: str, args: Sequence[str]) -> None:
    no_args("pause", args)
    if bench.place(place).paused:
        raise Refusal("already", act="pause")
    leave_behind(bench, place)
    if water.suspected(bench, place):
        if bench.setup.protocol.flow != "tally":  # a quick hand that rests would lose its counts: there `hosed` says it
            water.take_back(bench, place)
        answer(bench, water.suspected(bench, place))
    now = bench.input.stamp.mono_ns
    bench.decide("placed", None, place=place, set={"paused": True, "paused_ns": now})
    bench.tell(None, place=place, code="paused")


def _resume(bench: Bench, place: str, args: Sequence[str]) -> None:
    no_args("resume", args)
    here = bench.place(place)
    if not here.paused:
        raise Refusal("already", act="resume")
    fields: dict[str, Any] = {"paused": False}
    length = None if here.paused_ns is None else bench.input.stamp.mono_ns - here.paused_ns
    long = length is None or length >= bench.setup.protocol.pause_keeps_people_min * 60 * 10**9
    there = [p for p in (here.measurer, here.recorder, here.stager) if p]
    if long and there:
        fields |= {"measurer": None, "recorder": None, "stager": None}
    bench.decide("placed", None, place=place, set=fields)
    bench.tell(None, place=place, code="resumed-who" if long and there else "resumed")


def _undo(bench: Bench, place: str, args: Sequence[str]) -> None:
    if list(args) not in ([], ["undo"]):
        raise usage("undo")
    redo = bool(args)
    memento = bench.last_memento(place, redo)
    if memento is None:
        raise Refusal("nothing-undone" if redo else "nothing-to-undo")
    knot = bench.entangled(place, memento)
    if knot is not None:
        raise Refusal("undo-elsewhere", number=knot.number)
    label = bench.redo_label(place) if redo else memento.label
    text = words.say(words.ANNOUNCED, "undone-redo" if redo else "undone", {"label": label})
    loose = (
        []
        if redo
        else [int(k[1]) for k, (before, _) in memento.changes.items() if k[0] == "reading" and before is None]
    )
    numbers = {
        k[1]: thing.number for k, pair in memento.changes.items() for thing in pair if isinstance(thing, Specimen)
    }  # fmt: skip
    for key, pair in memento.changes.items():
        for thing in (*pair, bench.objects.get(key)):
            if isinstance(thing, Specimen):
                standing(bench, thing)  # its worst verdict will be told anew
    bench.decide("undone", None, place=place, of=memento.input_seq, redo=redo, label=label, text=text)
    for seq in loose if bench.setup.protocol.flow != "tally" else ():  # a touch taken back is no fish's to look for
        reading = bench.need(Reading, seq)
        if reading.outcome == "loose":
            specimen = bench.get(Specimen, reading.specimen_id) if reading.specimen_id else None
            number = specimen.number if specimen else numbers.get(reading.specimen_id or "", "its fish")
            args_ = {**said_value(reading), "number": number}
            ask(bench, place, specimen, Finding("taken-back", 2, args_), about=reading.seq, quiet=True)


#: `batch` and `mend` aren't here: one concerns several places at once, the other no place's doings.
DEEDS: Mapping[str, Deed] = {
    "over": pieces.over,
    "parts": pieces.parts,
    "pool": pieces.pool,
    "count": pieces.count,
    "pan": pieces.pan,
    "knock": pieces.knock,
    "verify": verifying.verify,
    "structure": mending.structure,
    "move": mending.move,
    "found": mending.found,
    "same-as": mending.same_as,
    "split": mending.split,
    "slide": mending.slide,
    "leaves": turns.leaves,
    "park": turns.park,
    "back": turns.back,
    "practice": _practice,
    "next": turns.next_,
    "again": values.again,
    "stands": values.stands,
    "as": values.as_,
    "value": values.value,
    "missing": values.missing,
    "digit": digits.digit,
    "code": turns.code,
    "species": turns.species,
    "confirm": _confirm,
    "skip": _skip,
    "void": turns.void,
    "lost": turns.lost,
    "recall": turns.called_back,
    "swap": values.swap,
    "tared": values.tared,
    "pause": _pause,
    "hosed": water.hosed,
    "resume": _resume,
    "measurer": people.person("measurer"),
    "recorder": people.person("recorder"),
    "stager": people.person("stager"),
    "undo": _undo,
}
