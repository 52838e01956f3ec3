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

from collections.abc import Iterator
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
_FILTER_BLOCK = 1 << 15  # small enough to stay in the processor's cache
_PEAK_BLOCK = 256
_PEAK_MARGIN = 16
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
    channels = np.ascontiguousarray(sound.reshape(len(sound), -1).T)
    return weighted_lufs(k_weighted(channels, sample_rate_hz), sample_rate_hz)


def k_weighted(channels: Sound, sample_rate_hz: int) -> NDArray[np.float32]:
    """Channels as loudness is measured on them, shape (channels, n_samples) in and out."""
    weighting = k_weighting(sample_rate_hz)
    weighted = np.empty(channels.shape, np.float32)
    for row, channel in zip(weighted, channels, strict=True):
        state = np.zeros((len(weighting), 2))
        for start in range(0, len(channel), _FILTER_BLOCK):
            stop = start + _FILTER_BLOCK
            row[start:stop], state = sosfilt(weighting, channel[start:stop], zi=state)
    return weighted


def weighted_lufs(weighted: NDArray[np.float32], sample_rate_hz: int) -> float:
    """Loudness of channels that are K-weighted already, shape (channels, n_samples)."""
    n_step = round(STEP_S * sample_rate_hz)
    n_blocks = round(BLOCK_S / STEP_S)
    n_rows = max(n_blocks, weighted.shape[1] // n_step)
    steps = np.zeros(n_rows)
    for channel in weighted:
        if len(channel) < n_rows * n_step:
            channel = np.pad(channel, (0, n_rows * n_step - len(channel)))
        rows = channel[: n_rows * n_step].reshape(n_rows, n_step)
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
    channels = sound.reshape(len(sound), -1).T
    highest = max(float(channels.max(initial=0.0)), -float(channels.min(initial=0.0)))
    if highest == 0:
        return -np.inf
    peak = highest
    for channel in channels:
        stretches = np.array(list(_high_stretches(channel, _PEAK_WORTH_A_LOOK * highest)))
        fine = resample_poly(stretches, OVERSAMPLING, 1, axis=1)
        # The margins, where the stretches were cut out of the whole, ring and do not count.
        kept = fine[:, _PEAK_MARGIN * OVERSAMPLING : -_PEAK_MARGIN * OVERSAMPLING]
        peak = max(peak, float(kept.max()), -float(kept.min()))
    return float(20 * np.log10(peak))


def _high_stretches(channel: Sound, high: float) -> Iterator[NDArray[np.float32]]:
    """The stretches of a channel that reach `high`, all of one length, with their margins."""
    n_whole = len(channel) // _PEAK_BLOCK
    inner = channel[: n_whole * _PEAK_BLOCK].reshape(n_whole, _PEAK_BLOCK)
    places = np.flatnonzero(np.maximum(inner.max(axis=1), -inner.min(axis=1)) >= high)
    for place in (*places, n_whole):
        first, last = place * _PEAK_BLOCK - _PEAK_MARGIN, (place + 1) * _PEAK_BLOCK + _PEAK_MARGIN
        stretch = np.zeros(last - first, np.float32)
        within = channel[max(0, first) : last]
        stretch[max(0, -first) :][: len(within)] = within
        yield stretch
