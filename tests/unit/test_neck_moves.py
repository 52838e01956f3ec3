from __future__ import annotations

import pytest

from undersong.neck.instrument import Instrument, parse_tuning
from undersong.neck.moves import interval_of, move_words, pair_moves, root_moves
from undersong.theory.key import Degree, parse_key


@pytest.mark.parametrize(
    ("strings", "frets", "words"),
    [
        (1, 0, "up a string, same fret"),
        (1, -1, "up a string, down a fret"),
        (0, 2, "same string, up two frets"),
        (-2, 1, "down two strings, up a fret"),
        (0, -11, "same string, down 11 frets"),
    ],
)
def test_moves_are_told_as_a_teacher_would(strings: int, frets: int, words: str) -> None:
    assert move_words(strings, frets) == words


@pytest.mark.parametrize(
    ("start", "end", "direction", "words"),
    [
        (1, 4, "up", "up a string, same fret"),
        (4, 6, "up", "up a string, down a fret"),
        (1, 5, "down", "down a string, same fret"),
        (5, 6, "up", "same string, up two frets"),
    ],
)
def test_the_moves_every_player_knows(start: int, end: int, direction: str, words: str) -> None:
    up, down = pair_moves(Instrument(), Degree(start), Degree(end))
    assert (up if direction == "up" else down).words == words


def test_intervals_stay_within_an_octave() -> None:
    assert interval_of(Degree(7), Degree(1), "up") == 1
    assert interval_of(Degree(7), Degree(1), "down") == -11


def test_an_even_tuning_has_one_row_and_an_uneven_one_a_row_for_each_string() -> None:
    key = parse_key("E")
    assert all(move.from_string is None for move in root_moves(Instrument(), key))
    uneven = root_moves(Instrument(tuning=parse_tuning("drop d")), key)
    assert len(uneven) == 84 * 4
    assert {move.from_string for move in uneven} == {1, 2, 3, 4}


def test_from_the_highest_string_there_is_no_string_up() -> None:
    moves = root_moves(Instrument(tuning=parse_tuning("drop d")), parse_key("E"))
    assert all(move.strings <= 0 for move in moves if move.from_string == 1)


def test_a_minor_key_moves_between_its_own_degrees() -> None:
    starts = {str(move.start) for move in root_moves(Instrument(), parse_key("Am"))}
    assert starts == {"1", "2", "b3", "4", "5", "b6", "b7"}


def test_one_string_moves_along_it() -> None:
    moves = root_moves(Instrument(tuning=parse_tuning("E1")), parse_key("E"))
    assert all(move.strings == 0 for move in moves)
