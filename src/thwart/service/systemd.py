"""Telling systemd that the service is ready and alive (sd_notify protocol). Does nothing elsewhere."""

from __future__ import annotations

import contextlib
import os
import socket


def notify(message: str) -> None:
    """Send one message (`READY=1`, `WATCHDOG=1`, `STATUS=…`) where systemd asked for it."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
        out.connect("\0" + address[1:] if address.startswith("@") else address)
        out.sendall(message.encode())


def watchdog_s() -> float | None:
    """How often systemd wants to hear that all is well (half its limit), or None."""
    usec = os.environ.get("WATCHDOG_USEC", "")
    return (
        int(usec) / 2e6
        if usec.isdecimal() and os.environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        else None
    )
