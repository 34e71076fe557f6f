"""Room `doctor`: what keeps instruments and computer from working together, each trouble with its cause and its fix.

Looks at ports, at files below /sys and /proc and at a bench folder; changes nothing and decides nothing. What it looks at
can be given to it, so that each trouble can be shown to be seen.
"""

from .examine import Report, examine
from .trouble import Trouble
from .udev import rules

__all__ = ["Report", "Trouble", "examine", "rules"]
