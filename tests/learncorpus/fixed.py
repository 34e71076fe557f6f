"""Layouts written by hand: what composition doesn't reach."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal
from functools import reduce

from .generated import checked
from .model import Instrument, Said

Send = Callable[[Said, int], bytes]


def _text(said: Said, decimals: int) -> str:
    assert said.value is not None
    return format(abs(said.value).quantize(Decimal(1).scaleb(-decimals)), "f")


def _minus(said: Said) -> bool:
    return said.value is not None and said.value < 0


def reversed_digits(said: Said, n: int) -> bytes:
    """`=` and seven characters, the last digit first, no terminator."""
    return b"=" + _text(said, 1).rjust(7, "0")[::-1].encode()


def reversed_signed(said: Said, n: int) -> bytes:
    return (_text(said, 2).rjust(7, "0")[::-1] + ("-" if _minus(said) else " ")).encode() + b"\r"


def reversed_implied(said: Said, n: int) -> bytes:
    return b"\x02" + _text(said, 1).replace(".", "").rjust(6, "0")[::-1].encode() + b"\r"


def hexadecimal(said: Said, n: int) -> bytes:
    assert said.value is not None
    return b"V%04X\r\n" % int(said.value)


def hex_plain(said: Said, n: int) -> bytes:
    assert said.value is not None
    return b"%06x\r" % int(said.value * 10)


def pounds(said: Said, n: int) -> bytes:
    assert said.value is not None
    big, small = divmod(abs(said.value), 16)
    mark = "~" if said.condition == "moving" else " "
    return f"{'-' if _minus(said) else ' '}{int(big):4d} lb {small:4.1f} oz{mark}\r\n".encode()


def pounds_colon(said: Said, n: int) -> bytes:
    assert said.value is not None
    big, small = divmod(abs(said.value), 16)
    return f"W {int(big)}:{small:04.1f}\r\n".encode()


def print_out(said: Said, n: int) -> bytes:
    assert said.value is not None
    tare = (350, 120, 35, 0, 512)[n % 5]
    return f"GROSS {int(said.value) + tare:8d} g\r\nTARE  {tare:8d} g\r\nNET   {int(said.value):8d} g\r\n\r\n".encode()


def print_out_lines(said: Said, n: int) -> bytes:
    """The same without an empty line after it."""
    assert said.value is not None
    tare = (350, 120, 35, 80, 512)[n % 5]
    return f"G {int(said.value) + tare:8d} g\r\nT {tare:8d} g\r\nN {int(said.value):8d} g\r\n".encode()


def in_a_line(said: Said, n: int) -> bytes:
    assert said.value is not None
    tare = (350, 120, 35, 80, 512)[n % 5]
    return f"{n:05d};{int(said.value) + tare};{tare};{int(said.value)};g\r\n".encode()


def temperature(said: Said, n: int) -> bytes:
    return f"L={_text(said, 1):>7} mm T={15 + (n * 7 % 40) / 10:4.1f} C\r\n".encode()


def check_is_any_byte(said: Said, n: int) -> bytes:
    """The check after ETX can be CR, ETX or a digit."""
    body = f"{_text(said, 3)} kg".encode() + b"\x03"
    return b"\x02" + body + bytes([reduce(lambda a, b: a ^ b, body)])


def check_before_cr(said: Said, n: int) -> bytes:
    body = f"{_text(said, 1):>8} g".encode()
    return b"\x02" + body + bytes([sum(body) & 0xFF]) + b"\r"


def cr_inside(said: Said, n: int) -> bytes:
    return f"ID 7\rWT {_text(said, 1):>7} g\r\n".encode()


def cr_inside_etx(said: Said, n: int) -> bytes:
    mark = "M" if said.condition == "moving" else "S"
    return b"\x02" + f"{mark}\r{_text(said, 0):>6}\rg".encode() + b"\x03"


def two_lines(said: Said, n: int) -> bytes:
    return f"No. {n + 40:5d}\r\nL   {_text(said, 1):>6} mm\r\n\r\n".encode()


def error_like_reading(said: Said, n: int) -> bytes:
    """Error codes stand where the number does, without its decimal point."""
    if said.condition == "error":
        return b"+   0012  g\r\n"
    if said.condition == "overload":
        return b"+   9999  g\r\n"
    return f"{'-' if _minus(said) else '+'}{_text(said, 1):>7}  g\r\n".encode()


def overload_as_number(said: Said, n: int) -> bytes:
    if said.condition == "overload":
        return b"  9999.9 g\r\n"
    return f"{_text(said, 1):>8} g\r\n".encode()


def overload_digits(said: Said, n: int) -> bytes:
    if said.condition == "overload":
        return f"OL {3000 + n * 13 % 90:7.1f} g\r\n".encode()
    mark = "US" if said.condition == "moving" else "ST"
    return f"{mark} {_text(said, 1):>7} g\r\n".encode()


def status_glued_to_unit(said: Said, n: int) -> bytes:
    return f"{_text(said, 2):>9}{said.unit}{'d' if said.condition == 'moving' else 's'}\r\n".encode()


def lower_when_moving(said: Said, n: int) -> bytes:
    text = f"N{_text(said, 1):>8} G"
    return (text.lower() if said.condition == "moving" else text).encode() + b"\r\n"


def status_digit_first(said: Said, n: int) -> bytes:
    """Status, sign and digits without anything between."""
    state = {"ok": "0", "moving": "1", "overload": "2", "underload": "3", "zero": "0", "error": "8"}[said.condition]
    digits = "999999" if said.value is None else _text(said, 1).replace(".", "").rjust(6, "0")
    return f"{state}{'-' if _minus(said) else '+'}{digits}\r".encode()


def status_digit_glued(said: Said, n: int) -> bytes:
    state = {"ok": "0", "moving": "1", "overload": "2"}[said.condition]
    digits = "399999" if said.value is None else _text(said, 1).replace(".", "").rjust(6, "0")
    return f"{state}{digits}\r\n".encode()


def lone_number(said: Said, n: int) -> bytes:
    return f"{_text(said, 0)}\r".encode()


def lone_padded(said: Said, n: int) -> bytes:
    return f"{_text(said, 1):>8}\r\n".encode()


def lone_zeros(said: Said, n: int) -> bytes:
    return f"{_text(said, 2).replace('.', ''):0>6}\r".encode()


def trailing_zeros_dropped(said: Said, n: int) -> bytes:
    assert said.value is not None
    text = format(said.value.normalize(), "f")
    return f"{text} mm\r\n".encode()


def trailing_sign_unit(said: Said, n: int) -> bytes:
    return f"{_text(said, 1):>7} g{'-' if _minus(said) else '+'}\r\n".encode()


def sentence(said: Said, n: int) -> bytes:
    body = f"PLEN,{_text(said, 1)},mm".encode()
    return b"$" + body + b"*" + checked("xor-hex", body) + b"\r\n"


def csv_clock(said: Said, n: int) -> bytes:
    return f"2026-05-04,09:{10 + n // 60:02d}:{n % 60:02d},{_text(said, 1)},g,{'U' if said.condition == 'moving' else 'S'}\r\n".encode()


def unit_first(said: Said, n: int) -> bytes:
    return f"g {'-' if _minus(said) else ' '}{_text(said, 1):>7}\r\n".encode()


def named_field(said: Said, n: int) -> bytes:
    return f'<w u="g" s="{"0" if said.condition == "moving" else "1"}">{_text(said, 1)}</w>\r\n'.encode()


def star_padded_sentence(said: Said, n: int) -> bytes:
    return f"Weight: {_text(said, 3):>8} kg Net\r\n".encode()


def bracketed(said: Said, n: int) -> bytes:
    return f"[{n % 100:02d}|{_text(said, 2):>8}|mm]".encode()


def tabbed(said: Said, n: int) -> bytes:
    return f"{'M' if said.condition == 'moving' else 'R'}\t{_text(said, 1)}\tg\n".encode()


def silence(said: Said, n: int) -> bytes:
    return f"L {_text(said, 1):>6} mm".encode()


def doubled(said: Said, n: int) -> bytes:
    """Ends with CR LF and begins with them."""
    return f"\r\n  {_text(said, 1):>7} g  \r\n".encode()


def asked(said: Said, n: int) -> bytes:
    """With the echo of the question before each answer."""
    return f"?W\r\n{_text(said, 1):>7} g\r\n".encode()


def high_bytes(said: Said, n: int) -> bytes:
    return b"\xaa\x55" + f"{_text(said, 1):>8}".encode() + b"g\xff"


def exact_grams(said: Said, n: int) -> bytes:
    state = {"ok": " ", "moving": "?", "zero": "0", "overload": "^", "underload": "v", "error": "!"}[said.condition]
    number = "-------" if said.value is None else f"{_text(said, 0):>7}"
    return f"{state}{'-' if _minus(said) else ' '}{number} g\r\n".encode()


def kilos_and_grams(said: Said, n: int) -> bytes:
    decimals = 4 if said.unit == "kg" else 1
    return f"{'S' if said.condition != 'moving' else 'D'} {_text(said, decimals):>9} {said.unit:<2}\r\n".encode()


def scanner(prefix: bytes, suffix: bytes) -> Send:
    def send(said: Said, n: int) -> bytes:
        if said.identifier is None:
            return prefix + b"NOREAD" + suffix
        return prefix + said.identifier.encode() + suffix

    return send


def tag_dotted(said: Said, n: int) -> bytes:
    code = int(said.identifier or 0)
    return f"{code // 10**12:03X}.{code % 10**12:010X}\r\n".encode()


def tag_hex(said: Said, n: int) -> bytes:
    code = int(said.identifier or 0)
    return f"LA {1 << 63 | (code // 10**12) << 38 | code % 10**12:016X}\r".encode()


def tag_backwards(said: Said, n: int) -> bytes:
    code = int(said.identifier or 0)
    bits = format(1 << 63 | (code // 10**12) << 38 | code % 10**12, "064b")
    return f"{int(bits[::-1], 2):016X}\r\n".encode()


def tag_decimal(said: Said, n: int) -> bytes:
    text = said.identifier or ""
    return f"{text[:3]}_{text[3:]}\r\n".encode()


def _tags(rng: random.Random) -> str:
    return f"{rng.choice((999, 276, 985, 900)):03d}{rng.randrange(2**38):012d}"


def _labels(rng: random.Random) -> str:
    return f"2026S{rng.randint(1, 40):03d}F{rng.randint(1, 500):03d}"


def _vials(rng: random.Random) -> str:
    return "".join(rng.choices("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", k=8))


def _numbers(rng: random.Random) -> str:
    return f"{rng.randrange(10**12):012d}"


def fixed() -> list[Instrument]:
    """All of them."""
    g1, g0, mm1, mm0 = {"g": 1}, {"g": 0}, {"mm": 1}, {"mm": 0}
    make = Instrument
    return [
        make("reversed-digits", reversed_digits, g1, 3000, fixed_width=True),
        make("reversed-signed", reversed_signed, {"g": 2}, 600, negative=True, fixed_width=True),
        make("reversed-implied", reversed_implied, g1, 3000, fixed_width=True),
        make("hexadecimal", hexadecimal, g0, 6000, fixed_width=True),
        make("hex-plain", hex_plain, g1, 3000, fixed_width=True),
        make("pounds", pounds, {"[oz_av]": 1}, 400, negative=True, taught=("ok", "moving"), fixed_width=True),
        make("pounds-colon", pounds_colon, {"[oz_av]": 1}, 400),
        make("print-out", print_out, g0, 6000, streams=False),
        make("print-out-lines", print_out_lines, g0, 6000, streams=False),
        make("in-a-line", in_a_line, g0, 6000),
        make("temperature", temperature, mm1, 600, streams=False),
        make("check-is-any-byte", check_is_any_byte, {"kg": 3}, 30),
        make("check-before-cr", check_before_cr, g1, 3000, fixed_width=True),
        make("cr-inside", cr_inside, g1, 3000),
        make("cr-inside-etx", cr_inside_etx, g0, 9000, taught=("ok", "moving")),
        make("two-lines", two_lines, mm1, 900, streams=False),
        make("error-like-reading", error_like_reading, g1, 3000, negative=True, taught=("ok", "error"), untaught=("overload",)),
        make("error-like-reading-both", error_like_reading, g1, 3000, taught=("ok", "error", "overload")),
        make("overload-as-number", overload_as_number, g1, 3000, taught=("ok", "overload")),
        make("overload-digits", overload_digits, g1, 3000, taught=("ok", "moving", "overload")),
        make("overload-digits-unshown", overload_digits, g1, 3000, taught=("ok", "moving"), untaught=("overload",)),
        make("status-glued-to-unit", status_glued_to_unit, {"g": 2}, 600, taught=("ok", "moving"), fixed_width=True),
        make("lower-when-moving", lower_when_moving, g1, 3000, taught=("ok", "moving")),
        make("status-digit-first", status_digit_first, g1, 3000, negative=True, taught=("ok", "moving", "overload"), untaught=("underload",), fixed_width=True),
        make("status-digit-glued", status_digit_glued, g1, 3000, taught=("ok", "moving"), untaught=("overload",)),
        make("status-digit-glued-unshown", status_digit_glued, g1, 3000, untaught=("overload", "moving")),
        make("lone-number", lone_number, mm0, 1500, streams=False),
        make("lone-padded", lone_padded, g1, 3000, fixed_width=True),
        make("lone-zeros", lone_zeros, {"mm": 2}, 300, streams=False, fixed_width=True),
        make("trailing-zeros-dropped", trailing_zeros_dropped, mm1, 600, streams=False),
        make("trailing-sign-unit", trailing_sign_unit, g1, 3000, negative=True, fixed_width=True),
        make("sentence", sentence, mm1, 900, streams=False),
        make("csv-clock", csv_clock, g1, 3000, taught=("ok", "moving")),
        make("unit-first", unit_first, g1, 3000, negative=True, fixed_width=True),
        make("named-field", named_field, g1, 3000, taught=("ok", "moving")),
        make("net-words", star_padded_sentence, {"kg": 3}, 30, fixed_width=True),
        make("bracketed", bracketed, {"mm": 2}, 300, fixed_width=True),
        make("tabbed", tabbed, g1, 3000, taught=("ok", "moving")),
        make("doubled", doubled, g1, 3000),
        make("asked", asked, g1, 3000, fixed_width=True),
        make("high-bytes", high_bytes, g1, 3000, fixed_width=True),
        make("exact-grams", exact_grams, g0, 9000, negative=True, taught=("ok", "moving", "overload"), untaught=("underload", "error"), fixed_width=True),
        make("exact-grams-zero", exact_grams, g0, 9000, taught=("ok", "zero", "underload"), untaught=("overload",), fixed_width=True),
        make("kilos-and-grams", kilos_and_grams, {"g": 1, "kg": 4}, 3000, taught=("ok", "moving"), fixed_width=False),
        make("scanner", scanner(b"", b"\r"), {}, 0, identifiers=_labels, untaught=("error",)),
        make("scanner-symbology", scanner(b"]C0", b"\r\n"), {}, 0, identifiers=_labels),
        make("scanner-stx", scanner(b"\x02", b"\x03"), {}, 0, identifiers=_vials, untaught=("error",)),
        make("scanner-numbers", scanner(b"", b"\r\n"), {}, 0, identifiers=_numbers, taught=("ok", "error")),
        make("scanner-tab", scanner(b"", b"\t"), {}, 0, identifiers=_vials),
        make("tag-dotted", tag_dotted, {}, 0, identifiers=_tags),
        make("tag-hex", tag_hex, {}, 0, identifiers=_tags),
        make("tag-backwards", tag_backwards, {}, 0, identifiers=_tags),
        make("tag-decimal", tag_decimal, {}, 0, identifiers=_tags),
    ]  # fmt: skip
