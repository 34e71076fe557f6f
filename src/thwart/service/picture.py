"""What the bench holds now, as plain JSON values: for `thwart status` and whoever asks over the control port."""

from __future__ import annotations

from typing import Any

from ..bench import tally
from ..bench.filling import standing, wanted
from ..bench.kernel import Bench
from ..bench.state import Batch, Question, Specimen


def picture(bench: Bench) -> dict[str, Any]:
    """Places with what is in hand, questions, counts."""
    desk = bench.desk
    open_batches = [b.batch for b in bench.all(Batch) if b.opened_utc is not None and b.closed_utc is None]
    quiet = sorted((q for q in bench.all(Question) if q.state == "quiet"), key=lambda q: q.seq)
    return {
        "seq": bench.seq,
        "batches": open_batches,
        "practice": desk.practice,
        "places": [_place(bench, name) for name in bench.setup.places],
        "quiet": [q.text for q in quiet],
        "parked": [s.number for i in desk.parked if (s := bench.get(Specimen, i)) is not None],
        "fish_closed": desk.fish_closed,
        "asked": desk.asked,
        "asked_statistical": desk.asked_statistical,
        "next_number": desk.free_numbers[0] if desk.free_numbers else desk.next_number,
        "expected_container": desk.expected,
    }


def _place(bench: Bench, name: str) -> dict[str, Any]:
    here = bench.place(name)
    fish = bench.in_hand(name)
    in_hand = None
    if fish is not None:
        in_hand = {
            "number": fish.number,
            "specimen_id": fish.specimen_id,
            "species": fish.species,
            "state": fish.state,
            "taken": {key: f"{m.value} {m.unit}" for key, m in standing(bench, fish).items()},
            "wanted": [slot.key for slot in wanted(bench, fish)],
            "containers": list(fish.containers),
        }
    return {
        "place": name,
        "batch": here.batch,
        "in_hand": in_hand,
        "questions": [q.text for q in bench.open_questions(name)],
        "paused": here.paused,
        "measurer": here.measurer,
        "recorder": here.recorder,
        "stager": here.stager,
        "tray": len(here.tray),
        "queue": [s.number for i in here.queue if (s := bench.get(Specimen, i)) is not None],
        "counting": tally.species_of(bench, name) if bench.setup.protocol.flow == "tally" and here.batch else None,
        "counting_sex": here.tally_sex,
    }
