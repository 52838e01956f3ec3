"""The Part: order, bars, pick-ups, ties, changes."""

from dataclasses import replace
from fractions import Fraction

import pytest

from undersong.errors import TheoryError
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import ChordMark, KeyMark, MeterMark, Note, Part, in_order, joined
from undersong.theory.pitch import parse_pitch
from undersong.theory.tempo import TempoMark

F = Fraction


def note(at: str, length: str = "1/4", pitch: str = "G1", *, tied: bool = False) -> Note:
    return Note(F(at), F(length), parse_pitch(pitch), tied=tied)


def part(
    *notes: Note, pickup: str = "0", meter: str = "4/4", marks: tuple[MeterMark, ...] = ()
) -> Part:
    return Part(
        "Try-out",
        parse_key("G"),
        parse_meter(meter),
        70,
        notes,
        pickup=F(pickup),
        meter_marks=marks,
    )


def test_fills_its_last_bar() -> None:
    assert part(note("0"), note("5/4")).length == 2


def test_a_pick_up_is_bar_nought() -> None:
    piece = part(note("0"), note("1/4", "1"), pickup="1/4")
    assert [(bar.number, bar.at, bar.length) for bar in piece.bars] == [
        (0, F(0), F(1, 4)),
        (1, F(1, 4), F(1)),
    ]
    assert piece.place_of(F(0)) == (0, F(4))
    assert piece.place_of(F(1, 2)) == (1, F(2))


def test_beats_are_the_meters_own() -> None:
    piece = part(note("0"), meter="6/8")
    assert piece.place_of(F(3, 8)) == (1, F(2))
    assert piece.place_of(F(1, 8)) == (1, F(4, 3))


def test_a_single_odd_bar() -> None:
    marks = (MeterMark(F(1), parse_meter("2/4")), MeterMark(F(3, 2), parse_meter("4/4")))
    piece = part(note("0", "1"), note("3/2", "1"), marks=marks)
    assert [bar.length for bar in piece.bars] == [F(1), F(1, 2), F(1)]
    assert piece.place_of(F(3, 2)) == (3, F(1))


def test_order_is_kept() -> None:
    with pytest.raises(TheoryError, match="in order"):
        part(note("1/4"), note("0"))
    assert [each.at for each in in_order([note("1/4"), note("0")])] == [F(0), F(1, 4)]


def test_refuses_impossible_notes_and_lengths() -> None:
    with pytest.raises(TheoryError, match="cannot be played"):
        note("0", "0")
    with pytest.raises(TheoryError, match="cannot end before"):
        replace(part(note("0", "1")), length=F(1, 2))
    with pytest.raises(TheoryError, match="shorter than a bar"):
        part(note("0"), pickup="1")


def test_ties_make_one_stroke() -> None:
    piece = part(note("3/4", "1/4", tied=True), note("1", "1/2"), note("3/2", "1/2"))
    assert [(stroke.index, stroke.at, stroke.length) for stroke in piece.strokes] == [
        (0, F(3, 4), F(3, 4)),
        (2, F(3, 2), F(1, 2)),
    ]


def test_a_tie_to_nothing_is_just_a_note() -> None:
    piece = part(note("0", tied=True), note("1/4", pitch="A1"))
    assert len(piece.strokes) == 2


def test_key_and_chord_in_force() -> None:
    one, four = parse_number_chord("1"), parse_number_chord("4")
    piece = replace(
        part(note("0", "2")),
        key_marks=(KeyMark(F(1), parse_key("A")),),
        chords=(ChordMark(F(0), one), ChordMark(F(1), four)),
    )
    assert (piece.key_at(F(1, 2)), piece.key_at(F(1))) == (parse_key("G"), parse_key("A"))
    assert (piece.chord_at(F(1, 2)), piece.chord_at(F(3, 2))) == (one, four)


def test_slower_keeps_the_proportion_of_changes() -> None:
    piece = replace(part(note("0", "2")), tempo_marks=(TempoMark(F(1), 140),)).at_tempo(35)
    assert piece.tempo_map.seconds_at(F(1)) == pytest.approx(4 * 60 / 35)
    assert piece.tempo_map.seconds_at(F(2)) == pytest.approx(4 * 60 / 35 + 4 * 60 / 70)


def test_joining_starts_each_at_a_bar_line() -> None:
    whole = joined([part(note("0")), part(note("0", "2"))], "Two")
    assert [each.at for each in whole.notes] == [F(0), F(1)]
    assert whole.length == 3
    assert [mark.at for mark in whole.sections] == [F(0), F(1)]
