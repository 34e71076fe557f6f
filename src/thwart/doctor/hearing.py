"""Listening to an instrument for a moment: whether what comes makes sense, and which line settings would make it so."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from ..config import Wired
from ..errors import ThwartError
from ..ports import Gone, LineSettings, Port, Spec
from ..ports.line import Parity
from ..ports.spec import Device, Rfc2217, Usb
from ..wire.channel import Ear
from .trouble import Trouble

Opener = Callable[[Spec, LineSettings], Port]
#: Told what is tried now: there are dozens of settings, and each takes its time.
Tell = Callable[[str], None]
#: More than this share of frames rejected is no noise any more.
MOST_REJECTED = 0.2
FEWEST_FRAMES = 5
#: Settings that instruments are delivered with, the usual ones first: common practice, no source.
SPEEDS = (9600, 4800, 2400, 1200, 19200, 38400, 57600, 115200)
FORMATS: tuple[tuple[int, Parity], ...] = ((8, "none"), (7, "even"), (7, "odd"), (8, "even"), (7, "none"))


@dataclass(frozen=True, slots=True)
class Hearing:
    """What came in a moment of listening. `errors`: line errors the system counted in it, None where it counts none."""

    size: int
    frames: int
    rejected: int
    errors: int | None

    @property
    def share(self) -> float:
        """The share of frames that were rejected."""
        return self.rejected / self.frames if self.frames else 0.0

    @property
    def garbled(self) -> bool:
        """Whether what came makes no sense: too many frames rejected, or many bytes and never the end of a frame."""
        if self.frames >= FEWEST_FRAMES:
            return self.share > MOST_REJECTED
        return self.rejected == self.frames and self.size >= 64


def hear(wired: Wired, line: LineSettings, seconds: float, opener: Opener) -> Hearing:
    """Listen to an instrument with these line settings. Raises PortError as opening does."""
    port = opener(wired.spec, line)
    ear = Ear(wired.profile)
    size = frames = rejected = 0
    try:
        start = time.monotonic_ns()
        end = start + int(seconds * 1e9)
        ear.opened(start)
        errors = port.error_count()
        asked = 0
        while (now := time.monotonic_ns()) < end:
            if wired.poll is not None and now >= asked:
                port.write(wired.poll.command)
                asked = now + int(wired.poll.interval_s * 1e9)
            data = port.read(min((end - now) / 1e9, 0.1))
            size += len(data)
            now = time.monotonic_ns()
            for heard in ear.feed(data, now) if data else ear.wake(now):
                # What was under way at opening is torn by us, not by the line.
                if heard.rejected != "torn":
                    frames += 1
                    rejected += heard.rejected is not None
        counted = port.error_count()
    except Gone:
        counted = errors = None
    finally:
        port.close()
    return Hearing(size, frames, rejected, None if counted is None or errors is None else counted - errors)


def settings_to_try(line: LineSettings) -> Iterator[LineSettings]:
    """Other settings of the line, the likely ones first: another speed, then another format."""
    for bits, parity in dict.fromkeys(((line.data_bits, line.parity), *FORMATS)):
        for baud in SPEEDS:
            other = replace(line, baud=baud, data_bits=bits, parity=parity)
            if other != line:
                yield other


def likely_settings(
    wired: Wired, seconds: float, opener: Opener, tries: Sequence[LineSettings], tell: Tell
) -> LineSettings | None:
    """The first settings with which what comes makes sense; None where none of `tries` does."""
    for number, line in enumerate(tries, 1):
        tell(f"{wired.name}: {str(line).partition(' flow')[0]}, {number} of {len(tries)}")
        heard = hear(wired, line, seconds, opener)
        if heard.frames > heard.rejected and not heard.garbled:
            return line
    return None


def listened(wired: Wired, seconds: float, opener: Opener, tell: Tell = lambda _: None) -> Iterator[Trouble]:
    """What listening to an instrument shows. A port that can't be opened is told by whoever looks at ports."""
    about = f"{wired.name} ({wired.port})"
    try:
        tell(f"{wired.name}: listening for {seconds:g} s")
        heard = hear(wired, wired.line, seconds, opener)
        if heard.size == 0 and wired.profile.mode != "prints":
            cause = f"nothing came in {seconds:g} s, though an instrument of this profile talks all the time"
            yield Trouble(
                "silent", about, cause, "check that it is on, its cable, and that its menu says it should send"
            )
        if heard.errors:
            cause = f"the system counted {heard.errors} parity, framing or overrun errors in {seconds:g} s"
            yield Trouble(
                "line-errors", about, cause, "check parity and data bits against the instrument's menu, then the cable"
            )
        if heard.garbled:
            yield _wrong_line(wired, heard, seconds, opener, tell)
    except ThwartError:
        return


def _wrong_line(wired: Wired, heard: Hearing, seconds: float, opener: Opener, tell: Tell) -> Trouble:
    about = f"{wired.name} ({wired.port})"
    cause = f"{heard.rejected} of {heard.frames} frames were rejected by profile {wired.profile.name} at {wired.line}"
    if not isinstance(wired.spec, Device | Usb | Rfc2217):
        return Trouble("wrong-line", about, cause, "the profile doesn't fit: `thwart listen` names those that do")
    likely = likely_settings(wired, seconds, opener, tuple(settings_to_try(wired.line)), tell)
    if likely is None:
        return Trouble(
            "wrong-line",
            about,
            cause,
            "no usual setting makes sense of it: check cable and profile with `thwart listen`",
        )
    changed = {
        key: getattr(likely, key)
        for key in ("baud", "data_bits", "parity")
        if getattr(likely, key) != getattr(wired.line, key)
    }
    keys = ", ".join(
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in changed.items()
    )
    fix = (
        f"what comes makes sense at {likely}: write line = {{ {keys} }} under [instruments.{wired.name}] in bench.toml"
    )
    return Trouble("wrong-line", about, cause, fix)


def reported(status: dict[str, object]) -> Iterator[Trouble]:
    """The same from the picture of a service that runs and has the ports: `status` of one instrument."""
    rejected, frames = status["rejected"], status["frames"]
    assert isinstance(rejected, dict)
    assert isinstance(frames, int)
    about = f"{status['instrument']} ({status['port']})"
    bad = sum(count for reason, count in rejected.items() if reason != "torn")
    if rejected.get("line-error"):
        cause = f"{rejected['line-error']} frames were spoilt by parity, framing or overrun errors"
        yield Trouble(
            "line-errors", about, cause, "check parity and data bits against the instrument's menu, then the cable"
        )
    if status["mostly_rejected"] or (frames >= FEWEST_FRAMES and bad / frames > MOST_REJECTED):
        cause = f"{bad} of {frames} frames were rejected by profile {status['profile']}"
        fix = "stop the service, then `thwart doctor BENCH --listen 2` finds settings that make sense"
        yield Trouble("wrong-line", about, cause, fix)
