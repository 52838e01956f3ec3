"""Stretches of a part: every bar once, repeats found, no tie cut."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from undersong.page.excerpt import bars_words, stretches
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Note, Part, SectionMark
from undersong.theory.pitch import parse_pitch

G = parse_key("G")
ONE, FOUR = parse_number_chord("1"), parse_number_chord("4")


def whole_notes(*pitches: str) -> Part:
    """A bar to each note, or a silent bar for an empty word."""
    notes = tuple(
        Note(Fraction(bar), Fraction(1), parse_pitch(pitch), string=4, fret=3, finger=1)
        for bar, pitch in enumerate(pitches)
        if pitch
    )
    return Part("Whole", G, FOUR_FOUR, 72.0, notes, length=Fraction(len(pitches)))


def sections(part: Part, *names_at: tuple[int, str]) -> Part:
    return replace(part, sections=tuple(SectionMark(Fraction(bar), name) for bar, name in names_at))


def test_a_section_played_twice_is_one_stretch() -> None:
    part = sections(whole_notes("G1", "A1", "G1", "A1"), (0, "Verse"), (2, "Verse"))
    (piece,) = stretches(part)
    assert piece.names == ("Verse",)
    assert piece.ranges == ((1, 2), (3, 4))


def test_reasons_do_not_make_a_difference_on_paper() -> None:
    part = sections(whole_notes("G1", "G1"), (0, "A"), (1, "A"))
    told = replace(part.notes[0], why="the root")
    (piece,) = stretches(replace(part, notes=(told, part.notes[1])))
    assert len(piece.ranges) == 2


def test_another_fingering_is_another_stretch() -> None:
    part = sections(whole_notes("G1", "G1"), (0, "A"), (1, "A"))
    moved = replace(part.notes[1], finger=2)
    assert len(stretches(replace(part, notes=(part.notes[0], moved)))) == 2


def test_a_note_that_crosses_keeps_its_sections_together() -> None:
    part = sections(whole_notes("G1", "", "A1"), (0, "Verse"), (1, "Chorus"), (2, "Tag"))
    long = replace(part.notes[0], length=Fraction(3, 2))
    first, second = stretches(replace(part, notes=(long, part.notes[1])))
    assert first.names == ("Verse", "Chorus")
    assert second.names == ("Tag",)


def test_a_tie_keeps_its_sections_together() -> None:
    part = sections(whole_notes("G1", "G1"), (0, "Verse"), (1, "Chorus"))
    tied = replace(part.notes[0], tied=True)
    (piece,) = stretches(replace(part, notes=(tied, part.notes[1])))
    assert piece.part.notes[0].tied


def test_a_silent_section_is_known_to_be_one() -> None:
    part = sections(whole_notes("G1", ""), (0, "Verse"), (1, "Out"))
    assert [piece.is_silent for piece in stretches(part)] == [False, True]


def test_a_part_without_sections_is_one_stretch() -> None:
    (piece,) = stretches(whole_notes("G1", "A1"))
    assert piece.names == ()
    assert piece.ranges == ((1, 2),)


def test_bar_numbers_are_said_plainly() -> None:
    assert bars_words([(3, 3)]) == "bar 3"
    assert bars_words([(5, 12)]) == "bars 5 to 12"
    assert bars_words([(0, 8)]) == "pick-up to 8"
    assert bars_words([(0, 0)]) == "pick-up"
    assert bars_words([(5, 12), (21, 28), (30, 30)]) == "bars 5 to 12, 21 to 28 and 30"
