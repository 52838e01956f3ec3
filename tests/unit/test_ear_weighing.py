"""Drums are no notes, and a stroke beside a drum keeps its own time.

The drums here are Undersong's own, which no part of the ear was fitted to.
"""

from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from ear_player import RATE_HZ, SCALE, Samples, asked, part_of, plucked
from undersong.ear import Hearing, Verdict, evidence, hear
from undersong.ear.weighing import (
    SPANS_MS,
    Forest,
    Networks,
    alike,
    forest,
    networks,
    of_notes,
    of_pitch,
)
from undersong.sound.drums import Drums
from undersong.sound.schedule import NoteEvent
from undersong.theory.part import Note
from undersong.theory.pitch import plain_pitch

KICK, SNARE, HAT = 36, 38, 42
PART = part_of(*SCALE, *reversed(SCALE))
BEAT_S = 60 / PART.tempo_bpm
START_S = 0.5


def kit(level: float) -> Samples:
    """A plain beat through the whole part: kick and snare in turn, a hat on every eighth."""
    events = [
        NoteEvent(
            START_S + k * BEAT_S / 2, 0.1, Note(Fraction(0), Fraction(1, 16), plain_pitch(key))
        )
        for k in range(2 * len(PART.notes))
        for key in ((HAT,) if k % 2 else (HAT, SNARE if k % 4 else KICK))
    ]
    sound = (
        Drums(RATE_HZ).play(tuple(events), round((START_S + 17 * BEAT_S) * RATE_HZ)).mean(axis=1)
    )
    return np.asarray(level * sound / np.abs(sound).max(), np.float32)


def heard(played: Samples, level: float) -> Hearing:
    drums = kit(level * float(np.abs(played).max()))
    n_samples = max(len(played), len(drums))
    both = [np.pad(sound, (0, n_samples - len(sound))) for sound in (played, drums)]
    return hear([both[0] + both[1]], RATE_HZ, PART)


@pytest.mark.parametrize("level", [0.1, 0.4])
def test_a_band_in_the_room_changes_nothing(level: float) -> None:
    hearing = heard(plucked(PART, asked(PART), start_s=START_S), level)
    assert hearing.clean, hearing.reason
    assert [note.verdict for note in hearing.notes] == [Verdict.RIGHT] * 16


@pytest.mark.parametrize("place", [4, 5])
def test_a_drum_where_a_note_was_left_out_is_not_that_note(place: int) -> None:
    midis = asked(PART)
    midis[place] = None
    hearing = heard(plucked(PART, midis, start_s=START_S), 0.4)
    faults = [note for note in hearing.notes if note.verdict is not Verdict.RIGHT]
    assert [(note.index, note.verdict) for note in faults] == [(place, Verdict.MISSED)]


@pytest.mark.parametrize(("place", "late_ms"), [(4, 100.0), (5, 100.0), (9, -100.0)])
def test_a_note_beside_a_drum_keeps_its_own_time(place: int, late_ms: float) -> None:
    late = np.zeros(16)
    late[place] = late_ms
    hearing = heard(plucked(PART, asked(PART), start_s=START_S, late_ms=late), 0.4)
    assert all(note.verdict is Verdict.RIGHT for note in hearing.notes)
    assert hearing.notes[place].timing_ms == pytest.approx(late_ms, abs=15)


def test_a_place_is_believed_as_those_are_that_begin_alike() -> None:
    # Written out: every other place, by how like it begins in the middle, the high and the top.
    rng = np.random.default_rng(3)
    n_places, bands, spans = 700, (1, 2, 4), range(4, 10)
    course = rng.normal(0, 0.4, (n_places, 5, len(SPANS_MS)))
    odds = rng.normal(0, 3, n_places)
    found = alike(np.concatenate((course.reshape(n_places, -1), odds[:, None]), axis=1), odds)
    for place in (0, 1, 150, 699):
        among = [k for k in range(n_places) if k != place and abs(k - place) <= 200]
        off = np.array(
            [
                np.mean(
                    [(course[k, b, s] - course[place, b, s]) ** 2 for b in bands for s in spans]
                )
                for k in among
            ]
        )
        wanted = []
        for width in (0.3, 0.6):
            weight = np.exp(-off / (2 * width**2))
            believed = float(np.sum(weight * np.tanh(odds[among] / 2)))
            wanted += [believed / (weight.sum() + 0.3), np.log(weight.sum() + 0.1)]
        assert found[place] == pytest.approx(wanted)


def test_a_forest_adds_up_what_its_trees_say() -> None:
    # The first tree asks whether a > 1 (1) and b > 2 (2); the second, of one layer, whether b > 0.
    forest = Forest(
        columns=np.array([[0, 1], [1, 0]]),
        borders=np.array([[1.0, 0.0], [2.0, np.inf]], np.float32),
        leaves=np.array([[0.0, 1.0, 2.0, 3.0], [10.0, 20.0, np.nan, np.nan]]),
    )
    table = np.array([[1.0, 2.0], [1.5, -1.0], [0.0, 3.0], [9.0, 9.0]])
    assert forest.odds(table).tolist() == [20.0, 11.0, 22.0, 23.0]
    many = np.resize(table, (1000, 2))
    assert forest.odds(many).tolist() == [20.0, 11.0, 22.0, 23.0] * 250


def test_networks_count_by_their_mean() -> None:
    # Written out: tanh of sums of tanh, two networks of one unit each.
    both = Networks(
        middle=np.array([1.0]),
        scale=np.array([2.0]),
        layers=tuple(
            np.array(each)
            for each in (
                [[[1.0]], [[-0.5]]],
                [[0.0], [0.2]],
                [[[2.0]], [[1.0]]],
                [[0.1], [0.0]],
                [[3.0], [1.0]],
                [0.5, -1.0],
            )
        ),
    )
    x = 0.75
    first = 3 * np.tanh(2 * np.tanh(x) + 0.1) + 0.5
    second = np.tanh(np.tanh(-0.5 * x + 0.2)) - 1
    table = np.full((700, 1), 1 + 2 * x)
    assert both.odds(table) == pytest.approx(np.full(700, (first + second) / 2))


@pytest.mark.parametrize("name", ["places", "notes"])
def test_the_networks_are_whole(name: str) -> None:
    weights = networks(name)
    assert weights.middle.shape == weights.scale.shape == weights.layers[0].shape[1:2]
    assert np.isfinite(weights.odds(np.zeros((3, len(weights.middle))))).all()


def test_the_forest_is_whole() -> None:
    trees = forest()
    n_layers, n_trees = trees.columns.shape
    assert trees.borders.shape == (n_layers, n_trees)
    assert trees.leaves.shape == (n_trees, 2**n_layers)
    assert np.isfinite(trees.leaves).all()


def test_network_and_forest_count_the_same() -> None:
    table = np.random.default_rng(5).normal(0, 2, (50, len(networks("notes").middle)))
    odds = of_pitch(table)
    both = np.clip(networks("notes").odds(table), -8, 8) + np.clip(forest().odds(table), -8, 8)
    assert odds == pytest.approx(both / 2)


def test_the_forest_asks_about_columns_that_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[int] = []

    def asked_about(*given: Any) -> Any:
        table = of_notes(*given)
        seen.append(table.shape[1])
        return table

    monkeypatch.setattr(evidence, "of_notes", asked_about)
    heard(plucked(PART, asked(PART), start_s=START_S), 0.1)
    assert len(seen) == 1
    assert forest().columns.max() < seen[0] == len(networks("notes").middle)
