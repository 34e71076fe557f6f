"""An entry: one thing that was said (input) or decided (decision), in the one order there is. Pure.

Canonical bytes are the entry's JSON: UTF-8, keys sorted, no blanks, decimals as text, no floats. The hash of an entry
is SHA-256 over the hash before it and these bytes.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

#: What can be an input. A closed list, documented and tested.
INPUTS = (
    "started", "stopped", "configured", "port", "arrival", "reading", "emptied", "scan", "key", "act", "wake", "rejected",
    "overflow",
)  # fmt: skip

#: The hash before the first entry.
ORIGIN = bytes(32)

#: Version of the payloads written now; entries are never migrated, they carry it.
VERSION = 1


@dataclass(frozen=True, slots=True)
class Stamp:
    """The clocks' labels. Order is `seq` alone. `boot` is the system's boot id, or a UUID per start."""

    utc: str
    mono_ns: int
    boot: str
    clock_ok: bool


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry. `input_seq` is None for an input; a decision names the input it answers."""

    seq: int
    kind: str
    input_seq: int | None
    specimen_id: str | None
    stamp: Stamp
    body: dict[str, Any]
    version: int = VERSION


def canonical(entry: Entry) -> bytes:
    """The bytes that are hashed and stored. Raises TypeError where the body holds a Decimal or anything else unknown.

    Bytes an instrument sent stand in the body as Latin-1 text: a code point a byte, so nothing is lost.
    """
    return json.dumps(
        {
            "at": entry.stamp.utc,
            "body": entry.body,
            "boot": entry.stamp.boot,
            "clock_ok": entry.stamp.clock_ok,
            "input": entry.input_seq,
            "kind": entry.kind,
            "mono_ns": entry.stamp.mono_ns,
            "seq": entry.seq,
            "specimen": entry.specimen_id,
            "v": entry.version,
        },
        ensure_ascii=False,
        sort_keys=True,
        separators=(",", ":"),
        allow_nan=False,
    ).encode()


def chained(before: bytes, data: bytes) -> bytes:
    """The hash of an entry from the hash before it and its canonical bytes."""
    return hashlib.sha256(before + data).digest()
