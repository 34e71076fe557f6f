"""What committed entries sound like: one short sentence and one of five sounds each. Pure.

Two tables say it all: how an input and how a decision is told, by its kind. The words are a language's; entries of an
older version, without the arguments that words need, are told in the ledger's English.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..entries import Entry
from ..languages import DEFAULT, ENGLISH, Done, Language

Sound = Literal["taken", "look", "asked", "next", "fault"]
Body = Mapping[str, Any]

#: What is told only to confirm what was just said: no reason to look up.
_CONFIRMS = frozenset({
    "as", "counting", "counting-sex", "measurer", "pan", "parts", "piece", "pool", "printed", "printed-again", "recorder",
    "reopened", "resumed", "resumed-who", "stager", "stands", "tag", "tared", "typed", "verify", "who",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Said:
    """One announcement about a committed entry."""

    seq: int
    sound: Sound
    place: str | None
    text: str


@dataclass(frozen=True, slots=True)
class Telling:
    """How an entry is told: the sound, a code of the table `announced`, what the code lacks beside the body."""

    sound: Sound
    code: str
    more: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Ready:
    """How an entry is told whose words come from elsewhere."""

    sound: Sound
    text: str


Told = Telling | Ready | None


def narrate(source: Entry, decisions: Sequence[Entry], words: Language = ENGLISH) -> Iterator[Said]:
    """The announcements of an input and the decisions that answer it, in order."""
    if source.kind in _INPUTS and (told := _INPUTS[source.kind](source)) is not None:
        yield Said(source.seq, told.sound, None, words.say("announced", told.code, {**source.body, **told.more}))
    numbers: dict[str, int] = {}
    for d in decisions:
        number = d.body.get("number", d.body.get("args", {}).get("number"))
        if d.specimen_id and isinstance(number, int):
            numbers[d.specimen_id] = number
    for d in decisions:
        match _told(source, d, numbers.get(d.specimen_id or ""), words):
            case Telling(sound, code, more):
                yield Said(d.seq, sound, d.body.get("place"), _words_of(words, code, d.body, more))
            case Ready(sound, text):
                yield Said(d.seq, sound, d.body.get("place"), text)


def _told(source: Entry, d: Entry, number: int | None, words: Language) -> Told:
    b = d.body
    if d.kind in _DECISIONS:
        return _DECISIONS[d.kind](b)
    match d.kind:
        case "asked" | "noted":
            return Ready("asked" if d.kind == "asked" else "look", question(words, b["code"], b["args"], b["text"]))
        case "told":
            sound: Sound = "taken" if b["code"] in _CONFIRMS else "look"
            return Ready(sound, _kept(words, "told", b["code"], b))
        case "refused":
            return Ready("look", _kept(words, "refusals", b["code"], b))
        case "read-out" if b["texts"]:
            found = b.get("found") or [{"code": "", "args": {}}] * len(b["texts"])
            texts = [question(words, f["code"], f["args"], t) for f, t in zip(found, b["texts"], strict=True)]
            return Telling("look", "read-out", {"texts": Done(" · ".join(texts))})
        case "batch":
            return Ready("next", _batch(words, b))
        case "outcome":
            return _outcome(source, b, number, words)
        case _:
            return None


def _words_of(words: Language, code: str, b: Body, more: Mapping[str, Any]) -> str:
    if words.code == DEFAULT and "text" in b:
        return str(b["text"])
    try:
        return words.say("announced", code, {**b, **more})
    except KeyError:
        return str(b["text"])


def question(words: Language, code: str, args: Mapping[str, Any], text: str) -> str:
    """The words of a question or note; `text` is the ledger's English."""
    if words.code == DEFAULT:
        return text
    try:
        if code in words.tables["questions"] and "found" not in args:
            return words.say("questions", code, _with_why(words, args)) + _hint(words, args)
        return _finding(words, code, args)
    except KeyError:
        return text


def _with_why(words: Language, args: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**args, "why": words.say("why", args["reason"], args)} if "reason" in args and "why" in args else args


def _hint(words: Language, args: Mapping[str, Any]) -> str:
    """What most likely led to a broken limit or order."""
    if "likely" not in args:
        return ""
    of = {name.removeprefix("likely_"): value for name, value in args.items() if name.startswith("likely_")}
    means = words.say("causes", args["likely"], of)
    return f" · {words.say('findings', 'likely', {'means': means})} · {words.tables['advice'][args['likely']]}"


def _finding(words: Language, code: str, args: Mapping[str, Any]) -> str:
    """What a statistical check found. Raises KeyError where the entry lacks what the words need."""
    means = words.say("causes", code, {**args, "number": args.get("cause_number", args["number"])})
    advice = words.tables["advice"][code]
    if "found" not in args:  # a sequence test: what it found is the cause
        of = "" if args["measurand"] == "species" else f"{words.phrase(args['measurand'])}: "
        return f"{of}{means} · {advice}" + (f": `{args['repair']}`" if "repair" in args else "")
    what = words.say("findings", args["found"], {**args, "means": means})
    parts = [what] if args["found"] == "fault" else [what, words.say("findings", args["sure"], {"means": means})]
    hint = _hint(words, args)
    return f"{args['number']}: {' · '.join(parts)}" + (hint or f" · {advice}")


