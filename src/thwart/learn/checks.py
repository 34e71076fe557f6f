"""Which bytes of a frame are a check over the others, and of what kind."""

from __future__ import annotations

import re
from binascii import unhexlify
from collections.abc import Callable, Iterator, Sequence
from typing import get_args

from ..profiles.model import CheckKind, Checksum, Framing
from ..wire.checksums import check_function, verifier, writer

_KINDS: tuple[CheckKind, ...] = get_args(CheckKind)
_FUNCTIONS = {kind: check_function(kind) for kind in _KINDS}
#: What the written check looks like, for those that have a look.
_LOOKS = {"hex": re.compile(rb"[0-9A-Fa-f]+"), "decimal": re.compile(rb"[0-9]+"), "nibbles": re.compile(rb"[0-?]+")}
#: Frames on which a candidate must hold before all of them are looked at.
_SEEDS = 6
#: Two bytes or more in pairs of digits: one alone would be its own check.
_PAIRS = re.compile(rb"(?:[0-9A-Fa-f]{2}){2,}")
_Form = tuple[Checksum, Callable[[int], bytes]]
_MOST_FRAMES = 200


def _forms() -> Iterator[Checksum]:
    """Every kind in every writing, without its place."""
    for kind in _KINDS:
        if kind.startswith("sum-mod"):
            yield Checksum(kind=kind, written="decimal")
        elif kind in ("sum-folded", "xor-7", "sum-7"):
            yield Checksum(kind=kind, written="byte")
        else:
            for written in ("hex", "byte", "nibbles", *(("decimal",) if kind.startswith("sum") else ())):
                one = Checksum(kind=kind, written=written)
                yield one
                if one.size > 1 or written in ("hex", "nibbles"):
                    yield one.model_copy(update={"order": "low-first"})


_FORMS = [(one, writer(one), one.width, _LOOKS.get(one.written)) for one in _forms()]


def checks(framing: Framing, frames: Sequence[bytes]) -> list[Checksum]:
    """Checks that hold on nearly all of the different frames and change with them; the simplest first."""
    different = list(dict.fromkeys(frames))[:_MOST_FRAMES]
    if len(different) < 2:
        return []
    found = []
    for order, check in enumerate(_candidates(framing, different)):
        holds = verifier(check)
        held = [raw for raw in different if holds(raw)]
        end = check.trailing
        # What isn't counted in isn't looked at either: it must be the same in all.
        aside = {raw[len(raw) - end - check.width - check.uncounted : len(raw) - end - check.width] for raw in held}
        if len(aside) > 1 or any(char.isalnum() for char in b"".join(aside).decode("latin-1")):
            continue
        values = {raw[len(raw) - end - check.width : len(raw) - end] for raw in held}
        # A check that never changes proves nothing; each different value is wrong by chance once in 256 times.
        if len(values) >= 3 or (len(values) == 2 and (check.width > 1 or len(held) == len(different))):
            rank = (-len(held) * 10 // len(different), check.trailing, check.uncounted, check.first, order)
            found.append((rank, check))
    most = min((rank[0] for rank, _ in found), default=0)
    return [check for _, check in sorted((r for r in found if r[0][0] == most and most <= -4), key=lambda r: r[0])][:3]


def _candidates(framing: Framing, frames: Sequence[bytes]) -> Iterator[Checksum]:
    seeds = _spread(frames)
    if framing.check_bytes:
        trailings: Sequence[int] = (0,)
        widths: Sequence[int] = (framing.check_bytes,)
    else:
        least = len(framing.end)
        trailings, widths = range(least, least + 3), sorted({width for *_, width, _ in _FORMS})
    for trailing in trailings:
        for width in widths:
            ends = [raw[len(raw) - trailing - width : len(raw) - trailing] for raw in seeds]
            if len(set(ends)) > 1:
                yield from _holding(seeds, ends, trailing, width)


def _spread(frames: Sequence[bytes]) -> list[bytes]:
    step = max(1, len(frames) // _SEEDS)
    return list(frames[::step][:_SEEDS])


def _holding(seeds: Sequence[bytes], ends: Sequence[bytes], trailing: int, width: int) -> Iterator[Checksum]:
    """Checks of this width at this place that hold on at least two of the seeds, and half of them."""
    fitting: dict[CheckKind, list[_Form]] = {}
    for one, written, size, look in _FORMS:
        if size == width and (look is None or 2 * sum(look.fullmatch(end) is not None for end in ends) >= len(ends)):
            fitting.setdefault(one.kind, []).append((one, written))
    for uncounted in range(3):
        for first in range(5):
            parts = [
                (raw[first : end - uncounted], given.upper())
                for raw, given in zip(seeds, ends, strict=True)
                if (end := len(raw) - trailing - width) - uncounted > first
            ]
            if len(parts) < 2:
                continue
            yield from _kinds_holding(parts, fitting, {"first": first, "uncounted": uncounted, "trailing": trailing})
            coded = [(unhexlify(part), given) for part, given in parts if _PAIRS.fullmatch(part)]
            if width > 1 and len(coded) > 1 and 2 * len(coded) >= len(parts):
                written_hex = {kind: [f for f in forms if f[0].written == "hex"] for kind, forms in fitting.items()}
                yield from _kinds_holding(
                    coded, written_hex, {"first": first, "uncounted": uncounted, "trailing": trailing, "over": "pairs"}
                )


def _kinds_holding(
    parts: Sequence[tuple[bytes, bytes]], fitting: dict[CheckKind, list[_Form]], place: dict[str, object]
) -> Iterator[Checksum]:
    """Checks that hold between these parts and what is given as their check, with where they stand."""
    for kind, forms in fitting.items():
        function = _FUNCTIONS[kind]
        held = [0] * len(forms)
        for turn, (part, given) in enumerate(parts):
            # What failed on half of them by now can't hold on half and one.
            if turn > len(parts) // 2 and not any(held):
                break
            value = function(part)
            for at, (_, written) in enumerate(forms):
                held[at] += written(value).upper() == given
        for (one, _), n in zip(forms, held, strict=True):
            if n * 2 >= len(parts) and n >= 2:
                yield one.model_copy(update=place)
