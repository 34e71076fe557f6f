"""An entry: one thing that was said (input) or decided (decision), in the one order there is. Pure.

Canonical bytes are the entry's JSON: UTF-8, keys sorted, no blanks, decimals as text, no floats. The hash of an entry
is SHA-256 over the hash before it and these bytes. docs/ledger.md says it so that another program can check it.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import Any

import msgspec

#: What can be an input. A closed list, documented and tested.
INPUTS = (
    "started", "stopped", "configured", "port", "arrival", "reading", "emptied", "scan", "key", "act", "wake",
    "rejected", "overflow",
)  # fmt: skip

#: The hash before the first entry.
ORIGIN = bytes(32)

#: Version of the payloads written now; entries are never migrated, they carry it.
VERSION = 1


class Stamp(msgspec.Struct, frozen=True, gc=False):
    """The clocks' labels. Order is `seq` alone. `boot` is the system's boot id, or a UUID per start."""

    utc: str
    mono_ns: int
    boot: str
    clock_ok: bool


class Entry(msgspec.Struct, frozen=True, gc=False):
    """One entry. `input_seq` is None for an input; a decision names the input it answers."""

    seq: int
    kind: str
    input_seq: int | None
    specimen_id: str | None
    stamp: Stamp
    body: dict[str, Any]
    version: int = VERSION


_encoder = msgspec.json.Encoder(order="sorted")


def _encode(value: Any) -> str:
    return _encoder.encode(value).decode()


@lru_cache(4096)
def _again(text: str) -> str:
    """A text that comes in many entries (kind, boot, specimen, the moment of an input), encoded once."""
    return _encode(text)


def canonical_text(entry: Entry) -> str:
    """What is stored of an entry. Raises TypeError where the body holds a float, a Decimal or anything else unknown.

    Bytes an instrument sent stand in the body as Latin-1 text: a code point a byte, so nothing is lost.
    """
    _refuse_others(entry.body)
    stamp, given, specimen = entry.stamp, entry.input_seq, entry.specimen_id
    # Put together by hand, keys in their order: twice as fast as sorting them again for each entry.
    return (
        f'{{"at":{_again(stamp.utc)},"body":{_encode(entry.body)},"boot":{_again(stamp.boot)}'
        f',"clock_ok":{"true" if stamp.clock_ok else "false"},"input":{"null" if given is None else given}'
        f',"kind":{_again(entry.kind)},"mono_ns":{stamp.mono_ns},"seq":{entry.seq}'
        f',"specimen":{"null" if specimen is None else _again(specimen)},"v":{entry.version}}}'
    )


def canonical(entry: Entry) -> bytes:
    """The bytes that are hashed: `canonical_text` as UTF-8."""
    return canonical_text(entry).encode()


def parsed(text: str) -> Entry:
    """The entry that `canonical_text` wrote. Raises ValueError where the text isn't one (floats are not)."""
    try:
        data = _decode(text)
        if data.keys() != _FIELDS:
            raise ValueError(f"its fields are {', '.join(sorted(data))}")
        return Entry(
            seq=data["seq"],
            kind=data["kind"],
            input_seq=data["input"],
            specimen_id=data["specimen"],
            stamp=Stamp(data["at"], data["mono_ns"], data["boot"], data["clock_ok"]),
            body=data["body"],
            version=data["v"],
        )
    except (ValueError, AttributeError) as fault:
        raise ValueError(f"not an entry: {fault}") from fault


def chained(before: bytes, data: bytes) -> bytes:
    """The hash of an entry from the hash before it and its canonical bytes."""
    return hashlib.sha256(before + data).digest()


_FIELDS = {"at", "body", "boot", "clock_ok", "input", "kind", "mono_ns", "seq", "specimen", "v"}


def _refuse_others(value: Any) -> None:
    # A float has no one spelling, so it would make two programs hash one entry differently.
    kind = type(value)
    if kind is dict:
        for inner in value.values():
            if type(inner) not in _PLAIN:
                _refuse_others(inner)
    elif kind is list or kind is tuple:
        for inner in value:
            if type(inner) not in _PLAIN:
                _refuse_others(inner)
    elif not isinstance(value, _PLAIN):
        name = "float" if isinstance(value, float) else kind.__name__
        raise TypeError(f"an entry's body holds the {name} {value!r}; numbers with a fraction stand as text")


_PLAIN = (str, int, bool, type(None))


def _no_float(text: str) -> Any:
    raise ValueError(f"holds the float {text}")


_decode = json.JSONDecoder(parse_float=_no_float, parse_constant=_no_float).decode
