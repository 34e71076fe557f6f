"""`thwart history`: one fish's whole story."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import takewhile
from pathlib import Path
from typing import Any

import click

from ..announce.narrate import narrate
from ..bench.state import Specimen
from ..entries import Entry
from ..errors import NotFound
from ..ledger import Ledger
from .benches import ledger_of

#: What was said in the words of an input that is no reading.
_WORDS = ("act", "scan", "key")


@click.command(epilog="Examples: thwart history lake-survey 118    thwart history backup/ledger.db 118 --json")
@click.argument("words", nargs=-1, required=True, metavar="[BENCH] NUMBER")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line: seq, at_utc, what, text.")
def history(words: tuple[str, ...], as_json: bool) -> None:
    """Tell one fish's whole story, in order.

    What instruments sent, what people did, what was decided, asked, answered and mended. BENCH is a bench folder or a ledger file; a running
    service isn't disturbed. Each line: entry, time (UTC), what it is, words.
    """
    if len(words) > 2 or not words[-1].isdecimal():
        raise click.UsageError("expected [BENCH] NUMBER, as in `thwart history lake-survey 118`")
    path = ledger_of(Path(words[0]) if len(words) == 2 else None)
    with Ledger.open(path, readonly=True) as ledger:
        ident = ledger.records.numbered(int(words[-1]))
        found = ledger.records.get(("specimen", ident)) if ident is not None else None
        if not isinstance(found, Specimen):
            raise NotFound(f"{path}: there is no fish {words[-1]}", "")
        day = ""
        for entry, what, text in story(ledger, found):
            if as_json:
                click.echo(
                    json.dumps(
                        {"seq": entry.seq, "at_utc": entry.stamp.utc, "what": what, "text": text}, ensure_ascii=False
                    )
                )
                continue
            if entry.stamp.utc[:10] != day:
                day = entry.stamp.utc[:10]
                click.echo(f"— {day} (UTC) —")
            click.echo(f"{entry.seq:>7}  {entry.stamp.utc[11:19]}  {what:<8}  {text}")


def story(ledger: Ledger, fish: Specimen) -> Iterator[tuple[Entry, str, str]]:
    """Entries that concern a fish, what each is, and its words."""
    questions: dict[int, str] = {}
    for seq in ledger.inputs_of(fish.specimen_id, fish.opened_seq - 1):
        group = _group(ledger, seq)
        source, mine = group[0], [e for e in group[1:] if e.specimen_id == fish.specimen_id]
        if (said := _of_input(source)) is not None:
            yield source, *said
        told = {s.seq: s.text for s in narrate(source, group[1:])}
        for e in mine:
            if e.kind in ("asked", "noted"):
                questions[e.seq] = str(e.body["text"])
            if (said := _of_decision(e, told.get(e.seq), questions)) is not None:
                yield e, *said


def _group(ledger: Ledger, seq: int) -> list[Entry]:
    entries = ledger.entries(seq - 1)
    return [next(entries), *takewhile(lambda e: e.input_seq == seq, entries)]


def _of_input(entry: Entry) -> tuple[str, str] | None:
    b = entry.body
    if entry.kind == "reading":
        value = " ".join(str(b[k]) for k in ("value", "unit") if b.get(k) is not None)
        return "reading", f"{b['instrument']} sent {b['raw']!r}" + (f": {value}" if value else f": {b['condition']}")
    if entry.kind in _WORDS:
        text = " ".join([str(b["act"]), *map(str, b.get("args") or ())]) if entry.kind == "act" else str(b["text"])
        return entry.kind, text
    return None


#: Kinds of decisions → what the line says it is; others are `decided`.
_WHAT = {"asked": "asked", "noted": "noted", "mend": "mended", "stood-by": "answered", "measured": "value"}


def _of_decision(e: Entry, told: str | None, questions: dict[int, str]) -> tuple[str, str] | None:
    b: dict[str, Any] = e.body
    match e.kind:
        case "question" if b["event"] != "read out":
            what = "answered" if b["event"] == "answered" else "kept"
            return what, questions.get(b["question"], f"question {b['question']}")
        case "mend":
            details = [
                b["why"],
                *([f"by {b['who']}"] if b["who"] else []),
                *([f"see {b['evidence']}"] if b["evidence"] else []),
            ]
            return "mended", f"{told} ({', '.join(details)})"
        case "measured":
            verdict = f"verdict {b['verdict']}" + (f", {b['cause']}" if b["cause"] else "")
            return "value", f"{told} → {b['value']} {b['unit']} ({verdict})"
        case "judged":
            return "decided", f"judged again: verdict {b['verdict']}" + (f", {b['cause']}" if b["cause"] else "")
        case "suspect":
            return "decided", f"suspect: {b['cause']}"
        case "withdrawn":
            return "decided", f"value {b['measurement']} doesn't stand any more"
        case "stood-by":
            return "answered", f"{told}" + (f": {b['reason']}" if b["reason"] else "")
        case _:
            return None if told is None else (_WHAT.get(e.kind, "decided"), told)
