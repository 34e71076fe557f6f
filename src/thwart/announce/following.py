"""Something of this computer that follows the feed in a thread of its own: lamps, sounds."""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod

from .feed import Feed, Follower


class Following(ABC):
    """Begins to follow at `start` and ends at `stop`, within a second; what it does then is `_follow`."""

    def __init__(self, feed: Feed, name: str) -> None:
        self._feed = feed
        self._stopping = threading.Event()
        self._follower: Follower | None = None
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Follow what is announced from now on."""
        self._follower = self._feed.follow()
        self._thread.start()

    def stop(self) -> None:
        """Follow no more."""
        self._stopping.set()
        if self._follower is not None:
            self._follower.stir()
            self._thread.join(1.0)

    def _run(self) -> None:
        assert self._follower is not None
        try:
            self._follow(self._follower)
        finally:
            self._feed.leave(self._follower)

    @abstractmethod
    def _follow(self, follower: Follower) -> None:
        """What it does until `_stopping` is set."""
