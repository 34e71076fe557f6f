"""The five sounds, measured from their samples."""

from __future__ import annotations

import io
import itertools
import wave

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import find_peaks, hilbert

from thwart.announce.tones import PATTERNS, RATE, pitch_hz, samples, wav

PLACES = range(8)
ALL = [(sound, nth) for sound in PATTERNS for nth in PLACES]

Signal = NDArray[np.float64]


def heard(sound: str, nth: int) -> Signal:
    """What a WAV reader of its own makes of the file, full scale being 1."""
    with wave.open(io.BytesIO(wav(sound, nth))) as file:  # type: ignore[arg-type]
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(float) / 32768


def loud(signal: Signal) -> NDArray[np.bool_]:
    """Where the envelope is above a quarter (12 dB) of its top, smoothed over 5 ms."""
    size = RATE // 200
    # Ends of silence, so that the transform's periodicity doesn't mix them.
    padded = np.pad(signal, 2000)
    envelope = np.convolve(np.abs(hilbert(padded)), np.ones(size) / size, "same")[2000:-2000]
    return np.asarray(envelope > envelope.max() / 4)


def pulses(signal: Signal) -> list[tuple[float, float]]:
    """Onset and length of each tone, in ms."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], loud(signal).astype(int), [0]))))
    return [(a / RATE * 1000, (b - a) / RATE * 1000) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def components(tone: Signal) -> tuple[Signal, Signal]:
    """Frequencies and levels (dB) of the spectrum's peaks, by a transform of our own window."""
    size = 1 << 17
    spectrum = 20 * np.log10(np.abs(np.fft.rfft(tone * np.blackman(len(tone)), size)) + 1e-12)
    # A Blackman window's side lobes lie 58 dB below, so each peak is a component.
    at, _ = find_peaks(spectrum, height=spectrum.max() - 40, prominence=12)
    return at * RATE / size, spectrum[at]


def tones(sound: str, nth: int) -> list[Signal]:
    signal = heard(sound, nth)
    return [signal[int(at * RATE / 1000) : int((at + ms) * RATE / 1000)] for at, ms in pulses(signal)]


@pytest.mark.parametrize(("sound", "nth"), ALL)
def test_each_tone_has_its_fundamental_and_harmonics_where_they_are_heard(sound: str, nth: int) -> None:
    # IEC 60601-1-8, table 3 (good practice, no claim): fundamental 150–1000 Hz, at least four harmonics in
    # 300–4000 Hz, levels within 15 dB. Patterson 1982, CAA Paper 82017: four components or more in 1–4 kHz.
    pattern = PATTERNS[sound]  # type: ignore[index]
    for pulse, tone in zip(pattern.pulses, tones(sound, nth), strict=True):
        hz, level = components(tone)
        wanted = pitch_hz(nth) * pulse.ratio
        assert abs(hz[0] / wanted - 1) < 0.03
        assert 150 <= hz[0] <= 1000
        order = hz / (hz[0])
        assert np.all(np.abs(order - np.round(order)) < 0.12), "harmonics, and nothing else"
        assert level.max() - level.min() <= 15 + 0.5  # half a decibel of leakage between neighbours
        assert np.sum((hz >= 300) & (hz <= 4050)) >= 4
        assert np.sum((hz >= 1000) & (hz <= 4050)) >= 4


@pytest.mark.parametrize(("sound", "nth"), ALL)
def test_no_sound_startles(sound: str, nth: int) -> None:
    signal = heard(sound, nth)
    assert np.abs(signal).max() <= 10 ** (-4 / 20), "4 dB below the most the format can hold, so nothing is clipped"
    assert abs(signal.mean()) < 1e-3
    for tone_at, _ in pulses(signal):
        start = max(0, round(tone_at * RATE / 1000) - round(0.012 * RATE))
        rise = np.abs(signal[start : start + round(0.004 * RATE)])
        assert rise.max() < np.abs(signal).max() * 0.4, "soft within its first 4 ms"
    assert abs(signal[0]) < 0.01
    assert abs(signal[-1]) < 0.01
    assert np.abs(np.diff(signal)).max() < 0.35, "no click"


