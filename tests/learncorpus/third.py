"""The third corpus: layouts as a technician meets them, each written out by hand and without regard to how learning works.

Every one is drawn twice, with other values, other rows and another number of frames to a row.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from functools import reduce

from .model import Case, Instrument, Said, draw

SEED = 31_337
Text = Callable[[Said, int], str]


def number(said: Said, width: int = 0, fill: str = " ") -> str:
    """The value without its sign, right-aligned."""
    assert said.value is not None
    return format(abs(said.value), "f").rjust(width, fill)


def minus(said: Said, below: str = "-", above: str = "+") -> str:
    """The sign of what is shown."""
    return below if said.value is not None and said.value < 0 else above


def signed(said: Said, width: int = 0) -> str:
    """The value with a minus joined to it, right-aligned."""
    return (minus(said, "-", "") + number(said)).rjust(width)


def value(said: Said) -> Decimal:
    """The value, 0 where there is none."""
    return said.value if said.value is not None else Decimal(0)


def count(said: Said) -> int:
    """The value in steps of its last decimal."""
    assert said.value is not None
    exponent = said.value.as_tuple().exponent
    return int(said.value.scaleb(-int(exponent)))


def digits(said: Said, width: int) -> str:
    """The value without its point, with leading zeros."""
    return f"{abs(count(said)):0{width}}"


def xor(data: bytes) -> int:
    """Exclusive or of all bytes."""
    return reduce(lambda a, b: a ^ b, data, 0)


def crc16(data: bytes) -> int:
    """CRC with the reflected polynomial A001 and start FFFF, as field buses use it."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


def bcd(value: int, length: int) -> bytes:
    """Packed decimals, the highest first."""
    return bytes.fromhex(f"{value:0{2 * length}}")


def stamp(n: int, start: int = 36_000, step: int = 7) -> str:
    """A clock that moves on with each frame."""
    at = start + n * step
    return f"{at // 3600 % 24:02}:{at // 60 % 60:02}:{at % 60:02}"


def line(make: Text, end: str = "\r\n") -> Callable[[Said, int], bytes]:
    """Text and its end."""
    return lambda said, n: (make(said, n) + end).encode("latin-1")


def between(
    make: Text, check: Callable[[bytes], bytes], end: bytes = b"", inner: bool = True
) -> Callable[[Said, int], bytes]:
    """STX, text, ETX and a check over the text (with ETX when inner), then an end."""

    def send(said: Said, n: int) -> bytes:
        body = make(said, n).encode("latin-1")
        return b"\x02" + body + b"\x03" + check(body + b"\x03" * inner) + end

    return send


def by(ok: Text, **others: Text | str) -> Text:
    """A form for each condition; ok for those not named."""

    def make(said: Said, n: int) -> str:
        form = others.get(said.condition, ok)
        return form if isinstance(form, str) else form(said, n)

    return make


