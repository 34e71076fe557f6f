"""How the reports of a USB device stand in a stream of bytes: what a port hands over, what a capture holds. Pure.

A report means nothing without the descriptor that lays it out, and a stream of bytes has no packets. So a port hands
over records, and whoever reads them later (the wire, a replay, a test) has all it needs:

| byte | meaning |
| --- | --- |
| 0 | `D` (44): an interface's report descriptor; `R` (52): one report |
| 1 | number of the interface |
| 2, 3 | length of what follows, high byte first |
| 4 … | the bytes as the device sent them |
"""

from __future__ import annotations

from typing import NamedTuple

DESCRIPTOR, REPORT = 0x44, 0x52
HEAD = 4
#: Longest descriptor HID can announce (wDescriptorLength has two bytes), and far more than any report has.
LONGEST = 0xFFFF


class Record(NamedTuple):
    """One record; `offset` is that of its first byte in the stream."""

    kind: int
    interface: int
    payload: bytes
    offset: int


def record(kind: int, interface: int, payload: bytes) -> bytes:
    """The bytes of a record. Raises ValueError for what is no kind, no interface number, or too long."""
    if kind not in (DESCRIPTOR, REPORT) or not 0 <= interface <= 0xFF or len(payload) > LONGEST:
        raise ValueError(f"no record: kind {kind:#x}, interface {interface}, {len(payload)} bytes")
    return bytes((kind, interface)) + len(payload).to_bytes(2, "big") + payload


class RecordReader:
    """Bytes in any chunks → records. Bytes that begin no record end it: nothing after them can be told apart."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Begin anew: the next byte begins a record."""
        self._buffer = b""
        self._offset = 0
        self.broken = False

    def feed(self, data: bytes) -> list[Record]:
        """The records that `data` completes. Once `broken`, what comes is only kept for `rest`."""
        self._buffer += data
        out: list[Record] = []
        start, buffer = 0, self._buffer
        while not self.broken and len(buffer) > start:
            if buffer[start] not in (DESCRIPTOR, REPORT):
                self.broken = True
            elif len(buffer) - start < HEAD:
                break
            else:
                end = start + HEAD + int.from_bytes(buffer[start + 2 : start + HEAD], "big")
                if len(buffer) < end:
                    break
                out.append(Record(buffer[start], buffer[start + 1], buffer[start + HEAD : end], self._offset + start))
                start = end
        self._buffer = buffer[start:]
        self._offset += start
        return out

    def rest(self) -> tuple[bytes, int]:
        """What is left over and no record, with its offset; it is given once."""
        left, offset = self._buffer, self._offset
        self._buffer, self._offset = b"", offset + len(left)
        return left, offset
