"""Why a port can't be used, and how it went away. Each carries `state`, the one word that logs and status show."""

from __future__ import annotations

from typing import ClassVar

from thwart.errors import PortError


class PortAbsent(PortError):
    """Nothing is there now: not plugged in, not switched on, nobody listens."""

    state: ClassVar[str] = "absent"


class PortAmbiguous(PortError):
    """More than one adapter answers to the identity; `candidates` are names that tell them apart."""

    state: ClassVar[str] = "ambiguous"

    def __init__(self, message: str, hint: str, candidates: tuple[str, ...]) -> None:
        super().__init__(message, hint)
        self.candidates = candidates


class PortBusy(PortError):
    """Another program (or this one) has it open; the message names it where the system tells."""

    state: ClassVar[str] = "busy"


class PortForbidden(PortError):
    """No permission; the hint names the group to join."""

    state: ClassVar[str] = "forbidden"


class PortStuck(PortError):
    """The far end takes no bytes (flow control holds the line, or its buffer is full). The port stays open."""

    state: ClassVar[str] = "stuck"


class Gone(PortError):
    """An open port went away: unplugged, EIO, a read of nothing, connection closed. A normal event, not a failure."""

    state: ClassVar[str] = "gone"

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class Ended(Gone):
    """A capture was played to its end. There is nothing to wait for, so nothing is opened again."""

    state: ClassVar[str] = "ended"
