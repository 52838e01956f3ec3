"""From a performance to samples: every attack at its exact place."""

from math import gcd

import numpy as np
from scipy.signal import resample_poly

from takes.attack import RATE_HZ, Samples
from takes.material import Rng
from takes.player import Performance, Played
from takes.sources import Sound, one_pole, varispeed
from takes.unbroken import DAMPED_DB, TAIL_S, TOUCH_HZ, by_pluck, unbroken_sound

NOISE_DBFS = -92.0
GHOST_DULL_HZ = 1200.0


def string_sound(note: Played, sound: Sound) -> tuple[Samples, float]:
    """One note as it sounds, damped, and the place of its attack in samples.

    The sample is brought to `note.cents` from equal temperament: what the source itself is out
    of tune is measured and taken away. From the offset on it falls by 30 dB in `damping_s`.
    """
    strike = sound.strike(note.midi, note.velocity)
    ratio = 2 ** ((note.cents - strike.cents) / 1200)
    samples = varispeed(strike.samples, ratio)
    samples = samples + note.touch * (samples - one_pole(samples, TOUCH_HZ))
    attack = strike.attack / ratio
    held = attack + (note.offset_s - note.onset_s) * RATE_HZ
    n_samples = min(len(samples), int(held + 3 * note.damping_s * RATE_HZ))
    samples = samples[:n_samples]
    beyond_s = np.maximum(0, np.arange(n_samples) - held) / RATE_HZ
    samples = samples * 10 ** (-DAMPED_DB * beyond_s / note.damping_s / 20)
    n_fade = int(attack)
    samples[:n_fade] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(n_fade) / max(1, n_fade))
    return samples, attack


def mixed(performance: Performance, sound: Sound) -> Samples:
    """All notes of a performance at 44.1 kHz, mono, without noise."""
    end_s = max(note.offset_s for note in performance.played) + TAIL_S
    out = np.zeros(int(end_s * RATE_HZ))
    for notes in by_pluck(performance.played):
        is_alone = len(notes) == 1
        samples, attack = (
            string_sound(notes[0], sound) if is_alone else unbroken_sound(notes, sound)
        )
        _added(out, notes[0].onset_s, samples, attack)
    for ghost in performance.ghosts:
        samples, attack = string_sound(ghost, sound)
        _added(out, ghost.onset_s, one_pole(samples, GHOST_DULL_HZ), attack)
    return out


def _added(out: Samples, onset_s: float, samples: Samples, attack: float) -> None:
    """Add a sound whose attack lies at this sample of it, so that it lies at this time."""
    start = round(onset_s * RATE_HZ - attack)
    samples = samples[max(0, -start) :]
    start = max(0, start)
    samples = samples[: len(out) - start]
    out[start : start + len(samples)] += samples


def levelled(samples: Samples, peak_dbfs: float) -> Samples:
    """Scaled so that the largest sample has this level."""
    gain = 10 ** (peak_dbfs / 20) / float(np.abs(samples).max())
    return gain * samples


def at_rate(samples: Samples, sample_rate_hz: int) -> Samples:
    """Resampled from 44.1 kHz by a zero-phase filter, so that no attack moves."""
    common = gcd(sample_rate_hz, RATE_HZ)
    out: Samples = resample_poly(samples, sample_rate_hz // common, RATE_HZ // common)
    return out


def in_channels(samples: Samples, n_channels: int, rng: Rng) -> Samples:
    """Mono, or two channels of unequal level, with the noise floor of an interface."""
    sides = samples[:, None] * (np.ones(1) if n_channels == 1 else np.array([1.0, 0.7]))
    noise = rng.normal(0, 10 ** (NOISE_DBFS / 20), sides.shape)
    return np.clip(sides + noise, -1, 1 - 2**-15)
