"""The ledger: entries, the single writer, projections, read-only views, backup, audit.

It stores what it is given and may not decide anything: which entries there are and which objects they change comes
from the bench, and so does the fold that `audit`, `rebuild` and `migrate` compare with. It reads no clock but for the
time it waited for a lock. The running service imports `store` only; nothing here imports pandas or sqlite-utils.
"""

from thwart.ledger.faults import LedgerBusy, LedgerCorrupt, LedgerForeign, LedgerFull, LedgerReadOnly
from thwart.ledger.projections import LedgerRecords
from thwart.ledger.store import Ledger

__all__ = [
    "Ledger",
    "LedgerBusy",
    "LedgerCorrupt",
    "LedgerForeign",
    "LedgerFull",
    "LedgerReadOnly",
    "LedgerRecords",
]
