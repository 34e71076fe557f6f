"""Checks over a frame's bytes. Pure; each is compared with independent libraries in `tests/unit/wire/test_checksums.py`."""

from __future__ import annotations

from binascii import Error, crc_hqx, unhexlify
from collections.abc import Callable
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from ..profiles.model import Checksum


class _Crc(NamedTuple):
    """A 16-bit CRC in the usual parameters; `reflected` ones work from the lowest bit."""

    polynomial: int
    start: int
    reflected: bool
    final: int


#: Parameters as catalogued for the check values of `123456789` (B4C8, 4B37, 29B1, 2189, 31C3, 906E, BB3D).
CRCS: dict[str, _Crc] = {
    "crc-16-usb": _Crc(0x8005, 0xFFFF, True, 0xFFFF),
    "crc-16-modbus": _Crc(0x8005, 0xFFFF, True, 0),
    "crc-16-ccitt-false": _Crc(0x1021, 0xFFFF, False, 0),
    "crc-16-kermit": _Crc(0x1021, 0, True, 0),
    "crc-16-xmodem": _Crc(0x1021, 0, False, 0),
    "crc-16-x-25": _Crc(0x1021, 0xFFFF, True, 0xFFFF),
    "crc-16-arc": _Crc(0x8005, 0, True, 0),
}


def _mirrored(value: int, bits: int) -> int:
    return int(format(value, f"0{bits}b")[::-1], 2)


def _crc16(crc: _Crc) -> Callable[[bytes], int]:
    if not crc.reflected:
        # All that aren't reflected have the one polynomial that the standard library knows.
        return lambda data: crc_hqx(data, crc.start) ^ crc.final
    polynomial = _mirrored(crc.polynomial, 16)

    def step(register: int) -> int:
        return register >> 1 ^ polynomial if register & 1 else register >> 1

    table = [reduce(lambda r, _: step(r), range(8), byte) for byte in range(256)]

    def reflected(data: bytes) -> int:
        register = crc.start
        for byte in data:
            register = register >> 8 ^ table[(register ^ byte) & 0xFF]
        return register ^ crc.final

    return reflected


def _crc8(polynomial: int, *, reflected: bool) -> Callable[[bytes], int]:
    """An 8-bit CRC that starts at 0 (check values of `123456789`: F4, and A1 for the reflected 31)."""

    def step(register: int) -> int:
        if reflected:
            return register >> 1 ^ polynomial if register & 1 else register >> 1
        return (register << 1 ^ polynomial if register & 0x80 else register << 1) & 0xFF

    table = [reduce(lambda r, _: step(r), range(8), byte) for byte in range(256)]
    return lambda data: reduce(lambda r, byte: table[r ^ byte], data, 0)


_SIMPLE: dict[str, Callable[[bytes], int]] = {
    "xor": lambda data: reduce(xor, data, 0),
    "xor-7": lambda data: reduce(xor, data, 0) & 0x7F,
    "sum": lambda data: sum(data) & 0xFF,
    "sum-7": lambda data: sum(data) & 0x7F,
    "sum-16": lambda data: sum(data) & 0xFFFF,
    "sum-folded": lambda data: 0x20 + sum(data) % 95,
    "sum-mod-100": lambda data: sum(data) % 100,
    "sum-mod-1000": lambda data: sum(data) % 1000,
    "ones-complement": lambda data: ~sum(data) & 0xFF,
    "twos-complement": lambda data: -sum(data) & 0xFF,
}


def check_function(kind: str) -> Callable[[bytes], int]:
    """The function of a check by its name in a profile. Raises KeyError for an unknown one."""
    if kind == "crc-8":
        return _crc8(0x07, reflected=False)
    if kind == "crc-8-maxim":
        return _crc8(_mirrored(0x31, 8), reflected=True)
    return _SIMPLE[kind] if kind in _SIMPLE else _crc16(CRCS[kind])


def writer(check: Checksum) -> Callable[[int], bytes]:
    """A function from a check's value to its bytes in the frame; hexadecimal digits are upper case."""
    size, width, high = check.size, check.width, check.order == "high-first"
    nibbles = bytes.maketrans(b"ABCDEF", b":;<=>?")

    def text(value: int) -> bytes:
        if check.written == "decimal":
            digits = b"%0*d" % (width, value)
        else:
            raw = value.to_bytes(size, "big" if high else "little")
            if check.written == "byte":
                return raw
            digits = raw.hex().upper().encode()
            digits = digits.translate(nibbles) if check.written == "nibbles" else digits
        return digits[::-1] if size == 1 and not high else digits

    return text


def verifier(check: Checksum) -> Callable[[bytes], bool]:
    """A function that says whether a whole frame carries the right check. A frame too short for one doesn't."""
    function, written = check_function(check.kind), writer(check)
    width, trailing, any_case, pairs = check.width, check.trailing, check.written == "hex", check.over == "pairs"

    def holds(raw: bytes) -> bool:
        end = len(raw) - trailing - width
        last = end - check.uncounted
        if last <= check.first:
            return False
        given = raw[end : end + width]
        if pairs:
            try:
                return given.upper() == written(function(unhexlify(raw[check.first : last])))
            except Error:
                return False
        return (given.upper() if any_case else given) == written(function(raw[check.first : last]))

    return holds
