"""The form a snapshot is stored in: deflated (RFC 1950), since a bench's state is much the same words again and again.

Written whole, snapshots were a third of all that went to the disk.
"""

from __future__ import annotations

import zlib

#: The fastest level: it leaves a tenth; a slow one would leave a twelfth.
_LEVEL = 1


def packed(state: str) -> bytes:
    """A state as it is stored."""
    return zlib.compress(state.encode(), _LEVEL)


def unpacked(stored: bytes | str) -> str:
    """The state that was stored; ledgers of earlier versions hold it as plain text. Raises ValueError where it is damaged."""
    if isinstance(stored, str):
        return stored
    try:
        return zlib.decompress(stored).decode()
    except zlib.error as fault:
        raise ValueError(str(fault)) from fault
