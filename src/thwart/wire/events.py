"""What comes out of the wire: typed, frozen, times in monotonic nanoseconds, values in decimal as sent. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import Final, Literal

from msgspec import Struct

#: Why bytes didn't become a reading. A closed list: each is documented, counted and tested.
RejectReason = Literal["too-long", "checksum", "layout", "value", "torn", "gap", "line-error"]
#: How a reading's rest was known. `moving`: printed on a key while the instrument said it moved.
Settled = Literal["mark", "window", "timed", "each", "moving"]
#: What the instrument said of itself in the frame.
Condition = Literal["ok", "moving", "zero", "overload", "underload", "needs-zero", "error"]
#: Where several are said at once, the gravest (the last of these) counts.
GRAVITY: Final[tuple[Condition, ...]] = ("ok", "zero", "moving", "underload", "overload", "needs-zero", "error")
#: With these there is no number, whatever digits stand beside them.
NO_NUMBER: Final = frozenset(GRAVITY[3:])
LoadMark = Literal["gross", "net", "tare"]


class Frame(Struct, frozen=True):
    """One delimited message as it came, without its terminator. `offset` counts bytes since the channel was opened.

    `fault` names why the bytes are no message, where the framer already knows it.
    """

    raw: bytes
    first_ns: int
    last_ns: int
    offset: int
    fault: RejectReason | None = None


class Decoded(Struct, frozen=True):
    """What one frame says. `text` is the number as sent (sign and decimal point made plain), `unit` a UCUM code."""

    text: str | None
    value: Decimal | None
    unit: str | None
    condition: Condition
    settled: bool | None
    """True or False by the instrument's mark; None where it has none."""
    load: LoadMark | None = None
    identifier: str | None = None
    symbology: str | None = None


class Arrival(Struct, frozen=True):
    """A load left the resting baseline. Only from `stream` instruments."""

    at_ns: int
    baseline: Decimal | None
    unit: str | None


class Reading(Struct, frozen=True):
    """One decoded frame of an `each` or `none` instrument, or one settled load of a `stream` one.

    `value` is None when the condition leaves no number (overload, error, a scan). `arrived_ns` is the arrival less the
    profile's lag; `plateau` counts settlings within one load from 1; `evidence` is at most 64 frames of the load
    (nanoseconds after arrival, bytes).
    """

    raw: bytes
    text: str | None
    value: Decimal | None
    unit: str | None
    condition: Condition
    settled: Settled
    arrived_ns: int
    done_ns: int
    load: LoadMark | None = None
    spread: Decimal | None = None
    samples: int = 1
    zero_before: Decimal | None = None
    plateau: int = 1
    identifier: str | None = None
    symbology: str | None = None
    evidence: tuple[tuple[int, bytes], ...] = ()


class Emptied(Struct, frozen=True):
    """The instrument is clear again: back at the resting baseline, or fallen by at least 80 % of the load."""

    at_ns: int
    resting: Decimal | None
    unit: str | None


class Rejected(Struct, frozen=True):
    """Bytes that didn't frame or decode, with their named reason."""

    reason: RejectReason
    raw: bytes
    at_ns: int


WireEvent = Arrival | Reading | Emptied | Rejected


class Counts(Struct):
    """What a channel has seen since it was opened; of unsettled frames and chatter only these counts are kept."""

    bytes: int = 0
    frames: int = 0
    unsettled: int = 0
    chatter: int = 0
    rejected: int = 0
