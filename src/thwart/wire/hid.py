"""Report descriptors: what each bit of a USB device's reports means. After HID 1.11 (USB-IF, 2001), sections 5 and 6.2.2.

A descriptor is a program of items that a device writes about itself, so nothing in it is believed beyond what it says:
any bytes give a `Descriptor`, and what is wrong with it stands in `problems`. Only Input fields are kept, for nothing is
ever sent.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

#: Items have four sizes, the last one being four bytes.
_SIZES = (0, 1, 2, 4)
_LONG_ITEM = 0xFE
_MAIN, _GLOBAL, _LOCAL = 0, 1, 2
_INPUT, _COLLECTION, _END_COLLECTION = 0x8, 0xA, 0xC
#: Flags of an Input item.
_CONSTANT, _VARIABLE = 0x01, 0x02
#: No report of a device with interrupt endpoints comes near this.
_MOST_BITS = 8 * 4096
_DEEPEST = 32


@dataclass(frozen=True, slots=True)
class Field:
    """One Input item: `count` elements of `size` bits each, the first one `offset` bits after the report id.

    `usages` are ranges of full usages (page in the upper 16 bits), in order; `collections` the usages of the enclosing
    collections, outermost first. `exponent` is the power of ten that belongs to `unit`.
    """

    report_id: int
    offset: int
    size: int
    count: int
    array: bool
    constant: bool
    usages: tuple[tuple[int, int], ...]
    logical: tuple[int, int]
    physical: tuple[int, int]
    unit: int
    exponent: int
    collections: tuple[int, ...]

    def usage(self, index: int) -> int | None:
        """The usage at a place in the list of usages; None beyond its end."""
        for low, high in self.usages:
            if index <= high - low:
                return low + index
            index -= high - low + 1
        return None

    def element_usage(self, index: int) -> int | None:
        """The usage of a variable field's element: where there are more elements than usages, the last one holds on."""
        if not self.usages:
            return None
        found = self.usage(index)
        return self.usages[-1][1] if found is None else found

    def names(self, usage: int) -> bool:
        """Whether the field has this usage."""
        return any(low <= usage <= high for low, high in self.usages)

    def values(self, body: bytes) -> list[int | None]:
        """The elements' values in a report without its id; None where one lies outside the logical range (no data)."""
        low, high = self.logical
        if self.size == 8 and low == 0 and not self.offset & 7:
            # Whole bytes, as most key codes stand.
            first = self.offset >> 3
            raw = body[first : first + self.count]
            if len(raw) == self.count and max(raw) <= high:
                return list(raw)
        bits = int.from_bytes(body, "little") >> self.offset
        mask, signed = (1 << self.size) - 1, low < 0
        if not bits & ((1 << self.size * self.count) - 1) and low <= 0 <= high:
            return [0] * self.count
        out: list[int | None] = []
        for _ in range(self.count):
            value = bits & mask
            if signed and value >> (self.size - 1):
                value -= mask + 1
            out.append(value if low <= value <= high else None)
            bits >>= self.size
        return out

    def active(self, body: bytes) -> Iterator[int]:
        """The usages that are on: those an array's elements select, or the variable elements that aren't zero."""
        return self.chosen(self.values(body))

    def chosen(self, values: Sequence[int | None]) -> Iterator[int]:
        """The same of the elements' values."""
        for index, value in enumerate(values):
            found: int | None = None
            if value is not None and self.array:
                found = self.usage(value - self.logical[0])
            elif value:
                found = self.element_usage(index)
            if found is not None:
                yield found


@dataclass(frozen=True, slots=True)
class Descriptor:
    """All Input fields of an interface, the length of each report in bytes (id not counted), and what is wrong."""

    fields: tuple[Field, ...] = ()
    lengths: dict[int, int] = field(default_factory=dict)
    has_ids: bool = False
    problems: tuple[str, ...] = ()

    def pages(self) -> set[int]:
        """The usage pages of its fields."""
        return {low >> 16 for one in self.fields for low, _ in one.usages}


