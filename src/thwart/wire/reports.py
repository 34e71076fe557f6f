"""The records of a USB port → frames and their meaning: what stands in for framer and decoder where reports come in.

Three ways, as a profile's `framing.reports` says: `scale` (a weighing device's own data reports), `keyboard` (what is
typed, as text that the profile's layouts read), `keys` (each key pressed, by name: pedals and key pads).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from ..records import DESCRIPTOR, Record, RecordReader
from .decoder import Decoder, Meaning, Outcome
from .events import Frame, RejectReason
from .framer import Framer, framer_for
from .hid import Descriptor, parse_descriptor
from .keyboard import BACKSPACE, BOOT, CAPS_LOCK, Press, Typist, name_of
from .scale import DataReports

if TYPE_CHECKING:
    from ..profiles.model import Framing, Profile


#: Largest packets that interrupt endpoints have (USB 2.0, 5.7.3): 8 at low speed, up to 64 at full, up to 1024 at high.
_PACKETS: Final = frozenset((8, 16, 32, 64, 128, 256, 512, 1024))


class Reports(Framer):
    """A framer over records. Packets are whole by themselves, so a scale's reports can't be torn; typed text can."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        self._records = RecordReader()
        self._own = framing.descriptor
        """The descriptor the profile puts in the place of the device's."""
        self._described: dict[int, Descriptor] = {}
        self._parts: dict[int, Record] = {}
        """Reports longer than a packet, as far as they came."""

    def opened(self, at_ns: int) -> None:
        """See Framer."""
        super().opened(at_ns)
        self._records.clear()
        self._described, self._parts = {}, {}
        self._forget()
        if self._own:
            self._learn(0, parse_descriptor(self._own))

    def start_trusted(self) -> None:
        """See Framer."""
        self.opened(0)

    def line_error(self, at_ns: int) -> list[Frame]:
        """A report was lost, and with it perhaps a part of one: see Framer."""
        return self._broken_off("line-error", at_ns)

    def closed(self) -> list[Frame]:
        """See Framer."""
        at_ns = self._last_ns or 0
        return self._broken_off("torn", at_ns) + self._left("torn", at_ns)

    @property
    def next_wake(self) -> int | None:
        """See Framer."""
        return None

    def wake(self, at_ns: int) -> list[Frame]:
        """See Framer."""
        return []

    def feed(self, data: bytes, at_ns: int) -> list[Frame]:
        """See Framer."""
        out = self.wake(at_ns)
        self._last_ns = at_ns
        for record in self._records.feed(data):
            if record.kind != DESCRIPTOR:
                whole = self._whole(record)
                if whole is not None:
                    out += self._report(whole, at_ns)
            elif not self._own:
                self._learn(record.interface, parse_descriptor(record.payload))
        if self._records.broken:
            # Text, most likely: a serial line where a USB device was expected.
            out += self._left("layout", at_ns)
        return out

    def _learn(self, interface: int, descriptor: Descriptor) -> None:
        self._described[interface] = descriptor
        self._describe(interface, descriptor)

    def _whole(self, record: Record) -> Record | None:
        """The record, after the parts that came before it; None while more is to come.

        A packet holds a whole report, or all packets but its last are full. How long a report is, its descriptor says.
        """
        before = self._parts.pop(record.interface, None)
        size = len(record.payload)
        if before is not None:
            record = record._replace(payload=before.payload + record.payload, offset=before.offset)
        expected = self._expected(record)
        full = size in _PACKETS and len(record.payload) % size == 0
        if full and len(record.payload) < expected:
            self._parts[record.interface] = record
            return None
        return record

    def _expected(self, record: Record) -> int:
        descriptor = self._described.get(0 if self._own else record.interface)
        if descriptor is None or not record.payload or descriptor.problems:
            return 0
        if not descriptor.has_ids:
            return descriptor.lengths.get(0, 0)
        return 1 + descriptor.lengths.get(record.payload[0], -1)

    def _broken_off(self, reason: RejectReason, at_ns: int) -> list[Frame]:
        parts, self._parts = self._parts, {}
        return [Frame(part.payload, at_ns, at_ns, part.offset, reason) for part in parts.values()]

    def _left(self, reason: RejectReason, at_ns: int) -> list[Frame]:
        left, offset = self._records.rest()
        pieces = range(0, len(left), self._limit)
        return [Frame(left[at : at + self._limit], at_ns, at_ns, offset + at, reason) for at in pieces]

    def _forget(self) -> None:
        raise NotImplementedError

    def _describe(self, interface: int, descriptor: Descriptor) -> None:
        raise NotImplementedError

    def _report(self, record: Record, at_ns: int) -> list[Frame]:
        raise NotImplementedError


