"""How many frames a second the wire takes, beside a floor measured in the same run.

The floor splits the same bytes at their terminators, matches each line with one pattern of Python's own engine and makes the
number a decimal: what the shortest honest script would do, without torn frames, checks, settling or evidence.

    python -m tests.benchmarks.wire
"""

from __future__ import annotations

import random
import re
import statistics
import time
import tracemalloc
from collections.abc import Callable
from decimal import Decimal

from thwart.profiles import Profile, find_profile, load_profile, shipped_profiles
from thwart.wire import Channel

FRAMES = 20_000
ROUNDS = 5
MS = 1_000_000
_NUMBER = re.compile(rb"[^0-9.-]*(-?[0-9.]+).*")


def fish(count: int, seed: int = 1) -> list[tuple[bool, int]]:
    """A scale's day at 20 frames a second: (still, grams), fish after fish, with the last digit flickering."""
    rng = random.Random(seed)
    out: list[tuple[bool, int]] = []
    while len(out) < count:
        mass = rng.randrange(20, 900)
        out += [(True, rng.choice((0, 0, 0, 1))) for _ in range(60)]
        out += [(False, mass * n // 6) for n in range(1, 7)]
        out += [(True, mass + rng.choice((0, 0, 0, 1))) for _ in range(50)]
        out += [(False, mass * n // 6) for n in range(5, 0, -1)]
    return out[:count]


def stream(name: str) -> list[bytes]:
    """Frames of the streaming demo scale, of one without marks, or a profile's own samples over and over."""
    if name == "status-commas-mass":
        return [f"{'ST' if still else 'US'},GS,+{grams:8.1f},g\r\n".encode() for still, grams in fish(FRAMES)]
    if name == "number-unit-mass":
        return [f"{grams:8d} g\r\n".encode() for _, grams in fish(FRAMES)]
    if name == "number-unit-length":
        rng = random.Random(1)
        return [f"{rng.randrange(40, 1200):5d} mm\r\n".encode() for _ in range(FRAMES)]
    samples = [sample.raw for sample in load_profile(shipped_profiles()[name]).sample]
    return [samples[n % len(samples)] for n in range(FRAMES)]


def floor(frames: list[bytes]) -> int:
    """Split, match, make a decimal; in chunks of one frame, as they come."""
    values = 0
    for chunk in frames:
        for line in re.split(rb"[\r\n\x03]+", chunk)[:-1] or [chunk]:
            match = _NUMBER.match(line)
            if match:
                try:
                    Decimal(match[1].decode())
                except ArithmeticError:
                    continue
                values += 1
    return values


def through(profile: Profile, frames: list[bytes], step_ns: int = 50 * MS) -> int:
    """All frames through one channel, one chunk each."""
    channel = Channel(profile)
    now = 0
    channel.opened(now)
    now += 200 * MS
    for chunk in frames:
        now += step_ns
        channel.feed(chunk, now)
    return channel.counts.frames


def seconds(work: Callable[[], object]) -> float:
    """The processor time of one run, so that a busy machine doesn't count."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def main() -> None:
    """Print the table."""
    print(f"{'profile':26} {'frames/s':>10} {'floor/s':>10} {'times floor':>12}")
    for name in sorted(shipped_profiles()):
        profile, frames = find_profile(name), stream(name)
        step_ns = 400 * MS if profile.framing.style == "gap" else 50 * MS
        pairs = [
            (seconds(lambda f=frames: floor(f)), seconds(lambda p=profile, f=frames, s=step_ns: through(p, f, s)))  # type: ignore[misc]
            for _ in range(ROUNDS)
        ]
        bare, ours = (statistics.median(column) for column in zip(*pairs, strict=True))
        print(f"{name:26} {FRAMES / ours:10,.0f} {FRAMES / bare:10,.0f} {ours / bare:12.1f}")
    sixteen_scales()


def sixteen_scales() -> None:
    """16 scales of 50 frames a second: the share of one core the wire alone takes, and whether memory grows."""
    frames = [f"{'ST' if still else 'US'},GS,+{grams:8.1f},g\r\n".encode() for still, grams in fish(6000)]
    channels = [Channel(find_profile("status-commas-mass")) for _ in range(16)]
    for channel in channels:
        channel.opened(0)
    begun = time.process_time()
    now = 200 * MS
    for chunk in frames[:3000]:
        now += 20 * MS
        for channel in channels:
            channel.feed(chunk, now)
    spent = time.process_time() - begun
    tracemalloc.start()
    for chunk in frames[3000:]:
        now += 20 * MS
        for channel in channels:
            channel.feed(chunk, now)
    grown = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    print(
        f"16 scales, 50 frames/s each: {spent / (3000 * 0.02):.2%} of one core; kept after another minute: {grown / 1024:.0f} KiB"
    )


if __name__ == "__main__":
    main()
