"""The bench's fold as the ledger's tools want it: recorded entries in, what each input changed out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import chain

from .bench.kernel import Bench
from .bench.setup import Setup
from .bench.state import Key, Object, Records
from .entries import Entry
from .errors import ThwartError


class Folding:
    """Folds entries from the first on, with the configuration they hold; afterwards `snapshot` is the state they made."""

    def __init__(self) -> None:
        self._bench: Bench | None = None

    def __call__(self, entries: Iterator[Entry], records: Records) -> Iterator[Mapping[Key, Object | None]]:
        """What each input changed, in order. Raises ThwartError where the entries don't begin with a configuration."""
        first = next(entries, None)
        if first is None:
            return
        self._bench = Bench(setup_of(first), records)
        for _, changed in self._bench.fold(chain([first], entries)):
            yield changed

    def snapshot(self) -> str:
        """The state at the end of the fold, as the service keeps it."""
        assert self._bench is not None
        return self._bench.snapshot().decode()


def setup_of(entry: Entry) -> Setup:
    """The setup in a ledger's first entry. Raises ThwartError where there is none, or one of another version."""
    if entry.kind != "configured" or "setup" not in entry.body:
        raise ThwartError(
            f"entry {entry.seq} is {entry.kind!r}, not the configuration a ledger begins with",
            "only a whole ledger of this program can be folded",
        )
    try:
        return Setup.from_json(entry.body["setup"])
    except (ValueError, KeyError, TypeError) as fault:
        raise ThwartError(
            f"entry {entry.seq} holds a configuration this version can't read: {fault}",
            "use the version of thwart that wrote it; the entry `started` names it",
        ) from None
