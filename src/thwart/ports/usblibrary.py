"""The library that reaches USB devices: the system's libusb, else the one a Python package brings; or neither."""

from __future__ import annotations

import logging
from functools import lru_cache
from typing import TYPE_CHECKING

from usb.backend import libusb1

from thwart.errors import PortError

if TYPE_CHECKING:
    from usb.backend import IBackend

# pyusb logs an error of its own for each library that isn't there; what is missing is said by us, once and in full.
logging.getLogger("usb").setLevel(logging.CRITICAL)

HINT = "run: sudo apt install libusb-1.0-0 (or: pip install 'thwart[usb]'), then start thwart again"


@lru_cache(maxsize=1)
def found() -> tuple[IBackend, str] | None:
    """The library and where it comes from, `system` or `libusb-package`; None where there is none.

    Looked for once in a process: looking starts other programs, and a port that is absent is asked for all the time.
    """
    backend = libusb1.get_backend()
    if backend is not None:
        return backend, "system"
    try:
        import libusb_package
    except ImportError:
        return None
    backend = libusb1.get_backend(find_library=libusb_package.find_library)
    return None if backend is None else (backend, "libusb-package")


def library() -> IBackend:
    """The library. Raises PortError where there is none."""
    there = found()
    if there is None:
        raise PortError("USB instruments need the library libusb, and there is none on this computer", HINT)
    return there[0]
