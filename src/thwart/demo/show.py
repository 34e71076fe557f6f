"""What a demo is: its days, each with a protocol of `demo/`, and the comparison at its end."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from typing import Protocol

from .comparing import Table
from .hands import Stage
from .screen import Line

#: A folder of `demo/`, a line told before the day begins (or nothing), and what is done on that day.
Day = tuple[str, str, Callable[[Stage], None]]


class Show(Protocol):
    """One demo."""

    fish: int
    """How many fish, unless said otherwise."""
    pace_s: float
    """Seconds a fish at least, unless said otherwise."""
    intro: str
    """What it is, with `{fish}` to be filled in."""
    query: str
    """A query worth trying on its ledger."""

    @property
    def line(self) -> Line:
        """What is shown of an entry."""

    def days(self) -> Sequence[Day]:
        """Its days in order."""

    def compare(self, db: sqlite3.Connection) -> Table:
        """The ledger beside what was really done."""
