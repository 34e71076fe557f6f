"""Acts that set right what was told wrongly: structures, containers, two fish on one number, a slip by one. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from . import labels, tables, words
from .acts import MISSING_REASONS
from .filling import answer, ask, fill, settle_about, settle_ready
from .fish import close_fish, keep_for_later, open_fish, open_next
from .judging import Finding
from .kernel import Refusal
from .parts import NUMBER, fish_in_hand, near, no_args, numbered, said_key, slot_named, split_of, usage
from .state import Container, Measurement, Specimen

if TYPE_CHECKING:
    from .kernel import Bench

_SIDES = ("left", "right", "both")


def structure(bench: Bench, place: str, args: Sequence[str]) -> None:
    """What was got of a structure: how many, from which side, in what condition."""
    if not 2 <= len(args) <= 4:
        raise usage("structure")
    fish = fish_in_hand(bench, place, "structure")
    known = bench.setup.protocol.structures
    kind, taken, *rest = args
    if kind not in known:
        raise Refusal("unknown-structure", act="structure", name=words.shown(kind), near=near(kind, known))
    if not (NUMBER.fullmatch(taken) and taken.isdecimal()):
        raise usage("structure")
    if int(taken) > known[kind].most:
        raise Refusal("too-many", act="structure", number=taken, most=known[kind].most)
    side = next((a for a in rest if a in _SIDES), None)
    condition = next((a for a in rest if a in known[kind].conditions), None)
    if len(rest) != (side is not None) + (condition is not None):
        raise usage("structure")
    bench.decide(
        "structure", fish.specimen_id, place=place, number=fish.number, structure=kind, taken=int(taken), side=side,
        condition=condition,
    )  # fmt: skip
    settle_about(bench, fish, measurand=kind)


def move(bench: Bench, place: str, args: Sequence[str]) -> None:
    """A torn or wrong container: what it held is in another one."""
    if len(args) != 2:
        raise usage("move")
    old, new = args[0].upper(), label_named(bench, "move", args[1])
    held = bench.container(old)
    if held is None or held.specimen_id is None:
        raise Refusal("unknown-container", act="move", label=words.shown(old))
    torn = container_after(bench, "move", old, "torn")
    container_after(bench, "move", new, "taken")
    fish = bench.need(Specimen, held.specimen_id)
    bench.decide(
        "container-moved", fish.specimen_id, place=place, number=fish.number, old=old, new=new, state=torn,
        text=words.say(words.ANNOUNCED, "container-moved", {"number": fish.number, "old": old, "new": new}),
    )  # fmt: skip
    found_home(bench, new)
    _mended(bench, place, fish, "container", old, new, "container moved")


def label_named(bench: Bench, act: str, text: str) -> str:
    """A container's label as a person said it. Raises Refusal."""
    containers = bench.setup.protocol.containers
    if containers is None:
        raise Refusal("no-containers", act=act)
    try:
        return containers.template.read(text.upper())
    except labels.LabelError as error:
        raise Refusal("label-check" if error.code == "check" else "not-known", text=words.shown(text)) from None


def container_after(bench: Bench, act: str, label: str, event: str) -> str:
    """The state of a container after an event. Raises Refusal where it is somebody's, or in a state for nothing more."""
    known = bench.container(label)
    before = None if known is None else known.state
    theirs = known is not None and not known.free and event in ("taken", "left out")
    if known is not None and (theirs or (before, event) not in tables.CONTAINER):
        fish = bench.get(Specimen, known.specimen_id) if known.specimen_id is not None else None
        whose = known.state if fish is None or known.state != "filled" else f"of fish {fish.number}"
        raise Refusal("container-taken", act=act, label=label, whose=whose)
    after: str = tables.step(tables.CONTAINER, before, event)
    return after


def expected_without(bench: Bench, label: str) -> str | None:
    """The label that should come next once this one is out of the series."""
    from .rules import expected_label

    containers = bench.setup.protocol.containers
    assert containers is not None
    expected = expected_label(bench)
    return (containers.template.moved(label, 1) or label) if label == expected else expected


