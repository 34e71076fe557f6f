"""What a capture says beside its bytes: silences, and line settings as a profile's keys."""

from __future__ import annotations

from typing import Any

from ..learn import Evidence, Observation
from ..ports import Capture

#: Pieces of a capture closer together than this are one read that was cut in two, not a silence.
_PAUSE_MS = 1.0


def evidence_of(heard: Capture, observations: tuple[Observation, ...]) -> Evidence:
    """A capture's bytes with the silences between its pieces."""
    silences = []
    offset = 0
    last: int | None = None
    for chunk in heard.chunks:
        if last is not None and (pause := (chunk.at_ns - last) / 1e6) > _PAUSE_MS:
            silences.append((offset, pause))
        last = chunk.at_ns
        offset += len(chunk.data)
    return Evidence(heard.data, observations, tuple(silences))


def line_keys(heard: Capture) -> dict[str, Any]:
    """The settings the capture was made with, as the keys of a profile; those every line has are left out."""
    line = heard.line
    if line is None:
        return {}
    usual = {"data_bits": 8, "parity": "none", "stop_bits": 1, "flow": "none", "dtr": True, "rts": True}
    given = {key: getattr(line, key) for key in ("baud", *usual)}
    return {key: value for key, value in given.items() if key == "baud" or value != usual[key]}
