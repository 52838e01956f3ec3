"""Where a recorded note begins, and how it is tuned.

Conventions
-----------
Mono float arrays, shape (n_samples,), at `RATE_HZ`. The attack of a note is defined here once,
for every sound, and independently of any listener: high-pass at 80 Hz (so that the slow swell of
the fundamental has no say), square, smooth with a 2 ms Hann window centred on the sample, and take
the first sample at which this energy reaches a tenth of its largest value in the first 100 ms
after the sound first exceeds -40 dB of that value.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

Samples = NDArray[np.float64]

RATE_HZ = 44100
ATTACK_SHARE = 0.1
ATTACK_SEARCH_S = 0.1
HIGH_PASS_HZ = 80.0
SMOOTHING_S = 0.002


def short_time_energy(sound: Samples, *, high_pass_hz: float = HIGH_PASS_HZ) -> Samples:
    """Energy above `high_pass_hz`, smoothed by a centred 2 ms Hann window, shape (n_samples,)."""
    high_pass = butter(2, high_pass_hz, "highpass", fs=RATE_HZ, output="sos")
    above: Samples = sosfiltfilt(high_pass, np.pad(sound, (RATE_HZ // 10, 0)))[RATE_HZ // 10 :]
    window = np.hanning(round(SMOOTHING_S * RATE_HZ) + 2)[1:-1]
    return np.convolve(above**2, window / window.sum(), mode="same")


def attack_sample(sound: Samples, *, share: float = ATTACK_SHARE) -> int:
    """Sample at which a single recorded note begins (definition in the module's docstring).

    Parameters
    ----------
    sound
        One note, which starts within the array.
    share
        Share of the largest short-time energy that counts as begun, in (0, 1).
    """
    energy = short_time_energy(sound)
    first = int(np.argmax(energy > 1e-4 * energy[: RATE_HZ // 2].max()))
    early = energy[first : first + round(ATTACK_SEARCH_S * RATE_HZ)]
    return first + int(np.argmax(early >= share * early.max()))


def midi_to_hz(midi: float) -> float:
    """Equal temperament at A4 = 440 Hz (ISO 16), note 69 being A4 (MIDI 1.0)."""
    return float(440.0 * 2 ** ((midi - 69) / 12))


def tuning_cents(
    sound: Samples, midi: int, *, start_s: float, length_s: float = 0.5, search_cents: float = 80.0
) -> float:
    """Cents by which a sounding note differs from equal temperament.

    Parameters
    ----------
    sound
        Mono samples that hold the note.
    midi
        The note it should be.
    start_s, length_s
        The stretch to measure, in seconds from the start of `sound`: late enough for the bend of
        the attack to be over.
    search_cents
        Half width of the search.

    Notes
    -----
    Largest sum of magnitudes over the first six harmonics (each capped at its own square root, so
    that no single partial decides) on a grid of 0.5 cents, then a parabola through the top.
    """
    stretch = sound[round(start_s * RATE_HZ) : round((start_s + length_s) * RATE_HZ)]
    n_bins = 1 << 19
    spectrum = np.abs(np.fft.rfft(stretch * np.hanning(len(stretch)), n_bins))
    grid = np.arange(-search_cents, search_cents + 0.25, 0.5)
    f0_hz = midi_to_hz(midi) * 2 ** (grid / 1200)
    bins = f0_hz[:, None] * np.arange(1, 7) * n_bins / RATE_HZ
    score = np.sqrt(np.interp(bins, np.arange(len(spectrum)), spectrum)).sum(axis=1)
    top = int(np.clip(np.argmax(score), 1, len(grid) - 2))
    left, middle, right = score[top - 1 : top + 2]
    bend = left - 2 * middle + right
    return float(grid[top] + (0.25 * (left - right) / bend if bend else 0.0))
