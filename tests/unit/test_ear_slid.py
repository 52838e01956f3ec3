"""Notes that are slid into begin where their pitch arrives.

The sounds are made here, sample by sample, so that the arrival is known exactly.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Match
from undersong.ear.evidence import gathered
from undersong.ear.frames import listen
from undersong.ear.pitch import PITCH_RATE_HZ
from undersong.ear.slid import arrival, with_arrivals
from undersong.theory.pitch import midi_to_hz

RATE_HZ = 44_100
ARRIVES_S = 0.8


def slide(low: int, high: int, glide_s: float, rate_hz: int = PITCH_RATE_HZ) -> NDArray[np.float32]:
    """A string whose pitch glides from one note to another and arrives at `ARRIVES_S`."""
    time_s = np.arange(round(1.8 * rate_hz)) / rate_hz
    way = np.clip((time_s - ARRIVES_S) / glide_s + 1, 0, 1)
    f0_hz = midi_to_hz(float(low)) * 2 ** (way * (high - low) / 12)
    phase = 2 * np.pi * np.cumsum(f0_hz) / rate_hz
    sound = sum(np.sin(number * phase) / number for number in range(1, 9))
    sound = sound * np.exp(-time_s / 1.5) * np.minimum(1, time_s / 0.004)
    return (0.2 * sound).astype(np.float32)


@pytest.mark.parametrize("low", [23, 28, 33, 40, 45])
@pytest.mark.parametrize("step", [-5, -2, -1, 1, 2, 4])
@pytest.mark.parametrize("glide_s", [0.03, 0.08])
def test_the_arrival_is_found(low: int, step: int, glide_s: float) -> None:
    if low + step < 23:
        return
    f0_hz = midi_to_hz(float(low + step))
    found = arrival(slide(low, low + step, glide_s), f0_hz, 0.65, 0.95)
    room_s = max(0.012, 0.5 / f0_hz)
    # From a quarter tone off it is that note to any ear; the last of a slow slide is no fault.
    near_s = ARRIVES_S - 0.5 * glide_s / abs(step)
    assert found is not None
    assert near_s - room_s < found < ARRIVES_S + room_s


def test_a_note_that_stays_does_not_arrive() -> None:
    assert arrival(slide(33, 33, 0.05), midi_to_hz(33.0), 0.65, 0.95) is None


def test_noise_does_not_arrive() -> None:
    noise = np.random.default_rng(4).normal(0, 0.1, 2 * PITCH_RATE_HZ).astype(np.float32)
    assert arrival(noise, 55.0, 0.65, 0.95) is None


@pytest.mark.parametrize(("first_s", "last_s"), [(-0.1, 0.2), (1.7, 1.9), (0.9, 0.9)])
def test_where_there_is_too_little_sound_nothing_is_said(first_s: float, last_s: float) -> None:
    assert arrival(slide(33, 35, 0.05), midi_to_hz(35.0), first_s, last_s) is None


@pytest.mark.parametrize("is_asked", [True, False])
def test_a_stroke_without_an_attack_gets_the_arrival(*, is_asked: bool) -> None:
    sound = np.append(np.zeros(RATE_HZ // 10, np.float32), slide(33, 35, 0.06, RATE_HZ))
    evidence = gathered(listen([sound], RATE_HZ))
    first = int(np.abs(evidence.onset_s - 0.1).argmin())
    asked = Asked(np.array([0.0, ARRIVES_S]), np.array([33, 35]))
    match = Match(np.array([first, NONE]), 0.0)
    slid = np.array([False, is_asked])
    expected_s = np.array([0.1, 0.1 + ARRIVES_S])
    moved, matched = with_arrivals(evidence, match, asked, expected_s, slid)
    assert np.all(np.diff(moved.onset_s) >= 0)
    assert moved.onset_s[matched.attack[0]] == evidence.onset_s[first]
    assert moved.onset_s[matched.attack[1]] == pytest.approx(0.1 + ARRIVES_S, abs=0.02)
    rows = (moved.odds, moved.end_s, moved.scores, moved.level_db, moved.vague)
    assert {len(row) for row in rows} == {len(moved.onset_s)}


def test_another_pitch_than_asked_is_no_slide_nobody_asked_for() -> None:
    sound = np.append(np.zeros(RATE_HZ // 10, np.float32), slide(33, 38, 0.06, RATE_HZ))
    evidence = gathered(listen([sound], RATE_HZ))
    asked = Asked(np.array([0.0, ARRIVES_S]), np.array([33, 35]))
    match = Match(np.array([0, NONE]), 0.0)
    expected_s = np.array([0.1, 0.1 + ARRIVES_S])
    _, matched = with_arrivals(evidence, match, asked, expected_s, np.zeros(2, bool))
    assert matched.attack[1] == NONE


@pytest.mark.parametrize(("arrives", "begins_s"), [(35, 0.1 + ARRIVES_S), (33, 1.15)])
def test_what_is_struck_long_after_its_pitch_arrived_is_another_note(
    arrives: int, begins_s: float
) -> None:
    # Either the asked note is slid into and then struck once more, or it is struck late alone.
    sound = np.append(np.zeros(RATE_HZ // 10, np.float32), slide(33, arrives, 0.06, RATE_HZ))
    struck_s, struck = 1.15, slide(35, 35, 0.06, RATE_HZ)
    at = round(struck_s * RATE_HZ)
    sound[at:] = struck[: len(sound) - at]
    evidence = gathered(listen([sound], RATE_HZ))
    rows = [int(np.abs(evidence.onset_s - each).argmin()) for each in (0.1, struck_s)]
    assert evidence.onset_s[rows[1]] == pytest.approx(struck_s, abs=0.02)
    asked = Asked(np.array([0.0, ARRIVES_S]), np.array([33, 35]))
    expected_s = np.array([0.1, 0.1 + ARRIVES_S])
    moved, matched = with_arrivals(
        evidence, Match(np.array(rows), 0.0), asked, expected_s, np.zeros(2, bool)
    )
    assert moved.onset_s[matched.attack[1]] == pytest.approx(begins_s, abs=0.02)
    assert np.abs(moved.onset_s - struck_s).min() < 0.02
