"""What stands at the two ends of a frame: what cuts it out of the bytes, and what says what it means."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .decoder import Decoder, Meaning
from .framer import Framer, framer_for

if TYPE_CHECKING:
    from ..profiles.model import Profile


def ends_of(profile: Profile) -> tuple[Framer, Meaning]:
    """What frames the bytes of a profile's instrument, and what reads its frames."""
    if profile.framing.reports is None:
        return framer_for(profile.framing), Decoder(profile)
    from .reports import report_ends  # most benches have no USB reports, and the service starts sooner without

    return report_ends(profile)
