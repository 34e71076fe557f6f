"""Instruments whose numbers are no text: where in frames of one length the shown value stands, byte by byte. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from struct import unpack
from typing import Any, Literal

from pydantic import ValidationError

from .. import units
from ..profiles.model import Checksum, Framing, Order, Profile, from_mapping
from ..wire.decoder import Decoder
from ..wire.events import Decoded
from .accounts import Account, Aim, ranged, take
from .checks import checks
from .evidence import NUMBERED, Evidence
from .forms import Reading
from .framings import Cut, cut, framings
from .places import Frame
from .samples import samples

Digits = Literal["bcd", "unsigned", "signed", "float"]
_MOST_DECIMALS = 5
_WIDEST = 5
#: Fewer values could stand anywhere by chance.
FEWEST_VALUES = 3
#: Constant bytes at the begin of a frame that find it again after noise.
_LONGEST_START = 4


@dataclass(frozen=True, slots=True)
class _Column:
    """An account of where the number is: `size` bytes from `first`, written so, with so many implied decimals.

    `sign`: the byte that tells below zero from above, None where the number itself does.
    """

    first: int
    size: int
    digits: Digits
    order: Order
    decimals: int
    sign: int | None = None


def binary_account(evidence: Evidence, name: str, aim: Aim) -> tuple[Profile, Account] | None:
    """The profile of an instrument that sends numbers as bytes, or None where no account fits."""
    values = {o.value for o in evidence.observations if o.value and o.condition in NUMBERED}
    if aim.unit is None or len(values) < FEWEST_VALUES:
        return None
    best: tuple[tuple[float, ...], Profile, Account] | None = None
    for framing in dict.fromkeys(_fixed(evidence)):
        cuts, torn = cut(evidence, framing)
        raws = [one.raw for one in cuts if one.seen is not None]
        for check in [*checks(framing, raws), None]:
            frames = take(cuts, framing, check)
            made = _profile(frames, framing, check, evidence, name, aim)
            if made is None or not _proved(made, cuts, evidence):
                continue
            lost = sum(len(one.raw) for one in torn) / max(1, len(evidence.data))
            key = (round(lost, 2), check is None, -len(framing.start), framing.length or 0)
            if best is None or key < best[0]:
                account = Account(framing, check, Reading("plain", False), made, unit=aim.unit)
                best = (key, _finished(made, cuts, evidence), account)
    return None if best is None else best[1:]


def _fixed(evidence: Evidence) -> Iterator[Framing]:
    """Fixed lengths, each with as much of a constant start as there is."""
    for framing in framings(evidence):
        if framing.length is None:
            continue
        raws = [one.raw for one in cut(evidence, framing)[0] if one.seen is not None]
        size = 0
        while raws and size < min(_LONGEST_START, framing.length - 2) and len({raw[size] for raw in raws}) == 1:
            size += 1
        for longest in range(size, 0, -1):
            start = raws[0][:longest]
            yield Framing(start=start, length=framing.length, max_length=framing.max_length, filler=b"")


def _profile(
    frames: Sequence[Frame], framing: Framing, check: Checksum | None, evidence: Evidence, name: str, aim: Aim
) -> Profile | None:
    rows = {o.number for o in evidence.observations if o.value is not None and o.condition in NUMBERED}
    valued = [f for f in frames if f.seen is not None and f.seen.number in rows]
    if (
        not valued
        or {f.seen.number for f in valued if f.seen is not None} != rows
        or len({len(f.body) for f in frames}) > 1
    ):
        return None
    columns = [c for c in _columns(len(frames[0].body)) if c.first >= len(framing.start)]
    signs = [at for at in _signs(valued) if at >= len(framing.start)]
    columns += [
        replace(c, sign=at) for at in signs for c in columns
        if c.digits in ("bcd", "unsigned") and not c.first <= at < c.first + c.size
    ]  # fmt: skip
    found = [column for column in columns if _fits(column, valued, aim.unit)]
    # The fewest bytes that hold what was shown: the rest stays as it was seen.
    for column in sorted(found, key=lambda c: (c.size, c.digits != "unsigned", c.decimals)):
        data = _data(frames, column, framing, check, evidence, aim)
        if data is not None:
            try:
                return from_mapping(name, data)
            except ValidationError:
                continue
    return None


def _signs(valued: Sequence[Frame]) -> list[int]:
    """Bytes that were one thing with all values below zero, and another with all others."""
    below = [f.body for f in valued if f.seen is not None and f.seen.value is not None and f.seen.value < 0]
    above = [f.body for f in valued if f.seen is not None and f.seen.value is not None and f.seen.value > 0]
    if not below or not above:
        return []
    return [
        at for at in range(len(below[0]))
        if len({body[at] for body in below}) == len({body[at] for body in above}) == 1 and below[0][at] != above[0][at]
    ]  # fmt: skip


def _columns(size: int) -> Iterator[_Column]:
    for first in range(size):
        for wide in range(1, min(_WIDEST, size - first) + 1):
            for decimals in range(_MOST_DECIMALS):
                for order in ("high-first", "low-first")[: 1 if wide == 1 else 2]:
                    yield _Column(first, wide, "bcd", order, decimals)  # type: ignore[arg-type]
                    if wide <= 4:
                        yield _Column(first, wide, "unsigned", order, decimals)  # type: ignore[arg-type]
                        yield _Column(first, wide, "signed", order, decimals)  # type: ignore[arg-type]
                    if wide == 4:
                        yield _Column(first, wide, "float", order, decimals)  # type: ignore[arg-type]


def _fits(column: _Column, valued: Sequence[Frame], unit: str | None) -> bool:
    """Whether the column holds what was shown: in all frames of still rows, in one of each row that moved."""
    moved: dict[int, bool] = {}
    for frame in valued:
        seen = frame.seen
        assert seen is not None
        assert seen.value is not None
        wanted = seen.value
        if seen.unit and unit and seen.unit != unit:
            wanted = units.from_base(units.to_base(wanted, seen.unit), unit)
        right = _value(column, frame.body) == (wanted if column.sign is None else abs(wanted))
        if seen.condition == "moving":
            moved[seen.number] = moved.get(seen.number, False) or right
        elif not right:
            return False
    return all(moved.values())


def _value(column: _Column, body: bytes) -> Decimal | None:
    raw = body[column.first : column.first + column.size]
    order: Literal["big", "little"] = "big" if column.order == "high-first" else "little"
    if column.digits == "float":
        value = unpack(">f" if order == "big" else "<f", raw)[0]
        return Decimal(format(value, f".{column.decimals}f")) if abs(value) < 1e9 else None
    if column.digits == "bcd":
        text = (raw if order == "big" else raw[::-1]).hex()
        return Decimal(text).scaleb(-column.decimals) if text.isdigit() else None
    return Decimal(int.from_bytes(raw, order, signed=column.digits == "signed")).scaleb(-column.decimals)


def _data(
    frames: Sequence[Frame], column: _Column, framing: Framing, check: Checksum | None, evidence: Evidence, aim: Aim
) -> dict[str, Any] | None:
    """The profile as plain data; None where a byte varies without any account."""
    moves = any(f.seen is not None and f.seen.condition == "moving" for f in frames)
    pieces: list[str] = []
    marks: dict[str, dict[str, str]] = {}
    for at in range(len(frames[0].body)):
        if column.first <= at < column.first + column.size:
            if at == column.first:
                pieces.append(f"(?P<number>{_number(column, frames)})")
            continue
        texts = dict.fromkeys(f.body[at] for f in frames)
        if at == column.sign:
            known = [(f.body[at], f.seen.value) for f in frames if f.seen is not None and f.seen.value is not None]
            below = {byte for byte, value in known if value < 0}
            if set(texts) != {byte for byte, _ in known}:
                return None
            marks["sign_"] = {chr(byte): "negative" if byte in below else "normal" for byte in texts}
            pieces.append("(?P<sign_>" + "|".join(map(_byte, texts)) + ")")
            continue
        if len(texts) == 1:
            pieces.append(_byte(next(iter(texts))))
            continue
        told = _told(frames, at, moves)
        if told is None or "status" in marks:
            return None
        marks["status"] = {chr(byte): said for byte, said in told.items()}
        pieces.append("(?P<status>" + "|".join(map(_byte, told)) + ")")
    shown = [o.value for o in evidence.observations if o.value is not None and o.condition in NUMBERED]
    layout: dict[str, Any] = {"pattern": "".join(pieces), "digits": column.digits, "decimals": column.decimals}
    if column.size > 1:
        layout["order"] = column.order
    if marks:
        layout["marks"] = marks
    data: dict[str, Any] = {
        "title": "learned", "kind": units.quantity_of(aim.unit or ""), "mode": "prints", "emptied": "each", "unit": aim.unit,
        "division": format(units.EXACT.scaleb(1, -column.decimals), "f"), "range": ranged(shown),
        "framing": framing.model_dump(exclude_defaults=True) | {"filler": ""}, "layout": [layout],
        "sample": [{"frame": "x", "chatter": True}], "line": aim.line,
    }  # fmt: skip
    if check is not None:
        data["checksum"] = check.model_dump(exclude_defaults=True) | {"kind": check.kind}
    return data


def _number(column: _Column, frames: Sequence[Frame]) -> str:
    """Any bytes there; where nothing below zero was shown, the bit that could be a sign stays as it was."""
    if column.digits != "unsigned":
        return f".{{{column.size}}}"
    high = column.first if column.order == "high-first" else column.first + column.size - 1
    if any(f.body[high] & 0x80 for f in frames):
        return f".{{{column.size}}}"
    rest = f".{{{column.size - 1}}}" if column.size > 1 else ""
    return "[\\x00-\\x7f]" + rest if column.order == "high-first" else rest + "[\\x00-\\x7f]"


def _told(frames: Sequence[Frame], at: int, moves: bool) -> dict[int, str] | None:
    """Byte → the condition it tells; None where one byte came under several."""
    seen: dict[int, set[str]] = {}
    for frame in frames:
        if frame.seen is not None and frame.seen.condition != "nothing":
            seen.setdefault(frame.body[at], set()).add(frame.seen.condition)
    out = {}
    for byte, conditions in seen.items():
        if len(conditions) > 1 and conditions != {"ok", "zero"} and conditions != {"ok", "moving"}:
            return None
        condition = "ok" if "ok" in conditions else next(iter(conditions))
        out[byte] = ("settled" if moves else "normal") if condition == "ok" else condition
    return out if len(set(out.values())) == len(out) else None


def _byte(byte: int) -> str:
    return f"\\x{byte:02x}"


def _proved(profile: Profile, cuts: Sequence[Cut], evidence: Evidence) -> bool:
    """Whether every frame of each row says just what was shown."""
    decoder = Decoder(profile)
    for one in cuts:
        seen = one.seen
        if seen is None or seen.condition == "nothing":
            continue
        said = decoder.decode(one.raw)
        if not isinstance(said, Decoded):
            continue
        if seen.condition not in NUMBERED and (said.value is not None or said.condition != seen.condition):
            return False
        if seen.condition in ("ok", "zero") and said.condition not in ("ok", "zero"):
            return False
    heard = {one.seen.number for one in cuts if one.seen is not None and isinstance(decoder.decode(one.raw), Decoded)}
    return heard >= {o.number for o in evidence.observations if o.condition != "nothing" and o.end > o.offset}


def _finished(profile: Profile, cuts: Sequence[Cut], evidence: Evidence) -> Profile:
    heard = [one.seen.number for one in cuts if one.seen is not None]
    streams = len(heard) > 1.5 * len(set(heard))
    what = "scale" if profile.kind == "mass" else "measuring board"
    data = profile.model_dump(exclude_defaults=True, exclude={"name"}) | {
        "title": f"Learned from what it showed, its numbers as bytes: a {what} that {'streams' if streams else 'prints'}",
        "mode": "streams" if streams else "prints",
        "emptied": "stream" if streams else "each",
        "sample": samples(profile, cuts, evidence),
    }
    return from_mapping(profile.name, data)
