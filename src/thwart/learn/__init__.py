"""Room `learn`: bytes and what a person saw while they came → a profile, or what is still to be seen.

An inference, not a list of known instruments: ways to frame the bytes, checks over them and places where the shown value
may stand are tried; the simplest account of every byte wins. The world is closed: a profile accepts what was shown and
what every account agrees on, nothing else. Pure: does no I/O, reads no clock, uses no randomness.
"""

from .evidence import Evidence, Observation, parse_shown
from .found import Learned, NeedMore
from .learner import learn
from .writing import LEARNED, profile_text

__all__ = ["LEARNED", "Evidence", "Learned", "NeedMore", "Observation", "learn", "parse_shown", "profile_text"]
