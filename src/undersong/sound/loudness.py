"""How loud a sound is to the ear, and how high it peaks between its samples.

Conventions
-----------
Samples of shape (n_samples,) or (n_samples, channels), full scale 1; one or two channels, weighted
alike. Loudness in LUFS (the same as LKFS), peaks in dBTP. Silence is minus infinity.

References
----------
ITU-R BS.1770-5: K-weighting (Annex 1, tables 1 and 2, for 48 kHz; other rates use the analogue
filters behind them, as published by De Man 2018), gating over 400 ms blocks, true peak by fourfold
oversampling (Annex 2). EBU Tech 3341 has the test signals.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly, sosfilt

Floats = NDArray[np.float64]
Sound = NDArray[np.floating[Any]]

BLOCK_S = 0.4
STEP_S = 0.1  # blocks overlap by three quarters
SILENCE_LUFS = -70.0
GATE_LU = -10.0
OFFSET_LU = -0.691

# The two stages of K-weighting as second-order analogue filters: corner, gain, quality.
_SHELF_HZ, _SHELF_DB, _SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
_SHELF_EXPONENT = 0.4996667741545416
_STANDARD_RATE_HZ = 48_000
_HIGH_PASS_HZ, _HIGH_PASS_Q = 38.13547087602444, 0.5003270373238773

OVERSAMPLING = 4
_PEAK_BLOCK = 4096
_PEAK_MARGIN = 64
_PEAK_WORTH_A_LOOK = 0.7


def k_weighting(sample_rate_hz: int) -> Floats:
    """The two filter stages of BS.1770 as second-order sections, shape (2, 6)."""
    k = np.tan(np.pi * _SHELF_HZ / sample_rate_hz)
    high = 10 ** (_SHELF_DB / 20)
    middle = high**_SHELF_EXPONENT
    a0 = 1 + k / _SHELF_Q + k * k
    shelf = [
        (high + middle * k / _SHELF_Q + k * k) / a0,
        2 * (k * k - high) / a0,
        (high - middle * k / _SHELF_Q + k * k) / a0,
        1.0,
        2 * (k * k - 1) / a0,
        (1 - k / _SHELF_Q + k * k) / a0,
    ]
    k = np.tan(np.pi * _HIGH_PASS_HZ / sample_rate_hz)
    a0 = 1 + k / _HIGH_PASS_Q + k * k
    # The standard's high-pass has the bare numerator 1, -2, 1, a gain of 0.04 dB at its 48 kHz;
    # other rates are given the same gain.
    k_48 = np.tan(np.pi * _HIGH_PASS_HZ / _STANDARD_RATE_HZ)
    gain = (1 + k_48 / _HIGH_PASS_Q + k_48 * k_48) / a0
    poles = [1.0, 2 * (k * k - 1) / a0, (1 - k / _HIGH_PASS_Q + k * k) / a0]
    high_pass = [gain, -2 * gain, gain, *poles]
    return np.array([shelf, high_pass])


def loudness_lufs(sound: Sound, sample_rate_hz: int) -> float:
    """Integrated, gated loudness of a whole sound.

    Parameters
    ----------
    sound
        Shape (n_samples,) or (n_samples, channels); less than 400 ms is padded with silence.
    sample_rate_hz
        Samples a second.

    Returns
    -------
    float
        LUFS; minus infinity where nothing is louder than -70 LUFS.
    """
    channels = sound.reshape(len(sound), -1)
    n_step = round(STEP_S * sample_rate_hz)
    n_blocks = round(BLOCK_S / STEP_S)
    n_rows = max(n_blocks, len(channels) // n_step)
    if len(channels) < n_rows * n_step:
        channels = np.pad(channels, ((0, n_rows * n_step - len(channels)), (0, 0)))
    weighting, steps = k_weighting(sample_rate_hz), np.zeros(n_rows)
    for channel in channels[: n_rows * n_step].T:
        rows = sosfilt(weighting, channel).reshape(n_rows, n_step)
        steps += np.einsum("ij,ij->i", rows, rows) / n_step
    power = np.convolve(steps, np.full(n_blocks, 1 / n_blocks), mode="valid")
    heard = power[power > _power_of(SILENCE_LUFS)]
    if not len(heard):
        return -np.inf
    gate = heard.mean() * 10 ** (GATE_LU / 10)
    return float(OFFSET_LU + 10 * np.log10(heard[heard > gate].mean()))


def _power_of(lufs: float) -> float:
    return float(10 ** ((lufs - OFFSET_LU) / 10))


def true_peak_db(sound: Sound) -> float:
    """The highest peak of the wave that the samples stand for, in dBTP.

    Only stretches that come within 3 dB of the highest sample are oversampled.
    """
    channels = sound.reshape(len(sound), -1)
    highest = max(float(channels.max(initial=0.0)), -float(channels.min(initial=0.0)))
    if highest == 0:
        return -np.inf
    peak = highest
    for start in range(0, len(channels), _PEAK_BLOCK):
        inner = channels[start : start + _PEAK_BLOCK]
        if max(inner.max(), -inner.min()) < _PEAK_WORTH_A_LOOK * highest:
            continue
        first = max(0, start - _PEAK_MARGIN)
        around = channels[first : start + _PEAK_BLOCK + _PEAK_MARGIN]
        fine = resample_poly(around.astype(np.float64), OVERSAMPLING, 1, axis=0)
        # The margins, where the stretch was cut out of the whole, ring and do not count.
        kept = fine[(start - first) * OVERSAMPLING :][: len(inner) * OVERSAMPLING]
        peak = max(peak, float(np.abs(kept).max()))
    return float(20 * np.log10(peak))
