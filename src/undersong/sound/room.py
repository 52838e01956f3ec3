"""A small, dry room around the players, so that they stand somewhere.

The response is a few early reflections and a short tail of noise that dies faster the higher it is
(RT60 about 0.35 s low, 0.2 s high), different left and right. It is made from a fixed seed: the
same room every time. Common practice, no source.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft
from scipy.signal import butter, sosfilt

Samples = NDArray[np.float32]

ROOM_SEED = 11
LENGTH_S = 0.4
BEFORE_FIRST_S = 0.008
RT60_LOW_S, RT60_HIGH_S = 0.35, 0.18
SPLIT_HZ, LOWEST_HZ, HIGHEST_HZ = 1800.0, 160.0, 7000.0
EARLY = 7
EARLY_UNTIL_S = 0.035
BLOCK = 1 << 18  # samples of one fast transform: longer than the room at any rate there is


@cache
def room_response(sample_rate_hz: int) -> Samples:
    """Left and right answers of the room to one click, shape (n_samples, 2), energy 1 each."""
    rng = np.random.default_rng(ROOM_SEED)
    n_samples = round(LENGTH_S * sample_rate_hz)
    t_s = np.arange(n_samples) / sample_rate_hz
    noise = rng.standard_normal((n_samples, 2))
    nyquist = sample_rate_hz / 2
    low_sos = butter(1, SPLIT_HZ, "lowpass", fs=sample_rate_hz, output="sos")
    low = sosfilt(low_sos, noise, axis=0)
    tail = low * 10 ** (-3 * t_s / RT60_LOW_S)[:, None]
    tail += (noise - low) * 10 ** (-3 * t_s / RT60_HIGH_S)[:, None]
    tail *= np.minimum(1, t_s / EARLY_UNTIL_S)[:, None]
    tail *= 0.5 + 0.5 * np.cos(np.pi * t_s / LENGTH_S)[:, None]
    for side in range(2):
        places = rng.uniform(BEFORE_FIRST_S, EARLY_UNTIL_S, EARLY)
        signs = rng.choice((-1.0, 1.0), EARLY)
        early = 3.5 * signs * (BEFORE_FIRST_S / places)
        tail[np.round(places * sample_rate_hz).astype(int), side] += early
    tail[t_s < BEFORE_FIRST_S] = 0
    edges = (LOWEST_HZ, min(HIGHEST_HZ, 0.9 * nyquist))
    band = butter(1, edges, "bandpass", fs=sample_rate_hz, output="sos")
    answer = sosfilt(band, tail, axis=0)
    return np.asarray(answer / np.sqrt((answer**2).sum(axis=0)), dtype=np.float32)


def in_room(dry: Samples, sample_rate_hz: int) -> Samples:
    """The room's answer alone.

    Parameters
    ----------
    dry
        Mono, shape (n_samples,).
    sample_rate_hz
        Samples a second.

    Returns
    -------
    numpy.ndarray
        Left and right, shape (2, n_samples).

    Notes
    -----
    Fast convolution, block by block with the overlap added, each channel in a row of its own.
    """
    n_samples = len(dry)
    spectra = _room_spectra(sample_rate_hz)
    n_tail = round(LENGTH_S * sample_rate_hz) - 1
    hop = BLOCK - n_tail
    wet = np.zeros((2, n_samples + BLOCK), np.float32)
    for start in range(0, n_samples, hop):
        block = rfft(dry[start : start + hop], BLOCK)
        for side, spectrum in enumerate(spectra):
            wet[side, start : start + BLOCK] += irfft(block * spectrum, BLOCK)
    return wet[:, :n_samples]


@cache
def _room_spectra(sample_rate_hz: int) -> NDArray[np.complex64]:
    """Spectra of the room's two answers, shape (2, BLOCK // 2 + 1)."""
    padded: NDArray[np.complex64] = rfft(room_response(sample_rate_hz).T, BLOCK)
    return padded
