"""Odd recordings, refusals and their neighbours, the JSON and the words.

The sound here is made by formula (a sum of decaying harmonics): good enough for what is asked, and
never used to say how well the ear hears.
"""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from ear_player import RATE_HZ, SCALE, asked, part_of, plucked
from undersong.ear import Reference, Verdict, hear, hearing_json, hearing_lines
from undersong.errors import PracticeError
from undersong.theory.part import Articulation, Note, Part
from undersong.theory.pitch import parse_pitch


def test_a_steady_player_is_clean() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    hearing = hear([plucked(part, asked(part))], RATE_HZ, part)
    assert hearing.clean is True
    assert hearing.reference is Reference.FITTED
    assert hearing.start_s == pytest.approx(0.5, abs=0.01)
    assert hearing.tempo_bpm == pytest.approx(90.0)
    assert hearing_lines(hearing, part)[0] == "Clean. All 16 notes right and in time."


def test_a_wrong_note_is_named_as_a_musician_would() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    midis = asked(part)
    midis[6] = parse_pitch("F2").midi
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert hearing.clean is False
    assert [n.index for n in hearing.notes if n.verdict is Verdict.WRONG] == [6]
    assert "Fix: Bar 2, beat 3: you played F, the chart has F sharp." in hearing_lines(
        hearing, part
    )


FIVE_STRINGS = (23, 28, 33, 38, 43)


@pytest.mark.parametrize(
    ("place", "strings", "verdict"),
    [(4, None, Verdict.MISSED), (4, FIVE_STRINGS, Verdict.WRONG), (3, None, Verdict.WRONG)],
)
def test_below_the_lowest_string_is_no_wrong_note(
    place: int, strings: tuple[int, ...] | None, verdict: Verdict
) -> None:
    # A C under four strings is some drum; where C is asked, a string the part does not tell of.
    part = replace(part_of(*SCALE, *SCALE[::-1]), tuning=strings)
    midis = asked(part)
    midis[place] = parse_pitch("C1").midi
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    faults = [note for note in hearing.notes if note.verdict is not Verdict.RIGHT]
    assert [(note.index, note.verdict) for note in faults] == [(place, verdict)]


@pytest.mark.parametrize(("strings", "told"), [(None, 0), (FIVE_STRINGS, 1)])
def test_below_the_lowest_string_is_no_extra_note(
    strings: tuple[int, ...] | None, told: int
) -> None:
    part = replace(part_of(*SCALE, *SCALE[::-1]), tuning=strings)
    midis = asked(part)
    midis[6] = None
    beat_s = 60 / part.tempo_bpm
    low = plucked(part_of("C1"), [parse_pitch("C1").midi], start_s=0.5 + 6.5 * beat_s, noise=0.0)
    sound = plucked(part, midis)
    sound[: len(low)] += low[: len(sound)]
    hearing = hear([sound], RATE_HZ, part)
    extras = [note.heard_midi for note in hearing.notes if note.verdict is Verdict.EXTRA]
    assert extras == told * [24]


def test_a_missing_note_is_missed() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    midis = asked(part)
    midis[5] = None
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert [n.index for n in hearing.notes if n.verdict is Verdict.MISSED] == [5]
    assert hearing.summary.worst_bars[0].bar == 2


def test_a_bass_out_of_tune_is_tuning_and_not_wrong_notes() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    hearing = hear([plucked(part, asked(part), cents=-35)], RATE_HZ, part)
    assert hearing.clean is True
    assert hearing.tuning_cents == pytest.approx(-35, abs=3)
    assert any(
        "35 cents flat" in line or "34 cents flat" in line or "36 cents flat" in line
        for line in hearing_lines(hearing, part)
    )


def test_another_key_is_said_and_the_same_key_is_not() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    higher = [midi + 3 for midi in asked(part) if midi is not None]
    hearing = hear([plucked(part, list(higher))], RATE_HZ, part)
    assert hearing.clean is None
    assert hearing.reason == "You played this in another key: 3 half steps higher than written."


def test_an_early_stop_is_judged_and_said() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    midis = asked(part)[:9] + [None] * 7
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert hearing.clean is False
    assert hearing.stopped_at == 9
    assert hearing.reason == "You stopped before bar 3, beat 2."
    assert hearing.summary.worst_bars == ()  # what was not reached is no place to work on


def test_another_steady_tempo_is_reported() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    faster = part.at_tempo(97.0)
    hearing = hear([plucked(faster, asked(faster))], RATE_HZ, part)
    assert hearing.clean is True
    assert hearing.tempo_bpm == pytest.approx(97.0, abs=0.3)


