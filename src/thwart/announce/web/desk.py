"""What the pages may ask of the service: the one way from the web to the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from ..feed import Committed, Feed


class Desk(Protocol):
    """The service as the web sees it. Everything but `feed` may wait, and is called in a thread of its own."""

    feed: Feed

    def act(self, act: str, args: Sequence[str], place: str | None) -> Mapping[str, Any]:
        """Do an act; the answer comes after its commit. Raises ThwartError."""

    def picture(self) -> Mapping[str, Any]:
        """What the bench holds now. Raises ThwartError while the service is held up."""

    def setup(self) -> Mapping[str, Any]:
        """What doesn't change while the service runs: places, protocol, acts, looks."""

    def day(self) -> Mapping[str, Any]:
        """The lead's tables, read from the ledger's views. Raises ThwartError."""

    def read(self, after: int) -> Sequence[Committed]:
        """Some of the groups that hold entries after one, in order; none where there are none yet. Raises LedgerError."""

    def committed(self) -> int:
        """The last entry on the disk."""
