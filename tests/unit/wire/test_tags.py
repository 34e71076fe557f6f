"""ISO 11784 codes in their four printed forms, against the vectors of a public package for such tags and its defect."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thwart.wire.tags import LARGEST_NATIONAL, canonical

#: Published with the R package ISO11784Tools: forms of the same tags.
VECTORS = [
    ("999123456789012", "999123456789012"),
    ("3E7.1CBE991A14", "999123456789012"),
    ("8000F9DCBE991A14", "999123456789012"),
    ("2858997D3B9F0001", "999123456789012"),
    ("3E7.02DFDC1C35", "999012345678901"),
    ("8000F9C2DFDC1C35", "999012345678901"),
    ("AC383BFB439F0001", "999012345678901"),
    ("3E7.02DFDC1C36", "999012345678902"),
    ("EC383BFB439F0001", "999012345678903"),
    ("448823F25A6F0001", "985113007399202"),
    ("8000450000000001", "276000000000001"),
    ("8000E11CBE991A14", "900123456789012"),
]


@pytest.mark.parametrize(("printed", "tag"), VECTORS)
def test_published(printed: str, tag: str) -> None:
    assert canonical(printed) == tag
    assert canonical(f" {printed.lower()} ") == tag


@pytest.mark.parametrize("printed", ["999 123456789012", "999-123456789012", "999.123456789012"])
def test_separated(printed: str) -> None:
    assert canonical(printed) == "999123456789012"


def test_the_example_that_is_no_tag() -> None:
    """That package's documentation uses 989737733408912, whose national part needs more than 38 bits."""
    assert canonical("989737733408912") is None
    assert canonical(f"989{LARGEST_NATIONAL}") == "989274877906943"
    assert canonical(f"989{LARGEST_NATIONAL + 1}") is None
    assert canonical("3E7.4000000000") is None


@pytest.mark.parametrize(
    "printed", ["", "12345678901234", "000123456789012", "3FF.1CBE991A14", "C000F9DCBE991A14", "x" * 16]
)
def test_no_tags(printed: str) -> None:
    assert canonical(printed) is None


@given(st.integers(1, 999), st.integers(0, LARGEST_NATIONAL))
def test_all_forms_agree_or_are_refused(country: int, national: int) -> None:
    code = 1 << 63 | country << 38 | national
    tag = f"{country:03d}{national:012d}"
    assert canonical(tag) == canonical(f"{country:03X}.{national:010X}") == tag
    mirrored = int(f"{code:064b}"[::-1], 2)
    for printed in (f"{code:016X}", f"{mirrored:016X}"):
        assert canonical(printed) in (tag, None)


def test_a_code_that_fits_both_ways_round_is_refused() -> None:
    """Top and bottom 16 bits both look like flags: 072 and 120 could both be meant."""
    one, other = "80001234567A0001", f"{int(f'{0x80001234567A0001:064b}'[::-1], 2):016X}"
    assert canonical(one) is None
    assert canonical(other) is None
