"""The five sounds, made from numbers: told apart by rhythm, pitched by place, never sudden. Pure.

| sound | rhythm | pitch |
| --- | --- | --- |
| taken | short short | rising |
| next | one | level |
| look | long short | falling |
| asked | short short, rest, short short | level |
| fault | long short long | low |

Rhythm is what is left of a sound in noise, under ear defenders, and to ears that hear no high tones; pitch tells whose
bench it was. Each tone has many harmonics of nearly equal strength, so that some of them get through any noise: the
fundamental in 150–1000 Hz, at least four harmonics in 300–4000 Hz within 15 dB of each other (the form of a pulse in
IEC 60601-1-8, table 3, taken as good practice only), four components or more in 1–4 kHz (Patterson 1982, Guidelines for
auditory warning systems on civil aircraft, CAA Paper 82017). These are no alarms and conform to no alarm standard. Their rhythms keep
away from those that mean danger elsewhere: three even pulses and three with two (IEC 60601-1-8; ISO 8201), four even ones,
and seven short with one long (the general emergency signal, SOLAS chapter III; from memory).
"""

from __future__ import annotations

import io
import math
import sys
import wave
from array import array
from dataclasses import dataclass
from functools import lru_cache

from .narrate import Sound

#: Samples a second: enough for what lies below 4 kHz, at half the bytes.
RATE = 22_050
#: The pitch of the first place, Hz.
_LOWEST_HZ = 250.0
#: Semitones above it, by place: neighbours lie far apart. The ninth place sounds as the first.
_PITCHES = (0, 8, 4, 12, 2, 10, 6, 14)
_HIGHEST_HARMONIC_HZ = 4000.0
#: A tone's edges: sound that takes longer than about 10 ms to rise startles far less (Blumenthal 1988,
#: Psychophysiology 25:607–611; from memory).
_EDGE_MS = 15.0


@dataclass(frozen=True, slots=True)
class Pulse:
    """One tone: how long, the silence after it, both in ms, and its pitch as a ratio to the place's."""

    ms: float
    rest_ms: float = 0.0
    ratio: float = 1.0


@dataclass(frozen=True, slots=True)
class Pattern:
    """A sound: its pulses, and the height of its peaks (1: all the format can hold)."""

    peak: float
    pulses: tuple[Pulse, ...]


#: The strongest is less than 6 dB above the weakest: nothing jumps out at somebody with a knife in the hand.
PATTERNS: dict[Sound, Pattern] = {
    "taken": Pattern(0.35, (Pulse(50, 35), Pulse(60, ratio=4 / 3))),
    "next": Pattern(0.35, (Pulse(240),)),
    "look": Pattern(0.45, (Pulse(220, 60), Pulse(80, ratio=3 / 4))),
    "asked": Pattern(0.5, (Pulse(90, 60), Pulse(90, 240), Pulse(90, 60), Pulse(90))),
    "fault": Pattern(0.6, (Pulse(240, 70, 2 / 3), Pulse(80, 70, 2 / 3), Pulse(240, ratio=2 / 3))),
}


def pitch_hz(place_nth: int) -> float:
    """The pitch of a bench's nth place, from 0."""
    return float(_LOWEST_HZ * 2 ** (_PITCHES[place_nth % len(_PITCHES)] / 12))


def samples(sound: Sound, place_nth: int) -> array[int]:
    """A sound at a bench's nth place (from 0): 16-bit samples, `RATE` a second."""
    pattern = PATTERNS[sound]
    made: array[int] = array("h")
    for pulse in pattern.pulses:
        made.extend(_pulse(pulse, pitch_hz(place_nth) * pulse.ratio, pattern.peak))
        made.extend([0] * _count(pulse.rest_ms))
    return made


@lru_cache(maxsize=len(PATTERNS) * len(_PITCHES))
def _wav(sound: Sound, pitch: int, volume: float) -> bytes:
    made = array("h", (round(s * volume) for s in samples(sound, pitch)))
    if sys.byteorder == "big":  # the format is little-endian
        made.byteswap()
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(made.tobytes())
    return out.getvalue()


def wav(sound: Sound, place_nth: int, volume: float = 1.0) -> bytes:
    """A sound at a bench's nth place (from 0) as a WAV file: one channel, 16 bits. `volume`: 0 to 1."""
    return _wav(sound, place_nth % len(_PITCHES), volume)


def _pulse(pulse: Pulse, hz: float, peak: float) -> list[int]:
    period = _period(round(RATE / hz))
    count, edge = _count(pulse.ms), _count(_EDGE_MS)
    rise = [0.5 - 0.5 * math.cos(math.pi * (i + 0.5) / edge) for i in range(edge)]
    envelope = [*rise, *[1.0] * (count - 2 * edge), *reversed(rise)]
    return [round(32767 * peak * e * period[i % len(period)]) for i, e in enumerate(envelope)]


@lru_cache
def _period(size: int) -> tuple[float, ...]:
    """One period of `size` samples, its peak 1. The pitch is rounded to whole samples, so a tone is this, repeated.

    Amplitudes fall as the root of the harmonic's number, 14 dB over the 24 harmonics of the lowest tone; phases after
    Schroeder 1970 (IEEE Transactions on Information Theory 16:85–89) make the most of a given peak.
    """
    count = int(_HIGHEST_HARMONIC_HZ / (RATE / size))
    angle = 2 * math.pi / size
    shape = [
        sum(math.cos(k * i * angle - math.pi * k * (k - 1) / count) / math.sqrt(k) for k in range(1, count + 1))
        for i in range(size)
    ]
    top = max(abs(value) for value in shape)
    return tuple(value / top for value in shape)


def _count(ms: float) -> int:
    return round(RATE * ms / 1000)
