"""Which bars are hard, why, and what to do."""

from __future__ import annotations

from fractions import Fraction

import pytest

from undersong.neck.geometry import fret_span_mm
from undersong.neck.instrument import Instrument
from undersong.page.hardest import climb_words, hardest_bars
from undersong.practice.ladder import slow_bpm
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR, Meter
from undersong.theory.part import Note, Part
from undersong.theory.pitch import Pitch, plain_pitch

BASS = Instrument()
Stop = tuple[Fraction, Fraction, int, int, int]
"""Place, length, string, fret, finger."""


def part(*stops: Stop, meter: Meter = FOUR_FOUR, tempo_bpm: float = 96.0) -> Part:
    notes = tuple(
        Note(at, length, pitch(string, fret), string=string, fret=fret, finger=finger)
        for at, length, string, fret, finger in sorted(stops)
    )
    return Part("Hard", parse_key("G"), meter, tempo_bpm, notes)


def pitch(string: int, fret: int) -> Pitch:
    return plain_pitch(BASS.midi_at(string, fret))


def long_note(bar: int, fret: int = 3, finger: int = 1) -> Stop:
    return Fraction(bar), Fraction(1), 4, fret, finger


def test_the_bar_of_a_long_shift_is_first_named() -> None:
    fast = (Fraction(1), Fraction(1, 8), 4, 3, 1), (Fraction(9, 8), Fraction(7, 8), 4, 10, 1)
    (hard,) = hardest_bars(part(long_note(0), *fast, long_note(2, 10)), BASS, most=1)
    assert hard.number == 2
    distance_mm = fret_span_mm(3, 10, BASS.scale_mm)
    assert f"moves {distance_mm:.0f} mm along the neck" in hard.reason
    assert "string 4, fret 3, finger 1 to string 4, fret 10, finger 1" in hard.reason
    assert "the and of 1" in hard.reason


def test_many_notes_are_hard_by_their_speed() -> None:
    run = [(Fraction(1) + Fraction(n, 16), Fraction(1, 16), 4, 3, 1) for n in range(16)]
    (hard,) = hardest_bars(part(long_note(0), *run, tempo_bpm=120), BASS, most=1)
    assert hard.number == 2
    assert hard.reason == "16 notes in one bar."


def test_a_jump_over_strings_is_named() -> None:
    stops = [(Fraction(n, 2), Fraction(1, 2), 4 if n % 2 else 1, 3, 1) for n in range(2)]
    (hard,) = hardest_bars(part(*stops), BASS, most=1)
    assert hard.reason == "From string 1 to string 4 on beat 3."


def test_a_note_between_the_beats_is_counted_aloud() -> None:
    stops = [(Fraction(0), Fraction(3, 8), 4, 3, 1), (Fraction(3, 8), Fraction(5, 8), 4, 3, 1)]
    (hard,) = hardest_bars(part(*stops), BASS, most=1)
    assert hard.reason == "Notes between the beats: the and of 2."


def test_places_in_six_eight_are_counted_in_six() -> None:
    stops = [(Fraction(0), Fraction(5, 8), 4, 3, 1), (Fraction(5, 8), Fraction(1, 8), 4, 10, 1)]
    (hard,) = hardest_bars(part(*stops, meter=Meter(6, 8)), BASS, most=1)
    assert "beat 2, third eighth" in hard.reason


def test_bars_alike_are_named_once() -> None:
    bars = [
        (Fraction(bar) + Fraction(n, 8), Fraction(1, 8), 4, 3 + n % 2 * 5, 1)
        for bar in range(4)
        for n in range(8)
    ]
    hard = hardest_bars(part(*bars), BASS)
    assert len(hard) <= 2  # the first bar has no move into it; the others are all the same


def test_an_easy_song_has_one_bar_to_loop() -> None:
    (hard,) = hardest_bars(part(*(long_note(bar, 3 + bar, 1 + bar) for bar in range(3))), BASS)
    assert hard.reason == "Nothing in it is hard by itself."


def test_a_part_without_notes_or_fingers_has_none() -> None:
    bare = Note(Fraction(0), Fraction(1), pitch(4, 3))
    assert hardest_bars(Part("Bare", parse_key("G"), FOUR_FOUR, 72.0, (bare,)), BASS) == []
    assert hardest_bars(Part("None", parse_key("G"), FOUR_FOUR, 72.0, ()), BASS) == []


@pytest.mark.parametrize(("song_bpm", "start"), [(96.0, 70), (84.0, 63), (56.0, 42), (10.0, 10)])
def test_a_loop_starts_at_seventy_or_below_a_slow_song(song_bpm: float, start: int) -> None:
    # as a climbing track does (docs/practice.md); three quarters: common practice, no source
    assert start == slow_bpm(song_bpm)
    words = climb_words(song_bpm)
    assert words.startswith(f"Loop it at {start}. Two clean passes in a row: 5 up.")
    assert words.endswith(f"The song is at {song_bpm:g}.")
