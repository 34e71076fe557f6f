"""What happens on each class of error: one table, every row tested."""

from __future__ import annotations

from msgspec import Struct

from ..errors import BenchInUse, ConfigError, LedgerError, LedgerTooNew, LedgerTooOld, NotFound, PortError, ThwartError
from ..ledger.faults import LedgerBusy, LedgerCorrupt, LedgerForeign, LedgerFull, LedgerReadOnly


class Policy(Struct, frozen=True):
    """`retry_s`: try again after so long (None: stop). `exit_code`: how the program ends when it stops."""

    retry_s: float | None
    exit_code: int
    why: str


#: The first class that fits an error, from the top, decides.
POLICIES: tuple[tuple[type[BaseException], Policy], ...] = (
    (LedgerBusy, Policy(0.25, 6, "another program holds the ledger: it will let go")),
    (LedgerFull, Policy(1.0, 6, "the disk is full: readings wait in memory until there is room")),
    (LedgerReadOnly, Policy(1.0, 6, "the folder can't be written: readings wait until it can")),
    (LedgerTooOld, Policy(None, 3, "`thwart migrate` must run first")),
    (LedgerTooNew, Policy(None, 6, "a newer program wrote it: leave it untouched")),
    (LedgerCorrupt, Policy(None, 6, "the ledger is damaged: writing on would hide it")),
    (LedgerForeign, Policy(None, 6, "not a ledger of this program")),
    (LedgerError, Policy(1.0, 6, "the disk may come back")),
    (BenchInUse, Policy(None, 4, "one service a bench")),
    (PortError, Policy(0.5, 5, "a port that is absent, busy or forbidden is a state: it is tried again")),
    (ConfigError, Policy(None, 1, "the person must mend the file")),
    (NotFound, Policy(None, 1, "the person must mend the name")),
    (ThwartError, Policy(None, 1, "told to the person")),
    (OSError, Policy(0.5, 1, "the outside world: gone, and may come back")),
)


def policy_of(error: BaseException) -> Policy:
    """The policy for an error; one the table doesn't know stops the program."""
    for cls, policy in POLICIES:
        if isinstance(error, cls):
            return policy
    return Policy(None, 1, "unknown")
