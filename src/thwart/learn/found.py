"""What learning ends with: a profile, or what is still to be seen. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..errors import ThwartError
from ..profiles.model import Profile
from .accounts import Account


class NeedMore(ThwartError):
    """What was shown can't settle it: `asks` names observations, any of which would."""

    exit_code = 3

    def __init__(self, message: str, asks: Sequence[str]) -> None:
        super().__init__(message, "\n  → ".join(asks))
        self.asks = tuple(asks)


@dataclass(frozen=True, slots=True)
class Learned:
    """A profile, what it was learned from, and what the person should know about it."""

    profile: Profile
    account: Account
    notes: tuple[str, ...]

    def titled(self, title: str) -> Learned:
        """The same with another title."""
        return replace(self, profile=self.profile.model_copy(update={"title": title}))
