"""A session by formula: restarts, a jump, another tempo, a wrong note, silence, other music."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from live_sounds import RATE_HZ, SCALE, plucked, scale_part
from undersong.ear.practised import Practised, practised
from undersong.ear.practised_words import bar_figures, practised_json, practised_lines
from undersong.errors import PracticeError
from undersong.theory.part import Part
from undersong.theory.pitch import plain_pitch

MIDIS = (*SCALE, 28, 35, 30, 37, 31, 38, 40, 28)


def part_of_six_bars() -> Part:
    part = scale_part()
    note = part.notes[0]
    notes = tuple(
        replace(note, at=Fraction(k, 4), pitch=plain_pitch(midi)) for k, midi in enumerate(MIDIS)
    )
    return replace(part, notes=notes, length=Fraction(6))


def some(part: Part, first_bar: int, last_bar: int, *, tempo: float = 1.0) -> Part:
    """Bars of a part, moved to its beginning."""
    start = Fraction(first_bar - 1)
    notes = tuple(
        replace(n, at=n.at - start) for n in part.notes if start <= n.at < Fraction(last_bar)
    )
    length = Fraction(last_bar - first_bar + 1)
    return replace(part, notes=notes, length=length, tempo_bpm=part.tempo_bpm * tempo)


def session() -> tuple[Part, NDArray[np.float32]]:
    """Bars 1 to 4, a restart at 1 to 2 with a wrong note, then 4 to 6 faster."""
    part = part_of_six_bars()
    first, again, jump = some(part, 1, 4), some(part, 1, 2), some(part, 4, 6, tempo=1.2)
    wrong = [note.pitch.midi for note in again.notes]
    wrong[5] += 1
    pieces = [
        plucked(first, [n.pitch.midi for n in first.notes]),
        plucked(again, wrong),
        plucked(jump, [n.pitch.midi for n in jump.notes]),
    ]
    return part, np.concatenate(pieces)


@pytest.fixture(scope="module")
def heard() -> tuple[Part, Practised]:
    part, samples = session()
    return part, practised([samples], RATE_HZ, part)


def test_every_bar_is_where_it_was_played(heard: tuple[Part, Practised]) -> None:
    _, found = heard
    assert [each.bar for each in found.bars] == [1, 2, 3, 4, 1, 2, 4, 5, 6]
    assert [each.passage for each in found.bars] == [0, 0, 0, 0, 1, 1, 2, 2, 2]
    assert found.bars[0].start_s == pytest.approx(0.5, abs=0.01)


def test_tempo_and_faults_belong_to_the_bar(heard: tuple[Part, Practised]) -> None:
    part, found = heard
    tempos = [passage.tempo_bpm / part.tempo_bpm for passage in found.passages]
    assert tempos == pytest.approx([1.0, 1.0, 1.2], rel=0.01)
    assert [each.clean for each in found.of_bar(2)] == [True, False]
    assert sum(passage.faults for passage in found.passages) == 1


def test_the_figures_add_up_and_are_said(heard: tuple[Part, Practised]) -> None:
    part, found = heard
    figures = bar_figures(found)
    assert sum(each.played for each in figures) == len(found.bars)
    four = next(each for each in figures if each.bar == 4)
    assert (four.played, four.clean) == (2, 2)
    assert four.fastest_clean_bpm == pytest.approx(1.2 * part.tempo_bpm, rel=0.01)
    lines = practised_lines(found, part)
    assert "in 3 passages." in lines[0]
    assert "Bar 4: 2 times at 90 to 108, 2 clean (up to 108)." in lines
    assert "Least often clean: bar 2." in lines
    answer = json.loads(json.dumps(practised_json(found, part)))
    assert [bar["bar"] for bar in answer["bars"]] == [1, 2, 3, 4, 5, 6]
    assert answer["passages"][2]["first_bar"] == 4
    assert answer["bars"][1]["last_clean"] is False


def test_what_was_not_played_is_named() -> None:
    part = part_of_six_bars()
    first = some(part, 2, 3)
    samples = plucked(first, [note.pitch.midi for note in first.notes])
    lines = practised_lines(practised([samples], RATE_HZ, part), part)
    assert lines[-1] == "Not played: bars 1, 4 to 6."


def test_silence_and_other_music_are_answers() -> None:
    part = part_of_six_bars()
    silent = practised([np.zeros(RATE_HZ, np.float32)], RATE_HZ, part)
    assert silent.reason is not None
    assert practised_lines(silent, part)[0].startswith("I could not judge this: the recording")
    other = scale_part()
    rng = np.random.default_rng(2)
    wandering = [int(midi) for midi in rng.integers(50, 56, len(other.notes))]
    nothing = practised([plucked(other, wandering)], RATE_HZ, part)
    assert nothing.reason is None
    assert nothing.bars == ()
    assert practised_lines(nothing, part) == ["I heard nothing of 'Scale' in this recording."]


def test_a_level_there_is_not_is_refused() -> None:
    with pytest.raises(PracticeError, match="no level 9"):
        practised([], RATE_HZ, part_of_six_bars(), level=9)
