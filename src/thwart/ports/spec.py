"""How a port is named in a bench file or on the command line. A name is not yet a port: see `identity.resolve`."""

from __future__ import annotations

import re
from typing import Literal, cast
from urllib.parse import urlsplit

from msgspec import Struct

from thwart.errors import ConfigError

FORMS = (
    "/dev/serial/by-id/NAME or another device path",
    "usb:VID:PID:SERIAL (or usb:VID:PID while only one such adapter is plugged in)",
    "hid:VID:PID:SERIAL (a USB scale, scanner or pedal; :SERIAL and @BUS-SOCKET may be left out while one is meant)",
    "endpoint:VID:PID:SERIAL (a USB device that sends text without a serial adapter; as hid)",
    "socket://HOST:PORT",
    "rfc2217://HOST:PORT",
    "replay:FILE",
)
_HINT = "a port is named as one of:\n    " + "\n    ".join(FORMS) + "\n  `thwart ports` lists what is plugged in"
_HEX4 = re.compile(r"[0-9A-Fa-f]{4}")
#: As Linux names the place of a device below /sys/bus/usb/devices: bus, then the port of each hub on the way.
_SOCKET = re.compile(r"[1-9]\d{0,2}-[1-9]\d{0,2}(\.[1-9]\d{0,2}){0,5}")


class Device(Struct, frozen=True):
    """A device path, best a link below /dev/serial/by-id or by-path: /dev/ttyUSB0 is another adapter after a replug."""

    path: str

    def __str__(self) -> str:
        return self.path


class Usb(Struct, frozen=True):
    """A serial adapter by USB vendor, product and serial number; found again under whatever name it comes back."""

    vid: int
    pid: int
    serial: str | None

    def __str__(self) -> str:
        return f"usb:{self.vid:04X}:{self.pid:04X}" + (f":{self.serial}" if self.serial is not None else "")


class UsbDevice(Struct, frozen=True):
    """A USB device that is no serial adapter: one that sends reports (`hid`), or text (`endpoint`).

    `socket` is where it is plugged in, `1-2.4`: bus 1, port 2, and port 4 of the hub there.
    """

    kind: Literal["hid", "endpoint"]
    vid: int
    pid: int
    serial: str | None = None
    socket: str | None = None

    def __str__(self) -> str:
        serial = f":{self.serial}" if self.serial is not None else ""
        return f"{self.kind}:{self.vid:04X}:{self.pid:04X}{serial}" + (f"@{self.socket}" if self.socket else "")


class Tcp(Struct, frozen=True):
    """Bare bytes over TCP, as serial-to-network converters offer them."""

    host: str
    port: int

    def __str__(self) -> str:
        return f"socket://{_authority(self.host, self.port)}"


class Rfc2217(Struct, frozen=True):
    """A remote serial port with its settings under our control (RFC 2217, over Telnet)."""

    host: str
    port: int

    def __str__(self) -> str:
        return f"rfc2217://{_authority(self.host, self.port)}"


class Replay(Struct, frozen=True):
    """A capture file played at its own pace."""

    path: str

    def __str__(self) -> str:
        return f"replay:{self.path}"


Spec = Device | Usb | UsbDevice | Tcp | Rfc2217 | Replay


def parse_spec(text: str, where: str = "port") -> Spec:
    """Read a port's name; raises ConfigError (with `where` as its place) saying what is wrong and which forms exist."""
    text = text.strip()
    if text.startswith("usb:"):
        return Usb(*_usb(text.removeprefix("usb:"), text, where))
    if text.startswith(("hid:", "endpoint:")):
        return _usb_device(text, where)
    if text.startswith(("socket://", "rfc2217://")):
        return _network(text, where)
    if text.startswith("replay:"):
        path = text.removeprefix("replay:")
        if not path:
            raise _wrong(where, text, "the capture file is missing after 'replay:'")
        return Replay(path)
    if text.startswith("/") or re.fullmatch(r"COM\d+", text):
        return Device(text)
    if text.startswith("tty"):
        raise _wrong(where, text, f"a device path starts at the root: /dev/{text}")
    raise _wrong(where, text, "it is none of the forms a port's name can have")


def _usb_device(text: str, where: str) -> UsbDevice:
    kind, _, rest = text.partition(":")
    # An @ may stand in a serial number as well; only what looks like a socket is one.
    head, _, socket = rest.rpartition("@")
    if not head or not _SOCKET.fullmatch(socket):
        head, socket = rest, ""
        if re.search(r"@[0-9.-]*$", rest):
            raise _wrong(where, text, "after the @ stands the socket it is plugged into: bus, -, port, as in @1-2.4")
    return UsbDevice(cast(Literal["hid", "endpoint"], kind), *_usb(head, text, where), socket or None)


def _usb(identity: str, text: str, where: str) -> tuple[int, int, str | None]:
    # The serial number comes last and whole: makers put colons into it.
    vid, pid, serial = (*identity.split(":", 2), None, None)[:3]
    for name, number in (("vendor", vid), ("product", pid)):
        if number is None or not _HEX4.fullmatch(number):
            raise _wrong(where, text, f"the {name} number must be four hexadecimal digits, not {number or 'nothing'!r}")
    if serial == "":
        raise _wrong(where, text, "the serial number after the last colon is empty; leave the colon out as well")
    assert vid is not None and pid is not None
    return int(vid, 16), int(pid, 16), serial


def _network(text: str, where: str) -> Tcp | Rfc2217:
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise _wrong(where, text, str(error)) from None
    if not host:
        raise _wrong(where, text, "the host is missing")
    if not port:
        raise _wrong(where, text, "the port number is missing (1 to 65535)")
    if parts.path or parts.query or parts.fragment or parts.username is not None:
        raise _wrong(where, text, "only HOST:PORT may follow the two slashes")
    return Tcp(host, port) if parts.scheme == "socket" else Rfc2217(host, port)


def _authority(host: str, port: int) -> str:
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def _wrong(where: str, text: str, why: str) -> ConfigError:
    return ConfigError(where, [f"{where}: {text!r} is no port: {why}"], _HINT)
