"""Room `cli`: the command line, one file per family of commands. Holds no domain rules.

May not decide, read a port's bytes or write an entry itself: it asks the rooms and shows what they say. Each command's
module is imported only when that command is run, so that `thwart run` starts fast and small.
"""

from .entry import main, run_command

__all__ = ["main", "run_command"]
