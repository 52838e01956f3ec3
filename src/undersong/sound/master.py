"""The last hand on a mix: soft start, loudness, headroom.

Conventions
-----------
Every mix has the same loudness, `TARGET_LUFS`, and no true peak above `CEILING_DBTP`. It starts
softly: nothing ever begins at full level (trade handbook 9.1). All of it is one gain for each
sample, so that stems can be given the same and still add up to the mix.

References
----------
EBU R 128 has programmes at -23 LUFS and the ceiling at -1 dBTP; ReplayGain 2.0 plays music files at
-18 LUFS. -21 is as loud as a bare click can be made with that headroom.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from undersong.sound.loudness import k_weighted, true_peak_db, weighted_lufs

Samples = NDArray[np.float32]

TARGET_LUFS = -21.0
CEILING_DBTP = -1.0
LIMIT_DB = -2.0  # of samples: the wave between them, and lossy files, rise a little above
FADE_OUT_S = 0.3
SOFT_START_DB, SOFT_START_S = -12.0, 1.2
LOUDNESS_ROUNDS = 4
LOUDNESS_NEAR_LU = 0.05
LIMITER_S = 0.05
LIMITER_HOP = 32


def gain_of(level_db: float) -> np.float32:
    """A level in dB as a factor."""
    return np.float32(10 ** (level_db / 20))


def mastered(total: Samples, sample_rate_hz: int) -> tuple[Samples, float]:
    """Finish a mix in place.

    Parameters
    ----------
    total
        Left and right, shape (2, n_samples); changed.
    sample_rate_hz
        Samples a second.

    Returns
    -------
    gain : numpy.ndarray
        What each sample was multiplied by, shape (n_samples,).
    loudness : float
        LUFS of the finished mix; a sound with few peaks far above its body may stay below the
        target, for headroom goes first.
    """
    gain = _fades(total.shape[1], sample_rate_hz)
    total *= gain
    # A gain that moves slowly may come after the weighting: one weighting serves every round.
    weighted = k_weighted(total, sample_rate_hz)
    loudness = weighted_lufs(weighted, sample_rate_hz)
    for _ in range(LOUDNESS_ROUNDS):
        short_lu = TARGET_LUFS - loudness
        if not np.isfinite(loudness) or abs(short_lu) < LOUDNESS_NEAR_LU:
            break
        turned = gain_of(short_lu)
        limiting = _limiter_gain(total, LIMIT_DB - short_lu, sample_rate_hz)
        if limiting is None:
            gain *= turned
            total *= turned
            loudness = TARGET_LUFS
            break
        limiting *= turned
        gain *= limiting
        total *= limiting
        weighted *= limiting
        loudness = weighted_lufs(weighted, sample_rate_hz)
    over_db = true_peak_db(total.T) - CEILING_DBTP
    if over_db > 0:
        gain *= gain_of(-over_db)
        total *= gain_of(-over_db)
        loudness -= over_db
    return gain, loudness


def _fades(n_samples: int, sample_rate_hz: int) -> Samples:
    """The soft start, and the fade of what still rings at the end; shape (n_samples,)."""
    gain = np.ones(n_samples, np.float32)
    n_start = min(n_samples, round(SOFT_START_S * sample_rate_hz))
    n_end = min(n_samples, round(FADE_OUT_S * sample_rate_hz))
    gain[:n_start] = 10 ** (np.linspace(SOFT_START_DB, 0, n_start) / 20)
    gain[-n_end:] *= np.cos(np.linspace(0, np.pi / 2, n_end)) ** 2
    return gain


def _limiter_gain(sound: Samples, limit_db: float, sample_rate_hz: int) -> Samples | None:
    """A gain that keeps every sample below a limit, moving smoothly and ahead of the peaks.

    What each stretch of samples needs, its lowest within the window around it, smoothed over the
    same window: the smoothed gain is nowhere above what was needed. None where none is needed.
    """
    hop = LIMITER_HOP
    n_samples = sound.shape[1]
    n_whole = n_samples // hop * hop
    rows = [channel[:n_whole].reshape(-1, hop) for channel in sound]
    highest = np.max([*(r.max(axis=1) for r in rows), *(-r.min(axis=1) for r in rows)], axis=0)
    if n_whole < n_samples:
        highest = np.append(highest, np.abs(sound[:, n_whole:]).max())
    limit = 10 ** (limit_db / 20)
    if highest.max() <= limit:
        return None
    needed = limit / np.maximum(highest, limit)
    window = 2 * round(LIMITER_S * sample_rate_hz / hop / 2) + 1
    held = minimum_filter1d(needed, window + 2, mode="nearest")  # 2: for the steps in between
    weights = np.hanning(window + 2)[1:-1]
    padded = np.pad(held, window // 2 + 1, mode="edge")
    smooth = np.convolve(padded, weights / weights.sum(), "valid")
    # From the middle of one step to the middle of the next in a straight line.
    between = ((np.arange(hop) + 0.5) / hop).astype(np.float32)
    smooth = smooth.astype(np.float32)
    lines: Samples = np.diff(smooth)[:, None] * between
    lines += smooth[:-1, None]
    return lines.ravel()[hop // 2 :][:n_samples]
