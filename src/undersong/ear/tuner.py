"""A tuner for a bass: which string sounds, and how many cents from where it should be.

The note is found as the ear finds every pitch (`pitch`), with the instrument up to half a semitone
out. Then each harmonic is measured by how far its phase moves between two stretches `APART_S`
apart, which is exact for a steady tone however few periods there are; the fundamental of an open
low B may be missing. All harmonics together give the fundamental of a slightly stiff string.

A reading is withheld where the sound is not one steady string: too quiet, changing, or noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from undersong.ear.frames import Samples
from undersong.ear.live_stream import Stream
from undersong.ear.pitch import MIDIS, PITCH_RATE_HZ, stretches

Floats = NDArray[np.float64]

EVERY_S = 0.1
HEARD_S = 0.42
LENGTH, APART = 1120, 480
"""Samples at `PITCH_RATE_HZ` of each of two stretches, and from one's beginning to the other's."""
BLOCK = 32
_SHAPE = np.hanning(LENGTH)
TUNINGS = (-33.0, 0.0, 33.0)
HARMONICS, HIGHEST_HZ = 10, 700.0
TURNS = 2
MOST_STIFF = 3e-4
QUIETEST_DB = -62.0
LEAST_HARMONIC = 0.6
"""Share of the sound below `HIGHEST_HZ` that the harmonics must hold."""
MOST_SCATTER_CENTS = 8.0
NO_LEVEL_DB = -120.0


@dataclass(frozen=True, slots=True)
class TunerReading:
    """What sounds now.

    Attributes
    ----------
    midi, cents, f0_hz
        Nearest note at A4 = 440 Hz, the distance from it in [-50, 50], and the fundamental; None
        where no steady string sounds.
    level_db, peak_db
        Root mean square and peak of the last `EVERY_S`, in dB of full scale.
    said_s
        Stream time.
    """

    midi: int | None
    cents: float | None
    f0_hz: float | None
    level_db: float
    peak_db: float
    said_s: float


def fundamental_hz(string: Samples) -> float | None:
    """Fundamental of the steady string that sounds, or None.

    Parameters
    ----------
    string
        The newest sound, shape (n,), at `PITCH_RATE_HZ`; `HEARD_S` of it are used.
    """
    string = string[-round(HEARD_S * PITCH_RATE_HZ) :].astype(np.float32)
    if len(string) < LENGTH + APART:
        return None
    part = stretches(string, np.zeros(1), np.array([HEARD_S]))
    if part.level_db[0] < QUIETEST_DB - 6:
        return None
    scores = np.stack([part.scores(cents)[0] for cents in TUNINGS])
    tuning, column = np.unravel_index(int(scores.argmax()), scores.shape)
    f0_hz = 440.0 * 2 ** ((MIDIS[column] + TUNINGS[tuning] / 100 - 69) / 12)
    early, late = string[-LENGTH - APART : -APART], string[-LENGTH:]
    number = np.arange(1, max(2, min(HARMONICS, int(HIGHEST_HZ / f0_hz)) + 1))
    guess_hz = number * f0_hz
    for _ in range(TURNS):
        hz, size = _harmonics(early, late, guess_hz)
        pitch_hz, guess_hz, scatter = _string_of(number, hz, size)
    if scatter > MOST_SCATTER_CENTS or not MIDIS[0] - 1 < _midi(pitch_hz) < MIDIS[-1] + 1:
        return None
    return pitch_hz if _harmonic_share(late, size) > LEAST_HARMONIC else None


def _harmonics(early: Samples, late: Samples, guess_hz: Floats) -> tuple[Floats, Floats]:
    """Frequency and size of each harmonic near a guess, shape (n_harmonics,) each."""
    # A wave at sample BLOCK k + j is one at BLOCK k times one at j: few waves make them all.
    angular = -2j * np.pi * guess_hz[:, None] / PITCH_RATE_HZ
    by_block = np.exp(angular * np.arange(0, LENGTH, BLOCK))
    within = np.exp(angular * np.arange(BLOCK)).T
    before, after = (
        ((sound * _SHAPE).reshape(-1, BLOCK) @ within * by_block.T).sum(axis=0)
        for sound in (early, late)
    )
    turned = np.exp(-2j * np.pi * guess_hz * APART / PITCH_RATE_HZ)
    off = np.angle(after * turned * before.conj()) * PITCH_RATE_HZ / (2 * np.pi * APART)
    return guess_hz + off, np.sqrt(np.abs(before) * np.abs(after)) * 2 / _SHAPE.sum()


def _string_of(number: NDArray[np.intp], hz: Floats, size: Floats) -> tuple[float, Floats, float]:
    """Pitch, where each harmonic should be, and scatter in cents; loud ones count most.

    (f_n / n)^2 = f_0^2 (1 + B n^2) is a straight line in n^2. The pitch is its middle and not its
    foot: what all harmonics of a stiff string together sound like is a cent or two above f_0.
    """
    weight = np.sqrt(size) * number * (size > 0.01 * size.max())
    weight = weight / (weight.sum() + 1e-12)
    x, y = number.astype(float) ** 2, (hz / number) ** 2
    centre_x, centre_y = weight @ x, weight @ y
    spread = weight @ (x - centre_x) ** 2
    slope = (weight @ ((x - centre_x) * (y - centre_y))) / spread if spread > 0 else 0.0
    slope = float(np.clip(slope, 0.0, MOST_STIFF * centre_y))
    squared = max(centre_y - slope * centre_x, 1.0)
    expected = np.sqrt(squared + slope * x)
    cents = 1200 * np.log2(np.maximum(hz / number, 1.0) / expected)
    pitch_hz = float(np.sqrt(max(centre_y, 1.0)))
    return pitch_hz, number * expected, float(np.sqrt(weight @ cents**2))


def _harmonic_share(sound: Samples, size: Floats) -> float:
    """Share of the energy below `HIGHEST_HZ` that lies in the harmonics."""
    spectrum = np.abs(np.fft.rfft(sound * _SHAPE)) ** 2
    hz = np.fft.rfftfreq(LENGTH, 1 / PITCH_RATE_HZ)
    total = spectrum[(hz > 25) & (hz < HIGHEST_HZ + 20)].sum()
    # A sine of size a gives (a sum(w) / 2)^2 at its top and 1.5 times that over its lobe.
    own = 1.5 * ((size * _SHAPE.sum() / 2) ** 2).sum()
    return float(own / (total + 1e-12))


def _midi(hz: float) -> float:
    return float(69 + 12 * np.log2(hz / 440))


class Tuner:
    """Readings of a stream, one every `EVERY_S`.

    Parameters
    ----------
    stream
        What is heard; somebody else feeds it.
    """

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._next_s = EVERY_S
        self._blocks: list[Samples] = []

    def meter(self, block: Samples) -> None:
        """Take a block into account for the level, as it came."""
        self._blocks.append(block)

    def step(self) -> TunerReading | None:
        """A reading when its time has come."""
        if self._stream.now_s < self._next_s:
            return None
        self._next_s += EVERY_S
        heard = np.concatenate(self._blocks) if self._blocks else np.zeros(0, np.float32)
        self._blocks = []
        level_db = _db(np.sqrt(float(heard @ heard) / max(len(heard), 1)))
        peak_db = _db(float(np.abs(heard).max(initial=0.0)))
        f0_hz = None
        if level_db > QUIETEST_DB:
            end = self._stream.string_end
            string = self._stream.string_between(end - round(HEARD_S * PITCH_RATE_HZ), end)
            f0_hz = fundamental_hz(string)
        if f0_hz is None:
            return TunerReading(None, None, None, level_db, peak_db, self._stream.now_s)
        midi = round(_midi(f0_hz))
        cents = 100 * (_midi(f0_hz) - midi)
        return TunerReading(midi, cents, f0_hz, level_db, peak_db, self._stream.now_s)


def _db(size: float) -> float:
    return max(NO_LEVEL_DB, 20 * float(np.log10(max(size, 1e-6))))
