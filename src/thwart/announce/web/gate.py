"""Who may enter the pages: keys of this start, pairing codes, and sessions that outlive a restart.

A *key* is a long secret made at each start, for this computer: `thwart page` puts it into the link it prints. A *pairing
code* is six digits for a tablet: good for five minutes, once, and void after five wrong ones, whoever tried. Either is
exchanged for a *session*, whose secret lives in the browser's cookie and whose hash is kept in the bench folder: after a
power cut nobody pairs again with wet gloves. No clock but this computer's monotonic one matters, so a tablet's wrong
clock changes nothing.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

Role = Literal["look", "act"]
ROLES: tuple[Role, ...] = get_args(Role)

PAIRING_S = 300
_WRONG_CODES = 5
_SESSIONS = 64


@dataclass(frozen=True, slots=True)
class Pairing:
    """A pairing code under way; `until` is monotonic seconds."""

    code: str
    role: Role
    until: float


class Bucket:
    """At most `burst` at once and `per_s` in the long run, for each of many."""

    def __init__(self, burst: float, per_s: float, now: Callable[[], float] = time.monotonic) -> None:
        self._burst, self._per_s, self._now = burst, per_s, now
        self._levels: dict[str, tuple[float, float]] = {}

    def allows(self, who: str) -> bool:
        """Whether one more may pass now; if so it is counted."""
        now = self._now()
        level, at = self._levels.pop(who, (self._burst, now))
        level = min(self._burst, level + (now - at) * self._per_s)
        allowed = level >= 1
        self._levels[who] = (level - 1 if allowed else level, now)
        while len(self._levels) > 1000:
            del self._levels[next(iter(self._levels))]
        return allowed


class Gate:
    """Keys, pairing and sessions of one bench. Every method may be called from any thread."""

    def __init__(self, path: Path, now: Callable[[], float] = time.monotonic) -> None:
        """`path`: the file that keeps the sessions' hashes. One that can't be read counts as empty."""
        self._path = path
        self._now = now
        self._lock = threading.Lock()
        self._keys: dict[Role, str] = {role: secrets.token_urlsafe(24) for role in ROLES}
        self._pairing: Pairing | None = None
        self._wrong = 0
        self._sessions = _load(path)

    def key(self, role: Role) -> str:
        """This start's key for a role."""
        return self._keys[role]

    def pair(self, role: Role) -> Pairing:
        """A new pairing code; the one before is void."""
        with self._lock:
            self._pairing = Pairing(f"{secrets.randbelow(10**6):06d}", role, self._now() + PAIRING_S)
            self._wrong = 0
            return self._pairing

    def enter_by_key(self, key: str) -> tuple[str, Role] | None:
        """A session for whoever has a key."""
        role = self.role_of_key(key)
        return None if role is None else (self._admit(role), role)

    def enter_by_code(self, code: str) -> tuple[str, Role] | None:
        """A session for whoever has the pairing code, which is used up by it."""
        with self._lock:
            pairing = self._pairing
            if pairing is None or self._now() > pairing.until:
                self._pairing = None
                return None
            if not _same(code, pairing.code):
                self._wrong += 1
                if self._wrong >= _WRONG_CODES:
                    self._pairing = None
                return None
            self._pairing = None
        return self._admit(pairing.role), pairing.role

    def role_of_key(self, key: str) -> Role | None:
        """What a key allows."""
        found = None
        for role, own in self._keys.items():
            if _same(key, own):
                found = role
        return found

    def role_of(self, session: str) -> Role | None:
        """What a session allows."""
        return self._sessions.get(_hash(session))

    def leave(self, session: str) -> None:
        """End one session."""
        with self._lock:
            if self._sessions.pop(_hash(session), None) is not None:
                self._keep()

    def forget(self) -> int:
        """End all sessions, and the pairing code. Returns how many sessions there were."""
        with self._lock:
            count = len(self._sessions)
            self._sessions = {}
            self._pairing = None
            self._keep()
            return count

    def _admit(self, role: Role) -> str:
        session = secrets.token_urlsafe(24)
        with self._lock:
            self._sessions[_hash(session)] = role
            while len(self._sessions) > _SESSIONS:
                del self._sessions[next(iter(self._sessions))]
            self._keep()
        return session

    def _keep(self) -> None:
        beside = self._path.with_suffix(".new")
        try:
            with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
                json.dump(self._sessions, file)
            beside.replace(self._path)
        except OSError:
            pass  # a full disk: the session lasts until the service stops


def _load(path: Path) -> dict[str, Role]:
    try:
        kept = json.loads(path.read_text())
        return {str(h): role for h, role in kept.items() if role in ROLES}
    except (OSError, ValueError, AttributeError):
        return {}


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _same(given: str, own: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "surrogatepass"), own.encode())
