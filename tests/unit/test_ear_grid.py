"""Where the strokes of a pass are expected, however long it is and however it drifts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard
from undersong.ear.grid import PEAKS, _likeliest, _Peaks, located
from undersong.ear.hear import best_alignment
from undersong.ear.pitch import LOWEST_MIDI, MIDIS

SCALE = (39, 41, 43, 44, 46, 48, 50, 51, 50, 48, 46, 44, 43, 41, 39)


def heard_at(onset_s: NDArray[np.float64], midi: NDArray[np.intp]) -> Heard:
    """Attacks that are sure, and sure of their pitch."""
    odds = np.full((len(midi), len(MIDIS)), -6.0)
    odds[np.arange(len(midi)), midi - LOWEST_MIDI] = 0.0
    return Heard(onset_s, np.full(len(midi), 6.0), odds)


@pytest.mark.parametrize(("turns", "drift_s", "period_s"), [(15, 0.5, 300), (240, 2.5, 1500)])
def test_music_that_repeats_and_drifts_begins_where_it_began(
    turns: int, drift_s: float, period_s: float
) -> None:
    # Four minutes and an hour, a part in a hundred slower and faster again.
    midi = np.tile(SCALE, turns)
    grid_s = (np.arange(len(midi)) + np.arange(len(midi)) // len(SCALE)).astype(float)
    played_s = 2.0 + grid_s + drift_s * np.sin(2 * np.pi * grid_s / period_s)
    found = best_alignment(Asked(grid_s, midi), heard_at(played_s, midi), None)
    assert found is not None
    assert np.array_equal(found.match.attack, np.arange(len(midi)))
    assert np.abs(found.expected_s - played_s).max() < 0.1
    # The straight line alone would expect strokes where nothing or another was played.
    assert np.abs(found.grid.at(grid_s) - played_s).max() > 0.5 * drift_s


@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.3])
def test_the_likeliest_place_is_where_the_pass_was_played(ratio: float) -> None:
    midi = np.tile(SCALE, 2)
    grid_s = 0.5 * np.arange(len(midi), dtype=np.float64)
    grids = located(Asked(grid_s, midi), heard_at(3.0 + ratio * grid_s, midi))
    assert grids[0].ratio == pytest.approx(ratio, rel=0.01)
    assert grids[0].start_s == pytest.approx(3.0, abs=0.03)


def test_of_one_tempo_no_more_places_are_looked_at() -> None:
    votes = np.array([5.0, 9.0, 7.0, 6.0, 8.0, 4.0, 1.0])
    tempo = np.array([0, 0, 0, 0, 0, 0, 1])
    grids = list(_likeliest([_Peaks(votes, votes, tempo)], np.array([0.9, 1.1])))
    assert [grid.start_s for grid in grids if grid.ratio == 0.9] == [9.0, 8.0, 7.0, 6.0]
    assert PEAKS == 4
    assert [grid.start_s for grid in grids if grid.ratio == 1.1] == [1.0]


@pytest.mark.parametrize("played", [5, 12, 30])
def test_one_pitch_broken_off_begins_with_its_first_note(played: int) -> None:
    # Laid earlier it would have as many votes, and the first notes would be missed.
    midi = np.full(60, 40)
    asked = Asked(0.4 * np.arange(60, dtype=np.float64), midi)
    found = best_alignment(asked, heard_at(3.0 + asked.grid_s[:played], midi[:played]), None)
    assert found is not None
    assert np.array_equal(found.match.attack[:played], np.arange(played))
    assert np.all(found.match.attack[played:] == NONE)


def test_of_two_attacks_the_one_in_time_is_the_stroke() -> None:
    # An extra note of the next pitch comes first and is surer: it stays nobody's.
    midi = np.tile(SCALE, 2)
    grid_s = 0.5 * np.arange(len(midi), dtype=np.float64)
    stroke = 7
    played_s = np.insert(1.0 + grid_s, stroke, 1.0 + grid_s[stroke] - 0.156)
    heard = heard_at(played_s, np.insert(midi, stroke, midi[stroke]))
    odds = heard.attack_odds.copy()
    odds[stroke], odds[stroke + 1] = 8.0, 0.7
    found = best_alignment(Asked(grid_s, midi), replace(heard, attack_odds=odds), None)
    assert found is not None
    wanted = np.delete(np.arange(len(played_s)), stroke)
    assert np.array_equal(found.match.attack, wanted)


@pytest.mark.parametrize("false", [2, 3, 4])
def test_a_pass_on_one_pitch_begins_after_its_false_start(false: int) -> None:
    # Each place one note off fits nearly as well, and the player is no machine.
    midi = np.full(48, 38)
    grid_s = 0.275 * np.arange(48, dtype=np.float64)
    late_s = 0.008 * np.random.default_rng(false).normal(0, 1, 48)
    late_s[24] = -0.119
    played_s = np.concatenate((1.27 + 1.02 * grid_s[:false], 3.504 + grid_s + late_s))
    played = np.full(len(played_s), 38)
    played[[false + 13, false + 43]] = 39, 26
    found = best_alignment(Asked(grid_s, midi), heard_at(played_s, played), None)
    assert found is not None
    assert np.array_equal(found.match.attack, false + np.arange(48))


@pytest.mark.parametrize(("off_s", "is_stroke"), [(-0.25, False), (-0.06, True), (0.1, True)])
def test_a_stray_note_after_a_pass_broke_off_is_no_stroke(off_s: float, *, is_stroke: bool) -> None:
    midi = np.tile(SCALE, 2)
    grid_s = 0.5 * np.arange(len(midi), dtype=np.float64)
    played_s = np.append(1.0 + grid_s[:9], 1.0 + grid_s[9] + off_s)
    pitch = np.append(midi[:9], midi[9] if is_stroke else midi[8])
    found = best_alignment(Asked(grid_s, midi), heard_at(played_s, pitch), None)
    assert found is not None
    assert np.array_equal(found.match.attack[:9], np.arange(9))
    assert found.match.attack[9] == (9 if is_stroke else NONE)
    assert np.all(found.match.attack[10:] == NONE)
