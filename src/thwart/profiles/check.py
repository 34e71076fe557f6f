"""Proving a profile by its own samples."""

from __future__ import annotations

from ..wire.channel import Heard, decode_frames
from ..wire.events import Decoded
from .model import Profile, Sample

_MEANINGS = ("text", "unit", "condition", "settled", "load", "identifier", "symbology")


def check_profile(profile: Profile) -> list[str]:
    """What is wrong, one line each: every sample must frame as one frame and mean exactly what it states."""
    if profile.kind == "lamp":
        return []  # nothing of it is read
    problems = []
    for number, sample in enumerate(profile.sample):
        where = f"{profile.name}: sample[{number}]"
        problems += [f"{where}: {problem}" for problem in _sample_problems(profile, sample)]
    if all(sample.rejected is not None or sample.chatter for sample in profile.sample):
        problems.append(f"{profile.name}: no sample shows a frame that means something")
    return problems


def _sample_problems(profile: Profile, sample: Sample) -> list[str]:
    heard = list(decode_frames(profile, sample.raw))
    if len(heard) != 1:
        return [f"frames as {len(heard)} frames, not one: {[one.raw for one in heard]}"]
    said = _said(heard[0])
    if sample.rejected is not None:
        wanted = f"rejected: {sample.rejected}"
        return [] if said == wanted else [f"stated as {wanted}, but it is {said}"]
    if sample.chatter:
        return [] if said == "chatter" else [f"stated as chatter, but it is {said}"]
    decoded = heard[0].decoded
    if decoded is None:
        return [f"stated to mean something, but it is {said}"]
    return [
        f"{key}: stated {getattr(sample, key)!r}, decoded {getattr(decoded, key)!r}"
        for key in _MEANINGS
        if getattr(sample, key) != getattr(decoded, key)
    ]


def _said(heard: Heard) -> str:
    if isinstance(heard.decoded, Decoded):
        return f"a {heard.decoded.condition} frame"
    return "chatter" if heard.rejected is None else f"rejected: {heard.rejected}"
