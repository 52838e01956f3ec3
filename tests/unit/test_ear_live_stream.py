"""What the live ear works out together is what scipy makes of each part alone."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import firwin, sosfilt, upfirdn

from undersong.ear import live_evidence, tuner
from undersong.ear.attack import AHEAD, BANDS, FRAME, rises
from undersong.ear.frames import RATE_HZ
from undersong.ear.live_stream import DECIMATION, HALF_TAPS, HOP, Filters, Stream
from undersong.ear.pitch import PITCH_RATE_HZ

HOPS = 40
NOISE = np.random.default_rng(3).normal(0, 0.1, HOPS * HOP).astype(np.float32)


def test_filters_together_are_each_filter_alone() -> None:
    together = Filters([band.sections for band in BANDS], HOP)
    rows = np.concatenate([together.feed(hop) for hop in NOISE.reshape(HOPS, HOP)], axis=1)
    for band, row in zip(BANDS, rows, strict=True):
        np.testing.assert_allclose(row, sosfilt(band.sections, NOISE), atol=1e-9)


def test_a_stream_remembers_what_was_played() -> None:
    stream = Stream(RATE_HZ)
    hops = stream.feed(NOISE)
    for _ in range(hops):
        stream.step()
    heard = stream.samples.between(0, stream.samples.end)
    for band in BANDS:
        frames = sosfilt(band.sections, heard)[: hops * HOP].reshape(-1, FRAME)
        np.testing.assert_allclose(
            stream.energies[band.name].between(0, stream.n_frames),
            (frames**2).mean(axis=1),
            rtol=1e-4,
            atol=1e-9,
        )
    taps = firwin(2 * HALF_TAPS + 1, 1 / DECIMATION, window=("kaiser", 5.0))
    thinned = upfirdn(taps, heard, 1, DECIMATION)[: stream.string.end]
    np.testing.assert_allclose(stream.string.between(0, len(thinned)), thinned, atol=1e-6)


def test_bands_together_rise_as_each_band_alone() -> None:
    stream = Stream(RATE_HZ)
    for _ in range(stream.feed(NOISE)):
        stream.step()
    alone = {}
    for band in BANDS:
        energies = stream.energies[band.name].between(0, stream.n_frames)
        stream.floors[band.name] = 3.0 * float(np.percentile(energies, 5)) + 1e-10
        alone[band.name] = np.maximum(rises(energies, band), 0.0)
    together = live_evidence.LiveEvidence(stream)._rises(stream.n_frames)
    for band in BANDS:
        known = live_evidence.SEEN - AHEAD - band.width  # what is to come is not known live
        np.testing.assert_allclose(
            together[band.name][:known],
            alone[band.name][-live_evidence.SEEN :][:known],
            atol=1e-5,
        )
        assert together[band.name][:known].max() > 0


@pytest.mark.parametrize("f0_hz", [41.2, 61.7, 98.0])
def test_harmonics_are_measured_as_by_the_sum_itself(f0_hz: float) -> None:
    time_s = np.arange(tuner.LENGTH + tuner.APART) / PITCH_RATE_HZ
    number = np.arange(1, 7)
    waves = np.sin(2 * np.pi * number[:, None] * f0_hz * 1.003 * time_s) / number[:, None]
    string = waves.sum(axis=0).astype(np.float32)
    early, late = string[: tuner.LENGTH], string[tuner.APART :]
    hz, size = tuner._harmonics(early, late, np.asarray(number * f0_hz, np.float64))
    wave = np.exp(
        -2j * np.pi * number[:, None] * f0_hz * np.arange(tuner.LENGTH) / PITCH_RATE_HZ
    ) * np.hanning(tuner.LENGTH)
    expected = np.abs(wave @ early) ** 0.5 * np.abs(wave @ late) ** 0.5
    np.testing.assert_allclose(size, 2 * expected / np.hanning(tuner.LENGTH).sum(), rtol=1e-9)
    np.testing.assert_allclose(hz, number * f0_hz * 1.003, rtol=1e-3)
