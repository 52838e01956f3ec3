"""The report on lines whose right answer is plain: a few notes written by hand."""

from __future__ import annotations

import json
from fractions import Fraction

import pytest

from undersong.lines.report import line_report, report_json
from undersong.lines.strokes import NoteClass, note_class
from undersong.neck.geometry import fret_span_mm
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import ChordMark, KeyMark, Note, Part, in_order
from undersong.theory.pitch import parse_pitch

G = parse_key("G")


def part(*notes: str, chords: str = "1 4") -> Part:
    """Notes as ``place/length pitch`` in quarters; one chord a bar."""
    found = []
    for text in notes:
        at, lasts, name = text.split()
        pitch = parse_pitch(name)
        found.append(Note(Fraction(at) / 4, Fraction(lasts) / 4, pitch, G.degree_of(pitch.name)))
    marks = tuple(
        ChordMark(Fraction(place), parse_number_chord(word))
        for place, word in enumerate(chords.split())
    )
    whole = Fraction(len(marks))
    return Part("By hand", G, FOUR_FOUR, 80, in_order(found), chords=marks, length=whole)


@pytest.mark.parametrize(
    ("pitch", "kind"),
    [
        ("C2", NoteClass.SUPPORT),
        ("G2", NoteClass.SUPPORT),
        ("Eb2", NoteClass.CHORD),
        ("A1", NoteClass.PASSING),
        ("E2", NoteClass.CHROMATIC),
    ],
)
def test_notes_over_a_minor_four(pitch: str, kind: NoteClass) -> None:
    assert note_class(parse_pitch(pitch).midi, parse_number_chord("4-"), G) is kind


def test_roots_alone_are_level_one_and_all_bass_notes() -> None:
    report = line_report(part("0 4 G1", "4 4 C2"))
    assert (report.level, report.bass_note_share, report.chord_tone_share) == (1, 1.0, 1.0)
    assert (report.density, report.difficulty) == (0.25, 0.25)
    assert (report.step_share, report.approaches) == (0.0, 0)


def test_a_wrong_root_is_counted() -> None:
    report = line_report(part("0 4 G1", "4 4 E2"))
    assert report.bass_note_share == 0.5
    assert report.chord_tone_share == 1.0


def test_a_resolved_chromatic_approach() -> None:
    report = line_report(part("0 3 G1", "3 1 Db2", "4 4 C2"))
    assert (report.chromatic, report.chromatic_resolved) == (1, 1)
    assert (report.approaches, report.approaches_resolved) == (1, 1)
    assert report.level == 4


def test_a_chromatic_note_left_hanging() -> None:
    report = line_report(part("0 3 G1", "3 1 F1", "4 4 C2"))
    assert (report.chromatic, report.chromatic_resolved) == (1, 0)


def test_a_double_approach_is_resolved_as_a_pair() -> None:
    report = line_report(part("0 2 D2", "2 1 Db2", "3 1 B1", "4 4 C2", chords="5 4"))
    assert report.chromatic == report.chromatic_resolved == 1


def test_octaves_and_fifths_are_level_three() -> None:
    assert line_report(part("0 2 G1", "2 1 D2", "3 1 G2", "4 4 C2")).level == 3


def test_the_hardest_shift_names_its_bar() -> None:
    told = line_report(part("0 4 F1", "4 4 F3", chords="b7 b7"))
    assert told.hardest_shift_bar == 2
    assert told.hardest_shift_mm_s > 0


def test_the_hardest_move_is_told_in_frets_and_time() -> None:
    # On one string F1 is fret 1 under finger 1, C2 fret 8: finger 4 of a hand over fret 5. One
    # quarter at 80 lasts 0.75 s; a stopped note leaves the last quarter of its time to move in.
    one_string = Instrument(parse_tuning("E1"))
    told = line_report(part("0 1 F1", "1 3 C2", "4 4 C2", chords="b7 4"), one_string)
    assert told.hardest_shift_bar == 1
    assert told.hardest_shift_s == pytest.approx(0.75 / 4)
    assert told.hardest_shift_mm_s == pytest.approx(
        fret_span_mm(1, 1 + told.hardest_shift_frets, one_string.scale_mm) / (0.75 / 4)
    )
    assert "The hardest move is in bar 1: four frets in 0.19 s." in told.lines()


def test_where_it_counts_is_said_as_it_is_counted() -> None:
    def said(*strokes: str) -> str:
        return line_report(part(*strokes)).lines()[1]

    assert said("0 4 G1", "4 4 C2") == (
        "Every bar and every chord begins on the chart's own bass note."
    )
    assert said("0 4 G1", "4 4 E2") == (
        "Every bar and every chord begins on a note of the chord, 50 % the chart's own bass note."
    )
    assert said("0 4 G1", "4 4 F2") == (
        "Where a bar or a chord begins, 50 % are notes of the chord, "
        "50 % the chart's own bass note."
    )


def test_one_note_is_not_plural() -> None:
    assert line_report(part("0 4 G1")).lines()[0].startswith("1 note, G1 to G1")
    told = line_report(part("0 3 G1", "3 1 Db2", "4 4 C2")).lines()
    assert "Approach notes resolved: 1 of 1." in told


def test_the_report_goes_into_json() -> None:
    row = report_json(line_report(part("0 4 G1", "4 4 C2"), level=1))
    assert json.loads(json.dumps(row))["lowest"] == "G1"
    assert row["asked_level"] == 1


def test_nothing_to_play_is_an_answer() -> None:
    report = line_report(part())
    assert (report.notes, report.lowest, report.difficulty) == (0, None, 0.0)


@pytest.mark.parametrize("gives_way_at", ["1", "15/16"])
def test_a_chord_pushed_before_a_new_key_and_gone_by_then_is_counted_in_it(
    gives_way_at: str,
) -> None:
    # The 1 of A flat comes an eighth early and gives way to the 5 on the very bar line, or before
    # it.
    to = parse_key("Ab")
    pitches = (("0", "7/8", "G1", G), ("7/8", "1/16", "Ab1", to), (gives_way_at, "1", "Eb2", to))
    notes = [
        Note(
            Fraction(at), Fraction(length), parse_pitch(name), key.degree_of(parse_pitch(name).name)
        )
        for at, length, name, key in pitches
    ]
    chords = tuple(
        ChordMark(note.at, parse_number_chord(word))
        for note, word in zip(notes, ("1", "1", "5"), strict=True)
    )
    line = Part(
        "Up a half step",
        G,
        FOUR_FOUR,
        80,
        in_order(notes),
        chords=chords,
        key_marks=(KeyMark(Fraction(1), to),),
        length=Fraction(2),
    )
    told = line_report(line)
    assert (told.chromatic, told.bass_note_share) == (0, 1.0)
