"""An act on a bench whose service isn't running: decided and recorded the same way, then the bench is let go again."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from ..announce.feed import Feed, lines_of
from ..bench.kernel import Bench
from ..config import Configured, read_bench
from ..entries import Entry
from ..ids import new_id
from ..languages import DEFAULT
from ..ledger import Ledger
from .clerk import Clerk
from .clock import Clock
from .folder import LEDGER, Lock
from .lines import Item


def acts_at_rest(folder: Path, acts: Sequence[tuple[str, Sequence[str]]]) -> Iterator[Mapping[str, Any]]:
    """Do acts one after the other; the answers are the control port's. A bench before its first day gets its ledger.

    Raises ThwartError: BenchInUse where a service does run.
    """
    configured = read_bench(folder)
    with Lock(folder), open_ledger(configured) as ledger:
        last = ledger.last_stamp
        clock = Clock(last.utc if last is not None else None)
        clerk = Clerk(configured.setup, ledger, clock, SimpleQueue(), Feed())
        clerk.resume()
        _, items = configuration(clerk.bench)
        for act, args in acts:
            entries: list[Entry] = []
            body = {
                "act": act, "args": list(args), "place": None, "via": "cli",
                "ids": [new_id(clock.now_ms()) for _ in configured.config.places],
            }  # fmt: skip
            clerk.begin([*items, Item("act", body, entries.extend)])
            items = []
            yield answered(entries)
        clerk.snapshot()


def open_ledger(configured: Configured) -> Ledger:
    """The ledger of a bench, made where this is its first day. Raises LedgerError and its kin."""
    path = configured.folder / LEDGER
    if not path.exists():
        Ledger.create(path, configured.config.name, new_id(time.time_ns() // 1_000_000)).close()
    return Ledger.open(path)


def configuration(bench: Bench) -> tuple[str, list[Item]]:
    """The configuration's hash, and the input that records it whole where the ledger doesn't hold it yet."""
    setup = bench.setup.to_json()
    text = json.dumps(setup, ensure_ascii=False, sort_keys=True)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    if bench.desk.config_sha256 == sha256:
        return sha256, []
    return sha256, [Item("configured", {"config_sha256": sha256, "setup": setup})]


def answered(entries: Sequence[Entry], code: str = DEFAULT) -> dict[str, Any]:
    """What is answered to whoever sent an act, once it is saved, in a language."""
    lines = lines_of(entries, code)
    refused = next((e for e in lines if e["kind"] == "refused"), None)
    said = [s["text"] for e in lines for s in e["said"]]
    if refused is not None:
        return {"ok": False, "error": refused["said"][0]["text"], "hint": "", "seq": entries[0].seq}
    fault = next((e for e in lines if e["kind"] == "told" and e["body"].get("code") == "fault"), None)
    if fault is not None:
        return {"ok": False, "error": fault["said"][0]["text"], "hint": "please report it", "seq": entries[0].seq}
    return {"ok": True, "seq": entries[0].seq, "said": said}