def third() -> list[Instrument]:
    """Every layout, in a fixed order."""
    g1 = {"g": 1}
    out: list[Instrument] = []

    def add(name: str, send: Callable[[Said, int], bytes], decimals: dict[str, int] | None = None, largest: int = 3000,
            taught: str = "ok", untaught: str = "", **more: object) -> None:  # fmt: skip
        out.append(Instrument(name, send, decimals or g1, largest, taught=tuple(taught.split()),
                              untaught=tuple(untaught.split()), **more))  # type: ignore[arg-type]  # fmt: skip

    # A carriage return inside the frame.
    add("CR between value and unit", line(lambda s, n: f"{minus(s, '-', ' ')}{number(s, 7)}\rg"), negative=True)
    add("CR after each of three fields", line(lambda s, n: f"N\r{signed(s, 8)}\r{'M' if s.condition == 'moving' else 'S'}", "\r\n\n"),
        taught="ok moving", negative=True)  # fmt: skip
    add("CR as a status place", line(lambda s, n: ("\r" if s.condition == "moving" else " ") + f"{signed(s, 8)} g"), taught="ok moving",
        negative=True)  # fmt: skip
    # Check bytes that can be anything.
    add("xor byte behind ETX", between(lambda s, n: f"{minus(s, '-', ' ')}{number(s, 7)}g ", lambda b: bytes([xor(b)])), negative=True,
        fixed_width=True)  # fmt: skip
    add("xor byte then CR", lambda s, n: (b := f"W{minus(s)}{number(s, 7, '0')}".encode()) + bytes([xor(b)]) + b"\r", negative=True,
        fixed_width=True)  # fmt: skip
    add("sum byte behind ETX then CR LF", between(lambda s, n: f"{'U' if s.condition == 'moving' else 'S'}{signed(s, 8)}",
        lambda b: bytes([sum(b) & 0x7F]), b"\r\n"), taught="ok moving", fixed_width=True)  # fmt: skip
    add("sum in hexadecimal before ETX", lambda s, n: b"\x02" + (b := f"{signed(s, 8)} g".encode()) + b"%02X\x03" % (sum(b) & 255),
        negative=True, fixed_width=True)  # fmt: skip
    add("two digits modulo 100", line(lambda s, n: (b := f"{signed(s, 8)},g,") + f"{sum(b.encode()) % 100:02}"), negative=True,
        fixed_width=True)  # fmt: skip
    add("dollar sentence", line(lambda s, n: "$" + (b := f"PLAKE,{signed(s)},G,{'A' if s.condition == 'ok' else 'V'}") + f"*{xor(b.encode()):02X}"),
        taught="ok moving", negative=True)  # fmt: skip

    # Status bytes with bits.
    def words(said: Said, n: int) -> bytes:
        first = 0x20 | 0x08 | 3
        second = 0x20 | 0x10 | (2 if said.value is not None and said.value < 0 else 0) | (8 if said.condition == "moving" else 0) | (
            4 if said.condition == "overload" else 0)  # fmt: skip
        weight = "999999" if said.value is None else digits(said, 6)
        body = bytes([2, first, second, 0x20]) + f"{weight}000000\r".encode()
        return body + bytes([-sum(body) & 0x7F])

    add("three status bytes and a check", words, taught="ok moving overload", negative=True, fixed_width=True)
    add(
        "three status bytes without check",
        lambda s, n: words(s, n)[:-1],
        taught="ok moving",
        untaught="overload",
        negative=True,
    )
    # Clocks and counters before the value.
    add("clock before", line(lambda s, n: f"{stamp(n)} {signed(s, 9)} g"), negative=True)
    add("date and clock before", line(lambda s, n: f"14.07.26 {stamp(n)};{signed(s)};g"), negative=True)
    add("counter before", line(lambda s, n: f"{n + 117:05}, {signed(s, 8)}, g"), negative=True)
    add("counter of one to three digits", line(lambda s, n: f"#{n + 7} {signed(s, 8)} g"), negative=True)
    add("milliseconds before", line(lambda s, n: f"{184_233 + n * 101}\t{signed(s)}\tmm"), {"mm": 0}, 900)
    # Letters glued, units that say more.
    add("status glued to unit", line(lambda s, n: f"{signed(s, 9)} g{'U' if s.condition == 'moving' else 'S'}"), taught="ok moving",
        negative=True)  # fmt: skip
    add("status glued before", line(lambda s, n: f"{'?' if s.condition == 'moving' else '='}{minus(s)}{number(s, 7)}g"), taught="ok moving",
        negative=True)  # fmt: skip
    add("unit missing while moving", line(lambda s, n: f"{minus(s, '-', ' ')} {number(s, 7)} {'   ' if s.condition == 'moving' else 'g  '}"),
        taught="ok moving", negative=True)  # fmt: skip
    add("unit missing, short line", line(lambda s, n: f"{signed(s, 9)}" + ("" if s.condition == "moving" else " g")), taught="ok moving",
        negative=True)  # fmt: skip
    add("lower case while moving", line(lambda s, n: f"{signed(s, 9)} {'kg' if s.condition == 'moving' else 'KG'}"), {"kg": 3}, 30,
        taught="ok moving", negative=True)  # fmt: skip
    add("word in lower case while moving", line(lambda s, n: f"{'net' if s.condition == 'moving' else 'NET'} {signed(s, 9)} g"),
        taught="ok moving", negative=True)  # fmt: skip
    add(
        "exclamation and question mark",
        line(lambda s, n: f"{signed(s)} g{'?' if s.condition == 'moving' else '!'}"),
        taught="ok moving",
    )
    add(
        "star when settled",
        line(lambda s, n: f"{' ' if s.condition == 'moving' else '*'} {signed(s, 8)} g"),
        taught="ok moving",
        negative=True,
    )
    # Overload and errors that carry digits.
    add("overload line with digits", line(by(lambda s, n: f"ST,{signed(s, 8)} g", moving=lambda s, n: f"US,{signed(s, 8)} g",
        overload="OL,  9999.9 g")), taught="ok moving overload", negative=True)  # fmt: skip
    add("overload that still counts", line(by(lambda s, n: f"  {signed(s, 8)} g", overload=lambda s, n: f"H {3000 + n % 37}.{n % 10}".rjust(10) + " g")),
        taught="ok overload")  # fmt: skip
    add("error as number 911", line(by(lambda s, n: f"01A{minus(s)}{number(s, 8, '0')}", error="911"), "\r"), {"mm": 2}, 300,
        taught="ok error", negative=True)  # fmt: skip
    add(
        "error as -9999.9",
        line(by(lambda s, n: f"{signed(s, 8)} mm", error=" -9999.9 mm")),
        {"mm": 1},
        900,
        taught="ok error",
    )
    add("errors with a code", line(by(lambda s, n: f"{signed(s, 8)} g", error=lambda s, n: f"  E {n % 4 + 1:02}   g", overload="  E 05   g")),
        taught="ok overload", untaught="error", negative=True)  # fmt: skip
    add(
        "eights for overload",
        line(by(lambda s, n: f"{digits(s, 6)}", overload="888888")),
        taught="ok overload",
        largest=5000,
        fixed_width=True,
    )
    add("dashes above, bars below", line(by(lambda s, n: f"{signed(s, 8)} g", overload=" ------- g", underload=" _______ g")),
        taught="ok overload underload", negative=True)  # fmt: skip
    # Ways to write the number.
    add(
        "implied decimals",
        line(lambda s, n: f"{minus(s)}{digits(s, 6)}"),
        {"kg": 3},
        150,
        negative=True,
        fixed_width=True,
    )
    add("implied decimals and unit letter", line(lambda s, n: f"{'U' if s.condition == 'moving' else 'S'}{minus(s, '-', ' ')}{digits(s, 7)}K", "\x03"),
        {"kg": 2}, 600, taught="ok moving", negative=True, fixed_width=True)  # fmt: skip
    add(
        "reversed with equals",
        lambda s, n: ("=" + (minus(s, "-", "0") + number(s, 6, "0"))[::-1]).encode(),
        {"kg": 2},
        300,
        negative=True,
    )
    add(
        "reversed with sign last",
        line(lambda s, n: number(s, 7, "0")[::-1] + minus(s, "-", " ")),
        {"kg": 1},
        600,
        negative=True,
    )
    add(
        "hexadecimal, two's complement",
        line(lambda s, n: f"{count(s) & 0xFFFF:04X}"),
        {"mm": 1},
        1500,
        negative=True,
        fixed_width=True,
    )
    add("hexadecimal with sum", lambda s, n: f":{(c := abs(count(s))):06X}{(c + (c >> 8) + (c >> 16)) & 255:02X}\r".encode(), {"g": 0}, 60_000,
        fixed_width=True)  # fmt: skip
    add("packed decimals, low byte first", lambda s, n: b"\xff" + bcd(abs(count(s)), 3)[::-1] + (b"\x80" if s.value is not None and s.value < 0 else b"\x00"),
        {"g": 1}, 9000, negative=True, binary=True)  # fmt: skip
    add("packed decimals between STX and ETX", lambda s, n: b"\x02" + (b := bcd(abs(count(s)), 3)) + bytes([xor(b)]) + b"\x03", {"mm": 1}, 900,
        binary=True)  # fmt: skip
    add("field bus answer", lambda s, n: (b := b"\x01\x03\x02" + struct.pack(">h", count(s))) + struct.pack("<H", crc16(b)), {"mm": 1}, 1200,
        binary=True, negative=True)  # fmt: skip
    add("float with sync", lambda s, n: (b := b"\xaa\x55" + struct.pack("<f", float(value(s)))) + bytes([sum(b) & 255]), {"g": 2}, 900,
        binary=True)  # fmt: skip
    add(
        "pounds and ounces, colon",
        line(lambda s, n: f"{count(s) // 160:3}:{count(s) % 160 / 10:04.1f}  lb:oz"),
        {"[oz_av]": 1},
        300,
    )
    add(
        "pounds and ounces, words",
        line(lambda s, n: f"{count(s) // 160:3} lb {count(s) % 160 / 10:4.1f} oz"),
        {"[oz_av]": 1},
        300,
    )
    add(
        "zeros in front",
        line(lambda s, n: f"{minus(s)}{number(s, 8, '0')} kg"),
        {"kg": 3},
        60,
        negative=True,
        fixed_width=True,
    )
    add(
        "trailing zeros dropped",
        line(lambda s, n: f"{minus(s, '-', '')}{abs(value(s)).normalize():f} mm"),
        {"mm": 2},
        200,
        drops=True,
    )
    add("comma", line(lambda s, n: f"{signed(s, 9)} kg".replace(".", ",")), {"kg": 3}, 30, negative=True)
    add("comma and semicolons", line(lambda s, n: f"1;{signed(s)};kg;{'0' if s.condition == 'moving' else '1'};".replace(".", ","), "\n"), {"kg": 3}, 30,
        taught="ok moving")  # fmt: skip
    add("sign apart", line(lambda s, n: f"{minus(s, '-', ' ')} {number(s, 7)} g S"), negative=True)
    add("sign trailing", line(lambda s, n: f"{number(s, 8)}{minus(s, '-', ' ')} g"), negative=True)
    add("sign trailing, unit glued", line(lambda s, n: f"{number(s)}{minus(s, '-', '')}g"), negative=True)
    add("sign as a field", line(lambda s, n: f"W,{minus(s, 'N', 'P')},{number(s, 7, '0')},g"), negative=True)
    add(
        "brackets",
        line(lambda s, n: (f"({number(s)})" if minus(s) == "-" else f"{number(s)} ").rjust(11) + " g"),
        negative=True,
    )
    add(
        "nothing before the point",
        line(lambda s, n: signed(s).replace("0.", ".", 1 if abs(value(s)) < 1 else 0) + " in"),
        {"[in_i]": 2},
        40,
    )
    add("digits apart", line(lambda s, n: " ".join(signed(s, 7)) + "  g"), negative=True)
    # Blocks.
    add(
        "block with gross, tare, net",
        line(lambda s, n: f"G {signed(Said(value(s) + 100, 'g'), 9)} g\r\nT     100.0 g\r\nN {signed(s, 9)} g\r\n"),
    )
    add(
        "block with date and number",
        line(lambda s, n: f"No. {n + 40:4}\r\n14-07-2026 {stamp(n)[:5]}\r\n{signed(s, 10)} g\r\n------------"),
    )
    add("block with a short error", line(by(lambda s, n: f"WEIGHT\r\n {signed(s, 9)} g\r\nEND", error="WEIGHT\r\n ERR 3\r\nEND")), taught="ok error",
        negative=True)  # fmt: skip
    add("escape codes of a printer", line(lambda s, n: f"\x1bE{signed(s, 9)} g\x1bF"), negative=True)
    # No terminator.
    add(
        "eight bytes, no end", line(lambda s, n: f"{minus(s)}{number(s, 6, '0')}g", ""), negative=True, fixed_width=True
    )
    add("ten bytes, spaces, no end", line(lambda s, n: f"{'M' if s.condition == 'moving' else 'S'}{signed(s, 7)} g", ""), taught="ok moving", negative=True,
        fixed_width=True)  # fmt: skip
    add("silences", line(lambda s, n: f"{signed(s)}mm", ""), {"mm": 0}, 999, silence=True)
    # More numbers in a line.
    add("gross, tare and net in a line", line(lambda s, n: f"G {signed(Said(value(s) + Decimal('20.0'), 'g'), 8)} T     20.0 N {signed(s, 8)} g"),
        negative=True)  # fmt: skip
    add("temperature behind", line(lambda s, n: f"{signed(s, 8)} mm {8 + (n * 7) % 5}.{(n * 3) % 10}C"), {"mm": 1}, 900)
    add("share of the load", line(lambda s, n: f"{signed(s, 8)} g {int(abs(value(s)) / 30):3}%"))
    add(
        "pairs of name and value",
        line(lambda s, n: f"id=4;w={signed(s)};u=g;st={0 if s.condition == 'moving' else 1}"),
        taught="ok moving",
        negative=True,
    )
    add("braces", line(lambda s, n: f'{{"n":{n},"w":{signed(s)},"u":"g","stable":{"false" if s.condition == "moving" else "true"}}}', "\n"),
        taught="ok moving", negative=True)  # fmt: skip
    add(
        "two units in the line",
        line(lambda s, n: f"{signed(s, 8)} g {value(s) / Decimal('28.349523125'):8.3f} oz"),
    )
    add("two units in turn", line(lambda s, n: f"{signed(s, 9)} {s.unit}"), {"g": 0, "kg": 3}, 9000)
    # Scales with every mark.
    add("words for all", line(by(lambda s, n: f"ST,GS,{minus(s)}{number(s, 7, '0')}kg", moving=lambda s, n: f"US,GS,{minus(s)}{number(s, 7, '0')}kg",
        overload="OL,GS,+9999999kg")), {"kg": 2}, 600, taught="ok moving overload", negative=True, fixed_width=True)  # fmt: skip
    add(
        "letter for zero",
        line(by(lambda s, n: f"N {signed(s, 8)} g", zero=lambda s, n: f"Z {signed(s, 8)} g")),
        taught="ok zero",
        negative=True,
    )
    add(
        "status digit in front",
        line(lambda s, n: f"{'1' if s.condition == 'moving' else '0'}{signed(s, 8)}"),
        taught="ok moving",
        negative=True,
    )
    add(
        "status in hexadecimal behind",
        line(lambda s, n: f"{signed(s, 8)} {'1A' if s.condition == 'moving' else '0A'}"),
        taught="ok moving",
        negative=True,
    )
    add("LF before CR", line(lambda s, n: f"{signed(s, 8)} g", "\n\r"), negative=True)
    add("zero bytes between", lambda s, n: b"\0" * (n % 3) + f"{signed(s, 8)} g\r\n".encode(), negative=True)
    add("prompt", lambda s, n: f"{signed(s)} g\r\n> ".encode(), negative=True)
    add("angle brackets", line(lambda s, n: f"<{minus(s)}{number(s, 6, '0')}>", ""), negative=True, fixed_width=True)
    add("unit in front", line(lambda s, n: f"kg {signed(s, 8)}"), {"kg": 3}, 30, negative=True)
    add("board with a channel", line(lambda s, n: f"D1:{signed(s)}mm", "\r"), {"mm": 0}, 999)
    add(
        "board with a sum",
        line(lambda s, n: (b := f"#07;{digits(s, 4)};mm") + f"*{sum(b.encode()) & 255:02X}"),
        {"mm": 0},
        999,
        fixed_width=True,
    )
    add("board, bare number", line(lambda s, n: signed(s), "\r"), {"mm": 0}, 999)
    add("words around", line(lambda s, n: f"Weight: {signed(s)} g, Status: {'MOTION' if s.condition == 'moving' else 'OK'}"), taught="ok moving",
        negative=True)  # fmt: skip
    # Identifiers.
    add(
        "scan with prefix",
        line(lambda s, n: f"]C1{s.identifier}", "\r"),
        identifiers=lambda r: f"LK{r.randint(0, 9999):04}",
    )
    add("tag in hexadecimal with sum", lambda s, n: b"\x02" + (t := str(s.identifier)).encode() + b"%02X" % xor(bytes.fromhex(t)) + b"\r\n\x03",
        identifiers=lambda r: "04" + "".join(r.choices("0123456789ABCDEF", k=8)))  # fmt: skip
    add("tag, country and number", line(by(lambda s, n: f"A {str(s.identifier)[:3]} {str(s.identifier)[3:]}", error="NO TAG"), "\r"), taught="ok error",
        identifiers=lambda r: f"977{r.randint(0, 2**38 - 1):012}")  # fmt: skip
    # More of the same, drawn up after the first look.
    add(
        "letters in two columns",
        line(
            by(
                lambda s, n: f"S {'D' if s.condition == 'moving' else 'S'} {signed(s, 10)} g",
                overload="S +",
                underload="S -",
            )
        ),
        taught="ok moving overload",
        untaught="underload",
        negative=True,
    )
    add("unit by its number", line(lambda s, n: f"{signed(s, 8)} {0 if s.unit == 'g' else 1}"), {"g": 0, "kg": 3}, 9000)
    add("tare behind", line(lambda s, n: f"{signed(s, 8)} kg N {n % 3 + 1}.500 kg T"), {"kg": 3}, 30, negative=True)
    add(
        "minus in place of a zero",
        line(lambda s, n: (minus(s, "-", "0") + number(s, 6, "0")) + "g"),
        negative=True,
        fixed_width=True,
    )
    add(
        "thousands with commas",
        line(lambda s, n: f"{minus(s, '-', '')}{abs(value(s)):,.1f}".rjust(10) + " g"),
        negative=True,
    )
    add("with an exponent", line(lambda s, n: f"{minus(s)}{abs(value(s)):.4E} g"), negative=True)
    add("two pans", line(lambda s, n: f"A {signed(s, 8)} g  B {(n * 37) % 900 + 10}.{n % 10} g"))
    add("date behind", line(lambda s, n: f"{signed(s, 9)} g   14/07/2026 {stamp(n)}"), negative=True)
    add(
        "tabs",
        line(lambda s, n: f"{n}\t{signed(s)}\tg\t{'M' if s.condition == 'moving' else 'S'}"),
        taught="ok moving",
        negative=True,
    )
    add(
        "quotes",
        line(lambda s, n: f'"{signed(s)}","g","{"US" if s.condition == "moving" else "ST"}"'),
        taught="ok moving",
        negative=True,
    )
    add(
        "tags of a mark-up",
        line(lambda s, n: f'<w u="g" s="{0 if s.condition == "moving" else 1}">{signed(s)}</w>'),
        taught="ok moving",
        negative=True,
    )
    add(
        "even parity read as eight bits",
        lambda s, n: bytes(c | (c.bit_count() & 1) << 7 for c in f"{signed(s, 8)} g\r\n".encode()),
        negative=True,
    )
    add(
        "crc in hexadecimal",
        line(lambda s, n: (b := f"{signed(s)};g;") + f"{crc16(b.encode()):04X}"),
        negative=True,
        fixed_width=True,
    )
    add(
        "xor with STX counted in",
        lambda s, n: (b := f"\x02{minus(s, '-', ' ')}{number(s, 7)} g\x03".encode()) + bytes([xor(b)]),
        negative=True,
        fixed_width=True,
    )
    add(
        "length in front",
        lambda s, n: (b := f"W{signed(s)}g".encode()) and bytes([1, len(b)]) + b + bytes([sum(b) & 255]),
        negative=True,
        binary=True,
    )
    add("echo of the command", line(lambda s, n: f"P\r\n{signed(s, 9)} g"), negative=True)
    add("line ends in front", lambda s, n: f"\r\n{signed(s, 9)} g".encode(), negative=True)
    add(
        "LF in front, CR behind",
        lambda s, n: f"\n{'M' if s.condition == 'moving' else ' '}{signed(s, 8)}g\r".encode(),
        taught="ok moving",
        negative=True,
    )
    add("station and length", line(lambda s, n: f"{n % 3 + 1:03} {digits(s, 4)}"), {"mm": 0}, 999)
    add(
        "thirteen digits",
        line(lambda s, n: f"FFFF{'8' if value(s) < 0 else '0'}{digits(s, 6)}20", "\r"),
        {"mm": 2},
        300,
        negative=True,
        fixed_width=True,
    )
    add(
        "blank digits for overload",
        line(by(lambda s, n: f"{signed(s, 8)} g", overload="         g")),
        taught="ok overload",
        negative=True,
    )
    add(
        "roofs above, dashes below",
        line(by(lambda s, n: f"S{signed(s, 8)}g", overload="S ^^^^^^^g", underload="S -------g")),
        taught="ok overload underload",
        negative=True,
    )
    add(
        "unit only when settled, then a bell",
        line(lambda s, n: f"{signed(s, 8)}{'' if s.condition == 'moving' else ' g' + chr(7)}"),
        taught="ok moving",
        negative=True,
    )
    add(
        "settled by capitals of the load",
        line(lambda s, n: f"{'g' if s.condition == 'moving' else 'G'}{signed(s, 8)}kg"),
        {"kg": 2},
        300,
        taught="ok moving",
        negative=True,
    )
    add(
        "zero by a letter, movement by another",
        line(
            by(
                lambda s, n: f"  {signed(s, 8)}g",
                zero=lambda s, n: f"Z {signed(s, 8)}g",
                moving=lambda s, n: f" M{signed(s, 8)}g",
            )
        ),
        taught="ok zero moving",
        negative=True,
    )
    add(
        "status in bits of a letter",
        line(
            lambda s, n: (
                f"{chr(0x40 | (1 if s.condition == 'moving' else 0) | (2 if value(s) < 0 else 0))}{number(s, 7)}g"
            )
        ),
        taught="ok moving",
        negative=True,
    )
    add(
        "overload by a bit of a letter",
        line(
            by(
                lambda s, n: f"@{number(s, 7)}g",
                overload=lambda s, n: f"D{(n * 17) % 100 + 3000}.{n % 10}".rjust(8) + "g",
            ),
        ),
        taught="ok overload",
    )
    add(
        "error by letters among digits",
        line(by(lambda s, n: f"{digits(s, 6)}", error="E00012")),
        taught="ok error",
        fixed_width=True,
    )
    add(
        "error by a reading too large",
        line(by(lambda s, n: f"+{number(s, 7, '0')}mm", error="+99999.9mm")),
        {"mm": 1},
        900,
        taught="ok error",
        fixed_width=True,
    )
    add(
        "sum over half bytes, low first",
        lambda s, n: (
            b"\x02"
            + (b := f"{digits(s, 6)}".encode())
            + bytes([0x30 | (x := sum(b) & 255) & 15, 0x30 | x >> 4])
            + b"\r"
        ),
        fixed_width=True,
    )
    add(
        "two's complement in three bytes",
        lambda s, n: b"\xfe" + (b := (count(s) & 0xFFFFFF).to_bytes(3, "little")) + bytes([xor(b)]),
        {"g": 1},
        9000,
        negative=True,
        binary=True,
    )
    add(
        "packed decimals with status",
        lambda s, n: b"\x02" + bytes([0x41 if s.condition == "moving" else 0x40]) + bcd(abs(count(s)), 3) + b"\x03",
        {"g": 1},
        9000,
        taught="ok moving",
        binary=True,
    )
    add(
        "scan behind a counter",
        line(lambda s, n: f"{n:03},{s.identifier}"),
        identifiers=lambda r: f"P{r.randint(0, 99999):05}-{r.choice('ABCD')}",
    )
    add(
        "scan with a group mark",
        line(lambda s, n: f"]d2{s.identifier}\x1d", "\r"),
        identifiers=lambda r: f"{r.randint(10**13, 10**14 - 1)}",
    )
    add(
        "tag with underscore",
        line(by(lambda s, n: f"{str(s.identifier)[:3]}_{str(s.identifier)[3:]}", error="NOREAD"), "\r\n"),
        taught="ok error",
        identifiers=lambda r: f"{r.choice(('977', '978', '752'))}{r.randint(0, 2**38 - 1):012}",
    )
    add(
        "tag in eight bytes of hexadecimal",
        line(lambda s, n: f"T{s.identifier}", "\r\n"),
        identifiers=lambda r: f"E0{r.randint(0, 2**56 - 1):014X}",
    )
    return out


