"""What readers of the feed cost the bench. `python -m tests.benchmarks.feed [touches]`.

Touches (`touching`) with no reader, with 50 over HTTP of which one never reads, and with 50 over the control port of
which one never reads. Readers run in a process of their own, as browsers do. The ratio of medians and of 90th and 99th
percentiles to those without a reader tells what is lost; also printed: the memory of this process, which holds the
service (resident, from /proc).
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import selectors
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.touching import BLOCK, tell, touching
from thwart.service.service import Service

READERS = 50
KINDS = ("none", "http", "control")


def read(over: str, port: int, token: str, readers: int, since: int) -> None:
    """The readers' process: follow, and take what comes."""
    links = []
    for nth in range(readers):
        link = socket.socket()
        if nth == 0:
            link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        link.connect(("127.0.0.1", port))
        if over == "http":
            asked = f"GET /api/feed?since={since} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {token}\r\n\r\n"
        else:
            asked = json.dumps({"token": token, "do": "follow", "since": since}) + "\n"
        link.sendall(asked.encode())
        link.setblocking(False)
        links.append(link)
    waiting = selectors.DefaultSelector()
    for link in links[1:]:  # the first never reads
        waiting.register(link, selectors.EVENT_READ)
    print("following", flush=True)
    while True:
        for chosen, _ in waiting.select():
            assert isinstance(chosen.fileobj, socket.socket)
            if not chosen.fileobj.recv(65536):
                return


@contextlib.contextmanager
def followed(over: str, service: Service, folder: Path) -> Iterator[None]:
    """Readers at work."""
    if over == "none":
        yield
        return
    assert service._listening is not None
    assert service._control is not None
    door = service._listening.doors[0].port, service.gate.key("look")
    if over == "control":
        found = json.loads((folder / "control.json").read_text())
        door = found["port"], found["token"]
    arguments = [over, str(door[0]), door[1], str(READERS), str(service.clerk.committed_seq)]
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.feed", "read", *arguments], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "following\n"
    time.sleep(1.0)
    try:
        yield
    finally:
        process.kill()
        process.wait()
        time.sleep(0.5)


def resident_mib() -> float:
    """This process's resident memory."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def main(count: int) -> None:
    """Take turns, and print."""
    with tempfile.TemporaryDirectory() as name, touching(Path(name)) as bench:
        before = resident_mib()
        took = bench.take(
            KINDS, lambda kind: followed(kind, bench.service, bench.folder), max(1, count // BLOCK), pause_s=0.025
        )
        after = resident_mib()
    tell(took, "none", "no reader")
    print(
        f"memory   {before:6.1f} MiB before the first reader, {after:6.1f} MiB after the last (benchmark's own included)"
    )
    print(f"cores    {os.cpu_count()}, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["read", over, port, token, readers, since]:
            read(over, int(port), token, int(readers), int(since))
        case [count]:
            main(int(count))
        case _:
            main(600)
