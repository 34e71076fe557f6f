"""New ids: UUIDs of version 7 (RFC 9562), so that ids sort as they were made."""

from __future__ import annotations

import os


def uuid7(unix_ms: int, random: bytes) -> str:
    """A version 7 UUID from milliseconds since 1970 and 10 random bytes (RFC 9562, 5.7)."""
    if not 0 <= unix_ms < 1 << 48 or len(random) != 10:
        raise ValueError("48 bits of milliseconds and 10 random bytes")
    bits = int.from_bytes(random)
    rand_a, rand_b = bits >> 62 & 0xFFF, bits & (1 << 62) - 1
    text = f"{unix_ms << 80 | 7 << 76 | rand_a << 64 | 0b10 << 62 | rand_b:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def new_id(unix_ms: int) -> str:
    """A new id made at a time."""
    return uuid7(unix_ms, os.urandom(10))
