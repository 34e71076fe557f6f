"""Any interleaving of acts, readings, loads, scans, keys, port changes, wakes and restarts keeps what must hold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.benchkit import FIRST, FORKED, ROW, SOLO, TALLY, Play, check, folded, state_of
from thwart.bench.acts import ACTS, MISSING_REASONS
from thwart.bench.kernel import Bench
from thwart.bench.state import Coded, Key, Measurement, MemoryRecords, Object, Specimen
from thwart.entries import Entry

#: Examples a test runs; tests/long/test_bench_scripts.py runs many more, and longer ones.
EXAMPLES = 40
BUDGET = settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))

PROTOCOLS = {
    "solo": SOLO,
    "forked": FORKED,
    "first": FIRST,
    "opens": "opens_by_reading = true\n" + FORKED,
    "row": ROW.replace('{ place = "scale" }', '{ place = "scale", queue = 3 }') + '\n[tags]\nlabel = "T-#"\n',
    "by order": ROW,
    "tally": TALLY,
    "full": SOLO + "\n[structures.otolith]\nmost = 2\n\n[pans]\nblue = 120\nred = 130\n",
    "few": "tray = 2\n" + SOLO + "\n[numbers]\nlast = 4\n",
}

lengths = st.sampled_from([5, 200, 201, 210, 300, 301, 500, 700])
masses = st.sampled_from([0, 1, 100, 101, 105, 300])
names = st.sampled_from(
    ["total_length", "whole_mass", "fork_length", "gonad_mass", "gonad_mass.left", "sex", "container"]
)
words_of: dict[str, st.SearchStrategy[str]] = {
    "batch": st.sampled_from(
        [
            "open bay",
            "open cove perch",
            "close done",
            "reopen bay mistake",
            "reopen cove so",
            "plan cove perch kind=haul",
            "plan ebb parent=Dell",
            "drop dell",
            "plan Dell parent=cove",
            "open dell",
            "drop cove",
            "note bay parent=cove",
            "note cove parent=bay",
        ]
    ),
    "practice": st.sampled_from(["on", "off"]),
    "as": names,
    "value": st.tuples(
        names, st.sampled_from(["200", "310", "105", "7", "typed"]), st.sampled_from(["mm", "g", "cm"])
    ).map(" ".join),
    "missing": st.tuples(names, st.sampled_from(MISSING_REASONS)).map(" ".join),
    "code": st.sampled_from(["sex F", "sex M", "sex F of previous", "sex M of 1", "sex F of 2"]),
    "species": st.sampled_from(["perch", "pike", "eel", "unknown", "perch of 1", "eel of previous", "perch of 2"]),
    "recall": st.sampled_from(["1", "2", "3", "4"]),
    "measurer": st.just("ida"),
    "over": names,
    "parts": st.sampled_from(["total_length 2", "whole_mass 2"]),
    "pool": st.just("5"),
    "count": st.sampled_from(["7", "typed"]),
    "digit": st.sampled_from(["4", "0", "1", "point"]),
    "structure": st.sampled_from(["otolith 1", "otolith 2 both whole"]),
    "move": st.sampled_from(["K-00013 K-00097", "K-00021 K-00101", "K-00013 K-00030"]),
    "skip": st.sampled_from(["", "", "K-00013", "K-00030"]),
    "found": st.sampled_from(
        [
            "K-00013 empty",
            "K-00013 full",
            "K-00021 empty not-found",
            "K-00030 full",
            "K-00030 full of 1",
            "K-00021 full of 2",
        ]
    ),
    "void": st.sampled_from(["", "", "of previous", "of 1", "of 2"]),
    "lost": st.sampled_from(["", "", "of previous", "of 1", "of 3"]),
    "at": st.sampled_from(
        ["table next", "board species perch", "scale again", "knife code sex F", "nowhere next", "board at knife next"]
    ),
    "same-as": st.sampled_from(["1", "2"]),
    "slide": st.sampled_from(["total_length 1 2 +1", "whole_mass 1 3 -1"]),
    "back": st.sampled_from(["", "1", "2"]),
    "pan": st.sampled_from(["blue", "red"]),
    "undo": st.sampled_from(["", "", "", "undo"]),
}
acts = st.sampled_from([*ACTS, "next", "next", "undo", "undo", "again", "stands", "void", "lost", "recall"]).flatmap(
    lambda name: st.tuples(
        st.just("act"), words_of.get(name, st.just("")).map(lambda rest: f"{name} {rest}".strip()), st.integers(0, 3)
    )
)
inputs = st.one_of(
    st.tuples(st.just("touch"), lengths, st.sampled_from([100, 240, 260, 1000])),
    st.tuples(st.just("touch"), lengths, st.just(1500)),
    st.tuples(st.just("lay")),
    st.tuples(st.just("settle"), masses),
    st.tuples(st.just("settle"), masses),
    st.tuples(st.just("lift"), st.sampled_from(["0", "0", "0", "6"])),
    st.tuples(st.just("weigh"), masses),
    st.tuples(st.just("weigh"), masses),
    st.tuples(st.just("hand"), masses),
    st.tuples(st.just("odd"), st.sampled_from(["overload", "moving", "error", "tare"])),
    st.tuples(st.just("label"), st.integers(1, 6)),
    st.tuples(st.just("label"), st.integers(1, 6)),
    st.tuples(st.just("next label")),
    st.tuples(st.just("next label")),
    st.tuples(st.just("junk"), st.sampled_from(["ACT.NEXT.X", "ACT.", "hello", "K-00019", "T-1", "T-2"])),
    st.tuples(st.just("pedal"), st.sampled_from(["P1", "P2", "P3", "P9"]), st.sampled_from([100, 800])),
    st.tuples(st.just("port"), st.sampled_from(["scale", "board"]), st.booleans()),
    st.tuples(st.just("wake"), st.sampled_from([1, 20, 2000])),
    st.tuples(st.just("start")),
    acts,
    acts,
    acts,
)
scripts = st.lists(inputs, max_size=50)


def perform(play: Play, step: tuple[Any, ...]) -> list[Entry]:
    match step:
        case ("touch", mm, ms):
            return play.touch(mm, after_ms=ms)
        case ("lay",):
            return play.lay()
        case ("settle", g):
            return play.settle(g)
        case ("lift", resting):
            return play.lift(resting)
        case ("weigh", g):
            return play.weigh(g)
        case ("hand", g):
            return play.reading("hand-scale", str(g), "g")
        case ("odd", "tare"):
            return play.settle(50, load="tare")
        case ("odd", "moving"):
            return play.reading("board", "200", "mm", settled="moving")
        case ("odd", condition):
            return play.reading("scale", None, "g", condition=condition)
        case ("label", count):
            return play.label(count)
        case ("next label",):
            return play.label(play.expected())
        case ("junk", text):
            return play.scan(text)
        case ("pedal", key, ms):
            return play.pedal(key, after_ms=ms)
        case ("port", name, present):
            return play.put("port", instrument=name, present=present, reason="", profile="p", port=f"port-{name}")
        case ("wake", seconds):
            play.now += seconds * 1_000_000_000
            return play.put("wake")
        case ("start",):
            return play.start()
        case ("act", said, at):
            place = [None, *play.setup.places][at % (1 + len(play.setup.places))]
            if ACTS.get(said.split()[0], ACTS["next"]).two_steps and at:
                play.act(said, place)
            return play.act(said, place)
    raise AssertionError(step)


THREE = ("board", "scale", "knife")
SERVES = {
    "board": ("board",),
    "scale": ("scale",),
    "scanner": ("board", "knife"),
    "pedal": ("board",),
    "hand-scale": (),
}
worlds = st.sampled_from(sorted(PROTOCOLS)).flatmap(
    lambda name: st.tuples(
        st.just(name),
        st.just(THREE) if name in ("row", "by order") else st.sampled_from([("table",), ("table",), ("left", "right")]),
    )
)


def make(world: tuple[str, tuple[str, ...]], **more: Any) -> Play:
    serves = SERVES if world[1] == THREE else None
    return Play(PROTOCOLS[world[0]], places=world[1], serves=serves, **more)


@BUDGET
@given(worlds, scripts)
def test_whatever_happens_what_must_hold_holds(world: Any, script: Any) -> None:
    play = make(world)
    for step in script:
        perform(play, step)
        check(play)
    assert state_of(folded(play)) == state_of(play.bench)


@BUDGET
@given(worlds, scripts, st.integers(0, 50))
def test_a_snapshot_in_the_middle_changes_nothing_later(world: Any, script: Any, cut: int) -> None:
    plain, broken = make(world), make(world)
    for at, step in enumerate(script):
        if at == cut:
            kept = broken.bench.snapshot()
            broken.bench = Bench(broken.setup, broken.records)
            broken.bench.restore(kept)
        perform(plain, step)
        perform(broken, step)
    assert broken.entries == plain.entries
    assert state_of(broken.bench) == state_of(plain.bench)


@BUDGET
@given(worlds, scripts, scripts)
def test_forgetting_changes_no_decision(world: Any, script: Any, more: Any) -> None:
    keeps, forgets = make(world, forget_after=10**9), make(world, forget_after=3)
    for at, step in enumerate([*script, *more]):
        perform(keeps, step)
        perform(forgets, step)
        if at % 7 == 0:
            forgets.bench._sweep()
            held = dict(forgets.bench.objects)
            assert all(forgets.records.objects.get(k, thing) == thing for k, thing in held.items())
    check(forgets)
    told = [d for d in forgets.entries if d.kind != "loaded"]
    assert [(d.kind, d.body.get("code"), d.body.get("event"), d.body.get("text")) for d in told] == [
        (d.kind, d.body.get("code"), d.body.get("event"), d.body.get("text")) for d in keeps.entries
    ]
    bodies = [(s.number, s.state, s.end, sorted(values(forgets, s))) for s in specimens(forgets)]
    assert bodies == [(s.number, s.state, s.end, sorted(values(keeps, s))) for s in specimens(keeps)]


def specimens(play: Play) -> list[Specimen]:
    found = [s for s in play.records.objects.values() if isinstance(s, Specimen)]
    return sorted(found, key=lambda s: s.number)


def values(play: Play, s: Specimen) -> list[tuple[str, str]]:
    found = [(key, play.records.objects["measurement", seq]) for key, seq in s.values.items()]
    return [(key, m.value) for key, m in found if isinstance(m, Measurement)]


def current(play: Play) -> dict[Key, Object]:
    """Specimens and the measurements and codes that stand: what undo must bring back."""
    out: dict[Key, Object] = {}
    for key, thing in play.records.objects.items():
        match thing:
            case Specimen():
                out[key] = thing
            case Measurement() if thing.status in ("stands", "questioned"):
                out[key] = thing
            case Coded() if thing.status == "stands":
                out[key] = thing
    return out


@BUDGET
@given(worlds, scripts, inputs)
def test_undo_brings_back_and_redo_does_again(world: Any, script: Any, last: Any) -> None:
    play = make(world)
    for step in script:
        perform(play, step)
    if last[0] == "weigh" or (last[0] == "act" and (last[1].startswith("undo") or ACTS[last[1].split()[0]].two_steps)):
        return  # more than one input, or an undo itself
    before = current(play)
    places = {name: (play.bench.place(name).in_hand, play.bench.place(name).waiting) for name in play.setup.places}
    counts = {name: len(play.bench.mementos.get(name, [])) for name in play.setup.places}
    perform(play, last)
    grew = [name for name in play.setup.places if len(play.bench.mementos.get(name, [])) > counts[name]]
    if not grew or last[0] == "start":
        return
    after = current(play)
    (place,) = grew
    number = play.bench.desk.next_number
    play.act("undo", place)
    assert current(play) == before
    assert places == {n: (play.bench.place(n).in_hand, play.bench.place(n).waiting) for n in play.setup.places}
    assert play.bench.desk.next_number == number
    check(play)
    play.act("undo undo", place)
    assert current(play) == after
    check(play)
    play.act("undo", place)
    assert current(play) == before
    assert state_of(folded(play)) == state_of(play.bench)


@BUDGET
@given(worlds, scripts)
def test_inputs_alone_give_the_same_decisions(world: Any, script: Any) -> None:
    play = make(world)
    for step in script:
        perform(play, step)
    records = MemoryRecords()
    bench = Bench(play.setup, records)
    again: list[Entry] = []
    for entry in play.entries:
        if entry.input_seq is None:
            decisions, changed = bench.take(entry)
            records.store(changed)
            again += [entry, *decisions]
    assert again == play.entries


class Lagging(MemoryRecords):
    """Records that hear of an input thirty inputs late, as when many share a commit."""

    def __init__(self, objects: dict[Key, Object]) -> None:
        super().__init__()
        self.objects = objects
        self.late: list[Mapping[Key, Object | None]] = []

    def store(self, changed: Mapping[Key, Object | None]) -> None:
        self.late.append(changed)
        if len(self.late) > 30:
            super().store(self.late.pop(0))


@BUDGET
@given(worlds, scripts)
def test_records_that_lag_by_one_commit_change_nothing(world: Any, script: Any) -> None:
    """The ledger hears of many inputs at once; the bench must not read what it changed since."""
    plain, lagging = make(world, forget_after=40), make(world, forget_after=40)
    lagging.records = lagging.bench.records = Lagging(lagging.records.objects)
    for step in script:
        perform(plain, step)
        perform(lagging, step)
    assert lagging.entries == plain.entries
