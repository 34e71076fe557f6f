"""Any bytes for a descriptor, any bytes for reports, any chunks: documented events, no more of them, and no exception."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given, seed, settings
from hypothesis import strategies as st

from tests.hid_samples import KEYBOARD, scale_descriptor, stream, typed
from thwart.profiles import find_profile
from thwart.records import DESCRIPTOR, REPORT, RecordReader, record
from thwart.wire import Channel, Decoded, Reading
from thwart.wire.hid import parse_descriptor
from thwart.wire.keyboard import Typist
from thwart.wire.scale import DataReports

MS = 1_000_000
NAMES = ("usage-page-scale", "usage-page-keyboard", "usage-page-keys")
#: Items that make sense more often than random bytes do: tag and type, then data of the size that tag says.
ITEMS = st.sampled_from(
    (
        "058D", "0507", "0501", "0940", "0941", "1971", "2978", "1951", "295C", "19E0", "29E7", "A101", "A100", "C0", "8100", "8102",
        "8103", "7501", "7508", "7510", "7518", "9501", "9506", "9508", "8501", "8502", "1500", "1581", "25FF", "257F", "2501",
        "26FFFF", "A4", "B4", "550F", "660101", "A901", "A900", "FE0201AABB", "0B40008D00", "3500", "4664",
    )
).map(bytes.fromhex)  # fmt: skip
DESCRIPTORS = st.one_of(
    st.binary(max_size=80),
    st.lists(ITEMS, max_size=60).map(b"".join),
    st.sampled_from([KEYBOARD, scale_descriptor(), scale_descriptor(None)]),
)


@seed(1)
@settings(max_examples=400)
@given(DESCRIPTORS, st.lists(st.binary(max_size=20), max_size=6))
def test_no_descriptor_and_no_report_raises(descriptor: bytes, reports: list[bytes]) -> None:
    parsed = parse_descriptor(descriptor)
    scale, typist = DataReports(parsed), Typist(parsed)
    for report in reports:
        said = scale.decode(report)
        assert said in ("layout", "value", None) or isinstance(said, Decoded)
        if isinstance(said, Decoded):
            assert not parsed.problems
        presses = typist.press(report)
        assert presses is None or not parsed.problems


@seed(2)
@settings(max_examples=200)
@given(
    st.sampled_from(NAMES),
    st.lists(st.one_of(st.binary(max_size=24), st.builds(stream, descriptor=DESCRIPTORS), st.binary(max_size=9).map(lambda b: record(REPORT, 0, b)))),
    st.lists(st.integers(0, 400), min_size=1, max_size=8),
)  # fmt: skip
def test_no_stream_raises_and_what_waits_is_bounded(name: str, pieces: list[bytes], steps_ms: list[int]) -> None:
    channel = Channel(find_profile(name))
    channel.opened(0)
    at = 0
    for number, piece in enumerate(pieces):
        at += steps_ms[number % len(steps_ms)] * MS
        channel.feed(piece, at)
        channel.wake(at)
        if number % 5 == 4:
            channel.line_error(at)
    channel.closed(at + 1)


@seed(3)
@settings(max_examples=150)
@given(st.binary(max_size=300), st.lists(st.integers(1, 40), min_size=1, max_size=20))
def test_any_chunking_gives_the_same_records(data: bytes, sizes: list[int]) -> None:
    whole = record(DESCRIPTOR, 1, data[:50]) + record(REPORT, 2, data[50:60]) + data
    one, cut = RecordReader(), RecordReader()
    wanted = one.feed(whole)
    got, at, number = [], 0, 0
    while at < len(whole):
        size = sizes[number % len(sizes)]
        got += cut.feed(whole[at : at + size])
        at, number = at + size, number + 1
    assert got == wanted
    assert (cut.broken, cut.rest()) == (one.broken, one.rest())


@seed(4)
@settings(max_examples=100)
@given(
    st.lists(st.text("0123456789ABCDEFabcdef-", min_size=1, max_size=20), min_size=1, max_size=5),
    st.lists(st.integers(1, 30), min_size=1),
)
def test_what_is_typed_is_what_is_read_in_any_chunks(labels: list[str], sizes: list[int]) -> None:
    data = stream(*[report for label in labels for report in typed(label + "\r")], descriptor=KEYBOARD)
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    events, at, number = channel.feed(b"", 0), 0, 0
    while at < len(data):
        size = sizes[number % len(sizes)]
        events += channel.feed(data[at : at + size], (200 + number) * MS)
        at, number = at + size, number + 1
    assert [event.identifier for event in events if isinstance(event, Reading)] == labels


@seed(5)
@settings(max_examples=200)
@given(st.integers(0, 65535), st.integers(-6, 3), st.sampled_from(["g", "kg", "[oz_av]", "[lb_av]"]), st.booleans())
def test_a_weight_comes_out_as_it_went_in(weight: int, tens: int, unit: str, stripped: bool) -> None:
    index = {"g": 2, "kg": 3, "[oz_av]": 11, "[lb_av]": 12}[unit]
    report = bytes((3, 4, index, tens & 0xFF)) + weight.to_bytes(2, "little")
    said = DataReports(parse_descriptor(scale_descriptor())).decode(report[stripped:])
    assert isinstance(said, Decoded)
    assert (said.value, said.unit) == (Decimal(weight).scaleb(tens), unit)
    assert said.text is not None
    assert "E" not in said.text
