"""Code 128 and QR against their standards, with an independent reader."""

from __future__ import annotations

import re
import string

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from stdnum.iso7064 import mod_37_36

from thwart.bench.labels import card
from thwart.paper import symbols
from thwart.paper.sizes import PaperError
from thwart.paper.symbols import Symbol

# The check character of ISO/IEC 15417: (start + sum of place x value) mod 103. Worked examples as published by
# barcoderesource.com (abcdef in set B, 345678 in set C) and in the encyclopedia's article on Code 128 ("Wikipedia", set B).
PUBLISHED = {"abcdef": (104, 1539, 97), "345678": (105, 485, 73), "Wikipedia": (104, None, 88)}


def drawn(symbol: Symbol, scale: int = 8) -> Image.Image:
    """A code drawn straight from its rectangles."""
    image = Image.new("L", (round(symbol.width * scale), round(symbol.height * scale)), 255)
    pen = ImageDraw.Draw(image)
    for dark in symbol.dark:
        left, right = round(dark.x * scale), round(dark.right * scale) - 1
        pen.rectangle(
            (left, round((symbol.height - dark.top) * scale), right, round((symbol.height - dark.y) * scale) - 1),
            fill=0,
        )
    return image


def read(symbol: Symbol) -> list[str]:
    return [code.text for code in zxingcpp.read_barcodes(drawn(symbol))]


@pytest.mark.parametrize("text", PUBLISHED)
def test_code_128_against_published_sums(text: str) -> None:
    start, total, check = PUBLISHED[text]
    values = symbols.code128_values(text)
    assert values[0] == start
    assert values[-2:] == [check, 106]
    summed = sum(place * value for place, value in enumerate(values[1:-2], 1))
    assert (start + summed) % 103 == check
    assert total is None or start + summed == total


@settings(max_examples=60)
@given(st.text(string.ascii_letters + string.digits + "-._", min_size=1, max_size=30))
def test_code_128_is_as_its_standard_says(text: str) -> None:
    """ISO/IEC 15417: characters of 11 modules in three bars and three spaces, a stop of 13, 10 modules of quiet."""
    values = symbols.code128_values(text)
    assert (values[0] + sum(n * v for n, v in enumerate(values[1:-2], 1))) % 103 == values[-2]
    made = symbols.code128(text, 1.0, 10.0)
    assert made.width == pytest.approx(11 * (len(values) - 1) + 13 + 20)
    assert len(made.dark) == 3 * (len(values) - 1) + 4
    assert made.dark[0].x == pytest.approx(10)
    assert made.width - made.dark[-1].right == pytest.approx(10)
    assert read(made) == [text]


@settings(max_examples=40)
@given(
    st.lists(
        st.sampled_from(["next", "missing", "whole_mass", "gonad_mass.left", "not-attempted", "7"]),
        min_size=1,
        max_size=4,
    )
)
def test_cards_in_both_codes(said: list[str]) -> None:
    text = card(said)
    body = re.sub(r"[^A-Z0-9]", "", text)
    assert mod_37_36.is_valid(body)
    qr = symbols.qr(text, 1.0)
    assert read(qr) == read(symbols.code128(text, 0.5, 10.0)) == [text]
    assert min(d.x for d in qr.dark) == min(d.y for d in qr.dark) == pytest.approx(4)  # ISO/IEC 18004: four modules


def test_a_qr_code_survives_a_lost_quarter() -> None:
    """Error correction Q of ISO/IEC 18004 restores about 25 % of the codewords."""
    made = symbols.qr("ACT.MISSING.WHOLE_MASS.NOT-ATTEMPTED.U", 1.0)
    (code,) = zxingcpp.read_barcodes(drawn(made))
    assert code.ec_level == "Q"
    image = drawn(made)
    side = image.width
    ImageDraw.Draw(image).rectangle((side * 0.42, side * 0.45, side * 0.7, side * 0.68), fill=255)  # a flake of ice
    assert [c.text for c in zxingcpp.read_barcodes(image)] == ["ACT.MISSING.WHOLE_MASS.NOT-ATTEMPTED.U"]


@pytest.mark.parametrize("text", ["Ü-0001", "K-0001\n", "фиш"])
def test_what_no_code_can_hold(text: str) -> None:
    with pytest.raises(PaperError, match="no code is made for") as refused:
        symbols.qr(text, 1.0)
    assert "ASCII" in refused.value.hint
    with pytest.raises(PaperError, match="no code is made for"):
        symbols.code128(text, 1.0, 10.0)
