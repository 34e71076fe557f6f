"""Layouts composed at random: framing × sign × padding × decimals × unit × status × extras × check × chatter."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce

import crcmod.predefined

from .model import Instrument, Said

COUNT = 170
SEED = 20260504

_CRC = {
    "modbus": crcmod.predefined.mkPredefinedCrcFun("modbus"),
    "ccitt": crcmod.predefined.mkPredefinedCrcFun("crc-ccitt-false"),
    "xmodem": crcmod.predefined.mkPredefinedCrcFun("xmodem"),
}


def checked(kind: str, body: bytes) -> bytes:
    """The check characters of a body."""
    match kind:
        case "xor-hex":
            return b"%02X" % reduce(lambda a, b: a ^ b, body, 0)
        case "xor-hex-lower":
            return b"%02x" % reduce(lambda a, b: a ^ b, body, 0)
        case "sum-hex":
            return b"%02X" % (sum(body) & 0xFF)
        case "twos-hex":
            return b"%02X" % (-sum(body) & 0xFF)
        case "xor-byte":
            return bytes([reduce(lambda a, b: a ^ b, body, 0)])
        case "sum-byte":
            return bytes([sum(body) & 0xFF])
        case "modbus-raw":
            return int(_CRC["modbus"](body)).to_bytes(2, "little")
        case "ccitt-hex":
            return b"%04X" % _CRC["ccitt"](body)
        case "xmodem-raw":
            return int(_CRC["xmodem"](body)).to_bytes(2, "big")
    return b""


@dataclass
class Parts:
    """The choices of one layout."""

    number: int
    framing: str
    check: str
    pad: str
    sign: str
    mark: str
    unit: str
    status: str
    extra: str
    quiet: str
    width: int
    decimals: dict[str, int]
    largest: int


def digits(said: Said, parts: Parts) -> bytes:
    """The number's magnitude with its padding, sign and all."""
    assert said.value is not None and said.unit is not None
    decimals = parts.decimals[said.unit]
    size = abs(said.value)
    text = format(size.quantize(Decimal(1).scaleb(-decimals)), "f")
    if parts.mark == "comma":
        text = text.replace(".", ",")
    elif parts.mark == "implied":
        text = text.replace(".", "")
    elif parts.mark == "point-end" and "." not in text:
        text += "."
    minus = said.value < 0
    width = parts.width
    if parts.pad == "zero":
        text = text.rjust(width, "0")
    sign = {"column": " ", "floating": "", "plus-column": "+", "plus-floating": "+", "none": "", "after": " ",
            "plus-apart": "+"}[parts.sign]  # fmt: skip
    if minus:
        sign = "-"
    if parts.sign == "after":
        body = text.rjust(width) if parts.pad == "right" else text
        return (body + sign).encode()
    if parts.sign in ("column", "plus-column"):
        body = text.rjust(width) if parts.pad == "right" else text.ljust(width) if parts.pad == "left" else text
        return (sign + body).encode()
    if parts.sign == "plus-apart":
        body = text.rjust(width) if parts.pad == "right" else text
        return f"{sign},{body}".encode()
    text = sign + text
    if parts.pad == "right":
        text = text.rjust(width + 1)
    elif parts.pad == "left":
        text = text.ljust(width + 1)
    return text.encode()


def unit_text(said: Said, parts: Parts) -> bytes:
    """The unit as the layout writes it."""
    unit = said.unit or "g"
    match parts.unit:
        case "none":
            return b""
        case "glued":
            return unit.encode()
        case "padded":
            return b" " + unit.ljust(3).encode()
        case "upper":
            return b" " + unit.upper().encode()
        case "lower-moving":
            return b" " + (unit if said.condition == "moving" else unit.upper()).encode()
        case "missing-moving":
            return b" " + (b" " * 3 if said.condition == "moving" else unit.ljust(3).encode())
        case "status-glued":
            return b" " + unit.encode() + (b"D" if said.condition == "moving" else b"S")
    return b" " + unit.encode()


_STATUS = {
    "words": {"ok": b"ST,", "moving": b"US,", "zero": b"ZR,", "overload": b"OL,", "underload": b"UL,", "error": b"ER,"},
    "letter": {"ok": b"S ", "moving": b"M ", "zero": b"Z ", "overload": b"H ", "underload": b"L ", "error": b"E "},
    "digit": {"ok": b"0", "moving": b"1", "zero": b"2", "overload": b"4", "underload": b"5", "error": b"9"},
    "code": {"ok": b"00 ", "moving": b"10 ", "zero": b"02 ", "overload": b"40 ", "underload": b"41 ", "error": b"80 "},
    "star": {"ok": b"*", "moving": b" ", "zero": b"*", "overload": b" ", "underload": b" ", "error": b" "},
    "question": {"ok": b" ", "moving": b"?", "zero": b" ", "overload": b" ", "underload": b" ", "error": b" "},
    "tail": {"ok": b" OK", "moving": b" DY", "zero": b" ZE", "overload": b" OV", "underload": b" UN", "error": b" ER"},
}
_BEHIND = ("star", "question", "tail")


