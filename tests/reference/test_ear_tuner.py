"""The tuner against tones whose frequency is known by formula and sampled basses of known tuning.

Equal temperament at A4 = 440 Hz: f = 440 * 2 ** ((n - 69) / 12) [MIDI 1.0; ISO 16]. The sampled
takes carry the tuning of each note, measured by another method from 0.15 to 0.65 s after its attack
(benchmarks/takes/attack.py, which imports nothing of the project); later a string may have drifted.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from ear_truth import known_takes
from live_sounds import RATE_HZ, tone
from undersong.ear.live import LiveEar, TunerReading

TAKES = Path(__file__).parent.parent / "takes"
TARGET_CENTS = 2.0
SETTLED_S = 0.55
MEASURED_S = (0.57, 0.68)


def readings(samples: NDArray[np.floating], rate_hz: int) -> list[TunerReading]:
    ear = LiveEar(rate_hz)
    events = [e for k in range(0, len(samples), 512) for e in ear.feed(samples[k : k + 512])]
    return [event for event in events if isinstance(event, TunerReading)]


@pytest.mark.parametrize("midi", [23, 28, 33, 38, 43, 48])
@pytest.mark.parametrize("cents", [-45.0, 0.0, 7.0, 45.0])
@pytest.mark.parametrize("fundamental", [1.0, 0.0], ids=["whole", "no fundamental"])
def test_open_strings_are_read_to_two_cents(midi: int, cents: float, fundamental: float) -> None:
    sound = tone(midi + cents / 100, 1.0, fundamental=fundamental).astype(np.float32)
    steady = [r for r in readings(sound, RATE_HZ) if SETTLED_S < r.said_s < 0.95]
    assert len(steady) >= 3
    for reading in steady:
        assert reading.midi == midi
        assert reading.cents == pytest.approx(cents, abs=TARGET_CENTS)


def test_sampled_basses_are_read_as_their_makers_measured_them() -> None:
    off = []
    for take in islice(known_takes(TAKES), 1, None, 2):
        played = take.truth["played"]
        if not any(note["offset_s"] - note["onset_s"] > MEASURED_S[1] for note in played):
            continue
        before_s = -1.0
        for reading, note in paired(readings(take.samples, take.rate_hz), played):
            if before_s < note["onset_s"] and reading.midi is not None:
                assert reading.midi == note["midi"]
                off.append((reading.cents or 0.0) - note["cents"])
            before_s = note["offset_s"]
    assert len(off) > 30
    assert abs(float(np.median(off))) < 1.0
    assert float(np.percentile(np.abs(off), 80)) < TARGET_CENTS


def paired(
    all_readings: list[TunerReading], played: list[dict[str, Any]]
) -> Iterator[tuple[TunerReading, dict[str, Any]]]:
    """Each long note with the reading of the stretch in which its tuning was measured."""
    for note in played:
        for reading in all_readings:
            age_s = reading.said_s - note["onset_s"]
            is_measured = MEASURED_S[0] < age_s <= MEASURED_S[1]
            if is_measured and reading.said_s < note["offset_s"] - 0.02:
                yield reading, note


@pytest.mark.parametrize("kind", ["silence", "noise", "two strings a tritone apart"])
def test_what_has_no_one_pitch_is_not_read(kind: str) -> None:
    sounds = {
        "silence": np.zeros(RATE_HZ),
        "noise": np.random.default_rng(5).normal(0, 0.1, RATE_HZ),
        "two strings a tritone apart": tone(33, 1.0) + tone(39.5, 1.0),
    }
    assert all(r.midi is None for r in readings(sounds[kind].astype(np.float32), RATE_HZ))


def test_levels_are_those_of_a_sine() -> None:
    t = np.arange(RATE_HZ) / RATE_HZ
    sine = (0.5 * np.sin(2 * np.pi * 110 * t)).astype(np.float32)
    last = readings(sine, RATE_HZ)[-1]
    assert last.peak_db == pytest.approx(20 * np.log10(0.5), abs=0.1)
    assert last.level_db == pytest.approx(20 * np.log10(0.5 / np.sqrt(2)), abs=0.1)
