"""Checks over a frame's bytes. Pure; each is compared with independent libraries in `tests/unit/test_wire_checksums.py`."""

from __future__ import annotations

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


#: Parameters as catalogued for the check values of `123456789` (4B37, 29B1, 2189, 31C3, 906E, BB3D).
CRCS: dict[str, _Crc] = {
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
    if crc.reflected:
        polynomial = _mirrored(crc.polynomial, 16)

        def step(register: int) -> int:
            return register >> 1 ^ polynomial if register & 1 else register >> 1

        table = [reduce(lambda r, _: step(r), range(8), byte) for byte in range(256)]

        def reflected(data: bytes) -> int:
            return reduce(lambda r, byte: r >> 8 ^ table[(r ^ byte) & 0xFF], data, crc.start) ^ crc.final

        return reflected

    def shift(register: int) -> int:
        return (register << 1 ^ crc.polynomial if register & 0x8000 else register << 1) & 0xFFFF

    high = [reduce(lambda r, _: shift(r), range(8), byte << 8) for byte in range(256)]

    def forward(data: bytes) -> int:
        return reduce(lambda r, byte: (r << 8 & 0xFF00) ^ high[r >> 8 ^ byte], data, crc.start) ^ crc.final

    return forward


def check_function(kind: str) -> Callable[[bytes], int]:
    """The function of a check by its name in a profile. Raises KeyError for an unknown one."""
    match kind:
        case "xor":
            return lambda data: reduce(xor, data, 0)
        case "sum":
            return lambda data: sum(data) & 0xFF
        case "twos-complement":
            return lambda data: -sum(data) & 0xFF
        case _:
            return _crc16(CRCS[kind])


def verifier(check: Checksum) -> Callable[[bytes], bool]:
    """A function that says whether a whole frame carries the right check. A frame too short for one doesn't."""
    function = check_function(check.kind)
    width, trailing = check.width, check.trailing
    order: str = "big" if check.order == "high-first" else "little"

    def expected(value: int) -> bytes:
        raw = value.to_bytes(2 if check.kind.startswith("crc-16") else 1, "big" if order == "big" else "little")
        return raw.hex().upper().encode() if check.written == "hex" else raw

    def holds(raw: bytes) -> bool:
        end = len(raw) - trailing - width
        last = end - check.uncounted
        if last <= check.first:
            return False
        given = raw[end : end + width]
        return (given.upper() if check.written == "hex" else given) == expected(function(raw[check.first : last]))

    return holds
