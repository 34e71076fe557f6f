"""How a serial line is set: plain values, the same for every kind of port. A port with no line ignores them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast

Parity = Literal["none", "even", "odd", "mark", "space"]
Flow = Literal["none", "xonxoff", "rtscts"]

_LETTERS: dict[Parity, str] = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
_TEXT = re.compile(
    r"(?P<baud>[1-9]\d{0,7}) (?P<bits>[5-8])(?P<parity>[NEOMS])(?P<stop>1|1\.5|2)"
    r" flow=(?P<flow>none|xonxoff|rtscts) dtr=(?P<dtr>on|off) rts=(?P<rts>on|off)"
)


@dataclass(frozen=True, slots=True)
class LineSettings:
    """Speed in bits per second, bits per character, parity, stop bits, flow control, control lines at opening."""

    baud: int = 9600
    data_bits: int = 8
    parity: Parity = "none"
    stop_bits: float = 1
    flow: Flow = "none"
    dtr: bool = True
    rts: bool = True

    def __str__(self) -> str:
        """One line for people and capture files: `9600 8N1 flow=none dtr=on rts=on`."""
        return (
            f"{self.baud} {self.data_bits}{_LETTERS[self.parity]}{self.stop_bits:g} flow={self.flow}"
            f" dtr={'on' if self.dtr else 'off'} rts={'on' if self.rts else 'off'}"
        )

    @classmethod
    def parse(cls, text: str) -> LineSettings:
        """Read what `str()` wrote; raises ValueError when it isn't that."""
        match = _TEXT.fullmatch(text)
        if match is None:
            raise ValueError(f"not line settings: {text!r} (expected e.g. {cls()!s})")
        parity = next(name for name, letter in _LETTERS.items() if letter == match["parity"])
        return cls(
            baud=int(match["baud"]),
            data_bits=int(match["bits"]),
            parity=parity,
            stop_bits=float(match["stop"]),
            flow=cast(Flow, match["flow"]),
            dtr=match["dtr"] == "on",
            rts=match["rts"] == "on",
        )