def rows_of(instrument: Instrument, rng: random.Random) -> Case:
    """Four to six rows, in any order a person might take them, then a hundred frames of the forms shown."""
    if instrument.identifiers is not None:
        return case_of_scans(instrument, rng)
    case = Case(instrument)
    names = list(instrument.decimals)
    plan = [(condition, names[0], False) for condition in instrument.taught if condition != "ok"]
    oks = [("ok", unit, False) for unit in names] * 2
    oks = oks[: max(2, len(names))]
    if instrument.negative and rng.random() < 0.8:
        oks.append(("ok", names[0], True))
    plan += oks
    while len(plan) < 4 or (len(plan) < 6 and rng.random() < 0.5):
        plan.append(("ok", rng.choice(names), False))
    rng.shuffle(plan)
    rows = ["offset,value,unit,condition"]
    n = rng.randint(1, 30)
    each = rng.choice((1, 1, 2, 3))
    for place, (condition, unit, negative) in enumerate(plan):
        said = draw(rng, instrument, unit, condition, negative)
        # A careful person shows no round number, and one below one where zeros before the point are left out.
        while said.value is not None and condition != "zero" and not said.value % 10:
            said = draw(rng, instrument, unit, condition, negative)
        if instrument.drops and place == 1 and said.value is not None:
            said = replace(said, value=said.value.to_integral_value() + 1)
        shown = "" if said.value is None else format(said.value, "f")
        rows.append(f"{len(case.data)},{shown},{said.unit or ''},{condition}")
        for _ in range(each):
            n += 1
            if instrument.silence and case.data:
                case.silences.append((len(case.data), 120.0))
            case.data += instrument.send(said, n)
    case.shown = "\n".join(rows) + "\n"
    for _ in range(100):
        condition, unit, negative = rng.choice(plan)
        n += rng.randint(1, 9)
        said = draw(rng, instrument, unit, condition, negative)
        case.further.append((instrument.send(said, n), said))
    for condition in instrument.untaught:
        for _ in range(6):
            n += 1
            case.foreign.append((instrument.send(draw(rng, instrument, names[0], condition, False), n), None))
    return case


def case_of_scans(instrument: Instrument, rng: random.Random) -> Case:
    """Four to six scans, and what else was shown."""
    assert instrument.identifiers is not None
    case = Case(instrument)
    rows = ["offset,value,unit,condition"]
    plan = ["ok"] * rng.randint(4, 6 - (len(instrument.taught) > 1)) + [one for one in instrument.taught if one != "ok"]
    for n, condition in enumerate(plan):
        said = Said(None, None, condition, instrument.identifiers(rng) if condition == "ok" else None)
        rows.append(f"{len(case.data)},{said.identifier or ''},,{condition}")
        case.data += instrument.send(said, n)
    case.shown = "\n".join(rows) + "\n"
    for n in range(100):
        said = Said(None, None, "ok", instrument.identifiers(rng))
        case.further.append((instrument.send(said, n), said))
    return case


def third_corpus(seed: int = SEED) -> list[Case]:
    """Two draws of every layout."""
    return [
        rows_of(one, random.Random(seed + 1000 * turn + number))
        for turn in range(2)
        for number, one in enumerate(third())
    ]
