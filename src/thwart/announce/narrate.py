"""What committed entries sound like: one short sentence and one of five sounds each. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..bench.words import WHY
from ..entries import Entry
from ..languages import Language

Sound = Literal["taken", "look", "asked", "next", "fault"]

#: What is told only to confirm what was just said: no reason to look up.
_CONFIRMS = frozenset({
    "as", "counting", "measurer", "pan", "parts", "piece", "planned", "pool", "recorder", "reopened", "resumed", "stager", "stands", "tag",
    "tared",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Said:
    """One announcement about a committed entry."""

    seq: int
    sound: Sound
    place: str | None
    text: str

    @property
    def spoken(self) -> str:
        """The text as a voice says it."""
        return self.text


def narrate(source: Entry, decisions: Sequence[Entry], words: Language | None = None) -> Iterator[Said]:
    """The announcements of an input and the decisions that answer it, in order."""
    if (said := _input(source)) is not None:
        yield said
    numbers: dict[str, int] = {}
    for d in decisions:
        number = d.body.get("number", d.body.get("args", {}).get("number"))
        if d.specimen_id and isinstance(number, int):
            numbers[d.specimen_id] = number
    for d in decisions:
        if (told := _decision(source, d, numbers.get(d.specimen_id or ""))) is not None:
            sound, text = told
            yield Said(d.seq, sound, d.body.get("place"), text)


def _input(entry: Entry) -> Said | None:
    b = entry.body
    match entry.kind:
        case "port":
            if b["present"]:
                return Said(entry.seq, "next", None, f"{b['instrument']} is there")
            return Said(entry.seq, "fault", None, f"no {b['instrument']}" + (f": {b['reason']}" if b["reason"] else ""))
        case "rejected" if b["mode"] == "streams" and set(b["reasons"]) == {"torn"}:
            return None  # a stream is always torn where we begin to listen
        case "rejected":
            reasons = ", ".join(f"{n} × {reason}" for reason, n in b["reasons"].items())
            text = f"{b['instrument']}: {b['size']} bytes rejected ({reasons})"
            if b["mostly"]:
                return Said(
                    entry.seq, "fault", None, f"{text}; more than half of what it sends: are the line settings right?"
                )
            return Said(entry.seq, "look", None, text)
        case "overflow":
            return Said(
                entry.seq, "fault", None, f"{b['instrument']}: {b['lost']} readings lost, the ledger couldn't follow"
            )
        case "started" if not entry.stamp.clock_ok:
            return Said(
                entry.seq,
                "fault",
                None,
                "the clock stands before the last entry's time: order is kept, times are in doubt",
            )
        case _:
            return None


def _decision(source: Entry, d: Entry, number: int | None) -> tuple[Sound, str] | None:
    b = d.body
    match d.kind:
        case "measured":
            name = f" {b['measurand']}" + (f" {b['side']}" if b["side"] else "")
            by_hand = "" if b["how"] == "instrument" else f" ({b['how']})"
            again = ", again" if b["supersedes"] is not None else ""
            return "taken", f"{b['number']}{name} {b['raw_value']} {b['raw_unit']}{by_hand}{again}"
        case "asked":
            return "asked", f"{b['text']}"
        case "noted":
            return "look", f"{b['text']}"
        case "opened":
            return "next", f"fish {b['number']}" + (f" ({b['species']})" if b["species"] else "")
        case "closed":
            return "next", f"{b['number']} {b['end']}"
        case "ended":
            return "taken", f"{b['number']} is {b['end']} now"
        case "recalled":
            return "next", f"{b['number']} in hand again"
        case "container":
            if b["state"] == "skipped":
                return "look", f"container {b['number']} left out for good"
            return "taken", f"container {b['number']} holds {b['fish']}"
        case "coded":
            value = b["code"] if b["code"] is not None else f"missing, {b['missing_reason']}"
            return "taken", f"{b['number']} {b['field']} {value}"
        case "missing":
            return "taken", f"{b['number']} {b['name']} missing: {b['reason']}"
        case "species":
            return "taken", f"{b['number'] or 'next fish'} is {b['species']}"
        case "moved":
            return "next", f"{b['number']} goes on to {b['to']}"
        case "took" | "back":
            return "next", f"{b['number']} in hand"
        case "parked":
            return "next", f"{b['number']} set apart"
        case "tagged":
            return "taken", f"{b['number']} bears {b['tag']}"
        case "tallied":
            sex = f" {b['sex']}" if b["sex"] else ""
            return "taken", f"{b['species']}{sex} {b['class_mm']} mm: {b['n']}"
        case "pooled":
            return "taken", f"{b['n']} {b['species'] or 'animals'} together {b['raw_value']} {b['raw_unit']}"
        case "counted":
            return "taken", f"{b['n']} counted"
        case "structure":
            got = " ".join(str(w) for w in (b["taken"], b["structure"], b["side"], b["condition"]) if w is not None)
            return "taken", f"{b['number']} {got}"
        case "container-moved" | "container-found" | "batch-planned" | "batch-dropped":
            return "taken", b["text"]
        case "mend":
            return (
                "look",
                f"{b['number']} {b['measurand']} mended: {b['old_value'] or 'none'} → {b['new_value'] or 'none'}",
            )
        case "batch-noted":
            return "taken", f"batch {b['batch']}: " + ", ".join(f"{k} {v}" for k, v in b["set"].items())
        case "stood-by":
            return "taken", f"{b['number']} stands"
        case "batch":
            return "next", b["text"]
        case "practice":
            return "next", "practice " + ("on: nothing of this reaches the results" if b["on"] else "off")
        case "outcome":
            return _outcome(source, b, number)
        case "read-out" if b["texts"]:
            return "look", "look before the tray goes: " + " · ".join(b["texts"])
        case "told":
            return ("taken" if b["code"] in _CONFIRMS else "look"), b["text"]
        case "undone":
            return "taken", b["text"]
        case "refused":
            return "look", b["text"]
        case _:
            return None


def _outcome(source: Entry, b: dict[str, Any], number: int | None) -> tuple[Sound, str] | None:
    if b["event"] not in ("same again", "load of a fish before", "unusable", "was the tray", "is the tare"):
        return None  # told by the decision that goes with it
    value = f"{source.body.get('value') or ''} {source.body.get('unit') or ''}".strip() or str(
        source.body.get("condition", "")
    )
    why = WHY[b["why"]].format(number=number or "the fish before")
    word = {"same again": "doubled", "load of a fish before": "stale", "unusable": "refused"}.get(b["event"], "tare")
    return "look", f"{word}: {value} ({why})"
