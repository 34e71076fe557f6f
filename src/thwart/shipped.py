"""Where the files lie that come with the program: inside the package when installed, at the top of a checkout."""

from __future__ import annotations

from pathlib import Path

from .errors import NotFound

_PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """The folder `hardware_profiles`, `demo` or `shared`. Raises NotFound where the installation is broken."""
    for base in (_PACKAGE / "data", _PACKAGE.parents[1]):
        if (base / folder).is_dir():
            return base / folder
    raise NotFound(f"the program's folder {folder!r} is missing", "install the program again")
