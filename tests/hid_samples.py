"""Report descriptors that the tests share. Written for the tests, after the documents named."""

from __future__ import annotations

from thwart.records import DESCRIPTOR, REPORT, record


def scale_descriptor(report_id: int | None = 3) -> bytes:
    """The layout described most in public notes on weighing devices: status, unit, exponent, weight, 1 + 1 + 1 + 2 bytes."""
    return bytes.fromhex(
        "05 8D 09 20 A1 01" + (f"85 {report_id:02X}" if report_id is not None else "") + "09 32 A1 02"
        "15 01 25 08 75 08 95 01 19 71 29 78 81 00"  # status, an index from 1
        "25 0C 19 51 29 5C 81 00"  # unit, an index from 1
        "15 81 25 7F 09 41 81 02"  # data scaling, signed
        "15 00 26 FF FF 75 10 09 40 81 02 C0 C0"  # data weight; the maximum in two bytes, as many devices write it
    )  # fmt: skip


#: HID 1.11, appendix E.6, the report descriptor of its example keyboard, from memory.
KEYBOARD = bytes.fromhex(
    "05 01 09 06 A1 01 05 07 19 E0 29 E7 15 00 25 01 75 01 95 08 81 02 95 01 75 08 81 01"
    "95 05 75 01 05 08 19 01 29 05 91 02 95 01 75 03 91 01"
    "95 06 75 08 15 00 25 65 05 07 19 00 29 65 81 00 C0"
)


def stream(*reports: str, descriptor: bytes = b"", interface: int = 0) -> bytes:
    """Records of a descriptor (where given) and of reports written in hexadecimal."""
    head = record(DESCRIPTOR, interface, descriptor) if descriptor else b""
    return head + b"".join(record(REPORT, interface, bytes.fromhex(report)) for report in reports)


def typed(text: str) -> list[str]:
    """Boot reports that type `text`: a press and a release for each character (letters, digits, -, CR, HT)."""
    out = []
    for character in text:
        usage, shift = {
            "\r": (0x28, 0), "\t": (0x2B, 0), "-": (0x2D, 0), "0": (0x27, 0),
        }.get(character, (0, 0))  # fmt: skip
        if "1" <= character <= "9":
            usage = 0x1E + int(character) - 1
        elif character.isalpha():
            usage, shift = 0x04 + ord(character.upper()) - ord("A"), 2 if character.isupper() else 0
        assert usage, character
        out += [f"{shift:02X} 00 {usage:02X} 00 00 00 00 00", "00 00 00 00 00 00 00 00"]
    return out
