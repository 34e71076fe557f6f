"""Which of the frames heard go into the profile as its samples. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..profiles.model import Framing, Profile
from ..wire.decoder import Decoder
from ..wire.events import Decoded
from .evidence import NUMBERED, Evidence
from .framings import Cut

_MOST = 16
_EACH = 3
_MEANINGS = ("text", "unit", "condition", "settled", "load", "identifier", "symbology")


def samples(profile: Profile, cuts: Sequence[Cut], evidence: Evidence) -> list[dict[str, Any]]:
    """Up to three frames of each kind of meaning, as they were heard while the rows showed just that."""
    decoder = Decoder(profile)
    taken: dict[tuple[object, ...], list[dict[str, Any]]] = {}
    chatter: list[dict[str, Any]] = []
    seen: set[bytes] = set()
    for one in cuts:
        if one.seen is None or one.raw in seen:
            continue
        said = decoder.decode(one.raw)
        if said is None and len(chatter) < 2:
            seen.add(one.raw)
            chatter.append(written(profile.framing, one.raw) | {"chatter": True})
        if not isinstance(said, Decoded):
            continue
        if said.value is not None and one.seen.condition not in NUMBERED:
            continue
        if said.value is not None and one.seen.value is not None and one.seen.condition != "moving":
            shown = one.seen.value
            if one.seen.unit == said.unit and said.value != shown:
                continue
        seen.add(one.raw)
        key = (said.condition, said.unit, said.load, said.value is not None and said.value < 0)
        kept = taken.setdefault(key, [])
        if len(kept) < _EACH:
            meaning = {name: getattr(said, name) for name in _MEANINGS}
            kept.append(
                written(profile.framing, one.raw)
                | {k: v for k, v in meaning.items() if v is not None and (k, v) != ("condition", "ok")}
            )
    return [sample for kept in taken.values() for sample in kept][:_MOST] + chatter


def written(framing: Framing, raw: bytes) -> dict[str, Any]:
    """A frame as it comes off the line, as text where it is text."""
    whole = raw + (min(framing.terminators, key=len) if framing.terminators else b"")
    if all(0x20 <= byte < 0x7F or byte in b"\r\n\t\x02\x03" for byte in whole):
        return {"frame": whole.decode("latin-1")}
    return {"hex": whole.hex(" ").upper()}
