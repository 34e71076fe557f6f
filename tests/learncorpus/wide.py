"""Layouts of a second kind: what `generated` doesn't compose. Thousands, other sign marks, other checks, dropped zeros,
decimals and units told by a digit, numbers in binary, print-outs, silences, and noise joined to the frames.

Composed from another seed; odd numbers are the frozen half here as well.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import reduce

import crcmod.predefined
from crccheck.crc import Crc8Maxim, Crc16Usb

from .model import Instrument, Said

COUNT = 200
SEED = 20270611

Send = Callable[[Said, int], bytes]
_PREDEFINED = {name: crcmod.predefined.mkPredefinedCrcFun(name) for name in (
    "modbus", "crc-ccitt-false", "xmodem", "kermit", "x-25", "crc-16", "crc-8")}  # fmt: skip


def check(kind: str, data: bytes) -> bytes:
    """The check of a body as it stands in the frame."""
    total = sum(data)
    xor = reduce(lambda a, b: a ^ b, data, 0)
    match kind:
        case "xor-7":
            return bytes([xor & 0x7F])
        case "sum-7":
            return bytes([total & 0x7F])
        case "xor-hex":
            return b"%02X" % xor
        case "xor-hex-lower":
            return b"%02x" % xor
        case "xor-swapped":
            return (b"%02X" % xor)[::-1]
        case "sum-folded":
            return bytes([32 + total % 95])
        case "sum-decimal":
            return b"%03d" % (total & 0xFF)
        case "sum-100":
            return b"%02d" % (total % 100)
        case "sum-1000":
            return b"%03d" % (total % 1000)
        case "sum-10":
            return b"%d" % (total % 10)
        case "sum-16-hex":
            return b"%04X" % (total & 0xFFFF)
        case "sum-16-byte":
            return struct.pack(">H", total & 0xFFFF)
        case "ones-hex":
            return b"%02X" % (~total & 0xFF)
        case "twos-byte":
            return bytes([-total & 0xFF])
        case "xor-nibbles":
            return bytes([0x30 + (xor >> 4), 0x30 + (xor & 15)])
        case "sum-nibbles":
            return bytes([0x30 + (total >> 4 & 15), 0x30 + (total & 15)])
        case "crc-8-hex":
            return b"%02X" % _PREDEFINED["crc-8"](data)
        case "crc-8-byte":
            return bytes([_PREDEFINED["crc-8"](data)])
        case "crc-8-maxim-hex":
            return b"%02X" % Crc8Maxim.calc(data)
        case "crc-16-usb-hex":
            return b"%04X" % Crc16Usb.calc(data)
        case "modbus-hex-low":
            return struct.pack("<H", _PREDEFINED["modbus"](data)).hex().upper().encode()
        case "kermit-hex":
            return b"%04X" % _PREDEFINED["kermit"](data)
        case "x-25-raw":
            return struct.pack("<H", _PREDEFINED["x-25"](data))
        case "arc-hex":
            return b"%04x" % _PREDEFINED["crc-16"](data)
    return b""


CHECKS = (
    "xor-7", "sum-7", "xor-hex", "xor-hex-lower", "xor-swapped", "sum-folded", "sum-decimal", "sum-100", "sum-1000",
    "sum-16-hex", "sum-16-byte", "ones-hex", "twos-byte", "xor-nibbles", "sum-nibbles", "crc-8-hex", "crc-8-byte",
    "crc-8-maxim-hex", "crc-16-usb-hex", "modbus-hex-low", "kermit-hex", "x-25-raw", "arc-hex",
)  # fmt: skip


@dataclass
class Parts:
    """The choices of one layout."""

    framing: str = "crlf"
    check: str = ""
    decimals: dict[str, int] = field(default_factory=dict)
    largest: int = 3000
    width: int = 8
    pad: str = "right"
    number: str = "point"
    sign: str = "minus"
    unit: str = "spaced"
    status: str = "none"
    extra: str = "none"
    quiet: str = "word"
    order: str = "before"


def text_of(said: Said, p: Parts) -> str:
    """The magnitude."""
    assert said.value is not None
    assert said.unit is not None
    decimals = p.decimals[said.unit]
    size = abs(said.value)
    text = format(size.quantize(Decimal(1).scaleb(-decimals)), "f")
    match p.number:
        case "comma":
            return text.replace(".", ",")
        case "thousands":
            return format(Decimal(text), ",")
        case "thousands-dot":
            return format(Decimal(text), ",").translate(str.maketrans(",.", ".,"))
        case "thousands-quote":
            return format(Decimal(text), ",").replace(",", "'")
        case "thousands-space":
            return format(Decimal(text), ",").replace(",", " ")
        case "dropped":
            return format(size.normalize(), "f")
        case "bare-point":
            return text.lstrip("0") if text.startswith("0.") else text
        case "implied":
            return text.replace(".", "").rjust(6, "0")
        case "implied-spaces":
            return text.replace(".", "").rjust(decimals + 1, "0")
        case "exponent":
            return f"{size:.4E}".replace("E+", "E+0").replace("E-", "E-0")
        case "extra-zeros":
            return text + ("000" if "." in text else ".000")
        case "reversed":
            return text.rjust(7, "0")[::-1]
        case "hex":
            return f"{int(size.scaleb(decimals)):05X}"
    return text


def signed(said: Said, p: Parts) -> str:
    """The number in its columns, with its sign."""
    text = text_of(said, p)
    assert said.value is not None
    minus = said.value < 0
    if p.number in ("implied", "reversed", "hex"):
        body = text
    elif p.pad == "zero":
        body = text.rjust(p.width, "0") if p.number in ("point", "comma") else text
    else:
        body = text
    match p.sign:
        case "parens":
            body = f"({body})" if minus else f" {body} "
        case "parens-tight":
            body = f"({body})" if minus else body
        case "letter":
            body = ("N" if minus else "P") + body
        case "letter-apart":
            body = ("M " if minus else "P ") + (body.rjust(p.width) if p.pad == "right" else body)
        case "word":
            body = ("NEG " if minus else "    ") + body.rjust(p.width)
        case "digit":
            body = ("1" if minus else "0") + (body.rjust(p.width) if p.pad == "right" else " " + body)
        case "after":
            body = body.rjust(p.width) + ("-" if minus else " ")
        case "after-plus":
            body = body.rjust(p.width) + ("-" if minus else "+")
        case "plus":
            body = ("-" if minus else "+") + (body.rjust(p.width) if p.pad == "right" else body)
        case "apart":
            body = ("- " if minus else "  ") + body.rjust(p.width)
        case "minus":
            body = ("-" if minus else "") + body
    if p.pad == "right":
        return body.rjust(p.width + 2)
    if p.pad == "left":
        return body.ljust(p.width + 2)
    if p.pad == "dots":
        return body.rjust(p.width + 2, ".")
    return body


_STATES = {
    "words": {"ok": "STAB", "moving": "UNST", "zero": "ZERO", "overload": "OVLD", "underload": "UNLD", "error": "FAIL"},
    "sentence": {"ok": "stable", "moving": "motion", "zero": "zero", "overload": "over", "underload": "under",
                 "error": "error"},
    "letter": {"ok": "A", "moving": "B", "zero": "C", "overload": "H", "underload": "L", "error": "F"},
    "bits": {"ok": "@", "moving": "A", "zero": "B", "overload": "D", "underload": "H", "error": "P"},
    "digit": {"ok": "1", "moving": "0", "zero": "3", "overload": "6", "underload": "7", "error": "9"},
    "hex": {"ok": "0A", "moving": "0B", "zero": "0C", "overload": "1A", "underload": "2A", "error": "FF"},
    "code": {"ok": "000", "moving": "001", "zero": "002", "overload": "128", "underload": "064", "error": "255"},
    "mark": {"ok": " ", "moving": "~", "zero": "0", "overload": "^", "underload": "v", "error": "!"},
    "yes-no": {"ok": "S=1", "moving": "S=0", "zero": "S=1", "overload": "S=2", "underload": "S=3", "error": "S=9"},
}  # fmt: skip


def unit_of(said: Said, p: Parts) -> str:
    unit = said.unit or next(iter(p.decimals))
    match p.unit:
        case "none":
            return ""
        case "glued":
            return unit
        case "brackets":
            return f" [{unit}]"
        case "name":
            return " " + {"g": "grams", "kg": "kilograms", "mm": "millimeters"}[unit]
        case "case":
            return " " + (unit.lower() if said.condition == "moving" else unit.upper())
        case "gone":
            return "" if said.condition == "moving" else " " + unit
        case "blank":
            return " " + (" " * len(unit) if said.condition == "moving" else unit)
        case "padded":
            return " " + unit.rjust(3)
        case "tail":
            return (
                " "
                + unit
                + {"ok": "=", "moving": "?", "zero": "=", "overload": "^", "underload": "v", "error": "!"}[
                    said.condition
                ]
            )
    return " " + unit


def body_of(said: Said, n: int, p: Parts) -> bytes:
    """The frame between framing and check."""
    unit = next(iter(p.decimals))
    if said.value is None:
        blank = signed(Said(Decimal(1).scaleb(-p.decimals[unit]), unit), p)
        middle = {
            "dashes": "-" * len(blank),
            "word": {"overload": "HI", "underload": "LO", "error": "ERR"}.get(said.condition, "").rjust(len(blank)),
            "nines": "9" * len(blank),
            "blank": " " * len(blank),
            "digits": blank,
            "code": {"overload": "E-1", "underload": "E-2", "error": "E-9"}[said.condition].ljust(len(blank)),
        }[p.quiet]
    else:
        middle = signed(said, p)
    tail = unit_of(said, p)
    state = _STATES[p.status][said.condition] if p.status != "none" else ""
    ahead, behind = {
        "counter": (f"#{n + 7:04d} ", ""),
        "counter-behind": ("", f" #{n + 7}"),
        "clock": (f"{8 + n // 60 % 12:02d}:{n % 60:02d} ", ""),
        "stamp": (f"2026-05-{4 + n // 200:02d}T{8 + n // 60 % 12:02d}:{n % 60:02d}:{n * 7 % 60:02d}Z ", ""),
        "name": ("LAKE-2 ", ""),
        "temperature": ("", f" T={12 + n * 7 % 60 / 10:.1f}C"),
        "battery": ("", f" B{50 + n * 13 % 49}%"),
        "key": ("W=", ""),
        "tare": ("", ""),
        "channel": ("CH1:", ""),
    }.get(p.extra, ("", ""))
    if p.extra == "tare" and said.value is not None:
        tare = (0, 35, 120, 250, 7)[n % 5]
        decimals = p.decimals[unit]
        behind = f" T{format(Decimal(tare).scaleb(-decimals), 'f'):>8}"
    sep = {"comma": ",", "semicolon": ";", "tab": "\t", "slash": "/"}.get(p.order, " ")
    if p.order == "behind":
        text = ahead + middle + tail + ((" " + state) if state else "") + behind
    elif p.order in ("comma", "semicolon", "tab", "slash"):
        text = (
            ahead
            + sep.join(part for part in (state, middle, tail.strip() or None) if part is not None and part != "")
            + behind
        )
    elif p.order == "unit-first":
        text = ahead + (state + " " if state else "") + tail.strip() + " " + middle + behind
    elif p.order == "glued":
        text = ahead + state + middle + tail + behind
    else:
        text = ahead + (state + " " if state else "") + middle + tail + behind
    return text.encode()


def send_of(p: Parts) -> Send:
    """The function that sends."""

    def send(said: Said, n: int) -> bytes:
        body = body_of(said, n, p)
        c = p.check
        match p.framing:
            case "stx-etx":
                return b"\x02" + body + b"\x03" + check(c, body + b"\x03")
            case "stx-etx-crlf":
                return b"\x02" + body + b"\x03" + check(c, body) + b"\r\n"
            case "stx-check-etx":
                return b"\x02" + body + check(c, b"\x02" + body) + b"\x03"
            case "star":
                return b"$" + body + b"*" + check(c or "xor-hex", body) + b"\r\n"
            case "bang":
                return b"!" + body + check(c, b"!" + body) + b"\r"
            case "colon":
                return b":" + body + check(c, body) + b"\r\n"
            case "angle":
                return b"<" + body + b">"
            case "nul":
                return body + check(c, body) + b"\x00"
            case "etb":
                return b"\x01" + body + b"\x17" + check(c, body)
            case "lfcr":
                return body + check(c, body) + b"\n\r"
            case "crcr":
                return body + check(c, body) + b"\r\r"
            case "cr":
                return body + check(c, body) + b"\r"
            case "lf":
                return body + check(c, body) + b"\n"
            case "lines":
                return b"----------------\r\nNo. %5d\r\n" % (n + 3) + body + b"\r\n\r\n"
            case "slip":
                return (
                    b"LAKE SURVEY\r\nDATE 04.05.26\r\nTIME %02d:%02d\r\n" % (8 + n // 60 % 12, n % 60)
                    + body
                    + b"\r\n================\r\n"
                )
            case "cr-inside":
                return b"\x02" + b"A1\r" + body + b"\r" + b"\x03"
            case "fixed":
                return (b"\x02" + body).ljust(36) + check(c, (b"\x02" + body).ljust(36))
            case "fixed-bare":
                return b"#" + body.rjust(31)
            case "silence":
                return body
        return body + check(c, body) + b"\r\n"

    return send


def text_layout(rng: random.Random, number: int) -> Instrument:
    """One layout of text."""
    p = Parts()
    length = rng.random() < 0.25
    unit = "mm" if length else rng.choice(("g", "g", "kg"))
    decimals = rng.choice((0, 1, 2) if length else (0, 1, 1, 2, 3))
    p.decimals = {unit: decimals}
    p.largest = 1400 if length else {0: 30000, 1: 6000, 2: 600, 3: 60}[decimals]
    p.number = rng.choice(
        ("point",) * 6 + ("comma", "comma", "thousands", "thousands-dot", "thousands-quote", "dropped", "bare-point",
         "implied", "implied-spaces", "extra-zeros", "reversed", "hex"))  # fmt: skip
    if p.number.startswith("thousands"):
        p.largest = max(p.largest, 6000)
    if p.number in ("dropped", "bare-point", "extra-zeros") and not decimals:
        p.number = "point"
    widest = len(text_of(Said(Decimal(p.largest), unit), p))
    p.width = widest + rng.choice((0, 1, 2))
    p.pad = rng.choice(("right",) * 4 + ("none",) * 3 + ("left", "zero", "dots"))
    if p.number in ("implied", "reversed", "hex", "bare-point") or (
        p.number.startswith("thousands") and p.pad == "zero"
    ):
        p.pad = "none"
    if p.number == "dropped":
        p.pad = rng.choice(("none", "right"))
    if p.number == "thousands-quote" and p.pad == "dots":
        p.pad = "right"
    p.sign = rng.choice(
        ("none", "none", "minus", "minus", "minus", "plus", "plus", "apart", "after", "after-plus", "parens",
         "parens-tight", "letter", "letter-apart", "word", "digit"))  # fmt: skip
    if p.pad in ("dots", "zero") and p.sign not in ("none", "plus"):
        p.sign = rng.choice(("none", "plus"))
    if p.pad == "dots":
        p.sign = "none"
    if p.number == "hex" and p.sign in ("letter", "letter-apart", "word", "digit", "parens", "parens-tight"):
        p.sign = "none"
    if p.number == "reversed" and p.sign in ("digit", "letter"):
        p.sign = "none"
    p.unit = rng.choice(
        ("spaced",) * 4 + ("none", "none", "glued", "brackets", "name", "case", "gone", "blank", "padded", "tail")
    )
    p.status = rng.choice(("none",) * 3 + tuple(_STATES))
    if p.unit in ("case", "gone", "blank", "tail"):
        p.status = "none"
    if p.number == "hex" and (p.unit == "glued" or p.status in ("letter", "hex", "words", "bits")):
        p.unit, p.status = "spaced", "none"
    p.order = rng.choice(
        ("before",) * 4 + ("behind", "behind", "comma", "semicolon", "tab", "slash", "unit-first", "glued")
    )
    if p.number in ("comma", "thousands", "thousands-dot", "thousands-quote") and p.order == "comma":
        p.order = "semicolon"
    if p.order == "glued" and (p.status not in ("letter", "bits", "mark", "words") or (p.sign == "letter")):
        p.order = "before"
    if p.order == "unit-first" and p.unit in ("none", "gone", "blank"):
        p.order = "before"
    if p.status == "mark" and p.order in ("comma", "semicolon", "tab", "slash"):
        p.status = "letter"
    p.extra = rng.choice(
        ("none",) * 6 + ("counter", "counter-behind", "clock", "stamp", "name", "temperature", "battery", "key", "tare",
         "channel"))  # fmt: skip
    if p.number == "hex" and p.extra in ("counter", "tare", "counter-behind", "battery", "temperature"):
        p.extra = "none"
    p.framing = rng.choice(
        ("crlf",) * 6 + ("cr", "cr", "lf", "stx-etx", "stx-etx", "stx-etx-crlf", "stx-check-etx", "star", "bang", "colon",
         "angle", "nul", "etb", "lfcr", "crcr", "lines", "slip", "cr-inside", "fixed", "fixed-bare", "silence"))  # fmt: skip
    if p.framing in ("fixed", "fixed-bare"):
        p.pad = "right" if p.pad not in ("none", "zero") else p.pad
        if p.extra in ("stamp", "tare", "temperature", "counter-behind"):
            p.extra = "none"
    if p.framing == "colon" and p.extra in ("clock", "stamp"):
        p.extra = "none"
    if p.framing == "bang" and (p.quiet == "code" or "error" in p.status):
        p.framing = "cr"
    text_checks = tuple(c for c in CHECKS if not c.endswith(("-7", "byte", "raw")))
    if p.framing in ("stx-etx", "stx-etx-crlf", "etb") or p.framing == "fixed":
        p.check = rng.choice(("", *CHECKS))
    elif p.framing == "star":
        p.check = rng.choice(("xor-hex", "crc-16-usb-hex", "sum-16-hex", "kermit-hex", "crc-8-hex"))
    elif (
        p.framing in ("crlf", "cr", "lf", "stx-check-etx", "bang", "colon", "nul", "lfcr", "crcr")
        and rng.random() < 0.4
    ):
        p.check = rng.choice(text_checks)
    if p.framing == "star" and "*" in p.extra:
        p.extra = "none"
    if p.check and p.number != "hex" and p.order != "glued" and p.unit == "none":
        p.unit = "spaced"
    if p.status == "bits" and p.framing in ("angle",):
        p.status = "letter"
    if p.status == "mark" and p.framing == "bang":
        p.framing = "cr"
    if p.unit == "tail" and p.framing == "bang":
        p.framing = "crlf"
    p.quiet = rng.choice(("word", "word", "dashes", "nines", "blank", "digits", "code"))
    if p.status in ("none",) and p.quiet in ("nines", "blank", "digits"):
        p.quiet = "dashes"
    marked = p.status != "none" or p.unit in ("case", "gone", "blank", "tail")
    conditions = (["moving"] if marked else []) + [
        c for c in ("zero", "overload", "underload", "error") if rng.random() < 0.3
    ]
    if p.status == "yes-no":
        conditions = [c for c in conditions if c != "zero"]
    rng.shuffle(conditions)
    if p.status == "none" and p.unit != "tail" and p.quiet == "dashes":
        # Dashes are dashes: two conditions sent in the same bytes can't be told apart.
        conditions = [c for c in conditions if c in ("moving", "zero")] + [
            c for c in conditions if c in ("overload", "underload", "error")
        ][:1]
    taught = conditions[:2]
    untaught = (
        [] if p.quiet == "dashes" and p.status == "none" else [c for c in conditions[2:] if c not in ("moving", "zero")]
    )
    name = f"w{number:03}-" + "-".join(
        (p.framing, p.check or "nocheck", p.pad, p.sign, p.number, p.unit, p.status, p.order, p.extra, p.quiet)
    )
    fixed = (
        p.pad in ("right",)
        and p.sign in ("none", "minus", "plus", "apart", "after")
        and p.number in ("point", "comma")
        and p.extra in ("none", "name", "key", "channel", "clock", "stamp", "counter")
    )
    noise = b""
    if p.framing in ("crlf", "stx-etx-crlf", "lf") and not p.check and rng.random() < 0.2:
        noise = rng.choice((b"\x00\xff", b"\xff\xfe\x80", b"\x80\xf0\x00"))
    return Instrument(
        name, send_of(p), p.decimals, p.largest, negative=p.sign != "none", taught=taught, untaught=untaught,
        marked=marked, streams=rng.random() < 0.7, fixed_width=fixed, silence=p.framing == "silence",
        unit_in_moving=p.unit not in ("gone", "blank"), noise=noise, drops=p.number == "dropped",
    )  # fmt: skip


def binary_layout(rng: random.Random, number: int) -> Instrument:
    """One layout whose number is no text."""
    decimals = rng.choice((0, 1, 1, 2))
    unit = rng.choice(("g", "g", "mm"))
    code = rng.choice((">i", "<i", ">h", "<h", ">H", "<H", ">f", "<f", "bcd3", "bcd4", "bcd3-low", ">i3", "<i3"))
    largest = {0: 9000, 1: 3000, 2: 300}[decimals]
    head = rng.choice((b"\xaa\x55", b"\x02", b"\xff", b"\x01\x03\x04", b"\xa5"))
    how = rng.choice(("xor-7", "sum-byte", "xor-byte", "modbus-raw", "crc-8-byte", "sum-16-byte", ""))
    status = rng.random() < 0.5
    tail = rng.choice((b"", b"\x03", b"\r\n")) if how else rng.choice((b"\x03", b"\r\n", b"\x55\xaa"))

    def raw_of(said: Said) -> bytes:
        value = said.value if said.value is not None else Decimal(0)
        if code in (">f", "<f"):
            return struct.pack(code, float(value))
        count = int(value.scaleb(decimals))
        if code.startswith("bcd"):
            packed = bytes.fromhex(f"{abs(count):0{2 * int(code[3])}d}")
            return packed[::-1] if code.endswith("low") else packed
        if code.endswith("3"):
            return count.to_bytes(3, "big" if code[0] == ">" else "little", signed=True)
        return struct.pack(code, count)

    def send(said: Said, n: int) -> bytes:
        state = bytes(
            [
                {"ok": 0x40, "moving": 0x41, "zero": 0x42, "overload": 0x44, "underload": 0x48, "error": 0x60}[
                    said.condition
                ]
            ]
        )
        body = head + (state if status else b"") + raw_of(said)
        match how:
            case "sum-byte":
                body += bytes([sum(body) & 0xFF])
            case "xor-byte":
                body += bytes([reduce(lambda a, b: a ^ b, body)])
            case "modbus-raw":
                body += struct.pack("<H", _PREDEFINED["modbus"](body))
            case _:
                body += check(how, body)
        return body + tail

    taught = ["moving"] if status else []
    if status and rng.random() < 0.5:
        taught.append("overload")
    return Instrument(
        f"b{number:03}-{code}-{how or 'nocheck'}-{'status' if status else 'bare'}-{tail.hex() or 'open'}", send, {unit: decimals},
        largest, negative=code[1:] in ("i", "h", "f", "i3"), taught=taught, untaught=["error"] if status else [],
        marked=status, streams=True, binary=True,
    )  # fmt: skip


def wide() -> list[Instrument]:
    """All of them."""
    rng = random.Random(SEED)
    return [text_layout(rng, n) if n % 8 not in (6, 7) else binary_layout(rng, n) for n in range(COUNT)]