def make(parts: Parts) -> Callable[[Said, int], bytes]:
    """The function that sends."""

    def body_of(said: Said, n: int) -> bytes:
        marks = _STATUS.get(parts.status)
        mark = marks[said.condition] if marks else b""
        before, after = (b"", mark) if parts.status in _BEHIND else (mark, b"")
        if said.value is None:
            blank = digits(Said(Decimal(0), next(iter(parts.decimals))), parts)
            match parts.quiet:
                case "dashes":
                    middle = (
                        b"^" if said.condition == "overload" else b"_" if said.condition == "underload" else b"~"
                    ) * len(blank)
                case "digits" if marks and parts.status not in ("star", "question"):
                    middle = digits(Said(Decimal(parts.largest - 1 - n % 7), next(iter(parts.decimals))), parts)
                case "code":
                    middle = {"overload": b"E1", "underload": b"E2", "error": b"E7"}[said.condition].rjust(len(blank))
                case _:
                    middle = {"overload": b"OVER", "underload": b"UNDER", "error": b"ERR"}[said.condition].rjust(
                        len(blank)
                    )
            if parts.quiet == "short":
                return before + middle.strip() + after
            return (
                extra(n, said)
                + before
                + middle
                + unit_text(Said(None, next(iter(parts.decimals)), said.condition), parts)
                + after
            )
        return extra(n, said) + before + digits(said, parts) + unit_text(said, parts) + after

    def extra(n: int, said: Said) -> bytes:
        match parts.extra:
            case "counter":
                return b"%04d " % (17 + n)
            case "counter-comma":
                return b"%d," % (96 + n)
            case "clock":
                return b"%02d:%02d:%02d " % (14, (20 + n // 9) % 60, (7 * n) % 60)
            case "date":
                return b"04.05.26 %02d:%02d " % (9 + n // 50, (3 * n) % 60)
            case "name":
                return b"LAKE1 "
            case "label":
                return b"N"
            case "weight-word":
                return b"WT: "
        return b""

    def send(said: Said, n: int) -> bytes:
        body = body_of(said, n)
        check = parts.check
        match parts.framing:
            case "stx-etx":
                return b"\x02" + body + b"\x03" + checked(check, body + b"\x03")
            case "stx-etx-crlf":
                return b"\x02" + body + b"\x03" + checked(check, body + b"\x03") + b"\r\n"
            case "stx-check-etx":
                return b"\x02" + body + checked(check, body) + b"\x03"
            case "stx-cr":
                return b"\x02" + body + checked(check, body) + b"\r"
            case "dollar":
                tail = b"*" + checked(check or "xor-hex", body)
                return b"$" + body + tail + b"\r\n"
            case "fixed-stx":
                body = body.ljust(24)
                return b"\x02" + body + checked(check, body)
            case "lf-cr":
                return b"\n" + body + checked(check, body) + b"\r"
            case "block":
                return b"LAKE SURVEY\r\n" + body + b"\r\nTHANKS\r\n\r\n"
            case "block-ff":
                return b"SCALE 1\r\n" + body + b"\r\n\x0c"
            case "cr":
                return body + checked(check, body) + b"\r"
            case "lf":
                return body + checked(check, body) + b"\n"
            case "paren":
                return b"(" + body + b")"
            case "semicolon":
                return body + b";"
            case "etx":
                return body + checked(check, body) + b"\x03"
            case "crlf-twice":
                return body + checked(check, body) + b"\r\n\r\n"
        return body + checked(check, body) + b"\r\n"

    return send


def generated() -> list[Instrument]:
    """All composed layouts."""
    rng = random.Random(SEED)
    return [one(rng, number) for number in range(COUNT)]


def one(rng: random.Random, number: int) -> Instrument:
    """One layout, its choices made to go together."""
    framing = rng.choice(
        ("crlf",) * 6 + ("cr", "cr", "lf", "stx-etx", "stx-etx", "stx-etx-crlf", "stx-check-etx", "stx-cr", "dollar",
         "fixed-stx", "lf-cr", "block", "block-ff", "paren", "semicolon", "etx", "crlf-twice"))  # fmt: skip
    length = rng.random() < 0.3
    unit_names = ["mm"] if length else ["g"] if rng.random() < 0.7 else ["kg"]
    decimals = {unit_names[0]: rng.choice((0, 1, 2) if length else (0, 1, 1, 2, 3))}
    largest = {0: 9000, 1: 3000, 2: 600, 3: 60}[decimals[unit_names[0]]] if not length else 1500
    unit = rng.choice(
        ("spaced",) * 4 + ("none", "glued", "padded", "upper", "lower-moving", "missing-moving", "status-glued")
    )
    if not length and unit in ("spaced", "padded", "glued") and rng.random() < 0.2:
        decimals = {"g": 1, "kg": 4}
        largest = 3000
    mark = rng.choice(("point",) * 5 + ("comma", "comma", "implied", "implied"))
    pad = rng.choice(("right",) * 4 + ("none", "none", "zero", "zero", "left"))
    if mark == "implied" and len(decimals) > 1:
        mark = "point"
    if mark == "implied":
        pad = "zero"
    widest = max(len(str(largest)) + (d + 1 if d else 0) for d in decimals.values())
    width = widest + rng.choice((0, 1, 2, 3))
    sign = rng.choice(
        (
            "none",
            "column",
            "column",
            "floating",
            "floating",
            "plus-column",
            "plus-column",
            "plus-floating",
            "after",
            "plus-apart",
        )
    )
    if sign == "after" and pad == "left":
        pad = "right"
    # A sign that floats before leading zeros is the column's sign.
    status = rng.choice(
        ("none", "none", "words", "words", "letter", "letter", "digit", "code", "star", "question", "tail")
    )
    if unit in ("lower-moving", "missing-moving", "status-glued"):
        status = "none"
    if status == "digit" and not (sign in ("column", "plus-column", "plus-floating", "plus-apart") or pad == "right"):
        # Glued to the digits it can only be told where it changes.
        pad, mark = "zero", mark
    extra = rng.choice(("none",) * 5 + ("counter", "counter-comma", "clock", "date", "name", "label", "weight-word"))
    if extra == "label" and status != "none":
        extra = "none"
    check = ""
    if framing in (
        "crlf",
        "cr",
        "lf",
        "stx-etx",
        "stx-etx-crlf",
        "stx-check-etx",
        "stx-cr",
        "fixed-stx",
        "etx",
        "dollar",
    ):
        if framing in ("stx-etx", "stx-etx-crlf", "fixed-stx"):
            check = rng.choice(("", "xor-byte", "xor-byte", "sum-byte", "modbus-raw", "xor-hex", "xmodem-raw"))
        elif framing == "dollar":
            check = rng.choice(("xor-hex", "xor-hex", "sum-hex"))
        else:
            check = rng.choice(("", "", "", "xor-hex", "sum-hex", "twos-hex", "ccitt-hex", "xor-hex-lower"))
    moving_marked = status != "none" or unit in ("lower-moving", "missing-moving", "status-glued")
    quiet = rng.choice(("word", "word", "dashes", "digits", "code", "short"))
    conditions = ["moving"] if moving_marked or rng.random() < 0.3 else []
    conditions += [c for c in ("zero", "overload", "underload", "error") if rng.random() < 0.3]
    rng.shuffle(conditions)
    taught = conditions[:2]
    untaught = [c for c in conditions[2:] if c in ("overload", "underload", "error")]
    untaught += [c for c in ("overload", "error") if c not in conditions and rng.random() < 0.5]
    if not moving_marked:
        taught = [c for c in taught if c != "moving"]
    # A quiet line that still has digits, and no mark of its own, is a reading to anybody.
    parts = Parts(number, framing, check, pad, sign, mark, unit, status, extra, quiet, width, decimals, largest)
    if quiet == "digits" and (status in ("none", "star", "question")):
        parts.quiet = "word"
    streams = rng.random() < 0.7
    chatter = b""
    if framing == "crlf" and rng.random() < 0.15:
        chatter = rng.choice((b"READY\r\n", b"--------\r\n", b"> \r\n"))
    fixed = (
        pad in ("right", "zero", "left")
        and extra not in ("counter-comma",)
        and not (pad == "zero" and sign == "floating")
    )
    # An apart sign and its number are never filled up behind.
    fixed = fixed and not (pad == "left" and sign in ("plus-apart", "after"))
    name = "-".join((f"{number:03}", framing, check or "nocheck", pad, sign, mark, unit, status, extra, parts.quiet))
    return Instrument(
        name, make(parts), decimals, largest, negative=sign != "none", taught=taught, untaught=untaught,
        marked=moving_marked, streams=streams, chatter=chatter, fixed_width=fixed and len(decimals) == 1,
        unit_in_moving=unit != "missing-moving",
    )  # fmt: skip
