"""The errors a person sees: what happened, where, what to do. Everything the program raises on purpose derives from here.

Exit codes are a contract (docs/errors.md): 0 done, 1 refused or failed, 2 the command line is wrong (click), 3 the
ledger must be migrated first or more observations are needed, 4 the bench is in use, 5 a port can't be used,
6 the disk or the ledger can't be written.
"""

from __future__ import annotations

from collections.abc import Sequence


class ThwartError(Exception):
    """A trouble told to the person: `message` says what and where, `hint` what to do, `exit_code` ends a command."""

    exit_code = 1

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}\n  → {self.hint}" if self.hint else self.message


class ConfigError(ThwartError):
    """One or more faults in a file a person writes; `problems` holds one line each, all at once."""

    def __init__(self, where: str, problems: Sequence[str], hint: str = "") -> None:
        super().__init__("\n".join(problems) if problems else where, hint)
        self.where = where
        self.problems = tuple(problems)


class NotFound(ThwartError):
    """A name that isn't there; the hint offers the nearest ones."""


class PortError(ThwartError):
    """A port that can't be used now: absent, busy or forbidden."""

    exit_code = 5


class BenchInUse(ThwartError):
    """Another service already runs on this bench."""

    exit_code = 4


class LedgerError(ThwartError):
    """The ledger can't be read or written: full disk, read-only folder, corrupt file, held by another program."""

    exit_code = 6


class LedgerTooOld(ThwartError):
    """Projections of an older program: `thwart migrate` must run first."""

    exit_code = 3


class LedgerTooNew(LedgerError):
    """Written by a newer program: refused, untouched."""