def found(bench: Bench, place: str, args: Sequence[str]) -> None:
    """A container was looked into later: it is empty, or something is in it.

    One with a fish stays its fish's, and says what lies in it; one without is seen and nobody's: `empty`, or an `orphan`.
    """
    rest, of = split_of(bench, place, "found", args)
    match rest:
        case [text, "empty" | "full" as what] if what == "full" or of is None:
            reason = "mislaid"
        case [text, "empty" as what, reason] if of is None:
            pass
        case _:
            raise usage("found")
    label = label_named(bench, "found", text)
    if of is not None:
        _given_to(bench, place, label, of)
        return
    if reason not in MISSING_REASONS:
        raise Refusal("unknown-reason", act="found", reason=words.shown(reason), near=near(reason, MISSING_REASONS, 7))
    containers = bench.setup.protocol.containers
    assert containers is not None
    known = bench.container(label)
    fish = bench.get(Specimen, known.specimen_id) if known is not None and known.specimen_id is not None else None
    if known is not None and known.state == ("empty" if what == "empty" else "orphan" if fish is None else "filled"):
        raise Refusal("already", act=f"found {label} {what}")
    state = container_after(
        bench, "found", label, f"found {what}" + (" of none" if what == "full" and fish is None else "")
    )
    bench.decide(
        "container-found", None if fish is None else fish.specimen_id, place=place, number=label, kind=containers.kind,
        structure=containers.structure, dried=containers.dried, state=state, reason=reason,
        what=what, fish=None if fish is None else fish.number, text=_found_text(label, what, fish),
    )  # fmt: skip
    if fish is not None:
        assert known is not None
        _mended(bench, place, fish, "container", known.state, state, f"container found {what}")
        settle_ready(bench, fish.specimen_id)
    elif state == "orphan":
        ask(bench, place, None, Finding("orphan", 3, {"label": label}), about=None, quiet=True)
    else:
        found_home(bench, label)


def _found_text(label: str, what: str, fish: Specimen | None) -> str:
    if fish is None:
        return words.say(words.ANNOUNCED, "container-found", {"number": label, "what": what})
    return words.say(words.ANNOUNCED, "container-found-fish", {"number": label, "what": what, "fish": fish.number})


def _given_to(bench: Bench, place: str, label: str, fish: Specimen) -> None:
    """What is in a container without a fish is this fish's."""
    from .rules import expected_label

    containers = bench.setup.protocol.containers
    assert containers is not None
    state = container_after(bench, "found", label, "taken")
    held = next((c for c in fish.containers if bench.need(Container, c).state != "empty"), None)
    if held is not None:
        raise Refusal("has-container", number=fish.number, label=held)
    bench.decide(
        "container", fish.specimen_id, place=place, number=label, kind=containers.kind, structure=containers.structure,
        dried=containers.dried, state=state, expected=expected_label(bench), via="found", fish=fish.number,
    )  # fmt: skip
    found_home(bench, label)
    _mended(bench, place, fish, "container", None, label, "container found full")
    settle_ready(bench, fish.specimen_id)


def found_home(bench: Bench, label: str) -> None:
    """A container isn't an orphan any more."""
    answer(bench, [q for q in bench.live_questions_of(None) if q.kind == "orphan" and q.args["label"] == label])


