"""The committed takes keep the promises that the tests of the ear rest on."""

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import butter, sosfilt

TAKES = sorted((Path(__file__).parents[1] / "takes").glob("*.flac"))
CLEAN_MARGIN_MS = 8.0
PLANT_MARGIN_MS = 15.0
ROUNDING_MS = 0.01
BEAT = {"4/4": Fraction(1, 4), "6/8": Fraction(3, 8)}


def truth_of(take: Path) -> dict[str, Any]:
    truth: dict[str, Any] = json.loads(take.with_suffix(".json").read_text(encoding="utf-8"))
    return truth


def lateness_ms(truth: dict[str, Any], played: dict[str, Any]) -> float:
    asked = truth["asked"]["notes"][played["asked_index"]]
    beats = Fraction(asked["at"]) / BEAT[truth["asked"]["meter"]]
    expected_s = truth["start_s"] + float(beats) * 60 / truth["tempo_bpm"]
    return 1000 * float(played["onset_s"] - expected_s)


def test_there_are_enough_takes_of_enough_sorts() -> None:
    truths = [truth_of(take) for take in TAKES]
    assert len(truths) >= 24
    assert sum(truth["clean"] for truth in truths) >= 12
    assert sum(not truth["clean"] for truth in truths) >= 12
    assert len({truth["sound"] for truth in truths}) >= 4
    assert len({truth["source"] for truth in truths}) >= 3
    assert {truth["strings"] for truth in truths} == {4, 5}
    tempos = [truth["tempo_bpm"] for truth in truths]
    assert min(tempos) <= 55
    assert max(tempos) >= 155
    assert {truth["asked"]["meter"] for truth in truths} == {"4/4", "6/8"}


def test_the_takes_stay_small_in_the_repository() -> None:
    assert sum(path.stat().st_size for path in TAKES[0].parent.iterdir()) < 7.5e6


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.stem)
def test_a_clean_take_is_every_asked_note_well_inside_the_window(take: Path) -> None:
    truth = truth_of(take)
    asked = truth["asked"]["notes"]
    plain = [note for note in truth["played"] if note["plant"] is None]
    most_ms = truth["tolerance_ms"] - CLEAN_MARGIN_MS + ROUNDING_MS
    assert all(note["midi"] == asked[note["asked_index"]]["midi"] for note in plain)
    assert max(abs(lateness_ms(truth, note)) for note in plain) <= most_ms
    faults = len(truth["played"]) - len(plain) + len(truth["missed"])
    assert truth["clean"] == (faults == 0)


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.stem)
def test_every_asked_note_is_played_once_or_missed(take: Path) -> None:
    truth = truth_of(take)
    indices = [n["asked_index"] for n in truth["played"] if n["asked_index"] is not None]
    assert sorted(indices + truth["missed"]) == list(range(len(truth["asked"]["notes"])))


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.stem)
def test_a_planted_mistake_is_one(take: Path) -> None:
    truth = truth_of(take)
    least_ms = truth["tolerance_ms"] + PLANT_MARGIN_MS - ROUNDING_MS
    for note in truth["played"]:
        if note["plant"] == "wrong":
            assert note["midi"] != truth["asked"]["notes"][note["asked_index"]]["midi"]
        if note["plant"] == "late":
            assert lateness_ms(truth, note) >= least_ms
        if note["plant"] == "early":
            assert lateness_ms(truth, note) <= -least_ms
        assert (note["plant"] == "extra") == (note["asked_index"] is None)


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.stem)
def test_after_silence_a_note_sounds_where_it_is_said_to(take: Path) -> None:
    truth = truth_of(take)
    samples, rate_hz = sf.read(take, always_2d=True)
    assert rate_hz == truth["sample_rate_hz"]
    assert samples.shape[1] == truth["n_channels"]
    high_pass = butter(2, 80, "highpass", fs=rate_hz, output="sos")
    energy = sosfilt(high_pass, samples[:, 0]) ** 2
    silent_until_s = 0.0
    for note in truth["played"]:
        if note["onset_s"] - silent_until_s > 0.1:
            onset = round(note["onset_s"] * rate_hz)
            before = energy[onset - round(0.023 * rate_hz) : onset - round(0.003 * rate_hz)]
            after = energy[onset : onset + round(0.02 * rate_hz)]
            assert np.mean(after) > 100 * np.mean(before)
        silent_until_s = note["offset_s"]
