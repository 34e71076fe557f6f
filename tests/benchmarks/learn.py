"""How long learning takes for 10 kB, beside decoding the same bytes, and how fast learned profiles decode frames they
haven't seen, beside counting their lines: python -m tests.benchmarks.learn."""

from __future__ import annotations

import re
import time

from tests.learncorpus import corpus
from tests.learncorpus.teach import evidence, learned
from thwart.errors import ThwartError
from thwart.learn import learn
from thwart.profiles import Profile
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


def rates() -> None:
    """Print how many frames a second the profiles of the first corpus decode, each frame another one."""
    found = []
    for case in corpus()[::2]:
        try:
            profile = learned(case).profile
        except ThwartError:
            continue
        data = b"".join(frame for frame, _ in case.further)
        if profile.framing.gap_ms is None and len(set(case.further)) > 40:
            spent, frames = min(_decoded(profile, data) for _ in range(20))
            floor = min(_counted(data) for _ in range(20))
            found.append((frames / spent, spent / floor, case.instrument.name))
    found.sort()
    middle = found[len(found) // 2]
    print(
        f"{len(found)} learned profiles: median {middle[0]:,.0f} frames/s (goal: 50,000), {middle[1]:.0f} times the floor"
    )
    for rate, ratio, name in found[:3]:
        print(f"  among the slowest: {rate:,.0f} frames/s, {ratio:.0f} times the floor: {name}")


def _decoded(profile: Profile, data: bytes) -> tuple[float, int]:
    start = time.perf_counter()
    frames = sum(1 for _ in decode_frames(profile, data))
    return time.perf_counter() - start, frames


def _counted(data: bytes) -> float:
    start = time.perf_counter()
    sum(1 for line in data.splitlines() if re.search(rb"([0-9]+)[.,]?([0-9]*)", line))
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
    rates()