def same_as(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The fish in hand is one that has a number already."""
    if len(args) != 1:
        raise usage("same-as")
    fish, other = fish_in_hand(bench, place, "same-as"), numbered(bench, args[0])
    if other.specimen_id == fish.specimen_id:
        raise Refusal("same-fish-twice", number=fish.number)
    close_fish(bench, place, fish, "same-as", same_as=other.number)
    if bench.place(place).in_hand is None and bench.place(place).batch is not None:
        open_next(bench, place, by="same-as")


def split(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Two fish were on one number: what was measured again is the second's, which gets a number of its own."""
    no_args("split", args)
    first = fish_in_hand(bench, place, "split")
    again = [m for seq in first.values.values() if (m := bench.need(Measurement, seq)).supersedes is not None]
    last = max((bench.need(Measurement, seq) for seq in first.values.values()), key=lambda m: m.seq, default=None)
    keep_for_later(bench, place)
    for m in again:
        old = bench.need(Measurement, m.supersedes or 0)
        _give(bench, place, bench.need(Specimen, first.specimen_id), m.key, old, supersedes=m.seq)
    if not again and last is not None:
        bench.decide("withdrawn", first.specimen_id, measurement=last.seq, place=place)
    settle_ready(bench, first.specimen_id)
    second = open_fish(bench, place, by="split")
    bench.decide("set-aside", first.specimen_id, place=place, number=first.number)
    for m in again or ([last] if last is not None else []):
        _give(bench, place, bench.need(Specimen, second.specimen_id), m.key, m, supersedes=None)
    for fish, other in ((first, second), (second, first)):
        for seq in bench.need(Specimen, fish.specimen_id).values.values():
            bench.need(Measurement, seq)
            bench.decide("suspect", fish.specimen_id, measurement=seq, cause="split")
        args_ = {"number": fish.number, "other": other.number}
        ask(
            bench,
            place,
            bench.need(Specimen, fish.specimen_id),
            Finding("split", 3, args_),
            about=fish.opened_seq,
            quiet=True,
        )


def _give(bench: Bench, place: str, fish: Specimen, key: str, m: Measurement, *, supersedes: int | None) -> None:
    slot = bench.setup.protocol.slot_by_key[key]
    fill(
        bench, place, fish, slot, value=Decimal(m.value), raw_value=m.raw_value, raw_unit=m.raw_unit, how="split",
        supersedes=supersedes,
    )  # fmt: skip


def slide(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Move one measurand of a range of fish to the neighbour one up or one down: a slip by one is set right."""
    *name, first, last, step = args if len(args) > 3 else ("", "", "", "")
    if step not in ("+1", "-1"):
        raise usage("slide")
    slot = slot_named(bench, "slide", said_key(name))
    low, high = numbered(bench, first).number, numbered(bench, last).number
    by = int(step)
    if low > high:
        raise usage("slide")
    targets = range(low + by, high + by + 1)
    fishes = {n: bench.numbered(n) for n in {*range(low, high + 1), *targets}}
    moving = {
        n: bench.need(Measurement, f.values[slot.key])
        for n in range(low, high + 1)
        if (f := fishes[n]) and slot.key in f.values
    }
    if not moving:
        raise Refusal("nothing-to-slide", first=low, last=high, measurand=slot.key)
    for n in targets:
        fish = fishes[n]
        if fish is None or fish.end == "void" or n - by not in moving:
            continue
        now = bench.need(Specimen, fish.specimen_id)
        source = moving[n - by]
        old = bench.need(Measurement, now.values[slot.key]) if slot.key in now.values else None
        fill(
            bench, place, now, slot, value=Decimal(source.value), raw_value=source.raw_value, raw_unit=source.raw_unit,
            how="slid", supersedes=old.seq if old else None,
        )  # fmt: skip
        _mended(bench, place, now, slot.key, old.value if old else None, source.value, f"slid {by:+d} from {n - by}")
    emptied = [n for n in range(low, high + 1) if n not in targets and n in moving]
    for n in emptied:
        fish = bench.numbered(n)
        assert fish is not None
        bench.decide("withdrawn", fish.specimen_id, measurement=fish.values[slot.key], place=place)
        settle_ready(bench, fish.specimen_id)
        _mended(bench, place, fish, slot.key, moving[n].value, None, f"slid {by:+d} to {n + by}")


def _mended(
    bench: Bench, place: str, fish: Specimen, measurand: str, old: str | None, new: str | None, why: str
) -> None:
    here = bench.place(place)
    bench.decide(
        "mend", fish.specimen_id, place=place, number=fish.number, measurand=measurand, old_value=old, new_value=new,
        who=here.recorder or here.measurer, why=why, evidence=None,
    )  # fmt: skip
