"""Room `wire`: bytes → frames (framer) → what each says (decoder) → arrivals, settled loads, emptyings (settler).

Sans-I/O: may not do I/O, read a clock or use randomness. Time comes in with the bytes, in monotonic nanoseconds, and
`next_wake` says when the room must next be called. Any bytes in any chunking give documented events and nothing else.
"""

from .channel import Channel, Heard, decode_frames
from .events import Arrival, Counts, Decoded, Emptied, Frame, Reading, Rejected, RejectReason, WireEvent

__all__ = [
    "Arrival",
    "Channel",
    "Counts",
    "Decoded",
    "Emptied",
    "Frame",
    "Heard",
    "Reading",
    "RejectReason",
    "Rejected",
    "WireEvent",
    "decode_frames",
]
