"""What the doctor finds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: The kinds of trouble: a closed list, each documented (docs/doctor.md) and tested.
Code = Literal[
    "bench-file", "absent", "identical", "no-permission", "in-use", "seized", "suspends", "latency", "descriptor", "wrong-line",
    "line-errors", "silent", "no-libusb", "clock", "disk", "folder", "network-disk",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Trouble:
    """One trouble: `about` what, its `cause`, and the `fix`: what to type or to do."""

    code: Code
    about: str
    cause: str
    fix: str