def _kept(words: Language, table: str, code: str, b: Body) -> str:
    if words.code == DEFAULT:
        return str(b["text"])
    try:
        return words.say(table, code, _with_why(words, b["args"]))
    except KeyError:
        return str(b["text"])


def _batch(words: Language, b: Body) -> str:
    if words.code == DEFAULT and "text" in b:
        return str(b["text"])
    if b["op"] == "close":
        return words.reckoning(b)
    planned = b.get("planned")
    return words.say("announced", f"batch-{b['op']}" + ("-other" if planned is not None else ""), b)


#: Outcomes told by themselves; others are told by the decision that goes with them.
_OUTCOMES = {
    "same again": "doubled", "load of a fish before": "stale", "unusable": "refused", "was the tray": "tare",
    "is the tare": "tare",
}  # fmt: skip


def _outcome(source: Entry, b: Body, number: int | None, words: Language) -> Told:
    if b["event"] not in _OUTCOMES:
        return None
    value = f"{source.body.get('value') or ''} {source.body.get('unit') or ''}".strip() or str(
        source.body.get("condition", "")
    )
    why = words.say("why", b["why"], {"number": number or "the fish before"})
    return Telling("look", f"outcome-{_OUTCOMES[b['event']]}", {"value": value, "why": Done(why)})


# ---- inputs --------------------------------------------------------------------------------------------------------


def _port(entry: Entry) -> Telling:
    b = entry.body
    if b["present"]:
        return Telling("next", "there", {})
    return Telling("fault", "gone-reason" if b["reason"] else "gone", {})


def _rejected(entry: Entry) -> Telling | None:
    b = entry.body
    if b["mode"] == "streams" and set(b["reasons"]) == {"torn"}:
        return None  # a stream is always torn where we begin to listen
    reasons = {"reasons": ", ".join(f"{n} × {reason}" for reason, n in b["reasons"].items())}
    return Telling("fault", "rejected-mostly", reasons) if b["mostly"] else Telling("look", "rejected", reasons)


def _started(entry: Entry) -> Telling | None:
    return None if entry.stamp.clock_ok else Telling("fault", "clock", {})


_INPUTS: Mapping[str, Callable[[Entry], Telling | None]] = {
    "port": _port,
    "rejected": _rejected,
    "overflow": lambda entry: Telling("fault", "overflow", {}),
    "started": _started,
}


# ---- decisions -----------------------------------------------------------------------------------------------------


def _always(sound: Sound, code: str) -> Callable[[Body], Telling]:
    return lambda b: Telling(sound, code, {})


def _either(sound: Sound, code: str, other: str, key: str) -> Callable[[Body], Telling]:
    """`other` where the body has something under `key`."""
    return lambda b: Telling(sound, other if b.get(key) is not None else code, {})


def _measured(b: Body) -> Telling:
    code = "measured" + ("" if b["how"] == "instrument" else "-hand") + ("" if b["supersedes"] is None else "-again")
    key = b["measurand"] + (f" {b['side']}" if b["side"] else "")
    return Telling("taken", code, {"key": key, "value": b["raw_value"], "unit": b["raw_unit"]})


def _container(b: Body) -> Telling:
    skipped = b["state"] == "skipped"
    return Telling("look" if skipped else "taken", "container-skipped" if skipped else "container", {})


def _structure(b: Body) -> Telling:
    got = " ".join(str(w) for w in (b["taken"], b["structure"], b["side"], b["condition"]) if w is not None)
    return Telling("taken", "structure", {"got": got})


def _mend(b: Body) -> Telling:
    return Telling("look", "mend", {"old": b["old_value"] or "none", "new": b["new_value"] or "none"})


_DECISIONS: Mapping[str, Callable[[Body], Telling | None]] = {
    "measured": _measured,
    "opened": _either("next", "opened", "opened-species", "species"),
    "closed": _always("next", "closed"),
    "ended": _always("taken", "ended"),
    "recalled": _always("next", "recalled"),
    "container": _container,
    "container-moved": _always("taken", "container-moved"),
    "container-found": _either("taken", "container-found", "container-found-fish", "fish"),
    "coded": _either("taken", "coded-missing", "coded", "code"),
    "missing": lambda b: Telling("taken", "missing", {"key": b["name"]}),
    "species": _either("taken", "species-next", "species", "number"),
    "moved": _always("next", "moved"),
    "took": _always("next", "took"),
    "back": _always("next", "back"),
    "parked": _always("next", "parked"),
    "tagged": _always("taken", "tagged"),
    "tallied": _either("taken", "tallied", "tallied-sex", "sex"),
    "pooled": lambda b: Telling("taken", "pooled", {"what": b["species"] or "animals"}),
    "counted": _always("taken", "counted"),
    "structure": _structure,
    "mend": _mend,
    "batch-noted": lambda b: Telling(
        "taken", "batch-noted", {"pairs": ", ".join(f"{k} {v}" for k, v in b["set"].items())}
    ),
    "batch-planned": _always("taken", "batch-planned"),
    "batch-dropped": _always("taken", "batch-dropped"),
    "stood-by": _always("taken", "stood-by"),
    "practice": lambda b: Telling("next", "practice-on" if b["on"] else "practice-off", {}),
    "verified": lambda b: Telling("taken", "verified", {}) if b["passed"] else None,  # else it is asked
    "undone": lambda b: Telling("taken", "undone-redo" if b["redo"] else "undone", {}),
}