class ScaleReports(Reports):
    """A weighing device: each report is a frame, and this also says what it means, for it knows the descriptor."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        self._forget()

    def _forget(self) -> None:
        self._scales: dict[int, DataReports] = {}
        self._scale: DataReports | None = None
        """The only one that lays out a weight."""

    def _describe(self, interface: int, descriptor: Descriptor) -> None:
        scale = DataReports(descriptor)
        if scale.any:
            self._scales[0 if self._own else interface] = scale
        self._scale = next(iter(self._scales.values())) if len(self._scales) == 1 else None

    def _report(self, record: Record, at_ns: int) -> list[Frame]:
        if self._scales and not self._own and record.interface not in self._scales:
            return []
        return [Frame(record.payload, at_ns, at_ns, record.offset)]

    def decode(self, raw: bytes) -> Outcome:
        """What a report says. With no descriptor that lays out a weight, or with two of them, nothing."""
        return "layout" if self._scale is None else self._scale.decode(raw)


class _Keys(Reports):
    """What keyboards and key pads share: presses from reports, one typist for each interface."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        self._typists: dict[int, Typist | None] = {}

    def _forget(self) -> None:
        self._typists = {}

    def _describe(self, interface: int, descriptor: Descriptor) -> None:
        self._typists[0 if self._own else interface] = typist = Typist(descriptor)
        if not typist.has_keys and not descriptor.problems:
            self._typists[interface] = None  # another part of the device: volume keys, a pointer

    def _report(self, record: Record, at_ns: int) -> list[Frame]:
        interface = 0 if self._own else record.interface
        if interface not in self._typists:
            # A device that doesn't give its descriptor: a keyboard's boot layout is the one published for that case.
            self._typists[interface] = Typist(BOOT)
        typist = self._typists[interface]
        return [] if typist is None else self._pressed(record, typist.press(record.payload), at_ns)

    def _pressed(self, record: Record, presses: list[Press] | None, at_ns: int) -> list[Frame]:
        raise NotImplementedError


class KeyReports(_Keys):
    """Each key pressed is a frame: its name, after those of the modifiers held."""

    def _pressed(self, record: Record, presses: list[Press] | None, at_ns: int) -> list[Frame]:
        if presses is None:
            return [Frame(record.payload, at_ns, at_ns, record.offset, "layout")]
        return [self._key(record, press, at_ns) for press in presses]

    def _key(self, record: Record, press: Press, at_ns: int) -> Frame:
        if press.usage is None:
            return Frame(record.payload, at_ns, at_ns, record.offset, "value")
        return Frame(name_of(press).encode(), at_ns, at_ns, record.offset)


class KeyboardReports(_Keys):
    """What is typed, as text, framed by its terminators (Enter is CR, Tab is HT) or by silence as any text is.

    With both, silence ends a scan as a terminator does. Text that lost a key, or holds one that is no character, is
    refused up to its end.
    """

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        both = bool(framing.terminators) and framing.gap_ms is not None
        text = framing.model_copy(update={"reports": None, "descriptor": b"", **({"gap_ms": None} if both else {})})
        self._text = framer_for(text)
        self._end = framing.terminators[0] if both else b""
        self._gap_ns = round((framing.gap_ms or 0) * 1e6)
        self._caps = False
        self._spoilt: RejectReason | None = None
        self._places: list[int] = []
        """For each byte of text not yet framed, where its report stands in the stream."""
        self._seen = 0
        self._key_ns = 0

    def opened(self, at_ns: int) -> None:
        """See Framer."""
        super().opened(at_ns)
        self._text.opened(at_ns)

    def start_trusted(self) -> None:
        """See Framer."""
        super().start_trusted()
        self._text.start_trusted()

    def _forget(self) -> None:
        super()._forget()
        self._caps, self._spoilt, self._places, self._seen = False, None, [], 0

    def line_error(self, at_ns: int) -> list[Frame]:
        """A report was lost, and with it perhaps a key: see Framer."""
        return super().line_error(at_ns) + self._framed(self._text.line_error(at_ns))

    def closed(self) -> list[Frame]:
        """See Framer."""
        return self._framed(self._text.closed()) + super().closed()

    @property
    def next_wake(self) -> int | None:
        """See Framer."""
        return self._key_ns + self._gap_ns if self._end and self._places else self._text.next_wake

    def wake(self, at_ns: int) -> list[Frame]:
        """See Framer."""
        due = self.next_wake
        if due is None or at_ns < due:
            return []
        if not self._end:
            return self._framed(self._text.wake(at_ns))
        last_ns = self._key_ns
        return [replace(frame, last_ns=last_ns) for frame in self._framed(self._text.feed(self._end, due))]

    def _pressed(self, record: Record, presses: list[Press] | None, at_ns: int) -> list[Frame]:
        if presses is None:
            self._spoilt, self._key_ns = "layout", at_ns
            return [Frame(record.payload, at_ns, at_ns, record.offset, "layout")]
        if not self._places and at_ns - self._key_ns >= (self._gap_ns or self._pause_ns):
            self._spoilt = None
        out: list[Frame] = []
        for press in presses:
            text = press.text(self._caps)
            if press.usage == CAPS_LOCK:
                self._caps = not self._caps
            elif press.usage == BACKSPACE:
                self._text._buffer = self._text._buffer[:-1]
                del self._places[-1:]
            elif text is None:
                self._spoilt = "value"
                out.append(Frame(record.payload, at_ns, at_ns, record.offset, "value"))
            else:
                self._places += [record.offset] * len(text)
                out += self._framed(self._text.feed(text, at_ns))
            self._key_ns = at_ns
        return out

    def _framed(self, frames: list[Frame]) -> list[Frame]:
        """Frames of text with their place in the stream; what was spoilt is refused."""
        out = []
        for frame in frames:
            at = frame.offset - self._seen
            out.append(replace(frame, offset=self._places[at], fault=frame.fault or self._spoilt))
        left = len(self._text._buffer)
        self._places = self._places[len(self._places) - left :]
        self._seen = self._text._offset
        if not left:
            self._spoilt = None
        return out


def report_ends(profile: Profile) -> tuple[Framer, Meaning]:
    """What frames the records of a USB device's reports, and what reads them."""
    framing = profile.framing
    if framing.reports == "scale":
        scale = ScaleReports(framing)
        return scale, scale
    return (KeyReports if framing.reports == "keys" else KeyboardReports)(framing), Decoder(profile)
