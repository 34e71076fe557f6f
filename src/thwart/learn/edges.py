"""Edges of what was captured: a capture that begins within a frame, and rows that begin within one. Pure."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace

from ..profiles.model import Framing
from ..wire.decoder import Decoder, margins
from ..wire.events import Decoded
from .accounts import Account
from .evidence import Evidence
from .framings import cut, framings

#: So many of the likeliest framings say where frames begin.
_MOST = 4
#: So many spaces that stood before a number may be lost.
_MOST_SPACES = 12


def without_begin(evidence: Evidence) -> Iterator[tuple[bytes, Evidence]]:
    """The first frame as it may have been torn, and the evidence without it."""
    for at in dict.fromkeys(_begins(evidence, framing)[0] for framing in _telling(evidence)):
        rows = tuple(
            replace(o, offset=max(0, o.offset - at), end=o.end - at) for o in evidence.observations if o.end > at
        )
        if len(rows) > 1:
            silences = tuple((where - at, ms) for where, ms in evidence.silences if where > at)
            yield evidence.data[:at], Evidence(evidence.data[at:], rows, silences)


def aligned(evidence: Evidence) -> Iterator[Evidence]:
    """The evidence with each row begun where the nearest frame begins: what was written down lagged, or came early."""
    made = []
    for framing in _telling(evidence):
        begins = [0, *_begins(evidence, framing), len(evidence.data)]
        offsets = [_nearest(begins, o.offset) for o in evidence.observations]
        ends = [_nearest(begins, o.end) for o in evidence.observations]
        if offsets == [o.offset for o in evidence.observations] or len(set(offsets)) < len(offsets):
            continue
        rows = tuple(
            replace(o, offset=offset, end=end)
            for o, offset, end in zip(evidence.observations, offsets, ends, strict=True)
        )
        made.append(replace(evidence, observations=rows))
    yield from dict.fromkeys(made)


def is_torn(first: bytes, evidence: Evidence, account: Account) -> bool:
    """Whether `first`, which came before all frames of the account, is the end of a frame that it would understand.

    Completed, it says what was shown; or what is left of its number is the end of the one that was shown.
    """
    assert account.profile is not None
    framing = account.framing
    head, tail = margins(framing, account.check)
    raw = _unended(first, framing)
    body = raw[head if framing.start and raw.startswith(framing.start) else 0 : len(raw) - tail]
    plain = Framing(terminators=(b"\n",), max_length=framing.max_length)
    decoder = Decoder(account.profile.model_copy(update={"checksum": None, "framing": plain}))
    seen = evidence.observations[0]
    shown = seen.text.lstrip("+- ").replace(",", ".")
    said = decoder.decode(body)
    if isinstance(said, Decoded):
        left = (said.text or "").lstrip("+- ").replace(",", ".")
        same = said.value is None or seen.value is None or abs(said.value) == abs(seen.value)
        return not same and bool(left) and shown.endswith(left)
    heads = {
        frame.body[:size] for shape in account.shapes for frame in shape.frames[:4] for size in range(len(frame.body))
    }
    heads |= {b" " * size for size in range(1, _MOST_SPACES)}
    completed = [said for head in sorted(heads) if isinstance(said := decoder.decode(head + body), Decoded)]
    if seen.value is None:
        return any(said.condition == seen.condition for said in completed)
    lost = shown.encode() not in body.replace(b",", b".")
    return any(said.value is not None and (lost or abs(said.value) == abs(seen.value)) for said in completed)


def _unended(first: bytes, framing: Framing) -> bytes:
    """The bytes without terminator, or up to the end and its check."""
    if framing.terminators:
        last = max(
            ((at, end) for end in framing.terminators if (at := first.rfind(end)) >= 0), default=(len(first), b"")
        )
        return first[: last[0]].lstrip(framing.filler)
    at = first.rfind(framing.end) if framing.end else -1
    return first if at < 0 else first[: at + len(framing.end) + framing.check_bytes]


def _telling(evidence: Evidence) -> list[Framing]:
    """Framings whose frames have an end or a begin of their own, those that find several frames."""
    found = (framing for framing in framings(evidence) if framing.terminators or framing.start)
    return [
        framing for framing, _ in zip((f for f in found if len(_begins(evidence, f)) > 1), range(_MOST), strict=False)
    ]


def _begins(evidence: Evidence, framing: Framing) -> list[int]:
    """Where each frame but the first begins."""
    return [one.offset for one in cut(evidence, framing)[0] if one.offset > 0]


def _nearest(begins: list[int], offset: int) -> int:
    at = bisect_left(begins, offset)
    return min(begins[max(0, at - 1) : at + 1], key=lambda begin: abs(begin - offset))


__all__ = ["aligned", "is_torn", "without_begin"]