def test_levels_lie_within_6_db_of_each_other() -> None:
    level = {(s, n): 20 * np.log10(np.sqrt(np.mean(np.square(np.concatenate(tones(s, n)))))) for s, n in ALL}
    assert max(level.values()) - min(level.values()) < 6.5
    for nth in PLACES:
        assert max(PATTERNS, key=lambda s: level[s, nth]) == "fault"


def test_lengths() -> None:
    for nth in PLACES:
        ms = {sound: len(samples(sound, nth)) / RATE * 1000 for sound in PATTERNS}
        assert ms["taken"] < 150, "the commonest sound is over before the next reading can come"
        assert all(length <= 800 for length in ms.values())


def rhythm(sound: str, nth: int) -> tuple[int, tuple[str, ...], tuple[str, ...]]:
    """What one could clap: how many, which long, where the rests are."""
    found = pulses(heard(sound, nth))
    lengths = tuple("long" if ms > 150 else "short" for _, ms in found)
    gaps = tuple("rest" if b[0] - a[0] - a[1] > 150 else "close" for a, b in itertools.pairwise(found))
    return len(found), lengths, gaps


def test_rhythms_differ_pairwise_whatever_the_pitch() -> None:
    told = {(s, n): rhythm(s, n) for s, n in ALL}
    for sound in PATTERNS:
        assert len({told[sound, n] for n in PLACES}) == 1, "the rhythm doesn't hang on the place"
    assert {s: told[s, 0] for s in PATTERNS} == {
        "taken": (2, ("short", "short"), ("close",)),
        "next": (1, ("long",), ()),
        "look": (2, ("long", "short"), ("close",)),
        "asked": (4, ("short",) * 4, ("close", "rest", "close")),
        "fault": (3, ("long", "short", "long"), ("close", "close")),
    }
    assert len(set(told.values())) == len(PATTERNS)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(PATTERNS, 2)))
def test_rhythms_stay_apart_however_they_are_laid_over_each_other(one: str, other: str) -> None:
    # For at least 80 ms one sounds while the other is silent, at the shift where they agree best: far beyond the gap an
    # impaired ear can miss (gap detection some 10–20 ms: Moore, An Introduction to the Psychology of Hearing; from memory).
    a, b = (loud(heard(sound, 0))[:: RATE // 1000].astype(int) for sound in (one, other))
    size = len(a) + len(b)
    wide = np.zeros(size + 2 * len(b))
    wide[len(b) : len(b) + len(a)] = a
    apart = min(np.abs(wide[at : at + len(b)] - b).sum() + a.sum() - wide[at : at + len(b)].sum() for at in range(size))
    assert apart >= 80


def test_no_sound_has_the_rhythm_of_an_alarm_that_means_danger_elsewhere() -> None:
    for sound in PATTERNS:
        found = pulses(heard(sound, 0))
        onsets = np.diff([at for at, _ in found])
        even = len(found) >= 3 and np.ptp(onsets) < 0.2 * onsets.mean() and np.ptp([ms for _, ms in found]) < 30
        assert not even, "three even pulses (IEC 60601-1-8 medium priority; ISO 8201 evacuation), or four"
        assert len(found) not in (5, 8, 10), "3 + 2 (IEC 60601-1-8 high priority), seven short and one long (SOLAS)"


def test_neighbouring_places_differ_in_pitch_by_a_third_and_more() -> None:
    # Pitch of the first four places, in semitones: told apart by whoever hears pitch at all (common practice, no source).
    steps = [12 * np.log2(pitch_hz(n) / pitch_hz(0)) for n in range(8)]
    assert all(abs(a - b) >= 3.9 for a, b in itertools.combinations(steps[:4], 2))
    assert len({round(s) for s in steps}) == 8
    assert pitch_hz(8) == pitch_hz(0)


def test_volume() -> None:
    full = heard("asked", 2)
    with wave.open(io.BytesIO(wav("asked", 2, 0.25))) as file:
        quiet = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(float) / 32768
    assert np.allclose(quiet, full / 4, atol=1 / 32768)
