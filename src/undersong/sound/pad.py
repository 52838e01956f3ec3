"""A soft pad that holds the chords.

Each note is three choirs of a dozen soft partials, tuned a few cents apart and different on the
left and the right, so that it is wide and never hard. It swells in within a tenth of a second and
dies away over the next chord. Figures are by ear: common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from undersong.sound.bass import ACCENT_DB, DYNAMIC_DB
from undersong.sound.schedule import NoteEvent
from undersong.sound.strings import Modes, ring
from undersong.theory.part import Articulation
from undersong.theory.pitch import midi_to_hz

Samples = NDArray[np.float32]

PAD_SEED = 13
PARTIALS = 10
TILT = 1.5
DARK_HZ = 1400.0
CHOIR_CENTS = (-4.0, 0.0, 4.0)
SWELL_S = 0.11
RELEASE_S = 0.35
SHORT_RELEASE_S = 0.12
SHORT_SHARE = 0.5
LEVEL = 0.16


class Pad:
    """Plays pad events, and keeps the tone of each pitch it has made."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._made: dict[int, Samples] = {}

    def play(self, events: tuple[NoteEvent, ...], n_samples: int) -> Samples:
        """All notes in their places, shape (n_samples, 2)."""
        out = np.zeros((2, n_samples), np.float32)
        shapes = [self._shape(event) for event in events]
        n_longest = max(map(len, shapes), default=0)
        for event, shape in zip(events, shapes, strict=True):
            start = round(event.onset_s * self._rate_hz)
            end = min(n_samples, start + len(shape))
            if start < end:
                tone = self._tone(event.note.pitch.midi, n_longest)
                out[:, start:end] += tone[:, : end - start] * shape[: end - start]
        return out.T

    def _shape(self, event: NoteEvent) -> Samples:
        """Swell, hold, release: the gain of one note, shape (n_samples,)."""
        level_db = DYNAMIC_DB[event.note.dynamic] + (ACCENT_DB if event.note.accented else 0.0)
        length_s, release_s = event.length_s, RELEASE_S
        if event.note.articulation is Articulation.SHORT:  # a stop is heard as one
            length_s, release_s = length_s * SHORT_SHARE, SHORT_RELEASE_S
        n_hold = max(1, round(length_s * self._rate_hz))
        n_release = round(min(release_s, 2 * length_s) * self._rate_hz)
        shape = np.ones(n_hold + n_release)
        n_swell = min(n_hold, round(SWELL_S * self._rate_hz))
        shape[:n_swell] = np.sin(np.linspace(0, np.pi / 2, n_swell, endpoint=False)) ** 2
        shape[n_hold:] = np.cos(np.linspace(0, np.pi / 2, n_release)) ** 2
        return np.asarray(shape * LEVEL * 10 ** (level_db / 20), dtype=np.float32)

    def _tone(self, midi: int, n_samples: int) -> Samples:
        made = self._made.get(midi)
        if made is None or made.shape[1] < n_samples:
            made = self._made[midi] = _choirs(midi, n_samples, self._rate_hz)
        return made


def _choirs(midi: int, n_samples: int, rate_hz: int) -> Samples:
    rng = np.random.default_rng((PAD_SEED, midi))
    count = np.arange(1, PARTIALS + 1)
    sides = []
    for _ in range(2):
        cents = np.array(CHOIR_CENTS) + rng.uniform(-0.8, 0.8, len(CHOIR_CENTS))
        hz = np.outer(midi_to_hz(midi) * 2 ** (cents / 1200), count).ravel()
        levels = np.tile(count**-TILT, len(CHOIR_CENTS)) / (1 + (hz / DARK_HZ) ** 2)
        levels = levels * rng.choice((-1.0, 1.0), len(levels))
        rates = np.asarray(2j * np.pi * hz, dtype=np.complex128)
        keep = hz < 0.45 * rate_hz
        sides.append(ring(Modes(rates[keep], levels[keep], 0.0), n_samples, rate_hz))
    return np.stack(sides).astype(np.float32)
