"""Neck diagrams: the right notes in the right places, for either hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from undersong.errors import PageError, TheoryError
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.neck.neckmap import key_on_neck
from undersong.page.diagram import (
    neck_drawing,
    neck_png,
    neck_svg,
    path_drawing,
    root_paths,
)
from undersong.page.marks import Box, Curve, Drawing, Line, Text
from undersong.page.neckdrawing import Board
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import Degree, parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import ChordMark, Note, Part
from undersong.theory.pitch import parse_pitch

G = parse_key("G")
RIGHT = Instrument()
LEFT = Instrument(left_handed=True)


def degrees(drawing: Drawing) -> list[str]:
    """The degrees printed in squares, in any order."""
    squares = [mark for mark in drawing.marks if isinstance(mark, Box)]
    middles = {(round(m.x + m.width / 2, 3), round(m.y + m.height / 2, 3)) for m in squares}
    found = []
    for mark in drawing.texts:
        middle = round(mark.x, 3), round((mark.bounds.top + mark.y) / 2, 3)
        if any(abs(x - middle[0]) < 0.1 and abs(y - middle[1]) < 0.1 for x, y in middles):
            found.append(mark.plain)
    return found


def test_frets_stand_where_they_are_on_a_real_neck() -> None:
    # trade handbook 4.3, table for 863.6 mm: fret 1 at 48.5 mm, fret 5 at 216.6, fret 12 at 431.8
    board = Board(RIGHT, 200.0, 12)
    scale = (board.wire(12) - board.wire(0)) / 431.8
    assert (board.wire(1) - board.wire(0)) / scale == pytest.approx(48.5, abs=0.05)
    assert (board.wire(5) - board.wire(0)) / scale == pytest.approx(216.6, abs=0.05)


def test_every_note_of_the_key_is_shown_once() -> None:
    drawing = neck_drawing(RIGHT, G, width_mm=300)
    expected = sorted(str(note.degree) for note in key_on_neck(RIGHT, G))
    assert sorted(degrees(drawing)) == expected


def test_a_left_hander_sees_it_in_a_mirror() -> None:
    right, left = neck_drawing(RIGHT, G), neck_drawing(LEFT, G)
    mirrored = {(round(right.width_mm - m.x, 3), round(m.y, 3), m.plain) for m in right.texts}
    seen = {(round(m.x, 3), round(m.y, 3), m.plain) for m in left.texts}
    assert seen == mirrored
    assert right.description.replace("right", "left") == left.description


def test_the_lowest_string_is_lowest_and_thickest() -> None:
    board = Board(Instrument(parse_tuning("five")), 180.0, 12)
    strings = [m for m in board.neck() if isinstance(m, Line) and m.y1 == m.y2]
    assert [m.width_mm for m in strings] == sorted(m.width_mm for m in strings)
    assert [m.y1 for m in strings] == sorted(m.y1 for m in strings)
    names = [m.plain for m in board.neck() if isinstance(m, Text)][:5]
    assert names == ["G", "D", "A", "E", "B"]


def test_roots_have_a_second_outline() -> None:
    drawing = neck_drawing(RIGHT, G)
    squares = [mark for mark in drawing.marks if isinstance(mark, Box)]
    side = min(square.width for square in squares)
    outer = [square for square in squares if square.width > side + 0.5]
    tonics = [n for n in key_on_neck(RIGHT, G) if str(n.degree) == "1" and n.fret <= 20]
    assert len(outer) == len(tonics)


def test_the_shape_shows_a_finger_under_every_note() -> None:
    words = neck_drawing(RIGHT, G).description
    # trade handbook 4.6: from finger 2 on the E string; fingers 2 4 1 2 4 1 3 4
    fingers = [part.split()[0].strip(".") for part in words.split("finger ")[1:]]
    assert [finger.rstrip(",") for finger in fingers] == list("24124134")


def test_the_chord_of_the_moment_is_filled_even_out_of_the_key() -> None:
    plain = neck_drawing(RIGHT, G)
    altered = neck_drawing(RIGHT, G, chord=parse_number_chord("2(7)"))
    assert "♯4" not in degrees(plain)
    assert "♯4" in degrees(altered)
    assert "the chord 2(7), A7" in altered.description


def test_flats_are_printed_as_flats() -> None:
    svg = neck_svg(RIGHT, parse_key("Ebm"))
    assert "♭3" in svg
    assert ">b3<" not in svg


def test_a_degree_the_key_has_not_is_refused() -> None:
    with pytest.raises(TheoryError, match="no #4"):
        neck_svg(RIGHT, G, Degree(4, 1))


def test_a_narrow_neck_is_refused() -> None:
    with pytest.raises(PageError, match="at least 80 mm"):
        neck_drawing(RIGHT, G, width_mm=50)


def test_a_png_is_as_wide_as_asked() -> None:
    png = neck_png(RIGHT, G, width_px=600)
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(png[16:20], "big") == 600


def root_line() -> Part:
    """1, 4, 1, 5 in whole notes: G on string 4, C on string 3, G, D on string 3."""
    places = [("G1", "1", 4, 3), ("C2", "4", 3, 3), ("G1", "1", 4, 3), ("D2", "5", 3, 5)]
    notes, chords = [], []
    for bar, (pitch, degree, string, fret) in enumerate(places):
        chord = parse_number_chord(degree)
        at = Fraction(bar)
        notes.append(Note(at, Fraction(1), parse_pitch(pitch), chord.root, chord, string, fret, 1))
        chords.append(ChordMark(at, chord))
    return Part("Roots", G, FOUR_FOUR, 72.0, tuple(notes), chords=tuple(chords))


def test_the_path_counts_the_moves_of_the_line() -> None:
    (path,) = root_paths(root_line())
    assert [(str(s.start), str(s.end), s.strings, s.frets, s.times) for s in path.steps] == [
        ("1", "4", 1, 0, 1),
        ("4", "1", -1, 0, 1),
        ("1", "5", 1, 2, 1),
    ]
    # trade handbook 4.8: 1 to 4 is up a string on the same fret, 1 to 5 up a string and two frets
    assert path.steps[0].words == "up a string, same fret"
    assert path.steps[2].words == "up a string, up two frets"


def test_every_move_is_an_arrow() -> None:
    (path,) = root_paths(root_line())
    drawing = path_drawing(RIGHT, path)
    curves = [mark for mark in drawing.marks if isinstance(mark, Curve)]
    assert len(curves) == 3
    assert sorted(degrees(drawing)) == ["1", "4", "5"]


def test_a_chord_the_bass_leaves_out_has_no_root() -> None:
    part = root_line()
    silent = Part(
        "Roots", G, FOUR_FOUR, 72.0, part.notes[:2], length=Fraction(4), chords=part.chords
    )
    (path,) = root_paths(silent)
    assert len(path.spots) == 2