@dataclass(frozen=True, slots=True)
class _Globals:
    page: int = 0
    logical_min: int = 0
    logical_max: tuple[int, int] = (0, 0)
    """Read as signed, and as unsigned: which of the two is meant depends on the minimum, which may come later."""
    physical_min: int = 0
    physical_max: tuple[int, int] = (0, 0)
    exponent: int = 0
    unit: int = 0
    size: int = 0
    report_id: int = 0
    count: int = 0


class _Parser:
    """Walks the items; what it finds wrong it notes and goes on."""

    def __init__(self) -> None:
        self.globals = _Globals()
        self.stack: list[_Globals] = []
        self.collections: list[int] = []
        self.fields: list[Field] = []
        self.bits: dict[int, int] = {}
        self.has_ids = False
        self.problems: list[str] = []
        self.clear_locals()

    def clear_locals(self) -> None:
        self.usages: list[tuple[int, int]] = []
        self.minimum: int | None = None
        self.alternatives = 0

    def item(self, kind: int, tag: int, data: bytes) -> None:
        if kind == _MAIN:
            self.main(tag, int.from_bytes(data, "little"))
        elif kind == _GLOBAL:
            self.set_global(tag, data)
        elif kind == _LOCAL:
            self.local(tag, data)

    def main(self, tag: int, value: int) -> None:
        if tag == _INPUT:
            self.input(value)
        elif tag == _COLLECTION:
            if len(self.collections) >= _DEEPEST:
                self.problems.append(f"collections lie more than {_DEEPEST} deep")
            else:
                usages = self.full_usages()
                self.collections.append(usages[0][0] if usages else 0)
        elif tag == _END_COLLECTION:
            if self.collections:
                self.collections.pop()
            else:
                self.problems.append("a collection ends that never began")
        self.clear_locals()

    def full_usages(self) -> tuple[tuple[int, int], ...]:
        """Usages with their page: that of the usage itself, else the one that holds now (6.2.2.8)."""
        page = self.globals.page << 16
        return tuple(
            (low if low >> 16 else page | low, high if high >> 16 else page | high) for low, high in self.usages
        )

    def input(self, flags: int) -> None:
        g = self.globals
        start = self.bits.get(g.report_id, 0)
        end = start + g.size * g.count
        if end > _MOST_BITS:
            self.problems.append(f"report {g.report_id} would have {end} bits")
            return
        self.bits[g.report_id] = end
        if not g.size or not g.count:
            return
        logical = _range(g.logical_min, g.logical_max)
        physical = _range(g.physical_min, g.physical_max)
        if logical[0] > logical[1]:
            self.problems.append(f"logical minimum {logical[0]} is above the maximum {logical[1]}")
        self.fields.append(
            Field(
                report_id=g.report_id, offset=start, size=g.size, count=g.count, array=not flags & _VARIABLE,
                constant=bool(flags & _CONSTANT), usages=self.full_usages(), logical=logical,
                # Both zero: the physical range is the logical one (6.2.2.7).
                physical=logical if physical == (0, 0) else physical,
                unit=g.unit, exponent=g.exponent, collections=tuple(self.collections),
            )
        )  # fmt: skip

    def set_global(self, tag: int, data: bytes) -> None:
        value = int.from_bytes(data, "little")
        signed = int.from_bytes(data, "little", signed=True)
        match tag:
            case 0x0:  # usage page
                self.globals = replace(self.globals, page=value & 0xFFFF)
            case 0x1:  # logical minimum
                self.globals = replace(self.globals, logical_min=signed)
            case 0x2:  # logical maximum
                self.globals = replace(self.globals, logical_max=(signed, value))
            case 0x3:  # physical minimum
                self.globals = replace(self.globals, physical_min=signed)
            case 0x4:  # physical maximum
                self.globals = replace(self.globals, physical_max=(signed, value))
            case 0x5:  # unit exponent
                # A nibble in two's complement; the same nibble where a device wrote a whole signed byte.
                nibble = value & 0xF
                self.globals = replace(self.globals, exponent=nibble - 16 if nibble > 7 else nibble)
            case 0x6:  # unit
                self.globals = replace(self.globals, unit=value)
            case 0x7:  # report size
                self.globals = replace(self.globals, size=value)
            case 0x8:  # report id
                if not 1 <= value <= 0xFF:
                    self.problems.append(f"report id {value}: only 1 to 255 are")
                else:
                    self.has_ids = True
                    self.globals = replace(self.globals, report_id=value)
            case 0x9:  # report count
                self.globals = replace(self.globals, count=value)
            case 0xA:  # push
                if len(self.stack) >= _DEEPEST:
                    self.problems.append(f"more than {_DEEPEST} states pushed")
                else:
                    self.stack.append(self.globals)
            case 0xB:  # pop
                if self.stack:
                    self.globals = self.stack.pop()
                else:
                    self.problems.append("a state is popped that was never pushed")

    def local(self, tag: int, data: bytes) -> None:
        value = int.from_bytes(data, "little")
        if tag == 0xA:  # delimiter
            self.alternatives = 1 if value else 0
        elif tag == 0x0:  # usage
            # Of several names for one control, between delimiters, the first is the preferred one (6.2.2.8).
            if self.alternatives <= 1:
                self.usages.append((value, value))
            self.alternatives += self.alternatives > 0
        elif tag == 0x1:  # usage minimum
            self.minimum = value
        elif tag == 0x2:  # usage maximum
            low, self.minimum = self.minimum, None
            if low is None or value < low or (value >> 16 and value >> 16 != low >> 16):
                self.problems.append(f"usage maximum {value:#x} without a fitting minimum")
            else:
                self.usages.append((low, value))


