"""Which bytes of a frame are a check over the others, and of what kind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import get_args

from ..profiles.model import CheckKind, Checksum, Framing
from ..wire.checksums import check_function, verifier

_KINDS: tuple[CheckKind, ...] = get_args(CheckKind)
_FUNCTIONS = {kind: check_function(kind) for kind in _KINDS}
#: Frames on which a candidate must hold before all of them are looked at.
_SEEDS = 6
_MOST_FRAMES = 200


def checks(framing: Framing, frames: Sequence[bytes]) -> list[Checksum]:
    """Checks that hold on nearly all of the different frames and change with them; the simplest first."""
    different = list(dict.fromkeys(frames))[:_MOST_FRAMES]
    if len(different) < 2:
        return []
    found = []
    for check in _candidates(framing, different):
        holds = verifier(check)
        held = [raw for raw in different if holds(raw)]
        end = check.trailing
        values = {raw[len(raw) - end - check.width : len(raw) - end] for raw in held}
        # A check that never changes proves nothing; each different value is wrong by chance once in 256 times.
        if len(values) >= 3 or (len(values) == 2 and (check.width > 1 or len(held) == len(different))):
            found.append((-len(held) * 10 // len(different), check.trailing, check.uncounted, check.first, check))
    most = min((rank[0] for rank in found), default=0)
    return [check for *_, check in sorted((r for r in found if r[0] == most and r[0] <= -4), key=lambda r: r[:4])][:3]


def _candidates(framing: Framing, frames: Sequence[bytes]) -> Iterator[Checksum]:
    seeds = _spread(frames)
    if framing.check_bytes:
        trailings: Sequence[int] = (0,)
        widths: Sequence[int] = (framing.check_bytes,)
    else:
        least = len(framing.end)
        trailings, widths = range(least, least + 3), (1, 2, 4)
    for trailing in trailings:
        for width in widths:
            ends = [raw[len(raw) - trailing - width : len(raw) - trailing] for raw in seeds]
            if len(set(ends)) < 2:
                continue
            for kind, written, order, uncounted, first in _holding(seeds, trailing, width):
                yield Checksum(kind=kind, written=written, order=order, uncounted=uncounted, first=first,
                               trailing=trailing)  # fmt: skip


def _spread(frames: Sequence[bytes]) -> list[bytes]:
    step = max(1, len(frames) // _SEEDS)
    return list(frames[::step][:_SEEDS])


def _holding(seeds: Sequence[bytes], trailing: int, width: int) -> Iterator[tuple[CheckKind, str, str, int, int]]:
    """Kinds that hold on at least two of the seeds."""
    for uncounted in range(3):
        for first in range(5):
            parts = []
            for raw in seeds:
                end = len(raw) - trailing - width
                if end - uncounted > first:
                    parts.append((raw[first : end - uncounted], raw[end : end + width]))
            if len(parts) < 2:
                continue
            for kind, function in _FUNCTIONS.items():
                size = 2 if kind.startswith("crc-16") else 1
                if width not in (size, size * 2):
                    continue
                written = "byte" if width == size else "hex"
                values = [function(part) for part, _ in parts]
                for order in ("high-first", "low-first")[: 2 if size == 2 else 1]:
                    held = 0
                    for value, (_, given) in zip(values, parts, strict=True):
                        raw_check = value.to_bytes(size, "big" if order == "high-first" else "little")
                        held += (raw_check.hex().upper().encode() if written == "hex" else raw_check) == (
                            given.upper() if written == "hex" else given
                        )
                    if held * 2 >= len(parts) and held >= 2:
                        yield kind, written, order, uncounted, first
