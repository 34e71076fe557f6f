"""What frames say: numbers as sent, marks, units, and the reason when they say nothing."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from thwart.profiles import Profile, from_mapping
from thwart.wire import Decoded, decode_frames
from thwart.wire.decoder import REMEMBERED, Decoder


def profile(layout: dict[str, Any] | list[dict[str, Any]], **more: Any) -> Profile:
    return from_mapping(
        "test",
        {
            "title": "t", "kind": "mass", "mode": "prints", "emptied": "each", "unit": "g", "division": "0.1",
            "range": [0, 10000], "framing": {"terminators": ["\n"]}, "sample": [{"frame": "0\n"}],
            "layout": layout if isinstance(layout, list) else [layout], **more,
        },
    )  # fmt: skip


def said(layout: dict[str, Any] | list[dict[str, Any]], raw: bytes, **more: Any) -> Any:
    return Decoder(profile(layout, **more)).decode(raw)


NUMBER = {"pattern": "(?P<number>.*)"}


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        (b"412.50", "412.50"),
        (b"  00412", "00412"),
        (b"+ 12.0", "12.0"),
        (b"-   12.0", "-12.0"),
        (b".5", ".5"),
        (b"12.", "12."),
    ],
)
def test_numbers_keep_their_text(raw: bytes, text: str) -> None:
    decoded = said(NUMBER, raw)
    assert (decoded.text, decoded.value) == (text, Decimal(text))


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b" ",
        b"-",
        b".",
        b"1,5",
        b"1 2",
        b"1.2.3",
        b"4l2",
        b"1e3",
        b"NaN",
        b"inf",
        b"--1",
        "٤".encode(),
        b"\xb2",
        b"9" * 19,
    ],
)
def test_no_numbers(raw: bytes) -> None:
    assert said(NUMBER, raw) == "value"


def test_decimal_comma() -> None:
    comma = {**NUMBER, "decimal": ","}
    assert said(comma, b"0,412").value == Decimal("0.412")
    assert said(comma, b"0.412") == "value"
    assert said(comma, b"1.234,5") == "value"


@pytest.mark.parametrize(("raw", "text"), [(b"004125", "00412.5"), (b"5", "0.5"), (b"-05", "-0.5")])
def test_implied_decimals(raw: bytes, text: str) -> None:
    assert said({**NUMBER, "decimals": 1}, raw).text == text
    assert said({**NUMBER, "decimals": 1}, raw + b".0") == "value"


def test_sign_apart() -> None:
    layout = {"columns": {"sign": [1, 1], "number": [2, 7]}}
    assert said(layout, b"-  12.0").value == Decimal("-12.0")
    assert said(layout, b"+  12.0").value == said(layout, b"   12.0").value == Decimal("12.0")
    assert said(layout, b"-- 12.0") == said(layout, b"+- 12.0") == said(layout, b"?  12.0") == "value"
    assert said(layout, b"  12.0") == said(layout, b"   12.0 ") == "layout"


def test_units_in_the_frame_and_implied() -> None:
    layout = {"pattern": "(?P<number>[0-9.]+) ?(?P<unit>.*)", "units": {"Gramm": "g"}}
    assert [said(layout, raw).unit for raw in (b"1 kg", b"1 KG", b"1 lb", b"1 Gramm", b"1")] == [
        "kg", "kg", "[lb_av]", "g", None,
    ]  # fmt: skip
    assert said(layout, b"1 ell") == "value"
    assert said(NUMBER, b"1").unit == "g"
    assert said({**NUMBER, "unit": "kg"}, b"1").unit == "kg"


def test_pounds_and_ounces() -> None:
    layout = {"pattern": "(?P<major>-?[0-9]+) lb (?P<minor>[0-9.]+) oz", "compound": ["[lb_av]", "[oz_av]"]}
    decoded = said(layout, b"2 lb 3.5 oz")
    assert (decoded.text, decoded.value, decoded.unit) == ("35.5", Decimal("35.5"), "[oz_av]")
    assert said(layout, b"-0 lb 1.5 oz").value == Decimal("-1.5")
    assert said(layout, b"2 lb 16.0 oz") == "value"


def test_marks() -> None:
    layout = {
        "pattern": "(?P<a>.)(?P<b>.)(?P<number>.*)",
        "marks": {
            "a": {"S": "settled", "M": "moving", "O": "overload", "Z": "zero"},
            "b": {"G": "gross", " ": "normal"},
        },
    }
    assert said(layout, b"SG1") == Decoded("1", Decimal(1), "g", "ok", True, "gross")
    assert said(layout, b"M 1") == Decoded("1", Decimal(1), "g", "moving", False)
    assert said(layout, b"Z 0") == Decoded("0", Decimal(0), "g", "zero", None)
    assert said(layout, b"O 9999") == Decoded(None, None, None, "overload", None)
    assert said(layout, b"X 1") == "layout"


def test_the_gravest_mark_counts() -> None:
    layout = {
        "pattern": "(?P<a>.)(?P<b>.)",
        "marks": {"a": {"1": "moving", "2": "error"}, "b": {"1": "overload", "2": "zero"}},
    }
    number = {"pattern": "(?P<number>[0-9]+) g"}
    assert said([layout, number], b"11").condition == "overload"
    assert said([layout, number], b"22").condition == "error"
    assert said([layout, number], b"12").condition == "moving"


def test_the_first_layout_that_can_be_read_counts() -> None:
    strict = {"pattern": "(?P<number>.{3}) g"}
    loose = {"pattern": "(?P<word>OVR) g", "marks": {"word": {"OVR": "overload"}}}
    assert said([strict, loose], b"OVR g").condition == "overload"
    assert said([strict, loose], b"OXR g") == "value"
    assert said([strict, loose], b"412") == "layout"


def test_net_is_proved_by_gross_and_tare() -> None:
    layout = {"pattern": "(?P<gross>[0-9.]+)/(?P<tare>[0-9.]+)/(?P<net>[0-9.-]+)", "says": ["net"]}
    assert said(layout, b"1234.0/350.0/884.0") == Decoded("884.0", Decimal("884.0"), "g", "ok", None, "net")
    assert said(layout, b"1234.0/350.0/884.1").text == "884.1"
    assert said(layout, b"1234.0/350.0/884.2") == "value"
    assert said(layout, b"1234.0/350.0/84.0") == "value"


def test_identifiers() -> None:
    label = {"pattern": "(?P<symbology>\\][A-Z][0-9])?(?P<identifier>.*)"}
    plain = {"kind": "identifier", "unit": None, "division": None, "range": None}
    assert said(label, b"]C1FISH0001", **plain) == Decoded(None, None, None, "ok", None, None, "FISH0001", "]C1")
    assert said(label, b" FISH0001 ", **plain).identifier == "FISH0001"
    assert said(label, b"0104\x1d21", **plain).identifier == "0104\x1d21"
    assert said(label, "Gefäß 7".encode(), **plain).identifier == "Gefäß 7"
    for raw in (b"", b"  ", b"a\x00b", b"\xff"):
        assert said(label, raw, **plain) == "value"


def test_chatter_and_checksum_come_first() -> None:
    layouts = {"pattern": "(?P<number>[0-9]+)"}
    check = {"kind": "sum"}
    assert said(layouts, b"READY", chatter=["READY|BATT.*"], checksum=check) is None
    assert said(layouts, b"41265", checksum=check) == "checksum"
    assert said(layouts, b"41297", checksum=check).text == "412"


def test_memory_is_bounded_and_changes_nothing() -> None:
    decoder = Decoder(profile(NUMBER))
    for turn in range(2):
        for number in range(REMEMBERED + 50):
            assert decoder.decode(str(number).encode()).value == number, turn  # type: ignore[union-attr]
    assert len(decoder._known) <= REMEMBERED


def test_decode_frames() -> None:
    heard = list(decode_frames(profile({"pattern": "(?P<number>[0-9.]+) g"}, chatter=["hi"]), b"2.0 g\nhi\n412 q\n14"))
    assert [(h.offset, h.raw, h.rejected) for h in heard] == [
        (0, b"2.0 g", None), (6, b"hi", None), (9, b"412 q", "layout"), (15, b"14", "torn"),
    ]  # fmt: skip
    assert heard[0].decoded is not None
    assert heard[1].decoded is None
    torn = list(decode_frames(profile(NUMBER), b"2.0\n3.0\n", from_start=False))
    assert [h.rejected for h in torn] == ["torn", None]