def test_a_ghost_note_needs_no_pitch() -> None:
    part = part_of(*SCALE)
    ghost = Note(Fraction(1), Fraction(1, 4), parse_pitch("D2"), articulation=Articulation.GHOST)
    notes = (*part.notes[:4], ghost, *part.notes[5:])
    ghosted = Part("Ghost", part.key, part.meter, 90.0, notes)
    midis = asked(ghosted)
    midis[4] = 33
    hearing = hear([plucked(ghosted, midis)], RATE_HZ, ghosted)
    assert hearing.notes[4].verdict is Verdict.RIGHT
    assert hearing.notes[4].asked_midi is None


@pytest.mark.parametrize(
    ("blocks", "reason"),
    [
        ([], "The recording is empty."),
        ([np.zeros(0, np.float32)], "The recording is empty."),
        ([np.ones(1, np.float32)], "too short to judge"),
        ([np.zeros(RATE_HZ * 5, np.float32)], "The recording is silent"),
        ([np.full(RATE_HZ * 5, 1e-5, np.float32)], "too quiet"),
        ([np.full(RATE_HZ * 5, np.nan, np.float32)], "damaged"),
        ([np.random.default_rng(0).normal(0, 0.1, RATE_HZ * 5)], "I heard no bass"),
    ],
)
def test_what_holds_nothing_is_an_answer(blocks: list[NDArray[np.floating]], reason: str) -> None:
    hearing = hear(blocks, RATE_HZ, part_of(*SCALE))
    assert hearing.clean is None
    assert hearing.reason is not None
    assert reason in hearing.reason
    assert hearing_lines(hearing, part_of(*SCALE))[0].startswith("I could not judge this: ")


def test_nearly_too_quiet_is_still_judged() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    sound = plucked(part, asked(part))
    hearing = hear([sound * np.float32(0.004 / np.abs(sound).max())], RATE_HZ, part)
    assert hearing.clean is True


def test_a_few_bad_samples_are_forgiven() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    sound = plucked(part, asked(part))
    sound[5000:5003] = np.nan
    assert hear([sound], RATE_HZ, part).clean is True


@pytest.mark.parametrize(
    "settings", [{"level": 9}, {"tolerance_ms": 0.0}, {"tolerance_ms": np.nan}, {"start_s": np.inf}]
)
def test_settings_that_make_no_sense_are_refused(settings: dict[str, float]) -> None:
    with pytest.raises(PracticeError):
        hear([], RATE_HZ, part_of(*SCALE), **settings)  # type: ignore[arg-type]


def test_the_json_keeps_its_keys() -> None:
    part = part_of(*SCALE)
    data = hearing_json(hear([plucked(part, asked(part))], RATE_HZ, part))
    json.dumps(data)
    assert {
        "clean",
        "reason",
        "reference",
        "tolerance_ms",
        "tempo_bpm",
        "start_s",
        "tuning_cents",
        "notes",
        "summary",
    } <= set(data)
    notes = data["notes"]
    assert isinstance(notes, list)
    assert set(notes[0]) == {
        "index",
        "asked_midi",
        "heard_midi",
        "onset_s",
        "timing_ms",
        "cents",
        "verdict",
        "probability",
        "length_share",
    }


@pytest.mark.parametrize(("left_out", "told"), [((9,), [9]), ((3, 6, 9, 12), [])])
def test_what_goes_on_undiminished_hides_strokes(
    left_out: tuple[int, ...], told: list[int]
) -> None:
    # One pitch; under a note that is held on at its level once is missed, often is hidden.
    part = part_of(*["G2"] * 16)
    sound = plucked(part, asked(part), share=1.0).astype(np.float64)
    length = round(60 / part.tempo_bpm * RATE_HZ)
    period = RATE_HZ / (440 * 2 ** ((43 - 69) / 12))
    fade = np.clip(np.arange(length + 800) / 800, 0, 1)
    for stroke in left_out:
        first = round((0.5 + stroke * 60 / part.tempo_bpm) * RATE_HZ) - 800
        place = first - 20 * period + np.mod(np.arange(length + 800), 20 * period)
        held = np.interp(place, np.arange(len(sound)), sound)
        own = sound[first : first + length + 800]
        level = np.sqrt(np.mean(own[800:] ** 2) / np.mean(held**2))
        own[:] = (1 - fade) * own + fade * (1 + fade * (level - 1)) * held
    hearing = hear([sound.astype(np.float32)], RATE_HZ, part)
    assert [note.index for note in hearing.notes if note.verdict is Verdict.MISSED] == told
    assert told or hearing.clean is None


@pytest.mark.parametrize("played", [6, 11])
def test_a_pass_on_one_pitch_that_breaks_off_hides_nothing(played: int) -> None:
    part = part_of(*["G2"] * 16)
    midis = [midi if k < played else None for k, midi in enumerate(asked(part))]
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert [note.verdict for note in hearing.notes[:played]] == [Verdict.RIGHT] * played
    assert hearing.stopped_at == played
    assert not [note for note in hearing.notes if note.verdict is Verdict.UNSURE]
