"""What is refused before any route sees it, and the headers every answer bears.

A browser on this computer also shows pages of strangers. What keeps those out: only names that are ours may be asked for
(against DNS rebinding), what comes from another site is refused (Fetch Metadata, Origin), and no page of ours may load,
frame or run anything that isn't ours (Content Security Policy Level 3).
"""

from __future__ import annotations

import ipaddress
import json
from collections.abc import Awaitable, Callable, Collection, Mapping, MutableMapping
from dataclasses import dataclass
from typing import Any

from ... import languages

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: The longest body that is read.
MAX_BODY = 16_384

_CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"content-security-policy", _CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


def refusal(language: str, code: str, args: Mapping[str, str] | None = None) -> dict[str, Any]:
    """What is answered where something isn't done, by its code of the language's table `web`: the error, and what to do."""
    words = languages.language(language).tables["web"]
    error, _, hint = words[code].partition(": ")
    return {"ok": False, "error": error.format_map(args or {}), "hint": hint.format_map(args or {})}


@dataclass(frozen=True, slots=True)
class Entrance:
    """One listening socket: whether it speaks TLS, and the names it answers to beside its own address."""

    secure: bool
    names: frozenset[str]

    @property
    def scheme(self) -> str:
        """http or https."""
        return "https" if self.secure else "http"


class Guard:
    """An ASGI application around another."""

    def __init__(self, app: App, entrance: Entrance, language: str) -> None:
        self._app = app
        self._entrance = entrance
        self._language = language

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse or pass on."""
        if scope["type"] != "http":
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *HEADERS]
            await send(message)

        headers = _headers(scope)
        refused = self._refusal(scope, headers)
        if refused is None:
            scope["entrance"] = self._entrance
            await self._app(scope, _Limited(receive), with_headers)
            return
        status, code = refused
        body = json.dumps(refusal(self._language, code, {"most": str(MAX_BODY)})).encode()
        start = {"type": "http.response.start", "status": status, "headers": [(b"content-type", b"application/json")]}
        await with_headers(start)
        await send({"type": "http.response.body", "body": body})

    def _refusal(self, scope: Scope, headers: Mapping[str, str]) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if not self._is_ours(host, scope["server"]):
            return 421, "other-name"
        origin = headers.get("origin")
        same = origin == f"{self._entrance.scheme}://{host}"
        if scope["method"] not in ("GET", "HEAD") and "authorization" not in headers and not same:
            return 403, "other-site-post"
        foreign = headers.get("sec-fetch-site", "none") not in ("same-origin", "none")
        if scope["path"].startswith("/api/") and (foreign or (origin is not None and not same)):
            return 403, "other-site"
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > MAX_BODY:
            return 413, "too-long"
        return None

    def _is_ours(self, host: str, server: tuple[str, int]) -> bool:
        name, port = _split(host, 443 if self._entrance.secure else 80)
        if port != server[1]:
            return False
        if name in self._entrance.names:
            return True
        try:
            # The very address that was called can't be someone's name for us.
            return ipaddress.ip_address(name) == ipaddress.ip_address(server[0])
        except ValueError:
            return False


class _Limited:
    """A body that doesn't say how long it is, cut off where it is too long."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._size = 0

    async def __call__(self) -> Message:
        message = await self._receive()
        self._size += len(message.get("body", b""))
        if self._size > MAX_BODY:
            raise TooLong
        return message


class TooLong(Exception):
    """The body is longer than MAX_BODY."""


def _headers(scope: Scope) -> dict[str, str]:
    """Header → value; one that comes twice (never from a browser) counts as its first and last joined."""
    found: dict[str, str] = {}
    for name, value in scope["headers"]:
        key = name.decode("latin-1")
        text = value.decode("latin-1")
        found[key] = f"{found[key]},{text}" if key in found else text
    return found


def _split(host: str, default: int) -> tuple[str, int]:
    """Host header → name without brackets, port (-1 where it is none)."""
    name, colon, port = host.rpartition(":")
    if not colon or port.endswith("]"):
        name, port = host, str(default)
    if name.startswith("[") and name.endswith("]"):
        name = name[1:-1]
    return name.lower(), int(port) if port.isascii() and port.isdecimal() else -1


def loopback(names: Collection[str] = ()) -> frozenset[str]:
    """The names of this computer for itself."""
    return frozenset({"127.0.0.1", "localhost", "::1", *names})
