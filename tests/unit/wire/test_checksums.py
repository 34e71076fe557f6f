"""Checks over bytes against published sentences and independent libraries."""

from __future__ import annotations

import crccheck.crc
import crcmod.predefined
import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thwart.profiles import Checksum
from thwart.wire.checksums import CRCS, check_function, verifier

SENTENCE = Checksum(kind="xor", written="hex", first=1, uncounted=1)

#: Sentences of NMEA 0183 as printed in many introductions to it.
SENTENCES = [
    b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    b"$GPRMC,155123.000,A,4043.8432,N,07359.7653,W,0.15,83.25,200407,,*28",
    b"$GPRMC,000004,V,3714.6284,N,12146.9181,W,0.000,0.0,290697,15.4,E*4C",
    b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
    b"$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
]


@pytest.mark.parametrize("sentence", SENTENCES)
def test_sentences(sentence: bytes) -> None:
    assert verifier(SENTENCE)(sentence)
    assert pynmea2.parse(sentence.decode(), check=True)


@pytest.mark.parametrize(
    ("printed", "right"),
    [
        (b"$HEHDT,178.3,T*1E", b"$HEHDT,178.3,T*22"),
        (
            b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,47.0,M,,*47",
            b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,47.0,M,,*4F",
        ),
    ],
)
def test_misprints_found_in_print(printed: bytes, right: bytes) -> None:
    """Two pages print sentences whose sum doesn't hold."""
    assert not verifier(SENTENCE)(printed)
    assert verifier(SENTENCE)(right)
    with pytest.raises(pynmea2.ChecksumError):
        pynmea2.parse(printed.decode(), check=True)


@given(st.text(alphabet=st.characters(min_codepoint=0x20, max_codepoint=0x7E, exclude_characters="*$"), min_size=1))
def test_sentences_against_pynmea2(body: str) -> None:
    assert check_function("xor")(body.encode()) == pynmea2.NMEASentence.checksum(body)


#: name → (check value of "123456789" as catalogued, class of crccheck, name in crcmod). Their bare "CRC-16" differ:
#: crccheck's is XMODEM, crcmod's is ARC.
FAMILIES = {
    "crc-16-modbus": (0x4B37, crccheck.crc.Crc16Modbus, "modbus"),
    "crc-16-ccitt-false": (0x29B1, crccheck.crc.Crc16CcittFalse, "crc-ccitt-false"),
    "crc-16-kermit": (0x2189, crccheck.crc.Crc16Kermit, "kermit"),
    "crc-16-xmodem": (0x31C3, crccheck.crc.Crc16Xmodem, "xmodem"),
    "crc-16-x-25": (0x906E, crccheck.crc.CrcX25, "x-25"),
    "crc-16-arc": (0xBB3D, crccheck.crc.CrcArc, "crc-16"),
    "crc-16-usb": (0xB4C8, crccheck.crc.Crc16Usb, "crc-16-usb"),
}
#: The same for 8 bits; crcmod knows the second as that of the one-wire bus.
SMALL = {"crc-8": (0xF4, crccheck.crc.Crc8, "crc-8"), "crc-8-maxim": (0xA1, crccheck.crc.Crc8Maxim, "crc-8-maxim")}


def test_all_families_are_compared() -> None:
    assert FAMILIES.keys() == CRCS.keys()


@pytest.mark.parametrize("kind", [*FAMILIES, *SMALL])
@given(data=st.binary(max_size=64))
@settings(max_examples=40)
def test_crc_families(kind: str, data: bytes) -> None:
    value, checker, name = (FAMILIES | SMALL)[kind]
    function = check_function(kind)
    assert function(b"123456789") == value
    assert function(data) == checker.calc(data) == crcmod.predefined.mkPredefinedCrcFun(name)(data)


