"""Ways to cut the bytes into frames, likeliest first, and the frames each one gives (by the wire's own framers)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import gcd

from ..profiles.model import Framing
from ..wire.framer import framer_for
from .evidence import Evidence, Observation

_FILLER = b"\r\n"
#: Bytes that begin or end frames by custom (ISO 646 controls and brackets, the $ and ! of sentences), and their partners.
_STARTS = b"\x01\x02\x1b\x05\x0f\x10$!#:@<([{^=>*/%&~\\"
_ENDS = (b"\x03", b"\x04", b"\x17", b">", b")", b"]", b"}", b"\r\n", b"\r", b"\n", b"*", b"#", b";", b"$")
#: Terminators tried wherever they are found, the longer first.
_TERMINATORS = (
    b"\r\n\r\n", b"\n\n", b"\r\r", b"\n\r\n\r", b"\r\n\x0c", b"\r\n", b"\n\r", b"\r", b"\n",
    b"\x03", b"\x04", b"\x17", b"\x0c", b"\x1e", b"\x00", b";", b"#",
)  # fmt: skip
_LONGEST_FIXED = 80
#: What devices send between frames to no purpose: NUL, bell, form feed, the signs to go on and to wait, line idle.
_IDLE = b"\x00\x07\x0c\x11\x13\xff"
_LARGEST = 2048
#: A silence counts as the end of a frame only from this length on: three times an adapter's usual latency of 16 ms.
_LEAST_GAP_MS = 48.0


@dataclass(frozen=True, slots=True)
class Cut:
    """One frame: its bytes, where it began, and the row it lies in wholly (None where it straddles two, or none).

    `whole` is False for bytes the framing makes no frame of.
    """

    raw: bytes
    offset: int
    seen: Observation | None
    whole: bool = True


def framings(evidence: Evidence) -> Iterator[Framing]:
    """Candidates, the likeliest first."""
    data = evidence.data
    pieces = [data[o.offset : o.end] for o in evidence.observations if o.end > o.offset]
    firsts = _usual(piece.lstrip(_FILLER)[:1] for piece in pieces)
    lasts = _usual(piece[-1:] for piece in pieces)
    starts = [b for b in firsts if b[0] < 0x20 or b[0] >= 0x80 or b in [bytes([s]) for s in _STARTS]]
    made: list[Framing] = []
    for start in starts:
        made += _with_start(data, start)
    for end in _terminators(data, pieces, [*lasts, *starts]):
        made.append(Framing(terminators=(end,), max_length=_LARGEST))
        if idle := _idle(data, end):
            made.append(Framing(terminators=(end,), max_length=_LARGEST, filler=_FILLER + idle))
    for length, start in _fixed(data, pieces, firsts):
        if _several(data, length):
            continue
        made.append(Framing(start=start, length=length, max_length=_LARGEST))
    for gap in _gaps(evidence):
        made.append(Framing(gap_ms=gap, max_length=_LARGEST, filler=b""))
    yield from dict.fromkeys(made)


def cut(evidence: Evidence, framing: Framing) -> tuple[list[Cut], list[Cut]]:
    """The whole frames `framing` finds, and the bytes it makes no frame of, in their order."""
    framer = framer_for(framing)
    framer.start_trusted()
    found: list[tuple[int, bytes, bool]] = []
    if framing.gap_ms is not None:
        places = [0, *(at for at, ms in evidence.silences if ms >= framing.gap_ms and at), len(evidence.data)]
        found = [(a, evidence.data[a:b], True) for a, b in pairwise(places) if a < b]
    else:
        frames = framer.feed(evidence.data, 0) + framer.closed()
        found = [(frame.offset, frame.raw, frame.fault is None) for frame in frames]
    cuts: list[Cut] = []
    rows = iter(evidence.observations)
    row = next(rows, None)
    for offset, raw, whole in found:
        while row is not None and row.end <= offset:
            row = next(rows, None)
        inside = row is not None and row.offset <= offset and offset + len(raw.rstrip(_FILLER)) <= row.end
        cuts.append(Cut(raw, offset, row if inside else None, whole))
    return [one for one in cuts if one.whole], [one for one in cuts if not one.whole]


def _idle(data: bytes, end: bytes) -> bytes:
    """Bytes that stand before some frames, never within one, and mean nothing."""
    frames = data.split(end)
    used = [bytes([byte]) for byte in _IDLE if byte in data and byte not in end]
    inside = b"".join(frame.lstrip(_FILLER + b"".join(used)) for frame in frames)
    begun = [frame[: len(frame) - len(frame.lstrip(_FILLER + b"".join(used)))] for frame in frames]
    return b"".join(one for one in used if one not in inside and len({one in begin for begin in begun[:-1]}) > 1)


def _usual(found: Iterator[bytes]) -> list[bytes]:
    """Values at least a third of the pieces share, the commonest first."""
    counts = Counter(found)
    total = sum(counts.values())
    return [value for value, n in counts.most_common(3) if value and n * 3 >= total]


def _with_start(data: bytes, start: bytes) -> Iterator[Framing]:
    for end in _ENDS:
        if end == start or end not in data:
            continue
        # Between an end and the next start there may be check bytes, and line ends that mean nothing.
        yield Framing(start=start, end=end, max_length=_LARGEST)
        for size in (1, 2, 4):
            if end not in (b"\r\n", b"\r", b"\n"):
                yield Framing(start=start, end=end, check_bytes=size, max_length=_LARGEST)


def _terminators(data: bytes, pieces: list[bytes], lasts: list[bytes]) -> Iterator[bytes]:
    yield from (end for end in _TERMINATORS if end in data)
    yield from (end for end in lasts if not end.isalnum() and end not in b" +-.,")
    shared = _shared_end(pieces)
    line = shared[:-1].rfind(b"\n", 0, len(shared.rstrip(_FILLER))) + 1
    if line and len(shared) - line > 1:
        # A last line that is always the same, of a print-out of several.
        yield shared[line:]


def _shared_end(pieces: list[bytes]) -> bytes:
    if len(pieces) < 2:
        return b""
    size = 0
    while size < 40 and size < min(map(len, pieces)) and len({piece[-size - 1] for piece in pieces}) == 1:
        size += 1
    return pieces[0][len(pieces[0]) - size :] if size else b""


def _fixed(data: bytes, pieces: list[bytes], firsts: list[bytes]) -> Iterator[tuple[int, bytes]]:
    """Lengths, with the start bytes that repeat at that distance."""
    # What comes again within a row is a frame again: the display stood still.
    common = gcd(*(_period(piece) for piece in pieces)) if pieces else 0
    for first in firsts:
        places = [at for at, byte in enumerate(data) if byte == first[0]]
        steps = Counter(b - a for a, b in pairwise(places))
        for length, _ in steps.most_common(3):
            if 3 <= length <= _LONGEST_FIXED and (first[0] < 0x20 or not first.isalnum()) and first not in b"\r\n .,":
                yield length, first
    for length in range(min(common, _LONGEST_FIXED), 2, -1):
        if common % length == 0:
            for start in (first for first in firsts if not first.isalnum() and first not in b"\r\n .,"):
                yield length, start
            yield length, b""


def _several(data: bytes, length: int) -> bool:
    """Whether pieces of this length begin with the same control twice: STX or SOH before each of several texts."""
    first = next((byte for byte in data if byte in b"\x01\x02"), None)
    if first is None or any(
        (byte < 0x20 and byte not in b"\x01\x02\x03\x04\x17\r\n\t") or byte > 0x7E for byte in data
    ):
        return False
    begin = data.index(first)
    pieces = [data[at : at + length] for at in range(begin, len(data) - length + 1, length)]
    return any(all(piece[at] == first for piece in pieces) for at in range(1, length)) if pieces else False


def _period(piece: bytes) -> int:
    """After how many bytes the piece repeats itself, to its end; its length where it doesn't."""
    size = len(piece)
    return next((n for n in range(3, size // 2 + 1) if size % n == 0 and piece == piece[:n] * (size // n)), size)


def _gaps(evidence: Evidence) -> Iterator[float]:
    """Silences that could part frames: between two neighbours in size that are far apart, in milliseconds."""
    sizes = sorted({ms for _, ms in evidence.silences if ms >= 1})
    if not sizes:
        return
    below = [ms for ms in sizes if ms < _LEAST_GAP_MS]
    steps = [(below[-1] if below else 1.0), *(ms for ms in sizes if ms >= _LEAST_GAP_MS)]
    for low, high in pairwise(steps):
        if high >= 2 * low:
            gap = round(max(_LEAST_GAP_MS, (low * high) ** 0.5), 0)
            if low < gap <= high:
                yield gap
