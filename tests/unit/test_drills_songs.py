from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from undersong.drills.catalogue import make_drill, weakness_drill
from undersong.errors import UndersongError
from undersong.neck.instrument import Instrument
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR, Meter
from undersong.theory.part import MeterMark, Note, Part
from undersong.theory.pitch import parse_pitch

BASS = Instrument()


def song(text: str = "G1 B1 D2 E2 C2 C2 D2 F#2 G1 B1 D2 E2") -> Part:
    notes = tuple(
        Note(Fraction(place, 4), Fraction(1, 4), parse_pitch(word))
        for place, word in enumerate(text.split())
    )
    return Part("Song", parse_key("G"), FOUR_FOUR, 90, notes)


def pitches(part: Part) -> str:
    return " ".join(str(stroke.note.pitch) for stroke in part.strokes)


def test_a_missed_note_comes_with_the_note_before_it() -> None:
    sheet = weakness_drill(song(), BASS, missed=[7])
    assert pitches(sheet.part) == "D2 F#2 " * 3 + "D2 F#2"
    assert [mark.name for mark in sheet.part.sections] == [
        "Bar 2, beat 4, slowly",
        "Bar 2, beat 4, as written",
    ]
    written = [note.at for note in sheet.part.notes if note.at >= 2]
    assert written == [Fraction(5, 2), Fraction(11, 4), Fraction(7, 2), Fraction(15, 4)]


def test_the_first_note_of_all_stands_alone() -> None:
    sheet = weakness_drill(song(), BASS, missed=[0])
    assert pitches(sheet.part) == "G1 G1 G1 G1"


def test_a_hard_bar_comes_whole_with_the_note_into_it() -> None:
    part = weakness_drill(song(), BASS, bars=[2]).part
    assert pitches(part).startswith("E2 C2 C2 D2 F#2 E2 C2")
    assert part.length % 1 == 0


def test_neighbours_are_one_place_and_repeated_places_are_worked_on_once() -> None:
    neighbours = weakness_drill(song(), BASS, missed=[2, 3])
    assert pitches(neighbours.part).startswith("B1 D2 E2 B1 D2 E2")
    again = weakness_drill(song(), BASS, missed=[1, 9])
    assert pitches(again.part) == "G1 B1 " * 3 + "G1 B1"
    assert again.remarks == ("Bar 1, beat 2: this place comes 2 times in the part.",)


def test_the_exercise_is_smaller_than_the_part() -> None:
    long = make_drill("root-moves", parse_key("G")).part
    sheet = weakness_drill(long, BASS, missed=[50])
    assert len(sheet.part.strokes) == 8


def test_its_places_are_those_of_the_part() -> None:
    part = make_drill("scale", parse_key("C")).part
    sheet = weakness_drill(part, BASS, missed=[3])
    place = (part.notes[3].string, part.notes[3].fret)
    wanted = [n for n in sheet.part.notes if n.pitch == part.notes[3].pitch]
    assert {(note.string, note.fret) for note in wanted} == {place}


def test_the_tempo_can_be_set() -> None:
    assert weakness_drill(song(), BASS, missed=[3], tempo_bpm=60).part.tempo_bpm == 60
    assert weakness_drill(song(), BASS, missed=[3]).part.tempo_bpm == 90


def test_pick_ups_and_meter_changes_keep_their_bars() -> None:
    part = song()
    shifted = tuple(replace(note, at=note.at) for note in part.notes)
    with_pickup = replace(part, notes=shifted, pickup=Fraction(1, 4), length=Fraction(0))
    sheet = weakness_drill(with_pickup, BASS, missed=[0])
    assert [note.at for note in sheet.part.notes if note.at >= 2] == [
        Fraction(11, 4),
        Fraction(15, 4),
    ]
    changed = replace(part, meter_marks=(MeterMark(Fraction(1), Meter(2, 4)),), length=Fraction(0))
    sheet = weakness_drill(changed, BASS, missed=[1, 6])
    assert [str(bar.meter) for bar in sheet.part.bars] == ["4/4"] * 4 + ["2/4"] * 6


def test_a_tied_note_counts_as_one() -> None:
    notes = (
        Note(Fraction(0), Fraction(1), parse_pitch("G1"), tied=True),
        Note(Fraction(1), Fraction(1, 2), parse_pitch("G1")),
        Note(Fraction(3, 2), Fraction(1, 2), parse_pitch("D2")),
    )
    part = Part("Tie", parse_key("G"), FOUR_FOUR, 80, notes)
    sheet = weakness_drill(part, BASS, missed=[1])
    assert {str(note.pitch) for note in sheet.part.notes} == {"G1"}
    sheet = weakness_drill(part, BASS, missed=[2])
    assert pitches(sheet.part) == "G1 D2 G1 D2 G1 D2 G1 D2"


@pytest.mark.parametrize(
    ("missed", "bars", "sentence"),
    [
        ([], [], "Name at least one"),
        ([40], [], "There is no note 40: the part has 12 notes"),
        ([], [9], "There is no bar 9: the part has 3 bars"),
    ],
)
def test_what_is_not_there_is_refused(missed: list[int], bars: list[int], sentence: str) -> None:
    with pytest.raises(UndersongError, match=sentence):
        weakness_drill(song(), BASS, missed=missed, bars=bars)


@pytest.mark.parametrize(
    ("missed", "bars", "sentence"),
    [([4], [], r"the part has 1 note\.$"), ([], [9], r"the part has 1 bar\.$")],
)
def test_one_bar_and_one_note_are_not_plural(
    missed: list[int], bars: list[int], sentence: str
) -> None:
    with pytest.raises(UndersongError, match=sentence):
        weakness_drill(song("G1"), BASS, missed=missed, bars=bars)


def test_a_silent_bar_has_nothing_to_work_on() -> None:
    part = replace(song("G1"), length=Fraction(2))
    with pytest.raises(UndersongError, match="hold no notes"):
        weakness_drill(part, BASS, bars=[2])
