"""A writer to be killed, traced and cut: python -m tests.durability.driver LEDGER INPUTS [--announce-first] ...

Writes a survey through the ledger, an input a commit, and announces the last seq of each on standard output after the
commit. `--announce-first` and `--synchronous` make it wrong on purpose, to see the tests fail.
"""

from __future__ import annotations

import argparse
import itertools
import os
from collections.abc import Iterator
from pathlib import Path

from tests.unit.ledger.samples import Input, Survey
from thwart.ledger import Ledger, connect


def inputs(survey: Survey) -> Iterator[Input]:
    """Without end."""
    yield survey.start()
    yield survey.open_batch()
    while True:
        yield from survey.fishes(1)


def main() -> None:
    """Run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("ledger", type=Path)
    parser.add_argument("inputs", type=int)
    parser.add_argument("--announce-first", action="store_true")
    parser.add_argument("--synchronous", choices=("OFF", "NORMAL"))
    parser.add_argument("--log-limit", type=int)
    chosen = parser.parse_args()
    if chosen.log_limit:
        connect.LOG_LIMIT = chosen.log_limit  # type: ignore[misc]
    ledger = Ledger.open(chosen.ledger)
    if chosen.synchronous:
        ledger._db.execute(f"PRAGMA synchronous = {chosen.synchronous}")
    for entries, changed in itertools.islice(inputs(Survey(ledger.next_seq)), chosen.inputs):
        said = f"{entries[-1].seq}\n".encode()
        if chosen.announce_first:
            os.write(1, said)
        ledger.write(entries, changed)
        ledger.commit()
        if not chosen.announce_first:
            os.write(1, said)
    # No clean end: closing would copy the log into the database, and a cut power line doesn't close anything.
    os._exit(0)


if __name__ == "__main__":
    main()
