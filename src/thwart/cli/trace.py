"""Where the traceback of a fault goes: a file, never a person's screen."""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback

from .. import __version__


def write_trace(fault: BaseException) -> str:
    """Write what is needed to mend a fault of the program into a new file of the temp folder. Returns its path."""
    about = f"thwart {__version__}\npython {platform.python_version()} on {platform.platform()}\ncommand {sys.argv}\n\n"
    text = about + "".join(traceback.format_exception(fault))
    try:
        number, path = tempfile.mkstemp(prefix="thwart-fault-", suffix=".txt")
        with os.fdopen(number, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(text)
    except OSError as trouble:
        return f"(it couldn't be written: {trouble.strerror})"
    return path
