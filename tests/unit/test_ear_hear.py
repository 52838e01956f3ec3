"""Odd recordings, refusals and their neighbours, the JSON and the words.

The sound here is made by formula (a sum of decaying harmonics): good enough for what is asked, and
never used to say how well the ear hears.
"""

from __future__ import annotations

import json
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from undersong.ear import Reference, Verdict, hear, hearing_json, hearing_lines
from undersong.errors import PracticeError
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Articulation, Note, Part
from undersong.theory.pitch import midi_to_hz, parse_pitch

RATE_HZ = 16000
SCALE = ("G1", "A1", "B1", "C2", "D2", "E2", "F#2", "G2")


def part_of(*names: str, tempo_bpm: float = 90.0) -> Part:
    notes = tuple(
        Note(Fraction(k, 4), Fraction(1, 4), parse_pitch(name)) for k, name in enumerate(names)
    )
    return Part("Scale", parse_key("G"), parse_meter("4/4"), tempo_bpm, notes)


def plucked(
    part: Part, midis: list[int | None], *, start_s: float = 0.5, cents: float = 0.0
) -> NDArray[np.float32]:
    """A steady player: one pitch for each note of the part, None for a note left out."""
    rng = np.random.default_rng(1)
    length_s = part.tempo_map.seconds_at(part.length)
    out = rng.normal(0, 1e-4, int((start_s + length_s + 0.5) * RATE_HZ))
    for note, midi in zip(part.notes, midis, strict=True):
        if midi is None:
            continue
        at = round((start_s + part.tempo_map.seconds_at(note.at)) * RATE_HZ)
        n = round(0.9 * part.tempo_map.seconds_at(note.length) * RATE_HZ)
        t = np.arange(n) / RATE_HZ
        f0 = midi_to_hz(midi + cents / 100)
        tone = sum(
            np.exp(-t * (2 + k)) * np.sin(2 * np.pi * k * f0 * t + k * k) / k for k in range(1, 12)
        )
        out[at : at + n] += (
            0.15 * tone * np.minimum(1, t / 0.002) * np.minimum(1, (n / RATE_HZ - t) / 0.02)
        )
    return out.astype(np.float32)


def asked(part: Part) -> list[int | None]:
    return [note.pitch.midi for note in part.notes]


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


def test_a_missing_note_is_missed() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    midis = asked(part)
    midis[5] = None
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert [n.index for n in hearing.notes if n.verdict is Verdict.MISSED] == [5]
    assert hearing.summary.worst_bars[0].bar == 2


def test_of_three_notes_one_may_be_missing() -> None:
    part = part_of("G1", "C2", "D2", tempo_bpm=60)
    midis = asked(part)
    midis[1] = None
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert [note.verdict for note in hearing.notes] == [
        Verdict.RIGHT,
        Verdict.MISSED,
        Verdict.RIGHT,
    ]
    assert hearing.clean is False


@pytest.mark.parametrize("heard", [1, 2])
def test_a_note_or_two_are_a_bass_but_no_pass(heard: int) -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    hearing = hear([plucked(part, asked(part)[:heard] + [None] * (16 - heard))], RATE_HZ, part)
    assert hearing.clean is None
    assert hearing.reason is not None
    assert hearing.reason.startswith("I heard only a note or two")


def test_three_notes_of_many_are_judged() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    hearing = hear([plucked(part, asked(part)[:3] + [None] * 13)], RATE_HZ, part)
    assert hearing.clean is False
    assert hearing.stopped_at == 3


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