def parse_descriptor(data: bytes) -> Descriptor:
    """What a report descriptor says. Never raises; faults stand in `problems`, and then nothing of it may be believed."""
    parser = _Parser()
    at = 0
    while at < len(data):
        prefix = data[at]
        if prefix == _LONG_ITEM:
            # Long items are reserved (6.2.2.3): skipped whole.
            size, head = (data[at + 1] if at + 1 < len(data) else 0), 3
        else:
            size, head = _SIZES[prefix & 3], 1
        end = at + head + size
        if end > len(data):
            parser.problems.append(f"it ends inside the item at byte {at}")
            break
        if prefix != _LONG_ITEM:
            parser.item(prefix >> 2 & 3, prefix >> 4, data[at + 1 : end])
        at = end
    if parser.collections:
        parser.problems.append("a collection never ends")
    if parser.has_ids and 0 in parser.bits:
        parser.problems.append("some reports have an id and some have none")
    if not parser.fields:
        parser.problems.append("it describes no input")
    lengths = {report_id: (bits + 7) // 8 for report_id, bits in parser.bits.items()}
    return Descriptor(tuple(parser.fields), lengths, parser.has_ids, tuple(dict.fromkeys(parser.problems)))


def _range(low: int, high: tuple[int, int]) -> tuple[int, int]:
    # A maximum of 255 is often written in one byte, which read as signed is -1: with a minimum of zero or more it can
    # only be meant without sign.
    return low, high[0] if low < 0 or high[0] >= low else high[1]


class Splitter:
    """Reports of one interface → id and body, whether the ids are still there or somebody stripped them on the way.

    Which of the two it is shows in the lengths and the first byte. A report that fits both ways, or begins with an id and
    yet has another report's length, is not split before others have shown it.
    """

    def __init__(self, descriptor: Descriptor) -> None:
        self._lengths = descriptor.lengths
        self._has_ids = descriptor.has_ids
        self._stripped: bool | None = None

    def split(self, report: bytes) -> tuple[int, bytes] | None:
        """The report's id (0 where there are none) and what follows it; None where its length fits nothing described."""
        if not self._has_ids:
            return (0, report) if self._lengths.get(0) == len(report) else None
        first = report[0] if report else 0
        kept = self._lengths.get(first) == len(report) - 1
        if self._stripped is False:
            return (first, report[1:]) if kept else None
        alike = [report_id for report_id, length in self._lengths.items() if length == len(report)]
        if self._stripped is None:
            if kept and not alike:
                self._stripped = False
            elif len(alike) == 1 and first not in self._lengths:
                self._stripped = True
            if self._stripped is False:
                return first, report[1:]
        if len(alike) == 1 and self._stripped:
            return alike[0], report
        return None
