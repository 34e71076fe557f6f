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
        shown = value if row % 2 else f"-{value}"
        # A clock and a check make every frame another one: the dearest kind.
        raw = b""
        while len(raw) < SIZE // ROWS:
            at = row * 100 + len(raw) // 30
            body = f"{at // 60:02}:{at % 60:02} ST,{'+' if row % 2 else '-'}{value:>8} g ".encode()
            raw += b"\x02" + body + b"%02X" % (sum(body) & 0xFF) + b"\x03\r\n"
        rows.append((raw, shown, "g", "ok"))
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
