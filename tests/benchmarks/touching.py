"""A board's touches through the real service: last byte written to the pseudo-terminal → durable commit returned.

For benchmarks that ask what something beside the bench costs it: with and without it in blocks that take turns, so that
the machine's moods fall on all alike.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from queue import SimpleQueue

from tests.benchmarks.service import bench_folder, percentile
from thwart.errors import ThwartError
from thwart.ports.simulated import PtyLine
from thwart.service.service import Service

BLOCK = 60


class Touching:
    """A service with a board, a batch open, and its commits timed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._board = PtyLine(folder / "board.port")
        bench_folder(folder, {"board": ("number-unit-length", folder / "board.port")})
        self.service = Service(folder)
        self._done: SimpleQueue[int] = SimpleQueue()
        commit = self.service.ledger.commit

        def timed() -> None:
            commit()
            self._done.put(time.perf_counter_ns())

        self.service.start()
        self.service.act("batch", ["open", "b"], None, "cli")
        time.sleep(0.5)
        self.service.ledger.commit = timed  # type: ignore[method-assign]

    def take(
        self, kinds: Sequence[str], at_work: Callable[[str], AbstractContextManager[None]], blocks: int, pause_s: float
    ) -> Mapping[str, list[float]]:
        """Kind → milliseconds of each touch while it was at work, kinds taking turns."""
        took: dict[str, list[float]] = {kind: [] for kind in kinds}
        for block in range(blocks):
            for kind in kinds if block % 2 else reversed(kinds):
                with at_work(kind):
                    for i in range(BLOCK):
                        took[kind].append(self._touch(200 + i % 300))
                        time.sleep(pause_s)
                        if i % 2:
                            with contextlib.suppress(ThwartError):
                                self.service.act("next", [], None, "cli")
                        time.sleep(pause_s)
        return took

    def _touch(self, mm: int) -> float:
        while not self._done.empty():
            self._done.get()
        sent = time.perf_counter_ns()
        self._board.send(f"{mm:5d} mm\r\n".encode())
        return (self._done.get(timeout=10) - sent) / 1e6

    def stop(self) -> None:
        """Stop the service and unplug the board."""
        self.service.stop()
        self.service.wait()
        self._board.close()


@contextlib.contextmanager
def touching(folder: Path) -> Iterator[Touching]:
    """A bench at work; it ends with the block."""
    made = Touching(folder)
    try:
        yield made
    finally:
        made.stop()


def tell(took: Mapping[str, list[float]], base: str, called: str) -> None:
    """Print percentiles, and their ratios to those of one kind."""
    for kind, times in took.items():
        for share, label in ((0.5, "median"), (0.9, "p90"), (0.99, "p99")):
            ours, without = percentile(times, share), percentile(took[base], share)
            print(f"{kind:<8} {label:<7} {ours:7.3f} ms   ratio to {called} {ours / without:5.2f}")
