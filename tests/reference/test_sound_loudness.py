"""Loudness and true peak against the standard's own signals and an independent meter.

ITU-R BS.1770-5: a 997 Hz sine at 0 dBFS in one front channel reads -3.01 LKFS. EBU Tech 3341
(2016), table 1: minimum requirements, test signals 1 to 5, and 15 to 19 for true peak. pyloudnorm
is an open implementation of BS.1770-4 by others. The EBU signals are from memory, not re-read; the
filter coefficients agree with those other implementations print.
"""

from typing import Any

import numpy as np
import pyloudnorm  # type: ignore[import-untyped]
import pytest
from numpy.typing import NDArray
from scipy.signal import freqz_sos

from undersong.sound.loudness import k_weighting, loudness_lufs, true_peak_db

RATE_HZ = 48000
EBU_TOLERANCE_LU = 0.1  # Tech 3341
PEAK_TOLERANCE_DB = (0.2, 0.4)  # above and below, Tech 3341

Sound = NDArray[np.floating[Any]]


def sine(level_db: float, seconds: float, hz: float = 1000.0, rate_hz: int = RATE_HZ) -> Sound:
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return np.asarray(10 ** (level_db / 20) * np.sin(2 * np.pi * hz * t_s))


def stereo(*pieces: Sound) -> Sound:
    return np.repeat(np.concatenate(pieces)[:, None], 2, axis=1)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_full_scale_997_hz_in_one_channel(rate_hz: int) -> None:
    tone = sine(0.0, 20.0, 997.0, rate_hz)
    assert loudness_lufs(tone, rate_hz) == pytest.approx(-3.01, abs=0.01)
    both = np.stack([tone, np.zeros_like(tone)], axis=1)
    assert loudness_lufs(both, rate_hz) == pytest.approx(-3.01, abs=0.01)


def test_filter_coefficients_are_those_of_the_standard_at_48_khz() -> None:
    """BS.1770-5, Annex 1, tables 1 and 2."""
    shelf, high_pass = k_weighting(48000)
    assert shelf[:3] == pytest.approx([1.53512485958697, -2.69169618940638, 1.19839281085285])
    assert shelf[4:] == pytest.approx([-1.69065929318241, 0.73248077421585])
    assert high_pass[:3] == pytest.approx([1.0, -2.0, 1.0])
    assert high_pass[4:] == pytest.approx([-1.99004745483398, 0.99007225036621])


@pytest.mark.parametrize("rate_hz", [44100, 96000])
def test_filters_at_other_rates_have_the_same_response(rate_hz: int) -> None:
    hz = np.geomspace(25, 10_000, 60)
    _, there = freqz_sos(k_weighting(48000), hz, fs=48000)
    _, here = freqz_sos(k_weighting(rate_hz), hz, fs=rate_hz)
    assert np.abs(20 * np.log10(np.abs(here / there))).max() < 0.12


@pytest.mark.parametrize(
    ("signal", "lufs"),
    [
        (stereo(sine(-23, 20)), -23.0),
        (stereo(sine(-33, 20)), -33.0),
        (stereo(sine(-36, 10), sine(-23, 60), sine(-36, 10)), -23.0),
        (
            stereo(sine(-72, 10), sine(-36, 10), sine(-23, 60), sine(-36, 10), sine(-72, 10)),
            -23.0,
        ),
        (stereo(sine(-26, 20), sine(-20, 20.1), sine(-26, 20)), -23.0),
    ],
    ids=["1", "2", "3", "4", "5"],
)
def test_ebu_tech_3341_signals(signal: Sound, lufs: float) -> None:
    assert loudness_lufs(signal, RATE_HZ) == pytest.approx(lufs, abs=EBU_TOLERANCE_LU)


@pytest.mark.parametrize(
    ("phase_deg", "share_of_rate", "peak_db"),
    [(0, 4, -6.0), (45, 4, -6.0), (60, 6, -6.0), (67.5, 8, -6.0), (45, 4, 3.0)],
    ids=["15", "16", "17", "18", "19"],
)
def test_true_peak_signals(phase_deg: float, share_of_rate: float, peak_db: float) -> None:
    n = np.arange(RATE_HZ)
    wave = np.sin(2 * np.pi * n / share_of_rate + np.deg2rad(phase_deg)) * 10 ** (peak_db / 20)
    fade = np.minimum(1, np.minimum(n, n[::-1]) / 4800)  # as the published files have
    above, below = PEAK_TOLERANCE_DB
    assert peak_db - below < true_peak_db(wave * fade) < peak_db + above


@pytest.mark.parametrize("rate_hz", [44100, 48000])
@pytest.mark.parametrize("seed", range(4))
def test_agrees_with_an_independent_meter(rate_hz: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 0.1, (rate_hz * 6, 2)) * 10 ** rng.uniform(-1, 0, (1, 2))
    noise *= np.repeat(10 ** rng.uniform(-2, 0, 12), rate_hz // 2)[:, None]
    theirs = pyloudnorm.Meter(rate_hz).integrated_loudness(noise)
    assert loudness_lufs(noise, rate_hz) == pytest.approx(theirs, abs=EBU_TOLERANCE_LU)


def test_silence_and_very_short_sounds() -> None:
    assert loudness_lufs(np.zeros((RATE_HZ, 2)), RATE_HZ) == -np.inf
    assert true_peak_db(np.zeros(100)) == -np.inf
    assert np.isfinite(loudness_lufs(sine(-10, 0.1), RATE_HZ))
