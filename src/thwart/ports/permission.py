"""Why a device may not be opened, and what helps."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from thwart.ports.faults import PortForbidden

if sys.platform != "win32":
    import grp
    import pwd


def forbidden(name: str, device: str) -> PortForbidden:
    """The refusal of `device` for want of permission, with the group to join or what else helps."""
    if sys.platform == "win32":
        return PortForbidden(f"no permission to open {name}", "another program may have it open")
    try:
        status = Path(device).stat()
        group = grp.getgrgid(status.st_gid).gr_name
        user = pwd.getpwuid(os.geteuid()).pw_name
    except (OSError, KeyError):
        return PortForbidden(f"no permission to open {name}", "ask whoever looks after this computer for access to it")
    if group == "root" or status.st_mode & 0o060 != 0o060:
        return PortForbidden(
            f"no permission to open {name}: it belongs to user and group {group}, and the group may not use it either",
            "a udev rule must give it to a group such as dialout; `thwart doctor --write-udev` prints it for a bench",
        )
    return PortForbidden(
        f"no permission to open {name}: it belongs to group {group}, and {user} is not in it",
        f"run: sudo usermod -aG {group} {user}   then log out and in again",
    )
