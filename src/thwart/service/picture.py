"""What the bench holds now, as plain JSON values: for `thwart status`, the pages, and whoever asks over the control port.

Made in the clerk's thread between two inputs, so it looks at what is in memory and computes little.
"""

from __future__ import annotations

from typing import Any

from ..bench import tally
from ..bench.filling import lacking, standing, wanted
from ..bench.kernel import Bench
from ..bench.state import Place, Question, Specimen
from .cloud import cloud
from .latest import latest
from .memory import Memory

#: Closed fish that are shown.
LAST_FISH = 10

#: The acts that answer a question, likeliest first: a page makes keys of them. What isn't here is answered by `stands`
#: or by measuring again.
ANSWERS: dict[str, tuple[str, ...]] = {
    "again-or-next": ("again", "next"),
    "again-or-new": ("again", "next"),
    "same-value": ("again", "next"),
    "same-fish": ("stands", "next"),
    "load-at-start": ("stands",),
    "class-beyond": ("stands", "undo"),
    "changed-on-the-pan": ("again", "stands"),
    "order": ("swap", "again"),
    "ratio": ("again", "stands"),
    "hosing": ("pause", "hosed"),
    "not-positive": ("tared", "again"),
    "zero-moved": ("tared", "knock"),
    "pan-changed": ("tared", "knock"),
    "label-order": ("stands", "undo"),
    "label-behind": ("stands", "undo"),
    "impossible": ("again", "stands"),
    "moving": (),
    "beyond-instrument": (),
    "fields_exchanged": ("swap", "again", "stands"),
    "tray": ("again", "tared", "stands"),
    "other_on_pan": ("again", "stands"),
    "no-species": (),
}
_USUAL = ("again", "stands")


def picture(bench: Bench) -> dict[str, Any]:
    """Places with what is in hand, questions, counts."""
    desk = bench.desk
    memory = Memory(bench)
    batches = sorted(memory.batches, key=lambda b: b.batch)
    quiet = [q for q in bench.live_questions() if q.state == "quiet"]
    return {
        "seq": bench.seq,
        "batches": [b.batch for b in batches if b.opened_utc is not None and b.closed_utc is None],
        "planned": [b.batch for b in batches if b.opened_utc is None],
        "practice": desk.practice,
        "places": [_place(bench, memory, name) for name in bench.setup.places],
        "quiet": [_question(bench, q) for q in quiet],
        "last_fish": [_fish(bench, s) for s in _closed(memory)],
        "parked": [s.number for i in desk.parked if (s := bench.get(Specimen, i)) is not None],
        "fish_closed": desk.fish_closed,
        "asked": desk.asked,
        "asked_statistical": desk.asked_statistical,
        "next_number": desk.free_numbers[0] if desk.free_numbers else desk.next_number,
        "expected_container": desk.expected,
        "verified": {
            i.instrument: {"verified": i.verified, "utc": i.last_verified_utc} for i in memory.instruments
        },
    }  # fmt: skip


def _place(bench: Bench, memory: Memory, name: str) -> dict[str, Any]:
    here = bench.place(name)
    fish = bench.in_hand(name)
    return {
        "place": name,
        "batch": here.batch,
        "in_hand": None if fish is None else _in_hand(bench, fish),
        "last": latest(bench, memory, name),
        "questions": [_question(bench, q) for q in bench.open_questions(name)],
        "armed": here.armed,
        "paused": here.paused,
        "route_as": here.route_as,
        "reopened": here.reopened,
        "measurer": here.measurer,
        "recorder": here.recorder,
        "stager": here.stager,
        "tray": [s.number for i in here.tray if (s := bench.get(Specimen, i)) is not None],
        "queue": [s.number for i in here.queue if (s := bench.get(Specimen, i)) is not None],
        "stays": here.stays is not None and here.stays == here.in_hand,
        "counting": _counting(bench, here),
        "cloud": cloud(bench, memory, here, fish),
    }


def _in_hand(bench: Bench, fish: Specimen) -> dict[str, Any]:
    lacks = lacking(bench, fish)
    return {
        **_fish(bench, fish),
        "state": fish.state,
        "wanted": [slot.key for slot in wanted(bench, fish)],
        "lacking": lacks,
        "missing": dict(fish.missing),
        "provisional": fish.provisional,
    }


def _fish(bench: Bench, fish: Specimen) -> dict[str, Any]:
    values = standing(bench, fish)
    return {
        "number": fish.number,
        "specimen_id": fish.specimen_id,
        "species": fish.species,
        "taken": {key: f"{m.value} {m.unit}" for key, m in values.items()},
        "questioned": [key for key, m in values.items() if m.status == "questioned"],
        "codes": _codes(bench, fish),
        "containers": list(fish.containers),
        "end": fish.end,
        "verdict": fish.worst_verdict,
        "practice": fish.practice,
    }


def _codes(bench: Bench, fish: Specimen) -> dict[str, str]:
    """Coded field → code, or the reason why there is none."""
    found = {}
    for field, seq in fish.codes.items():
        thing = bench.objects.get(("coded", seq)) or bench.records.get(("coded", seq))
        if thing is not None:
            found[field] = getattr(thing, "code", None) or getattr(thing, "missing_reason", None) or ""
    return found


def _closed(memory: Memory) -> list[Specimen]:
    """The fish closed last that are still in memory, the latest first."""
    closed = [s for s in memory.specimens if s.state == "closed"]
    return sorted(closed, key=lambda s: (s.closed_utc or "", s.opened_seq), reverse=True)[:LAST_FISH]


def _question(bench: Bench, q: Question) -> dict[str, Any]:
    fish = bench.get(Specimen, q.specimen_id) if q.specimen_id is not None else None
    return {
        "seq": q.seq,
        "place": q.place,
        "number": fish.number if fish is not None else None,
        "measurand": q.measurand,
        "cause": q.kind,
        "args": dict(q.args),
        "verdict": q.verdict,
        "probability": q.probability,
        "runner_up": q.runner_up,
        "text": q.text,
        "answers": list(ANSWERS.get(q.kind, _USUAL)),
    }


def _counting(bench: Bench, here: Place) -> dict[str, Any] | None:
    """What a tally counts here: species and sex. The counts themselves are the ledger's."""
    if bench.setup.protocol.flow != "tally" or here.batch is None:
        return None
    return {"species": tally.species_of(bench, here.place), "sex": here.tally_sex}
