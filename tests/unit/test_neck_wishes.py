"""What a player may ask of a fingering, and what the fingering then says of itself."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from undersong.neck.effort import WEIGHTS, OpenStrings
from undersong.neck.fingering import Wishes, finger_part
from undersong.neck.geometry import fret_distance_mm, fret_span_mm
from undersong.neck.instrument import Instrument
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import ChordMark, Note, Part
from undersong.theory.pitch import parse_pitch
from undersong.theory.tempo import TempoMark

BASS = Instrument()


def line(text: str, length: str = "1/4", **changes: object) -> Part:
    unit = Fraction(length)
    notes = tuple(
        Note(unit * place, unit, parse_pitch(word)) for place, word in enumerate(text.split())
    )
    part = Part("line", parse_key("C"), FOUR_FOUR, 80, notes)
    return replace(part, **changes)  # type: ignore[arg-type]


def test_the_hand_stays_around_the_chord_when_asked() -> None:
    # A high G over the 1: nearest to the nut it lies far from any C under the hand.
    chords = (ChordMark(Fraction(0), parse_number_chord("1")),)
    part = line("E2 G2 E2 G2", chords=chords)
    free = finger_part(part, BASS)
    around = finger_part(part, BASS, wishes=Wishes(around_chord=True))
    assert around.terms["away from the chord"] <= 4 * WEIGHTS.away
    for hand, note in zip(around.hands, around.part.notes, strict=True):
        roots = [fret for string in (1, 2, 3, 4) for fret in range(1, 21)
                 if (BASS.open_midi(string) + fret) % 12 == 0]  # fmt: skip
        assert note.fret is not None
        assert min(max(hand - root, root - hand - 3, 0) for root in roots) <= 1
    assert free.terms["away from the chord"] == 0


def test_a_part_without_chords_has_nothing_to_stay_around() -> None:
    part = line("E2 G2")
    assert finger_part(part, BASS, wishes=Wishes(around_chord=True)) == finger_part(part, BASS)


def test_the_first_string_can_be_asked_for() -> None:
    done = finger_part(line("G2 A2"), BASS, wishes=Wishes(start_string=3)).part
    assert (done.notes[0].string, done.notes[0].fret) == (3, 10)


def test_a_lowest_fret_keeps_the_hand_up_the_neck() -> None:
    wishes = Wishes(lowest_fret=7, open_strings=OpenStrings.NEVER)
    done = finger_part(line("G2 A2 B2 C3"), BASS, wishes=wishes).part
    assert min(note.fret or 0 for note in done.notes) >= 7


@pytest.mark.parametrize("bars", [1, 2, 4])
def test_patterns_of_one_two_and_four_bars_are_fingered_alike(bars: int) -> None:
    words = "F1 C2 F2 C2 G1 D2 G2 E2 A1 E2 A2 G2 Bb1 F2 Bb2 C3"
    pattern = words.split()[: 4 * bars]
    part = line(" ".join(pattern * 3) + " C2")
    done = finger_part(part, BASS, wishes=Wishes(open_strings=OpenStrings.NEVER)).part
    ways = [(note.string, note.fret, note.finger) for note in done.notes]
    size = len(pattern)
    assert ways[:size] == ways[size : 2 * size] == ways[2 * size : 3 * size]


def test_a_silent_bar_between_makes_no_repeat() -> None:
    bar = line("F1 C2 F2 C2").notes
    later = tuple(replace(note, at=note.at + 2) for note in bar)
    part = replace(line("F1"), notes=(*bar, *later), length=Fraction(3))
    assert len(finger_part(part, BASS).hands) == 8


def test_a_bar_at_another_tempo_is_no_repeat() -> None:
    part = line("F1 C3 F1 C3", "1/2", tempo_marks=(TempoMark(Fraction(1), 240, Fraction(1, 4)),))
    told = finger_part(part, BASS, wishes=Wishes(open_strings=OpenStrings.NEVER))
    alike = finger_part(part, BASS, wishes=Wishes(open_strings=OpenStrings.NEVER, same_again=False))
    assert told == alike


def test_a_fingering_says_what_its_points_went_on() -> None:
    told = finger_part(line("F1 C3"), BASS, wishes=Wishes(open_strings=OpenStrings.NEVER))
    assert told.cost_words().startswith(f"{told.cost:.1f} points: shift ")
    assert finger_part(line(""), BASS).cost_words() == "No effort at all."
    rested = replace(line("F1 C3"), notes=(
        line("F1").notes[0], replace(line("C3").notes[0], at=Fraction(1, 2))))  # fmt: skip
    closed = Wishes(open_strings=OpenStrings.NEVER)
    assert "in the rest before the C" in finger_part(rested, BASS, wishes=closed).words()[1]


def test_without_frets_a_shift_costs_more() -> None:
    part = line("F1 C3")
    closed = Wishes(open_strings=OpenStrings.NEVER)
    fretted = finger_part(part, BASS, wishes=closed)
    fretless = finger_part(part, Instrument(fretless=True), wishes=closed)
    assert fretless.terms["shift"] > fretted.terms["shift"]


def test_frets_beyond_the_neck_are_a_mistake() -> None:
    assert fret_span_mm(5, 1, 863.6) == fret_span_mm(1, 5, 863.6)
    with pytest.raises(ValueError, match="fret must be 0 to 36, not 40"):
        fret_distance_mm(40, 863.6)
    with pytest.raises(ValueError, match="must be positive"):
        fret_distance_mm(1, 0)
