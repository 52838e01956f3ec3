"""Passages of a Part among attacks, without sound: what was put in is found again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from undersong.ear.align import Asked, Heard
from undersong.ear.pitch import LOWEST_MIDI, MIDIS
from undersong.ear.practised_align import BACK, passages

MIDI = np.array([31, 38, 33, 40, 35, 42, 36, 43, 45, 31, 40, 33, 47, 38, 35, 45] * 2)
MIDI[16:] = np.roll(MIDI[16:], 5) + 2
ASKED = Asked(0.5 * np.arange(len(MIDI), dtype=np.float64), MIDI)
BEGINS = np.arange(len(MIDI)) % 4 == 0


def heard_of(onset_s: list[float], midi: list[int]) -> Heard:
    """Attacks of sure pitch."""
    pitch = np.full((len(midi), len(MIDIS)), -9.0)
    pitch[np.arange(len(midi)), np.array(midi, dtype=int) - LOWEST_MIDI] = 0.0
    return Heard(np.array(onset_s), np.full(len(midi), 5.0), pitch)


@st.composite
def sessions(draw: st.DrawFn) -> tuple[list[float], list[int], list[tuple[int, int]]]:
    """Onsets and pitches of some passages with a gap after each; and what each was."""
    onset_s: list[float] = []
    midi: list[int] = []
    put: list[tuple[int, int]] = []
    at_s = 0.3
    for _ in range(draw(st.integers(1, 5))):
        first = 4 * draw(st.integers(0, len(MIDI) // 4 - 2))
        # Going on a note or two later after a pause is no new passage: the player hesitated.
        assume(not put or not put[-1][1] < first <= put[-1][1] + BACK)
        length = draw(st.integers(7, len(MIDI) - first))
        ratio = draw(st.floats(0.65, 1.7))
        wrong = draw(st.integers(2, length - 2))
        for stroke in range(first, first + length):
            late_s = draw(st.floats(-0.01, 0.01))
            onset_s.append(at_s + ratio * 0.5 * (stroke - first) + late_s)
            midi.append(int(MIDI[stroke]) + (1 if stroke == first + wrong else 0))
        put.append((first, first + length - 1))
        at_s = onset_s[-1] + draw(st.floats(1.5, 6.0))
    return onset_s, midi, put


@settings(max_examples=40, deadline=None)
@given(sessions())
def test_passages_are_found_where_they_were_put(
    session: tuple[list[float], list[int], list[tuple[int, int]]],
) -> None:
    onset_s, midi, put = session
    found = passages(ASKED, heard_of(onset_s, midi), BEGINS)
    strokes = [(int(stretch.stroke[0]), int(stretch.stroke[-1])) for stretch in found]
    assert strokes == put
    for stretch in found:
        assert (np.diff(stretch.attack) > 0).all()
        assert (np.diff(stretch.stroke) > 0).all()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_noodling_is_no_passage(seed: int) -> None:
    rng = np.random.default_rng(seed)
    onset_s = np.cumsum(rng.uniform(0.1, 0.9, 40)).tolist()
    found = passages(ASKED, heard_of(onset_s, rng.integers(50, 60, 40).tolist()), BEGINS)
    assert found == []


def test_nothing_heard_is_no_passage() -> None:
    assert passages(ASKED, heard_of([], []), BEGINS) == []


@pytest.mark.parametrize("left_out", [3, 9])
def test_a_missed_and_an_extra_note_do_not_end_a_passage(left_out: int) -> None:
    onset_s = [0.5 * k for k in range(20) if k != left_out]
    midi = [int(MIDI[k]) for k in range(20) if k != left_out]
    onset_s.insert(6, onset_s[5] + 0.2)
    midi.insert(6, 30)
    found = passages(ASKED, heard_of(onset_s, midi), BEGINS)
    assert len(found) == 1
    assert left_out not in found[0].stroke
    assert 6 not in found[0].attack
    assert len(found[0].stroke) == 19
