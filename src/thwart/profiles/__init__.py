"""Room `profiles`: the model of an instrument profile, finding and validating its files, proving its samples.

Holds no bytes of a port and opens none; what a frame means is asked of the room `wire`.
"""

from .check import check_profile
from .loading import find_profile, load_profile, shipped_profiles
from .model import Ask, Checksum, Framing, Lamp, Layout, Line, Profile, Sample, Settle, from_mapping

__all__ = [
    "Ask",
    "Checksum",
    "Framing",
    "Lamp",
    "Layout",
    "Line",
    "Profile",
    "Sample",
    "Settle",
    "check_profile",
    "find_profile",
    "from_mapping",
    "load_profile",
    "shipped_profiles",
]
