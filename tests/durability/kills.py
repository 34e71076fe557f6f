"""Kill the writer at random moments and look what became of what it announced."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.unit.ledger.samples import fold
from thwart.ledger import Ledger
from thwart.ledger.audit import audit


@dataclass
class Outcome:
    """`announced` seqs in all, how many of them were `lost`, and what audits found."""

    kills: int = 0
    announced: int = 0
    lost: int = 0
    problems: tuple[str, ...] = ()


def killed(path: Path, kills: int, seed: int, *flags: str, until_lost: bool = False) -> Outcome:
    """Start the driver on one ledger again and again, each time killed at a random moment after its first word."""
    chance = random.Random(seed)
    outcome = Outcome()
    Ledger.create(path, "lake", "0190").close()
    for _ in range(kills):
        command = [sys.executable, "-m", "tests.durability.driver", str(path), "1000000", *flags]
        writer = subprocess.Popen(command, stdout=subprocess.PIPE)
        assert writer.stdout is not None
        first = writer.stdout.readline()
        time.sleep(chance.uniform(0, 0.06))
        writer.kill()
        rest, _ = writer.communicate()
        # The kill may cut a word short; what is not a whole line was not said.
        said = [int(line) for line in (first + rest).split(b"\n")[:-1]]
        with Ledger.open(path) as ledger:
            kept = ledger.next_seq - 1
        outcome.kills += 1
        outcome.announced += len(said)
        outcome.lost += sum(seq > kept for seq in said)
        outcome.problems += audit(path, fold if outcome.kills % 5 == 0 else None).problems
        if until_lost and outcome.lost:
            break
    outcome.problems += audit(path, fold).problems
    return outcome
