from __future__ import annotations

import warnings

import numpy as np
import pytest

from undersong.ear.attack import attacks
from undersong.ear.frames import RATE_HZ, TOP_STEP_S, Resampler, checked, listen
from undersong.errors import AudioError


def tone(rate_hz: int, *, hz: float = 440.0, length_s: float = 1.3) -> np.ndarray:
    at_s = np.arange(int(rate_hz * length_s)) / rate_hz
    return (np.sin(2 * np.pi * hz * at_s) * np.hanning(len(at_s))).astype(np.float32)


@pytest.mark.parametrize("rate_hz", [4000, 8000, 11025, 22050, 44056, 44100, 48000, 96000, 192000])
def test_a_tone_arrives_in_its_place_at_any_rate(rate_hz: int) -> None:
    heard = listen([tone(rate_hz)], rate_hz).samples
    assert len(heard) == pytest.approx(1.3 * RATE_HZ, abs=1)
    wanted = tone(RATE_HZ)[: len(heard)]
    assert np.abs(heard[: len(wanted)] - wanted).max() < 0.005


def test_what_cannot_be_kept_is_filtered_away() -> None:
    assert np.abs(listen([tone(48000, hz=9000.0)], 48000).samples).max() < 0.003


@pytest.mark.parametrize(("rate_hz", "lag"), [(16000, 1), (22050, 1), (44100, 2), (96000, 4)])
@pytest.mark.parametrize("hz", [1000.0, 5000.0, 7000.0])
def test_the_top_is_what_a_third_difference_leaves(rate_hz: int, lag: int, hz: float) -> None:
    # A difference over L samples turns a tone of amplitude 1 into one of 2 sin(pi f L / rate):
    # Oppenheim and Schafer, Discrete-Time Signal Processing, the comb filter (from memory).
    at_s = np.arange(rate_hz) / rate_hz
    top = listen([np.sin(2 * np.pi * hz * at_s).astype(np.float32)], rate_hz).top
    assert len(top) == pytest.approx(1 / TOP_STEP_S, abs=1)
    assert top[5:].mean() == pytest.approx((2 * np.sin(np.pi * hz * lag / rate_hz)) ** 6 / 2, 0.02)


@pytest.mark.parametrize("rate_hz", [22050, 44100, 48000])
def test_the_top_has_no_seam_between_blocks(rate_hz: int) -> None:
    rng = np.random.default_rng(rate_hz)
    samples = rng.normal(0, 0.1, 20 * rate_hz).astype(np.float32)
    cuts = np.sort(rng.integers(0, len(samples), 200))
    whole = listen([samples], rate_hz).top
    assert len(whole) == 10_000
    assert listen(np.split(samples, cuts), rate_hz).top == pytest.approx(whole, rel=1e-5)


def test_a_slow_stream_has_no_top() -> None:
    take = listen([tone(8000)], 8000)
    assert len(take.top) == 0
    assert not np.ptp(attacks(take.samples, take.top).course[-1])


def test_a_take_remembers_its_length_and_peak() -> None:
    take = listen([tone(22050), tone(22050)], 22050)
    assert take.length_s == pytest.approx(2.6, abs=0.001)
    assert take.peak == pytest.approx(1.0, abs=0.01)
    assert not take.cut_short


def test_no_numbers_are_heard_as_silence_and_counted() -> None:
    samples = tone(8000)
    samples[100:120] = np.nan
    samples[200] = np.inf
    take = listen([samples], 8000)
    assert take.bad_samples == 21
    assert np.isfinite(take.samples).all()


def test_a_sample_beyond_all_measure_is_taken_without_a_word() -> None:
    block = np.full(500, 0.1, np.float32)
    block[3] = 1e30
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        samples, n_bad = checked(block)
    assert n_bad == 0
    assert samples[3] == np.float32(1e30)


def test_a_flat_top_counts_as_clipped_and_a_round_one_does_not() -> None:
    loud = np.clip(8 * tone(22050, hz=60.0), -1, 1)
    assert listen([loud], 22050).clipped_share > 0.3
    assert listen([tone(22050, hz=60.0)], 22050).clipped_share < 0.01


@pytest.mark.parametrize("rate_hz", [0, -8000, 3999, 1_000_000])
def test_a_rate_no_card_offers_is_refused(rate_hz: int) -> None:
    with pytest.raises(AudioError, match="samples a second cannot be heard"):
        Resampler(rate_hz)


@pytest.mark.parametrize("block", [np.zeros((4, 2)), np.zeros(4, np.int16)])
def test_anything_but_one_row_of_floats_is_refused(block: np.ndarray) -> None:
    with pytest.raises(AudioError, match="one row of floating-point samples"):
        listen([block], 44100)