def test_modbus_on_the_wire() -> None:
    """11 03 00 6B 00 03 is followed by 76 87, the low byte first (the usual worked example of the Modbus RTU frame)."""
    check = Checksum(kind="crc-16-modbus", written="byte", order="low-first")
    assert verifier(check)(bytes.fromhex("1103006B0003 7687"))
    assert not verifier(check)(bytes.fromhex("1103006B0003 8776"))


@pytest.mark.parametrize(
    ("data", "lrc"),
    [(b"123456789", 0x23), (bytes.fromhex("1103006B0003"), 0x7E), (bytes.fromhex("F7031389000A"), 0x60)],
)
def test_twos_complement(data: bytes, lrc: int) -> None:
    """The longitudinal check of the Modbus ASCII frame: with it all bytes sum to nought."""
    assert check_function("twos-complement")(data) == lrc
    assert (check_function("sum")(data) + lrc) % 256 == 0


def test_block_check_that_is_a_digit() -> None:
    """STX 12.345 kg ETX: the exclusive or of all after STX through ETX is 30 hex, the digit 0 (as in ISO 1745)."""
    check = Checksum(kind="xor", written="byte", first=1)
    assert verifier(check)(b"\x0212.345 kg\x030")
    assert not verifier(check)(b"\x0212.346 kg\x030")


def test_where_the_check_stands() -> None:
    assert verifier(Checksum(kind="sum", first=1, trailing=1))(b"\x02S+   412gDC\x03")
    assert verifier(Checksum(kind="sum", first=1, trailing=1))(b"\x02S+   412gdc\x03")
    crc = Checksum(kind="crc-16-xmodem", uncounted=1, order="low-first")
    assert verifier(crc)(b"123456789,C331")
    assert not verifier(crc)(b"123456789,31C3")


@pytest.mark.parametrize(
    ("kind", "written", "order", "frame"),
    [
        ("xor-7", "byte", "high-first", b"12.5 g\xb9\x66"),
        ("sum-7", "byte", "high-first", b"412 g\x1e"),
        ("sum-folded", "byte", "high-first", b"412 g!"),
        ("sum-mod-100", "decimal", "high-first", b"412 g86"),
        ("sum-mod-1000", "decimal", "high-first", b"412 g286"),
        ("sum", "decimal", "high-first", b"412 g030"),
        ("sum", "nibbles", "high-first", b"412 g1>"),
        ("sum", "hex", "low-first", b"412 gE1"),
        ("sum-16", "hex", "high-first", b"412 g011E"),
        ("sum-16", "byte", "low-first", b"412 g\x1e\x01"),
        ("ones-complement", "hex", "high-first", b"412 gE1"),
    ],
)
def test_how_checks_are_written(kind: str, written: str, order: str, frame: bytes) -> None:
    """Worked by hand: the bytes of `412 g` sum to 286, 11E hex; 31 ^ 32 ^ 2E ^ 35 ^ 20 ^ 67 ^ B9 is E6."""
    holds = verifier(Checksum.model_validate({"kind": kind, "written": written, "order": order}))
    assert holds(frame)
    assert not holds(frame[:-1] + bytes([frame[-1] ^ 1]))
    assert not holds(b"5" + frame[1:])


@given(st.binary(max_size=12), st.sampled_from([*FAMILIES, "xor", "sum", "twos-complement"]))
def test_short_frames_are_wrong_not_errors(data: bytes, kind: str) -> None:
    check = Checksum.model_validate({"kind": kind, "first": 3, "uncounted": 2, "trailing": 2})
    assert len(data) > 10 or verifier(check)(data) is False


def test_pairs_of_digits_are_counted_as_the_bytes_they_stand_for() -> None:
    """Worked by hand: 02 01 00 00 00 08 sum to 0B, whose two's complement is F5."""
    check = Checksum(kind="twos-complement", first=1, over="pairs")
    assert verifier(check)(b":020100000008F5")
    assert not verifier(check)(b":020100000009F5")
    assert not verifier(check)(b":02010000000GF5")
    assert not verifier(check)(b":0201000000085")
