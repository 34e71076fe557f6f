"""Reports of keyboard-page devices → keys pressed → text. Usages and their characters: HID Usage Tables, page 0x07.

What a device types has passed no operating system, so the characters are those of the table itself: the layout printed
in it, which is that of the United States. A scanner must be set to that layout. A key pad's digits are always digits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from .decoder import REMEMBERED
from .hid import Descriptor, Field, Splitter, parse_descriptor

PAGE: Final = 0x07
BACKSPACE: Final = 0x2A
CAPS_LOCK: Final = 0x39
NUM_LOCK: Final = 0x53
#: Too many keys at once, and the device's own faults: the keys of this report can't be known.
_UNKNOWABLE: Final = frozenset((0x01, 0x02, 0x03))
_FIRST_MODIFIER, _LAST_MODIFIER = 0xE0, 0xE7
_CTRL, _SHIFT, _ALT, _GUI = (frozenset((0xE0 + place, 0xE4 + place)) for place in range(4))

#: HID 1.11, appendix B.1: eight modifier bits, a reserved byte, six key codes.
BOOT: Final = parse_descriptor(
    bytes.fromhex(
        "05 01 09 06 A1 01 05 07 19 E0 29 E7 15 00 25 01 75 01 95 08 81 02 95 01 75 08 81 01"
        "95 06 75 08 15 00 26 FF 00 05 07 19 00 29 FF 81 00 C0"
    )
)


def _characters() -> dict[int, tuple[str, str]]:
    table = {0x04 + at: (letter, letter.upper()) for at, letter in enumerate("abcdefghijklmnopqrstuvwxyz")}
    table |= {
        0x1E + at: (plain, shifted) for at, (plain, shifted) in enumerate(zip("1234567890", "!@#$%^&*()", strict=True))
    }
    table |= {0x2D + at: (plain, shifted) for at, (plain, shifted) in enumerate(zip("-=[]\\", "_+{}|", strict=True))}
    table |= {0x33 + at: (plain, shifted) for at, (plain, shifted) in enumerate(zip(";'`,./", ':"~<>?', strict=True))}
    alone = {0x28: "\r", 0x2B: "\t", 0x2C: " ", 0x58: "\r", 0x63: ".", 0x67: "=", 0xB0: "00", 0xB1: "000"}
    alone |= {0x54 + at: character for at, character in enumerate("/*-+")}
    alone |= {0x59 + at: character for at, character in enumerate("1234567890")}
    return table | {usage: (text, text) for usage, text in alone.items()}


#: Usage → text without and with Shift.
CHARACTERS: Final[Mapping[int, tuple[str, str]]] = _characters()

_NAMES: Final[Mapping[int, str]] = {
    0x28: "ENTER", 0x29: "ESC", BACKSPACE: "BACKSPACE", 0x2B: "TAB", 0x2C: "SPACE", CAPS_LOCK: "CAPSLOCK",
    **{0x3A + at: f"F{at + 1}" for at in range(12)}, **{0x68 + at: f"F{at + 13}" for at in range(12)},
    0x46: "PRINT", 0x47: "SCROLLLOCK", 0x48: "PAUSE", 0x49: "INSERT", 0x4A: "HOME", 0x4B: "PAGEUP", 0x4C: "DELETE",
    0x4D: "END", 0x4E: "PAGEDOWN", 0x4F: "RIGHT", 0x50: "LEFT", 0x51: "DOWN", 0x52: "UP", NUM_LOCK: "NUMLOCK",
    **{usage: f"PAD{CHARACTERS[usage][0]}" for usage in (*range(0x54, 0x58), *range(0x59, 0x64), 0x67, 0xB0, 0xB1)},
    0x58: "PADENTER",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Press:
    """A key that went down, and the modifiers held then. `usage` is None where the device can't tell its keys."""

    usage: int | None
    held: frozenset[int] = frozenset()

    def text(self, caps: bool) -> bytes | None:
        """What it types; None where that is no text. Num Lock types nothing."""
        if self.usage == NUM_LOCK:
            return b""
        plain, shifted = CHARACTERS.get(self.usage or 0, ("", ""))
        if not plain or self.held & (_ALT | _GUI):
            return None
        if self.held & _CTRL:
            # Control characters as terminals make them, common practice; GS parts the elements of a GS1 label.
            return bytes([ord(plain.upper()) & 0x1F]) if plain.upper() in "ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\]" else None
        shift = bool(self.held & _SHIFT) != (caps and plain.isalpha())
        return (shifted if shift else plain).encode("ascii")


def name_of(press: Press) -> str:
    """A key's name after those of the modifiers held: `F5`, `A`, `CTRL+PAGEDOWN`; `KEY97` where the table has none."""
    usage = press.usage or 0
    named = _NAMES.get(usage) or CHARACTERS.get(usage, ("", ""))[0].upper() or f"KEY{usage:02X}"
    held = [
        name for name, keys in (("CTRL", _CTRL), ("SHIFT", _SHIFT), ("ALT", _ALT), ("GUI", _GUI)) if press.held & keys
    ]
    return "+".join((*held, named))


class Typist:
    """One interface's reports → presses. A key counts when it goes down; held down it is one press."""

    def __init__(self, descriptor: Descriptor) -> None:
        sound = not descriptor.problems
        self._fields: dict[int, list[Field]] = {}
        for field in descriptor.fields if sound else ():
            if not field.constant and any(low >> 16 == PAGE for low, _ in field.usages):
                self._fields.setdefault(field.report_id, []).append(field)
        self._splitter = Splitter(descriptor)
        self._known: dict[bytes, tuple[int, ...] | None] = {}
        """Which keys its latest reports held: a scanner types the same few dozen."""
        self._down: dict[int, tuple[int, ...]] = {}

    @property
    def has_keys(self) -> bool:
        """Whether the descriptor lays out keys at all."""
        return bool(self._fields)

    def press(self, report: bytes) -> list[Press] | None:
        """The keys that went down with this report, in its order; None where it isn't laid out as described."""
        split = self._splitter.split(report)
        if split is None or not self._fields:
            return None
        report_id, body = split
        if report_id not in self._fields:
            return []
        if report not in self._known:
            if len(self._known) >= REMEMBERED:
                self._known.clear()
            self._known[report] = self._keys(report_id, body)
        down = self._known[report]
        if down is None:
            return None
        if _UNKNOWABLE.intersection(down):
            return [Press(None)]
        before = self._down.get(report_id, ())
        self._down[report_id] = down
        held = frozenset(usage for usage in down if _FIRST_MODIFIER <= usage <= _LAST_MODIFIER)
        new = [usage for usage in dict.fromkeys(down) if usage and usage not in held and usage not in before]
        return [Press(usage, held) for usage in new]

    def _keys(self, report_id: int, body: bytes) -> tuple[int, ...] | None:
        """The keys a report holds down, in its order; None where an element is no data."""
        down: list[int] = []
        for field in self._fields[report_id]:
            values = field.values(body)
            if None in values:
                return None
            down += [usage & 0xFFFF for usage in field.chosen(values) if usage >> 16 == PAGE]
        return tuple(down)
