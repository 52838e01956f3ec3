from __future__ import annotations

import json
import re

from undersong.neck.instrument import TUNINGS, Instrument, parse_tuning
from undersong.neck.neckmap import key_on_neck, neck_json, neck_lines
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Degree, parse_key


def test_the_json_has_the_keys_of_the_contract() -> None:
    data = neck_json(Instrument(), parse_key("G"))
    assert json.loads(json.dumps(data)) == data
    assert data["key"] == "G"
    assert data["tuning"] == [28, 33, 38, 43]
    assert {"string": 4, "fret": 3, "midi": 31, "pitch": "G1", "degree": "1"} in _rows(
        data, "notes"
    )
    shape = _rows(data, "shapes")[0]
    assert (shape["from"], shape["frets"], shape["strings"]) == ("1", 4, 3)
    assert "note" not in shape
    moves = _rows(data, "moves")
    assert len(moves) == 84
    (one_to_four,) = [
        move for move in moves if (move["from"], move["to"], move["direction"]) == ("1", "4", "up")
    ]
    assert (one_to_four["strings"], one_to_four["frets"]) == (1, 0)
    assert "from_string" not in one_to_four


def test_uneven_moves_and_least_alternatives_are_marked() -> None:
    data = neck_json(Instrument(tuning=parse_tuning("drop d")), parse_key("G"), Degree(2))
    assert all("note" in shape for shape in _rows(data, "shapes"))
    assert {move["from_string"] for move in _rows(data, "moves")} == {1, 2, 3, 4}


def _rows(data: dict[str, object], name: str) -> list[dict[str, object]]:
    rows = data[name]
    assert isinstance(rows, list)
    return rows


def test_every_note_of_the_key_is_on_the_map_once() -> None:
    bass = Instrument()
    notes = key_on_neck(bass, parse_key("Gb"))
    expected = sum(
        bass.midi_at(string, fret) % 12 in {6, 8, 10, 11, 1, 3, 5}
        for string in (1, 2, 3, 4)
        for fret in range(21)
    )
    assert len({(note.string, note.fret) for note in notes}) == len(notes) == expected
    assert {str(note.pitch.name) for note in notes} == {"Gb", "Ab", "Bb", "Cb", "Db", "Eb", "F"}


def test_the_picture_reads_like_a_neck() -> None:
    lines = neck_lines(Instrument(frets=5), parse_key("G"))
    assert lines[2:7] == [
        "  G2  1  -----2-------3---4--",
        "  D2  5  -----6-------7---1--",
        "  A1  2  -----3---4-------5--",
        "  E1  6  -----7---1-------2--",
        "      0   1   2   3   4   5",
    ]


def test_a_left_handers_picture_is_the_mirror() -> None:
    right = neck_lines(Instrument(frets=12), parse_key("C"))[2]
    left = neck_lines(Instrument(frets=12, left_handed=True), parse_key("C"))[2]
    assert left.startswith("-5--")
    assert left.endswith("G2")
    assert right.startswith("  G2  5")


def test_the_words_of_a_first_move_and_of_what_does_not_fit_are_there() -> None:
    text = "\n".join(neck_lines(Instrument(), parse_key("G"), Degree(2)))
    assert "1 up to 4: up a string, same fret" in text
    assert "does not fit three strings and four frets" in text


def test_no_line_is_wider_than_a_terminal() -> None:
    for tuning in TUNINGS:
        for key in (*MAJOR_KEYS, *MINOR_KEYS):
            lines = neck_lines(Instrument(tuning=tuning), key)
            assert max(map(len, lines)) <= 100, (tuning.name, key)


def test_strings_of_one_name_are_told_by_their_numbers() -> None:
    dropped = neck_lines(Instrument(tuning=parse_tuning("drop D")), parse_key("G"), Degree(5))
    shapes = [line for line in dropped if "fingers" in line]
    assert shapes
    assert all(re.search(r"string \d \([ADG]\) \d", line) for line in shapes)
    assert "A string" not in "\n".join(dropped)
    standard = "\n".join(neck_lines(Instrument(), parse_key("G")))
    assert "E string 3 5, A string 2 3 5" in standard


def test_other_ways_of_a_move_stand_beside_it() -> None:
    lines = neck_lines(Instrument(), parse_key("G"))
    assert (
        "  1 up to 4: up a string, same fret "
        "(or same string, up five frets; up two strings, down five frets)"
    ) in lines
    assert "  4 up to 5: same string, up two frets (or up a string, down three frets)" in lines
    dropped = neck_lines(Instrument(tuning=parse_tuning("drop D")), parse_key("G"))
    text = " ".join(line.strip() for line in dropped)
    assert (
        "1 up to 4 from string 3: up a string, same fret "
        "(or same string, up five frets; up two strings, down five frets)"
    ) in text
