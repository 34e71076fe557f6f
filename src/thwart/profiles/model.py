"""How one kind of instrument speaks, as data. The keys of this model are the keys of the files in `hardware_profiles/`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from itertools import permutations
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, PlainSerializer, model_validator

from .. import units
from ..records import DESCRIPTOR, REPORT, record
from ..tomlfile import Faults, Strict
from ..wire.events import Condition, LoadMark, RejectReason
from ..wire.patterns import compiled

M = TypeVar("M", bound=Strict)
Kind = Literal["length", "mass", "identifier", "key", "lamp"]
Mode = Literal["streams", "prints", "asked"]
Evidence = Literal["stream", "each", "none"]
#: What a mark of the instrument can mean. `normal` is a mark that says nothing special, `negative` that the number is
#: below zero (a letter or brackets instead of a minus).
Meaning = Literal[
    "normal", "settled", "moving", "zero", "overload", "underload", "needs-zero", "error", "gross", "net", "tare",
    "negative",
]  # fmt: skip
CheckKind = Literal[
    "xor", "xor-7", "sum", "sum-7", "sum-16", "sum-folded", "sum-mod-100", "sum-mod-1000", "ones-complement",
    "twos-complement", "crc-8", "crc-8-maxim", "crc-16-usb", "crc-16-modbus", "crc-16-ccitt-false", "crc-16-kermit", "crc-16-xmodem", "crc-16-x-25", "crc-16-arc",
]  # fmt: skip

#: How a number's digits are written. `reversed`: the last comes first, as old displays' outputs do. The rest are no
#: text: packed decimal digits, whole numbers, two's complement, IEEE 754 of four bytes.
Digits = Literal["decimal", "reversed", "hex", "hex-signed", "bcd", "unsigned", "signed", "float"]
#: Those that are no text.
BINARY_DIGITS = frozenset(("bcd", "unsigned", "signed", "float"))
Order = Literal["high-first", "low-first"]

#: Fields of a layout that mean something by their name. Any other field may carry marks.
NUMBER_FIELDS = ("number", "net", "major", "minor", "gross", "tare")
TEXT_FIELDS = ("identifier", "symbology")
FIELDS = (*NUMBER_FIELDS, *TEXT_FIELDS, "sign", "unit")


def _to_bytes(given: object) -> object:
    if not isinstance(given, str):
        return given
    try:
        return given.encode("latin-1")
    except UnicodeEncodeError as error:
        raise ValueError(f"{given[error.start]!r} is no byte: write bytes above 7F as \\u0080 to \\u00ff") from None


#: Bytes written as TOML text: `"\r\n"`, `"\u0002"`; each character up to U+00FF is one byte.
Wire = Annotated[bytes, BeforeValidator(_to_bytes), PlainSerializer(lambda b: b.decode("latin-1"), return_type=str)]


def _to_raw(given: object) -> object:
    if not isinstance(given, str):
        return given
    try:
        return bytes.fromhex(given)
    except ValueError:
        raise ValueError("pairs of hexadecimal digits, spaces between them allowed") from None


#: Bytes written as hexadecimal digits: `"05 8D 09 20"`.
HexBytes = Annotated[bytes, BeforeValidator(_to_raw), PlainSerializer(lambda b: b.hex(" ").upper(), return_type=str)]


def _to_pattern(given: object) -> object:
    if isinstance(given, str):
        compiled(given)
    return given


#: A regular expression of the linear-time kind, matched against a frame's bytes from end to end.
Pattern = Annotated[str, BeforeValidator(_to_pattern)]


def _to_unit(given: object) -> object:
    if isinstance(given, str) and given not in units.FACTORS:
        raise ValueError(f"unknown unit; known (UCUM codes): {', '.join(units.FACTORS)}")
    return given


Unit = Annotated[str, BeforeValidator(_to_unit)]
Span = tuple[Annotated[int, Field(ge=1)], Annotated[int, Field(ge=1)]]


def _without(model: M, problems: Iterable[str]) -> M:
    """The model, if there are no problems. Raises Faults."""
    if faults := list(problems):
        raise Faults(faults)
    return model


def _to_stop_bits(given: float) -> float:
    if given not in (1, 1.5, 2):
        raise ValueError("1, 1.5 or 2")
    return given


class Line(Strict):
    """How the serial line is set. `latency_ms` is how long the adapter may hold bytes back."""

    baud: int = Field(default=9600, ge=50, le=4_000_000)
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop_bits: Annotated[float, AfterValidator(_to_stop_bits)] = 1
    flow: Literal["none", "xonxoff", "rtscts"] = "none"
    dtr: bool = True
    rts: bool = True
    latency_ms: float = Field(default=16, ge=0, le=1000)


class Framing(Strict):
    """Where a frame begins and ends: by exactly one of `terminators`, `start` with `end`, `length`, `gap_ms`.

    `length` may have a `start` too. `check_bytes` follow the `end`; `filler` may stand between frames and means nothing.

    `reports` is for USB devices that send reports: a `scale`'s and the presses of `keys` are frames by themselves; what a
    `keyboard` types is text (Enter is CR, Tab is HT) with terminators, `gap_ms`, or both. A `descriptor` (hex) stands in
    for the device's own where that one lies or can't be read.
    """

    reports: Literal["scale", "keyboard", "keys"] | None = None
    descriptor: HexBytes = b""
    terminators: tuple[Wire, ...] = ()
    start: Wire = b""
    end: Wire = b""
    check_bytes: int = Field(default=0, ge=0, le=8)
    length: int | None = Field(default=None, ge=1, le=4096)
    gap_ms: float | None = Field(default=None, gt=0, le=10_000)
    max_length: int = Field(default=256, ge=1, le=4096)
    filler: Wire = b"\r\n"
    pause_ms: float = Field(default=1000, ge=100, le=60_000)

    @property
    def style(self) -> Literal["reports", "terminators", "start-end", "length", "gap"]:
        """Which of the five ways this is."""
        if self.reports is not None:
            return "reports"
        if self.terminators:
            return "terminators"
        if self.gap_ms is not None:
            return "gap"
        return "length" if self.length is not None else "start-end"

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        return _without(self, self._problems())

    def _problems(self) -> Iterable[str]:
        given = {"terminators": self.terminators, "end": self.end, "length": self.length, "gap_ms": self.gap_ms}
        ways = [name for name, value in given.items() if value]
        if self.descriptor and self.reports is None:
            yield "descriptor: belongs to reports"
        if self.reports in ("scale", "keys"):
            if ways or self.start or self.check_bytes:
                yield f"reports: each report of a {self.reports} device is whole by itself and needs no other framing"
            return
        if self.reports == "keyboard":
            if not ways or set(ways) - {"terminators", "gap_ms"}:
                yield "reports: what a keyboard types is framed by terminators, gap_ms, or both"
        elif len(ways) != 1:
            said = f"has {' and '.join(ways)}" if ways else "has none"
            yield f"terminators: needs exactly one of terminators, start with end, length, gap_ms ({said})"
            return
        if bool(self.start) != bool(self.end) and not (self.start and self.length):
            yield "start: belongs with end (or with length), and end with start"
        if self.start and self.end and (self.start in self.end or self.end in self.start):
            yield "start: must differ from end, and neither may hold the other"
        if self.check_bytes and not self.end:
            yield "check_bytes: stand after end, so they need start and end"
        if self.length is not None and (self.length > self.max_length or len(self.start) >= self.length):
            yield "length: must be above that of start and at most max_length"
        if b"" in self.terminators:
            yield "terminators: one is empty"
        elif len(set(self.terminators)) < len(self.terminators):
            yield "terminators: one is there twice"
        else:
            for one, other in permutations(self.terminators, 2):
                if 0 <= other.find(one) < len(other) - len(one):
                    yield f"terminators: {one!r} would cut {other!r} short; keep {one!r} and name the rest in filler"


class Checksum(Strict):
    """A check over part of the frame, written `written` near the frame's end.

    Counted in: everything from byte `first` (the frame's first is 0) up to `uncounted` bytes before the check.
    `trailing` bytes stand after the check. `written`: hexadecimal digits, raw bytes, decimal digits, or one byte 30 to
    3F for each half byte. `order` is that of its bytes, and of the digits where it has one byte only. `over`: `pairs`
    counts the bytes that pairs of hexadecimal digits stand for, not the digits.
    """

    kind: CheckKind
    written: Literal["hex", "byte", "decimal", "nibbles"] = "hex"
    first: int = Field(default=0, ge=0, le=64)
    uncounted: int = Field(default=0, ge=0, le=64)
    trailing: int = Field(default=0, ge=0, le=64)
    order: Order = "high-first"
    over: Literal["bytes", "pairs"] = "bytes"

    @property
    def size(self) -> int:
        """Bytes the check's number has."""
        return 2 if self.kind.startswith(("crc-16", "sum-16", "sum-mod-1000")) else 1

    @property
    def width(self) -> int:
        """Bytes the check takes in the frame."""
        if self.written == "decimal":
            return {"sum-mod-100": 2, "sum-mod-1000": 3}.get(self.kind, 5 if self.size == 2 else 3)
        return self.size if self.written == "byte" else 2 * self.size


class Layout(Strict):
    """One form a frame can take: named fields by a `pattern`'s groups or by fixed `columns` (from 1, both ends counted).

    Fields named `number` (or `net` with `gross` and `tare`, or `major` and `minor`), `sign`, `unit`, `identifier` and
    `symbology` mean what they are called; every field may carry marks. `thousands` parts groups of three digits;
    `order` is that of the bytes of a number that is no text. `width` is how many bytes the form has; with a
    pattern it says what repeated spaces and digits can't: that together they always fill the same columns.
    """

    pattern: Pattern | None = None
    columns: dict[str, Span] | None = None
    width: int | None = Field(default=None, ge=1, le=4096)
    decimal: Literal[".", ","] = "."
    thousands: Literal[",", ".", "'", " "] | None = None
    decimals: int | None = Field(default=None, ge=0, le=9)
    digits: Digits = "decimal"
    order: Order = "high-first"
    unit: Unit | None = None
    units: dict[str, Unit] = Field(default_factory=dict)
    compound: tuple[Unit, Unit] | None = None
    says: tuple[Meaning, ...] = ()
    marks: dict[str, dict[str, Meaning]] = Field(default_factory=dict)
    identifier: Literal["text", "animal-tag"] = "text"

    @property
    def fields(self) -> tuple[str, ...]:
        """The names of the fields, in the order of the frame where a pattern tells it."""
        if self.columns is not None:
            return tuple(self.columns)
        return tuple(compiled(self.pattern or "").groups)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        return _without(self, self._problems())

    def _problems(self) -> Iterable[str]:
        if (self.pattern is None) == (self.columns is None):
            yield "pattern: needs either a pattern or columns"
            return
        yield from self._column_problems()
        have = set(self.fields)
        if missing := sorted(set(self.marks) - have):
            yield f"marks: given for a field that isn't there: {', '.join(missing)}"
        if stray := sorted(have - set(FIELDS) - set(self.marks)):
            yield (
                f"{'pattern' if self.columns is None else 'columns'}: field without meaning: {', '.join(stray)}; "
                f"give it marks, or name it one of {', '.join(FIELDS)}"
            )
        if "identifier" in have and have & set(NUMBER_FIELDS):
            yield "identifier: a frame holds an identifier or a number, not both"
        if len(have & {"number", "net", "major"}) > 1:
            yield "number: only one of number, net, or major with minor counts; these are several"
        if have & {"gross", "tare"} and "net" not in have:
            yield "gross: gross and tare are proofs of net; where only one number counts, call it number"
        if len({"major" in have, "minor" in have, self.compound is not None}) > 1:
            yield 'compound: goes with the fields major and minor (compound = ["[lb_av]", "[oz_av]"])'
        if self.compound is not None:
            (big, large), (small, little) = (units.FACTORS[unit] for unit in self.compound)
            if big != small or large <= little or large % little:
                yield "compound: the first unit must be a whole multiple of the second"
        if self.thousands is not None and (self.thousands == self.decimal or self.digits != "decimal"):
            yield "thousands: must differ from decimal, and belongs to decimal digits"
        if "sign" in have and "negative" in meanings_of(self):
            yield "sign: a mark says negative already; leave one of the two"
        if self.digits == "float" and self.decimals is None:
            yield "decimals: of a float must be stated: so many decimals the instrument really has"
        if "unit" in have and (self.unit is not None or self.compound is not None):
            yield "unit: is in the frame or implied, not both"

    def _column_problems(self) -> Iterable[str]:
        if self.columns is None:
            return
        for name, (first, last) in self.columns.items():
            if last < first:
                yield f"columns.{name}: ends before it begins"
        if not self.columns:
            yield "columns: none given"
        elif self.width is not None and self.width < (reach := max(last for _, last in self.columns.values())):
            yield f"width: is below the last column, {reach}"


class Settle(Strict):
    """When a stream counts as settled, in the profile's unit and in milliseconds."""

    by: Literal["mark", "window", "both"] | None = None
    frames: int = Field(default=3, ge=1, le=64)
    window_ms: float = Field(default=500, gt=0, le=60_000)
    noise: Decimal | None = Field(default=None, ge=0)
    smallest: Decimal | None = Field(default=None, gt=0)
    limit_ms: float = Field(default=10_000, gt=0, le=600_000)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        too_short = self.limit_ms < self.window_ms
        return _without(self, ["limit_ms: is below window_ms, so nothing could settle in time"] if too_short else [])


class Ask(Strict):
    """What is sent to an instrument that only answers, and how often."""

    command: Wire = Field(min_length=1, max_length=64)
    interval_ms: float = Field(default=200, ge=20, le=60_000)


LampBytes = Annotated[Wire, Field(min_length=1, max_length=64)]


class Lamp(Strict):
    """What is sent to a lamp: for each of the five sounds, and for dark. `hold_ms`: how long what needs no answer is shown."""

    off: LampBytes
    taken: LampBytes
    look: LampBytes
    asked: LampBytes
    next: LampBytes
    fault: LampBytes
    hold_ms: float = Field(default=2000, ge=100, le=60_000)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        seen: dict[bytes, str] = {}
        problems = []
        for state in ("off", "taken", "look", "asked", "next", "fault"):
            sent = getattr(self, state)
            if sent in seen:
                problems.append(f"{state}: is the same as {seen[sent]}; each state must look different")
            seen.setdefault(sent, state)
        return _without(self, problems)


#: What a lamp's profile needn't say: whatever a lamp answers means nothing.
_DEAF: dict[str, Any] = {
    "mode": "prints",
    "emptied": "none",
    "framing": {"gap_ms": 1000, "max_length": 4096},
    "chatter": ["(?s).*"],
    "sample": [{"frame": "\n", "chatter": True}],
}
#: What an instrument's profile must say.
_SPOKEN = ("mode", "emptied", "framing", "sample")


def _required(schema: dict[str, Any]) -> None:
    """In the JSON Schema: a lamp's profile has its bytes and nothing of what is read; any other has no lamp."""
    schema["required"] = [key for key in schema["required"] if key not in _SPOKEN]
    schema["if"] = {"properties": {"kind": {"const": "lamp"}}}
    schema["then"] = {"required": ["lamp"], "properties": dict.fromkeys((*_DEAF, *_UNHEARD), False)}
    schema["else"] = {"required": list(_SPOKEN), "properties": {"lamp": False}}


_UNHEARD = ("unit", "division", "range", "lag_ms", "layout", "checksum", "ask", "settle")


def _to_hex(given: str) -> str:
    try:
        bytes.fromhex(given)
    except ValueError:
        raise ValueError("pairs of hexadecimal digits, spaces between them allowed") from None
    return given


class Sample(Strict):
    """A frame as it comes off the line (`frame` as text, or `hex`) and exactly what it means.

    Of a USB device, the `reports` that make the frame, with the `descriptor` they were laid out by (both hex).

    What isn't stated is claimed to be absent: no text, no mark. `rejected` names the reason it must be refused with;
    `chatter` says it is to be ignored.
    """

    frame: Wire | None = None
    hex: Annotated[str, AfterValidator(_to_hex)] | None = None
    descriptor: HexBytes = b""
    reports: tuple[HexBytes, ...] = ()
    text: str | None = None
    unit: Unit | None = None
    condition: Condition = "ok"
    settled: bool | None = None
    load: LoadMark | None = None
    identifier: str | None = None
    symbology: str | None = None
    rejected: RejectReason | None = None
    chatter: bool = False

    @property
    def raw(self) -> bytes:
        """The sample's bytes."""
        if self.reports:
            head = record(DESCRIPTOR, 0, self.descriptor) if self.descriptor else b""
            return head + b"".join(record(REPORT, 0, report) for report in self.reports)
        return self.frame if self.frame is not None else bytes.fromhex(self.hex or "")

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        forms = (self.frame is not None) + (self.hex is not None) + bool(self.reports)
        problems = ["frame: needs one of frame, hex, reports"] if forms != 1 else []
        if self.descriptor and not self.reports:
            problems.append("descriptor: belongs to reports")
        return _without(self, problems)


class Profile(Strict):
    """One kind of instrument. `name` is the file's stem; `unit` is that of `division`, `range` and `settle`."""

    name: str
    title: str
    kind: Kind
    mode: Mode
    emptied: Evidence
    unit: Unit | None = None
    division: Decimal | None = Field(default=None, gt=0)
    range: tuple[Decimal, Decimal] | None = None
    lag_ms: float = Field(default=0, ge=0, le=60_000)
    line: Line = Line()
    framing: Framing
    layout: tuple[Layout, ...] = ()
    checksum: Checksum | None = None
    chatter: tuple[Pattern, ...] = ()
    ask: Ask | None = None
    settle: Settle = Settle()
    sample: tuple[Sample, ...] = Field(min_length=1)
    lamp: Lamp | None = None

    model_config = ConfigDict(json_schema_extra=_required)

    @property
    def lag_ns(self) -> int:
        """What the instrument needs before a frame's first byte, in nanoseconds."""
        return round(self.lag_ms * 1e6)

    @property
    def marks_settling(self) -> bool:
        """Whether any layout can say `settled`; the Scale usage page can."""
        return self.framing.reports == "scale" or any("settled" in meanings_of(layout) for layout in self.layout)

    @model_validator(mode="before")
    @classmethod
    def _lamp(cls, data: Any) -> Any:
        """A lamp is written to and not read."""
        if not isinstance(data, Mapping) or data.get("kind") != "lamp":
            return data
        stray = [f"{key}: belongs to what is read; a lamp has none" for key in (*_DEAF, *_UNHEARD) if key in data]
        if stray:
            raise Faults(stray)
        return {**_DEAF, **data}

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.kind == "lamp") != (self.lamp is not None):
            raise Faults(["lamp: kind lamp and the table lamp belong together"])
        if self.lamp is not None:
            return self
        problems = [*self._kind_problems(), *self._framing_problems(), *self._report_problems()]
        if (self.emptied == "stream") != (self.mode != "prints"):
            problems.append(
                "emptied: stream belongs with frames that keep coming, mode streams or asked; each and none with mode "
                "prints, where every frame is a reading"
            )
        if (self.mode == "asked") != (self.ask is not None):
            problems.append("ask: mode asked and the table ask belong together")
        if self.settle.by in ("mark", "both") and not self.marks_settling:
            problems.append(f"settle.by: is {self.settle.by}, but no layout has a mark that means settled")
        return _without(self, problems)

    def _kind_problems(self) -> Iterable[str]:
        fields = {name for layout in self.layout for name in layout.fields}
        measure = (self.unit, self.division, self.range)
        if self.kind in ("identifier", "key"):
            if any(given is not None for given in measure):
                yield f"kind: an instrument of kind {self.kind} has no unit, division or range"
            if self.emptied == "stream":
                yield f"emptied: an instrument of kind {self.kind} can't be emptied by stream"
            if "identifier" not in fields:
                yield "layout: none has an identifier"
            return
        if self.unit is None or self.division is None or self.range is None:
            yield f"kind: an instrument of kind {self.kind} needs unit, division and range"
            return
        if units.quantity_of(self.unit) != self.kind:
            yield f"unit: {self.unit} is no unit of {self.kind}"
        if self.range[0] >= self.range[1]:
            yield "range: the smallest value must be below the largest"
        if self.framing.reports != "scale" and not fields & {"number", "net", "major"}:
            yield "layout: none has a number, net, or major with minor"

    def _report_problems(self) -> Iterable[str]:
        reports = self.framing.reports
        if reports == "scale":
            if self.kind != "mass":
                yield "framing.reports: scale is for instruments of kind mass"
            if self.layout:
                yield "layout: the device's own descriptor lays out a scale's reports; remove this"
        elif not self.layout:
            yield "layout: none is given"
        if reports == "keys" and self.kind != "key":
            yield "framing.reports: keys is for instruments of kind key; a scanner's is keyboard"
        if reports is not None and (self.checksum is not None or self.ask is not None):
            yield "framing.reports: reports carry no checksum, and nothing is asked"

    def _framing_problems(self) -> Iterable[str]:
        framing, check = self.framing, self.checksum
        if framing.reports is not None:
            return
        if framing.gap_ms is not None and framing.gap_ms < 3 * self.line.latency_ms:
            yield (
                f"framing.gap_ms: {framing.gap_ms:g} is below three times line.latency_ms ({self.line.latency_ms:g}): the "
                "adapter's own pauses would cut frames; use a terminator, a longer gap, or lower the adapter's latency"
            )
        if framing.length is not None and not framing.start and self.mode == "streams":
            yield "framing.length: without start the first frame of a stream can't be found; name its start bytes"
        if framing.check_bytes and (check is None or check.trailing or check.width != framing.check_bytes):
            yield "framing.check_bytes: need a checksum of that width without trailing bytes"
        if framing.end and check is not None and not framing.check_bytes and check.trailing < len(framing.end):
            yield "checksum.trailing: the check lies before framing.end, so the end bytes must be counted here"


def meanings_of(layout: Layout) -> set[str]:
    """Everything a layout's marks can say."""
    return set(layout.says) | {m for marks in layout.marks.values() for m in marks.values()}


def from_mapping(name: str, data: Mapping[str, Any]) -> Profile:
    """A profile from plain data, as a tool builds it. Raises pydantic's ValidationError."""
    return Profile.model_validate({**data, "name": name})
