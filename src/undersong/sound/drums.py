"""A drum kit of our own: skins, wires and metal.

Conventions
-----------
Strokes are General MIDI percussion keys [General MIDI 1, 1991]; a key we have no drum for is
played on the nearest of its kind. Stereo, float32, as the audience sees the kit: hi-hat and snare
a little to the right, floor tom and ride to the left.

The sounds are models, not recordings: a skin is a few decaying modes whose pitch falls as the
stroke relaxes, wires and jingles are filtered noise, metal is a cloud of inharmonic modes that die
faster the higher they are. Soft strokes are darker. Figures are by ear: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

from undersong.sound.bass import ACCENT_DB, DYNAMIC_DB
from undersong.sound.schedule import NoteEvent
from undersong.sound.strings import Floats, Modes, ring
from undersong.theory.part import Articulation, Dynamic, Note

Samples = NDArray[np.float32]

KIT_SEED = 7
VARIANTS = 3
HAT_CHOKE_S = 0.02
SOFT_DARK_HZ, LOUD_DARK_HZ = 2500.0, 16_000.0
GHOST_DB = -12.0
METAL_DECAY = 0.35  # how much sooner the high modes die


@dataclass(frozen=True, slots=True)
class Skin:
    """A drum head: where its pitch ends, how far above it begins, how long it rings."""

    hz: float
    fall_share: float
    fall_s: float
    decay_s: float
    beater_db: float


@dataclass(frozen=True, slots=True)
class Rattle:
    """Filtered noise: its band, rise and decay."""

    low_hz: float
    high_hz: float
    rise_s: float
    decay_s: float


@dataclass(frozen=True, slots=True)
class Metal:
    """A cloud of modes from `low_hz` to `high_hz`; the lowest ring for `decay_s`."""

    low_hz: float
    high_hz: float
    modes: int
    decay_s: float
    swell_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Drum:
    """One drum: its parts with their levels in dB, and its place, -1 left to 1 right."""

    parts: tuple[tuple[Skin | Rattle | Metal, float], ...]
    side: float
    length_s: float


_WIRES = Rattle(1500.0, 9000.0, 0.0005, 0.052)


def _tom(hz: float, side: float) -> Drum:
    return Drum(((Skin(hz, 0.45, 0.035, 0.17, -13.0), -8.0),), side, 1.0)


KIT: dict[int, Drum] = {
    36: Drum(((Skin(52.0, 2.2, 0.022, 0.085, -9.0), -2.0),), 0.0, 0.6),
    37: Drum(
        (
            (Metal(520.0, 3400.0, 8, 0.016), -4.0),
            (Rattle(900.0, 5000.0, 0.0003, 0.006), -8.0),
        ),
        0.1,
        0.12,
    ),
    38: Drum(((Skin(186.0, 0.35, 0.012, 0.060, -12.0), -5.0), (_WIRES, -4.0)), 0.08, 0.5),
    39: Drum(((Rattle(900.0, 4500.0, 0.0005, 0.05), -7.0),), 0.1, 0.35),
    41: _tom(82.0, -0.45),
    43: _tom(98.0, -0.35),
    45: _tom(116.0, -0.2),
    47: _tom(138.0, 0.0),
    48: _tom(160.0, 0.1),
    50: _tom(186.0, 0.2),
    42: Drum(((Metal(5200.0, 15_000.0, 60, 0.032), -13.5),), 0.4, 0.2),
    44: Drum(((Metal(4200.0, 12_000.0, 50, 0.045), -15.5),), 0.4, 0.25),
    46: Drum(((Metal(4300.0, 14_000.0, 70, 0.30), -14.5),), 0.4, 1.1),
    49: Drum(((Metal(900.0, 14_000.0, 280, 0.80, 0.003), -8.0),), -0.5, 2.6),
    57: Drum(((Metal(1100.0, 14_500.0, 280, 0.65, 0.003), -8.0),), 0.55, 2.2),
    51: Drum(
        (
            (Metal(1500.0, 12_000.0, 120, 0.45), -16.0),
            (Metal(2900.0, 6200.0, 6, 0.09), -19.0),
        ),
        -0.4,
        1.8,
    ),
    53: Drum(((Metal(780.0, 5600.0, 9, 0.45), -15.0),), -0.4, 1.6),
    54: Drum(((Rattle(5500.0, 13_000.0, 0.002, 0.05), -6.0),), 0.25, 0.4),
    56: Drum(((Metal(545.0, 845.0, 2, 0.09), -12.0),), 0.2, 0.4),
    70: Drum(((Rattle(4000.0, 11_000.0, 0.008, 0.022), -9.0),), -0.25, 0.15),
}
_LIKE = {35: 36, 40: 38, 52: 57, 55: 57, 59: 51, 69: 70, 82: 70}
_HATS = (42, 44, 46)
NEAREST_UNKNOWN = 37


class Drums:
    """Plays drum events, and keeps the sound of each stroke it has made."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._made: dict[tuple[int, float, int], Samples] = {}

    def play(self, events: tuple[NoteEvent, ...], n_samples: int) -> Samples:
        """All strokes in their places, shape (n_samples, 2)."""
        out = np.zeros((2, n_samples), np.float32)
        hats = [e.onset_s for e in events if drum_of(e.note.pitch.midi) in _HATS]
        for index, event in enumerate(events):
            key = drum_of(event.note.pitch.midi)
            sound = self._stroke(key, level_db_of(event.note), index % VARIANTS)
            if key == 46:
                sound = self._choked(sound, event.onset_s, hats)
            start = round(event.onset_s * self._rate_hz)
            end = min(n_samples, start + len(sound))
            if start < end:
                for row, share in zip(out, _sides(KIT[key].side), strict=True):
                    row[start:end] += sound[: end - start] * share
        return out.T

    def _choked(self, sound: Samples, onset_s: float, hats: list[float]) -> Samples:
        """An open hi-hat stops when the next hat stroke closes it."""
        place = int(np.searchsorted(hats, onset_s + 1e-6))
        if place == len(hats):
            return sound
        n_open = round((hats[place] - onset_s) * self._rate_hz)
        if n_open >= len(sound):
            return sound
        n_fall = round(HAT_CHOKE_S * self._rate_hz)
        fall = np.cos(np.linspace(0, np.pi / 2, n_fall)) ** 2
        kept = sound[: n_open + n_fall].copy()
        tail = kept[n_open:]
        tail *= fall[: len(tail)].astype(np.float32)
        return kept

    def _stroke(self, key: int, level_db: float, variant: int) -> Samples:
        made = self._made.get((key, level_db, variant))
        if made is None:
            made = _struck(key, level_db, variant, self._rate_hz)
            self._made[key, level_db, variant] = made
        return made


