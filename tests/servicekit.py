"""A bench folder with simulated instruments on real pseudo-terminals, and a service on it: in this process or its own."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from tests.benchkit import SOLO
from thwart.ledger import Ledger
from thwart.ports import LineSettings
from thwart.ports.simulated import PtyLine
from thwart.service.control import Client
from thwart.service.service import Service

PROFILES = {"board": "number-unit-length", "scale": "status-commas-mass", "scanner": "label-scanner"}
PATIENCE_S = 20.0


def until(look: Callable[[], Any], what: str = "") -> Any:
    """What `look` answers, once it answers something true."""
    end = time.monotonic() + PATIENCE_S
    while not (found := look()):
        assert time.monotonic() < end, f"waited in vain: {what or look}"
        time.sleep(0.02)
    return found


class Rig:
    """The bench folder `folder`, its instruments and what runs on it."""

    def __init__(self, folder: Path, *, own: Mapping[str, LineSettings] | None = None, bench: str = "") -> None:
        self.folder = folder
        folder.mkdir(exist_ok=True)
        (folder / "protocol.toml").write_text(SOLO)
        self.lines = {name: PtyLine(folder / f"{name}.port", (own or {}).get(name)) for name in PROFILES}
        text = 'name = "lake"\n' + bench
        for name, profile in PROFILES.items():
            text += f'[instruments.{name}]\nprofile = "{profile}"\nport = "{folder}/{name}.port"\n'
        (folder / "bench.toml").write_text(text)
        self.service: Service | None = None
        self.process: subprocess.Popen[str] | None = None
        self._clients: list[Client] = []

    # ---- running -----------------------------------------------------------------------------------------------

    def start(self) -> Service:
        """A service in this process."""
        self.service = Service(self.folder)
        self.service.start()
        self.there()
        return self.service

    def stop(self) -> int:
        """Stop it cleanly; the exit code, or what ended it is raised."""
        assert self.service is not None
        service, self.service = self.service, None
        service.stop()
        return service.wait()

    def spawn(self, **env: str) -> subprocess.Popen[str]:
        """A service in a process of its own."""
        command = [sys.executable, "-m", "thwart", "run", str(self.folder)]
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env={**os.environ, **env})
        self.there()
        return self.process

    def end(self, how: signal.Signals) -> tuple[int, str]:
        """End that process; its exit code and its log."""
        assert self.process is not None
        process, self.process = self.process, None
        process.send_signal(how)
        _, log = process.communicate(timeout=PATIENCE_S)
        return process.returncode, log

    def there(self) -> None:
        """Wait until the service has every instrument that is plugged in."""

        def all_open() -> bool:
            assert self.process is None or self.process.poll() is None, self.process.communicate()
            try:
                found = {i["instrument"]: i["present"] for i in self.status()["instruments"]}
            except Exception:
                return False
            return all(found[name] for name, line in self.lines.items() if line.device)

        until(all_open, "instruments open")
        time.sleep(0.15)  # what comes sooner after the opening may be torn, and is taken so

    def close(self) -> None:
        for client in self._clients:
            client.close()
        if self.service is not None:
            with contextlib.suppress(Exception):
                self.stop()
        if self.process is not None:
            self.process.kill()
            self.process.communicate()
        for line in self.lines.values():
            line.close()

    # ---- talking -----------------------------------------------------------------------------------------------

    def client(self) -> Client:
        client = Client(self.folder)
        self._clients.append(client)
        return client

    def status(self) -> dict[str, Any]:
        client = Client(self.folder)
        try:
            found: dict[str, Any] = client.ask(do="status")["status"]
            return found
        finally:
            client.close()

    def act(self, words: str) -> dict[str, Any]:
        act, *args = words.split()
        client = Client(self.folder)
        try:
            return client.ask(do="act", act=act, args=args)
        finally:
            client.close()

    def touch(self, mm: int) -> None:
        self.lines["board"].send(f"  {mm} mm\r\n".encode())

    def weigh(self, grams: int) -> None:
        """Something is laid on the scale, settles, and is lifted."""
        for mark, value in [("ST", 0)] * 3 + [("US", grams // 2)] + [("ST", grams)] * 4 + [("ST", 0)] * 4:
            self.lines["scale"].send(f"{mark},GS,+{value:7.0f} g\r\n".encode())

    def hand(self) -> dict[str, Any] | None:
        """What is in hand."""
        held: dict[str, Any] | None = self.status()["held"]["places"][0]["in_hand"]
        return held

    def entries(self) -> list[Any]:
        """What the ledger holds, read by another connection."""
        with Ledger.open(self.folder / "ledger.db", readonly=True) as ledger:
            return list(ledger.entries())

    def said(self) -> list[tuple[str, str]]:
        """Kind and body text of what the ledger holds, for a look."""
        return [(e.kind, str(e.body.get("text", ""))) for e in self.entries()]

    def wait_for(
        self, kind: str, wanted: Callable[[Mapping[str, Any]], bool] = lambda body: True, after: int = 0
    ) -> Any:
        """The first entry of a kind whose body is wanted."""
        return until(
            lambda: next((e for e in self.entries() if e.kind == kind and e.seq > after and wanted(e.body)), None),
            f"an entry {kind}",
        )


class Ear:
    """Follows the feed in a thread."""

    def __init__(self, rig: Rig, since: int = 0) -> None:
        self.heard: list[dict[str, Any]] = []
        self.alarms: list[dict[str, Any]] = []
        self._client = rig.client()
        self._since = since
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        with contextlib.suppress(Exception):
            for line in self._client.lines(self._since):
                (self.alarms if "alarm" in line else self.heard).append(line.get("entry", line))

    def seqs(self) -> list[int]:
        return [e["seq"] for e in self.heard]


@contextlib.contextmanager
def rig(folder: Path, **more: Any) -> Iterator[Rig]:
    made = Rig(folder, **more)
    try:
        yield made
    finally:
        made.close()
