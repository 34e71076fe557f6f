"""Disk images as a power cut could leave them, made from a record of every write and sync (recorder.c, interposed).

A write counts as on the disk once a sync of its file returned. At a cut, what was not synced may be there or not, sector
by sector (512 bytes), in any mixture.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

SECTOR = 512
HERE = Path(__file__).parent


def compiled(folder: Path) -> Path:
    """The recorder as a library."""
    library = folder / "recorder.so"
    subprocess.run(
        ["gcc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", library, HERE / "recorder.c", "-ldl"],
        check=True,
        capture_output=True,
    )
    return library


def recorded(library: Path, path: Path, record: Path, inputs: int, *flags: str) -> None:
    """Run the driver on the ledger at `path` and record what it does."""
    environment = {
        **os.environ,
        "LD_PRELOAD": str(library),
        "RECORD_FOLDER": str(path.parent.resolve()),
        "RECORD_LOG": str(record),
    }
    command = [sys.executable, "-m", "tests.durability.driver", str(path), str(inputs), *flags]
    subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL)


@dataclass(frozen=True)
class Event:
    """One line of the record."""

    kind: Literal["W", "T", "S", "U", "A"]
    name: str = ""
    at: int = 0
    data: bytes = b""


def events(record: Path) -> Iterator[Event]:
    """The record's lines in order."""
    with record.open("rb") as file:
        while line := file.readline():
            kind, *words = line.decode().split()
            match kind:
                case "W":
                    yield Event("W", words[0], int(words[1]), file.read(int(words[2])))
                case "T":
                    yield Event("T", words[0], int(words[1]))
                case "S":
                    yield Event("S", words[0])
                case "U":
                    yield Event("U", words[0])
                case "A":
                    yield Event("A", data=file.read(int(words[0])))
                case _:
                    raise ValueError(line)


def apply(content: bytearray, event: Event) -> None:
    """Do to a file's content what the event did."""
    if event.kind == "T":
        del content[event.at :]
        content.extend(bytes(event.at - len(content)))
    else:
        content.extend(bytes(max(0, event.at - len(content))))
        content[event.at : event.at + len(event.data)] = event.data


def sectors(event: Event) -> Iterator[Event]:
    """A write as writes of one sector each."""
    if event.kind == "T":
        yield event
        return
    at, data = event.at, event.data
    while data:
        n = SECTOR - at % SECTOR
        yield Event("W", event.name, at, data[:n])
        at, data = at + n, data[n:]


@dataclass
class Disk:
    """What is surely on the disk, and what was written since the last sync of each file."""

    durable: dict[str, bytearray]
    pending: dict[str, list[Event]] = field(default_factory=dict)

    def take(self, event: Event) -> None:
        """Go on by one event. Removing a file is taken to last at once: nothing announced hangs on it."""
        if event.kind == "S":
            content = self.durable.setdefault(event.name, bytearray())
            for change in self.pending.pop(event.name, []):
                apply(content, change)
        elif event.kind == "U":
            self.durable.pop(event.name, None)
            self.pending.pop(event.name, None)
        elif event.kind != "A":
            self.pending.setdefault(event.name, []).append(event)

    def left(self, how: str, chance: random.Random) -> dict[str, bytes]:
        """The files after a cut: `dropped` nothing unsynced, `kept` all, `cut` up to some sector, `torn` any sectors."""
        files = {name: bytearray(content) for name, content in self.durable.items()}
        if how == "dropped":
            return {name: bytes(content) for name, content in files.items()}
        for name, changes in self.pending.items():
            parts = [part for change in changes for part in sectors(change)]
            if how == "cut":
                parts = parts[: chance.randrange(len(parts) + 1)]
            elif how == "torn":
                parts = [part for part in parts if chance.random() < 0.5]
            content = files.setdefault(name, bytearray())
            for part in parts:
                apply(content, part)
        return {name: bytes(content) for name, content in files.items()}


def images(base: Path, record: Path, seed: int) -> Iterator[tuple[dict[str, bytes], int]]:
    """Files after a cut just before and just after each sync, in four ways, with the last seq announced before it."""
    chance = random.Random(seed)
    disk = Disk({base.name: bytearray(base.read_bytes())})
    announced = 0
    for event in events(record):
        if event.kind == "S":
            for how in ("dropped", "kept", "cut", "torn"):
                yield disk.left(how, chance), announced
        disk.take(event)
        if event.kind == "A":
            announced = int(event.data)
            yield disk.left("dropped", chance), announced
        elif event.kind == "S":
            yield disk.left("torn", chance), announced


def laid_out(files: dict[str, bytes], folder: Path) -> None:
    """Write an image's files into an empty folder."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
