"""Open, audit and resume every image a power cut could have left."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.durability.images import images, laid_out, recorded
from tests.unit.ledger.samples import Survey, fold
from thwart.errors import ThwartError
from thwart.ledger import Ledger
from thwart.ledger.audit import audit


@dataclass
class Outcome:
    """How many images there were, and how many of them lost something announced or could not be gone on with."""

    images: int = 0
    losing: int = 0
    broken: int = 0
    announced: int = 0


def cut(library: Path, folder: Path, inputs: int, *flags: str, seed: int = 1, log_limit: int = 24 << 10) -> Outcome:
    """Record the driver, with a log so short that it is copied into the database often, and try every cut."""
    base, ran = folder / "ledger.db", folder / "run" / "ledger.db"
    Ledger.create(base, "lake", "0190").close()
    ran.parent.mkdir()
    ran.write_bytes(base.read_bytes())
    recorded(library, ran, folder / "record", inputs, "--log-limit", str(log_limit), *flags)
    outcome = Outcome()
    # In memory, where there is such a folder, the checks' own syncs cost nothing: what is proven is in the record.
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else folder) as place:
        for files, announced in images(base, folder / "record", seed):
            outcome.images += 1
            outcome.announced = max(outcome.announced, announced)
            laid_out(files, Path(place) / "image")
            _tried(Path(place) / "image" / "ledger.db", announced, outcome)
    return outcome


def _tried(path: Path, announced: int, outcome: Outcome) -> None:
    try:
        with Ledger.open(path) as ledger:
            outcome.losing += ledger.next_seq <= announced
            ledger.write(*Survey(ledger.next_seq).start())
            ledger.commit()
        # The projections are compared now and then; the chain and the file always.
        outcome.broken += not audit(path, fold if outcome.images % 20 == 0 else None).sound
    except ThwartError:
        outcome.broken += 1
