"""The control port: loopback TCP, one JSON object a line, a token first. Acts in, status and the feed out.

Requests (each with the token of the bench folder's `control.json`): `{"token", "do": "act", "act", "args", "place",
"via"}`, `{"token", "do": "status"}`, `{"token", "do": "follow", "since": SEQ, "language"}`, `{"token", "do": "page", …}`. Answers: `{"ok": true, …}` or
`{"ok": false, "error", "hint"}`. An act is answered after the commit that holds it.
"""

from __future__ import annotations

import contextlib
import hmac
import json
import logging
import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from ..announce.feed import one_line
from ..errors import ThwartError
from ..languages import DEFAULT
from .folder import Door, read_door

log = logging.getLogger(__name__)

_MAX_LINE = 65536
_MAX_CONNECTIONS = 64
_WAIT_S = 30.0

#: Gives the answers to a request; text is JSON already.
Handler = Callable[[Mapping[str, Any]], Iterator[Mapping[str, Any] | str]]


class Control:
    """The listening side. `handle` gives the answers to a request whose token was right."""

    def __init__(self, port: int, handle: Handler) -> None:
        """Raises ThwartError where the port is taken."""
        self._handle = handle
        self._token = ""
        self._stopping = threading.Event()
        self._slots = threading.BoundedSemaphore(_MAX_CONNECTIONS)
        self._lock = threading.Lock()
        self._peers: set[socket.socket] = set()
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._socket.bind(("127.0.0.1", port))
        except OSError as error:
            self._socket.close()
            raise ThwartError(
                f"control port {port} can't be used: {error.strerror}",
                "set control_port in bench.toml to a free one, or to 0",
            ) from None
        self._socket.listen(_MAX_CONNECTIONS)
        self.port: int = self._socket.getsockname()[1]

    def start(self, token: str) -> None:
        """Begin to answer."""
        self._token = token
        threading.Thread(target=self._accept, name="control", daemon=True).start()

    def stop(self) -> None:
        """Answer no more."""
        self._stopping.set()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)  # closing alone wouldn't end the accept under way
        self._socket.close()
        with self._lock:
            for peer in self._peers:
                with contextlib.suppress(OSError):
                    peer.shutdown(socket.SHUT_RD)  # what is being answered is still sent

    def stopping(self) -> bool:
        """Whether `stop` was called."""
        return self._stopping.is_set()

    def _accept(self) -> None:
        while not self.stopping():
            try:
                connection, _ = self._socket.accept()
            except OSError:
                return
            if not self._slots.acquire(blocking=False):
                self._turn_away(connection)
                continue
            threading.Thread(target=self._serve, args=(connection,), name="control peer", daemon=True).start()

    @staticmethod
    def _turn_away(connection: socket.socket) -> None:
        told = {
            "ok": False,
            "error": "too many connections at once",
            "hint": "close the pages and followers not in use",
        }
        with connection, contextlib.suppress(OSError):
            connection.settimeout(1.0)
            connection.sendall(json.dumps(told).encode() + b"\n")

    def _serve(self, connection: socket.socket) -> None:
        with self._lock:
            self._peers.add(connection)
        known = False
        try:
            with connection, connection.makefile("rb") as lines:
                while not self.stopping():
                    # Whoever showed the token may be silent as long as it likes; a stranger holds no place for long.
                    connection.settimeout(None if known else _WAIT_S)
                    line = lines.readline(_MAX_LINE + 1)
                    if not line:
                        return
                    connection.settimeout(_WAIT_S)
                    request = _request(line)
                    known = known or (request is not None and self._knows(request))
                    for answer in self._answers(request):
                        text = answer if isinstance(answer, str) else one_line(answer)
                        connection.sendall(text.encode() + b"\n")
                    if len(line) > _MAX_LINE:
                        return  # the rest of it is no request either
        except OSError:
            pass  # the peer went; nothing of ours depends on it
        finally:
            with self._lock:
                self._peers.discard(connection)
            self._slots.release()

    def _knows(self, request: Mapping[str, Any]) -> bool:
        return hmac.compare_digest(str(request.get("token", "")).encode(), self._token.encode())

    def _answers(self, request: Mapping[str, Any] | None) -> Iterator[Mapping[str, Any] | str]:
        if request is None:
            yield {"ok": False, "error": "one JSON object a line, at most 64 KiB", "hint": ""}
            return
        if not self._knows(request):
            yield {"ok": False, "error": "wrong token", "hint": "it stands in control.json of the bench folder"}
            return
        try:
            yield from self._handle(request)
        except ThwartError as error:
            yield {"ok": False, "error": error.message, "hint": error.hint}
        except Exception as fault:
            log.exception("fault request=%s", request.get("do"))
            yield {"ok": False, "error": f"a fault of the program, {type(fault).__name__}", "hint": "please report it"}


def _request(line: bytes) -> dict[str, Any] | None:
    if len(line) > _MAX_LINE:
        return None
    try:
        request = json.loads(line)
        # Half a surrogate pair passes as JSON but can be neither stored nor sent.
        json.dumps(request, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        return None
    return request if isinstance(request, dict) else None


class Client:
    """The asking side, for the command line."""

    def __init__(self, folder: Path) -> None:
        """Raises ThwartError where no service runs on this bench."""
        door = read_door(folder)
        try:
            self._socket = socket.create_connection(("127.0.0.1", door.port), timeout=5)
        except OSError:
            raise ThwartError(
                f"{folder}: no service answers on this bench (it may have been killed)",
                f"start it with `thwart run {folder}`",
            ) from None
        self._socket.settimeout(_WAIT_S)
        self._lines = self._socket.makefile("rb")
        self._door: Door = door

    def ask(self, **request: Any) -> dict[str, Any]:
        """One request, one answer. Raises ThwartError with the service's words."""
        self._send(request)
        return self._answer()

    def follow(self, since: int, stop: Callable[[], bool] = lambda: False) -> Iterator[dict[str, Any]]:
        """The feed's entries after one, in order; ends when the service does."""
        for line in self.lines(since, stop):
            if "entry" in line:
                yield line["entry"]

    def lines(
        self, since: int, stop: Callable[[], bool] = lambda: False, language: str = DEFAULT
    ) -> Iterator[dict[str, Any]]:
        """The feed's entries (under `entry`) and alarms after an entry, in a language; ends when the service does."""
        self._send({"do": "follow", "since": since, "language": language})
        while not stop():
            try:
                answer = self._answer()
            except ThwartError:
                return
            if "entry" in answer or "alarm" in answer:
                yield answer

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def _send(self, request: Mapping[str, Any]) -> None:
        self._socket.sendall(json.dumps({**request, "token": self._door.token}).encode() + b"\n")

    def _answer(self) -> dict[str, Any]:
        try:
            line = self._lines.readline()
        except OSError:
            line = b""
        if not line:
            raise ThwartError(
                "the service went away before it answered", "nothing acknowledged is lost; start it again"
            )
        answer: dict[str, Any] = json.loads(line)
        if not answer.get("ok"):
            raise ThwartError(str(answer.get("error")), str(answer.get("hint") or ""))
        return answer
