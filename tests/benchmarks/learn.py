"""How long learning takes for 10 kB, beside decoding the same bytes: python -m tests.benchmarks.learn."""

from __future__ import annotations

import time

from tests.learncorpus.teach import evidence
from thwart.learn import learn
from thwart.wire import decode_frames

ROWS = 6
SIZE = 10_240


def main() -> None:
    """Print seconds and the ratio to the floor."""
    rows = []
    for row in range(ROWS):
        value = f"{(row * 271.7 + 12.5):.1f}"
        frame = f"ST,GS,{'+' if row % 2 else '-'}{value:>8},g\r\n".encode()
        shown = value if row % 2 else f"-{value}"
        rows.append((frame * (SIZE // ROWS // len(frame)), shown, "g", "ok"))
    seen = evidence(rows)
    start = time.perf_counter()
    profile = learn(seen, "benchmark").profile
    spent = time.perf_counter() - start
    start = time.perf_counter()
    count = sum(1 for _ in decode_frames(profile, seen.data))
    floor = time.perf_counter() - start
    print(f"{len(seen.data)} bytes, {count} frames: learned in {spent:.2f} s (goal: below 5), "
          f"{spent / floor:.0f} times decoding them once")  # fmt: skip


if __name__ == "__main__":
    main()
