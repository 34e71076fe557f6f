"""An act on a bench whose service isn't running: decided and recorded the same way, then the bench is let go again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from ..announce.feed import Feed, lines_of
from ..bench.kernel import Bench
from ..config import read_bench
from ..entries import Entry
from ..errors import NotFound
from ..ids import new_id
from ..ledger import Ledger
from .clerk import Clerk
from .clock import Clock
from .folder import LEDGER, Lock
from .lines import Item


def act_at_rest(folder: Path, act: str, args: Sequence[str], place: str | None) -> Mapping[str, Any]:
    """Do an act; the answer is the control port's. Raises ThwartError: BenchInUse where a service does run."""
    configured = read_bench(folder)
    path = folder / LEDGER
    if not path.is_file():
        raise NotFound(f"{folder}: no {LEDGER} yet", f"`thwart run {folder}` makes it")
    with Lock(folder), Ledger.open(path) as ledger:
        last = ledger.last_stamp
        clock = Clock(last.utc if last is not None else None)
        clerk = Clerk(configured.setup, ledger, clock, SimpleQueue(), Feed())
        clerk.resume()
        _, items = configuration(clerk.bench)
        entries: list[Entry] = []
        body = {
            "act": act, "args": list(args), "place": place, "via": "cli",
            "ids": [new_id(clock.now_ms()) for _ in configured.config.places],
        }  # fmt: skip
        clerk.begin([*items, Item("act", body, entries.extend)])
        clerk.snapshot()
        return answered(entries)


def configuration(bench: Bench) -> tuple[str, list[Item]]:
    """The configuration's hash, and the input that records it whole where the ledger doesn't hold it yet."""
    setup = bench.setup.to_json()
    text = json.dumps(setup, ensure_ascii=False, sort_keys=True)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    if bench.desk.config_sha256 == sha256:
        return sha256, []
    return sha256, [Item("configured", {"config_sha256": sha256, "setup": setup})]


def answered(entries: Sequence[Entry]) -> dict[str, Any]:
    """What is answered to whoever sent an act, once it is saved."""
    lines = lines_of(entries)
    refused = next((e["body"] for e in lines if e["kind"] == "refused"), None)
    said = [s["text"] for e in lines for s in e["said"]]
    if refused is not None:
        return {"ok": False, "error": refused["text"], "hint": "", "seq": entries[0].seq}
    fault = next((e["body"] for e in lines if e["kind"] == "told" and e["body"].get("code") == "fault"), None)
    if fault is not None:
        return {"ok": False, "error": fault["text"], "hint": "please report it", "seq": entries[0].seq}
    return {"ok": True, "seq": entries[0].seq, "said": said}