def drum_of(midi: int) -> int:
    """The drum of our kit for a General MIDI percussion key."""
    key = _LIKE.get(midi, midi)
    return key if key in KIT else NEAREST_UNKNOWN


def level_db_of(note: Note) -> float:
    """How hard a stroke is, in dB below the hardest."""
    ghost = GHOST_DB if note.articulation is Articulation.GHOST else 0.0
    return DYNAMIC_DB[note.dynamic] + (ACCENT_DB if note.accented else 0.0) + ghost


def _sides(side: float) -> tuple[np.float32, np.float32]:
    turn = (side + 1) * np.pi / 4
    return np.float32(np.sqrt(2) * np.cos(turn)), np.float32(np.sqrt(2) * np.sin(turn))


@lru_cache(maxsize=256)
def _struck(key: int, level_db: float, variant: int, rate_hz: int) -> Samples:
    """One stroke, mono, level as in the mix; darker when soft."""
    drum = KIT[key]
    rng = np.random.default_rng((KIT_SEED, key, variant))
    n_samples = round(drum.length_s * rate_hz)
    out = np.zeros(n_samples)
    for piece, piece_db in drum.parts:
        match piece:
            case Skin():
                sound = _skin(piece, n_samples, rate_hz, rng)
            case Rattle():
                sound = _rattle(piece, n_samples, rate_hz, rng)
            case Metal():
                sound = _metal(piece, n_samples, rate_hz, rng)
        out += sound * 10 ** (piece_db / 20)
    soft = np.clip(-level_db / -DYNAMIC_DB[Dynamic.PP], 0, 1)
    dark_hz = LOUD_DARK_HZ * (SOFT_DARK_HZ / LOUD_DARK_HZ) ** soft
    pole = np.exp(-2 * np.pi * dark_hz / rate_hz)
    out = lfilter([1 - pole], [1, -pole], out)
    n_fall = round(0.2 * n_samples)
    out[-n_fall:] *= np.cos(np.linspace(0, np.pi / 2, n_fall)) ** 2
    off_db = rng.uniform(-0.5, 0.5)
    return np.asarray(out * 10 ** ((level_db + off_db) / 20), dtype=np.float32)


def _skin(skin: Skin, n_samples: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Modes of a clamped membrane (1, 1.59, 2.14, 2.30 [Fletcher & Rossing 1998, 3.3])."""
    t_s = np.arange(n_samples) / rate_hz
    turned = t_s + skin.fall_share * skin.fall_s * (1 - np.exp(-t_s / skin.fall_s))
    out = np.zeros(n_samples)
    for ratio, share in ((1.0, 1.0), (1.594, 0.28), (2.136, 0.14), (2.296, 0.09)):
        wave = np.sin(2 * np.pi * skin.hz * ratio * turned)
        out += share * wave * np.exp(-t_s * ratio**1.5 / skin.decay_s)
    rise = np.minimum(1, t_s / 0.0008)
    beater = _rattle(Rattle(1200.0, 4500.0, 0.0003, 0.004), n_samples, rate_hz, rng)
    return np.asarray(out * rise / 1.2 + beater * 10 ** (skin.beater_db / 20))


def _rattle(rattle: Rattle, n_samples: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    high_hz = min(rattle.high_hz, 0.45 * rate_hz)
    band = butter(2, (rattle.low_hz, high_hz), "bandpass", fs=rate_hz, output="sos")
    noise = sosfilt(band, rng.standard_normal(n_samples))
    t_s = np.arange(n_samples) / rate_hz
    shape = np.minimum(1, t_s / rattle.rise_s) * np.exp(-t_s / rattle.decay_s)
    return np.asarray(noise / (3 * noise.std()) * shape)


def _metal(metal: Metal, n_samples: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    high_hz = min(metal.high_hz, 0.45 * rate_hz)
    # Evenly spread over the range and then shaken, so that no two make a beat of their own.
    places = (np.arange(metal.modes) + rng.uniform(0.1, 0.9, metal.modes)) / metal.modes
    hz = metal.low_hz * (high_hz / metal.low_hz) ** places
    decay_s = metal.decay_s * (metal.low_hz / hz) ** METAL_DECAY
    phase = rng.uniform(0, 2 * np.pi, metal.modes)
    levels = rng.uniform(0.4, 1.0, metal.modes)
    rates = -1 / decay_s + 2j * np.pi * hz
    sound = ring(Modes(rates, levels * np.exp(1j * phase), 0.0), n_samples, rate_hz)
    t_s = np.arange(n_samples) / rate_hz
    rise = 1 - np.exp(-t_s / max(metal.swell_s, 0.0004))
    return np.asarray(sound * rise / np.abs(sound).max())
