from __future__ import annotations

import pytest

from undersong.errors import TheoryError
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.neck.shapes import (
    closed_shapes,
    degree_in_key,
    degrees_upward,
    hand_frets,
    layouts,
    semitones_upward,
)
from undersong.theory.key import Degree, parse_degree, parse_key


def test_a_plain_number_in_a_minor_key_is_the_key_s_own_degree() -> None:
    assert degree_in_key(parse_key("Am"), Degree(3)) == Degree(3, -1)
    assert degree_in_key(parse_key("Am"), Degree(3, -1)) == Degree(3, -1)
    assert degree_in_key(parse_key("A"), Degree(3)) == Degree(3)


def test_a_degree_outside_the_key_is_refused_with_the_degrees_there_are() -> None:
    with pytest.raises(TheoryError, match="The key of G has no b3: its degrees are 1 2 3 4 5 6 7"):
        closed_shapes(Instrument(), parse_key("G"), parse_degree("b3"))


def test_an_octave_upward_keeps_rising() -> None:
    degrees = degrees_upward(parse_key("C"), Degree(5))
    assert " ".join(map(str, degrees)) == "5 6 7 1 2 3 4 5"
    assert semitones_upward(degrees) == (0, 2, 4, 5, 7, 9, 10, 12)


def test_shapes_come_lowest_string_first_and_never_use_an_open_string() -> None:
    shapes = closed_shapes(Instrument(), parse_key("C"))
    assert [shape.place for shape in shapes] == [(4, 8), (3, 3), (3, 15)]
    assert all(note.fret > 0 for shape in shapes for note in shape.notes)


def test_a_shorter_neck_has_fewer_places() -> None:
    places = [shape.place for shape in closed_shapes(Instrument(frets=14), parse_key("C"))]
    assert places == [(4, 8), (3, 3)]


def test_five_strings_add_a_place_for_the_same_shape() -> None:
    five = Instrument(tuning=parse_tuning("five"))
    four_places = {shape.place for shape in closed_shapes(Instrument(), parse_key("G"))}
    five_places = {shape.place for shape in closed_shapes(five, parse_key("G"))}
    assert four_places < five_places
    assert (5, 8) in five_places


def test_left_handers_get_the_same_numbers() -> None:
    key = parse_key("Bb")
    left = Instrument(left_handed=True)
    assert closed_shapes(left, key) == closed_shapes(Instrument(), key)


def test_the_alternatives_from_two_say_what_they_cost() -> None:
    notes = {shape.note for shape in closed_shapes(Instrument(), parse_key("G"), Degree(2))}
    assert "costs four strings instead of three, from finger 4" in notes
    assert (
        "costs five frets instead of four; shift back one fret for the 5 on string 3 (or stretch)"
        in notes
    )


def test_a_neck_of_one_string_gives_one_long_shape_or_none() -> None:
    one = Instrument(tuning=parse_tuning("E1"))
    assert closed_shapes(one, parse_key("F")) == ()


def test_layouts_respect_their_limits() -> None:
    bass = Instrument()
    octave = [31, 43]
    assert list(layouts(bass, octave, (4, 3), 4, 3)) == [((4, 3), (2, 5))]
    assert list(layouts(bass, octave, (4, 3), 13, 1)) == [((4, 3), (4, 15))]
    assert list(layouts(bass, octave, (4, 0), 13, 4)) == []


@pytest.mark.parametrize(
    ("frets", "hands"),
    [
        ([3, 5, 2, 3, 5, 2, 4, 5], (2,) * 8),
        ([5, 7, 8, 5, 7, 9, 5, 7], (5, 5, 5, 5, 5, 6, 5, 5)),
        ([7], (7,)),
        ([5, 6, 7], (5, 5, 5)),
    ],
)
def test_the_hand_moves_as_little_as_it_can(frets: list[int], hands: tuple[int, ...]) -> None:
    assert hand_frets(frets) == hands
