"""The neck against the trade handbook's tables (sections 4 and 10), all [computed] there.

Fret places follow the twelfth root of two; the handbook prints them to 0.01 mm. Shapes and root
moves are common practice; the handbook found them by enumeration of its own.
"""

from __future__ import annotations

import pytest

from undersong.neck.geometry import fret_distance_mm, fret_span_mm, is_four_finger_frame
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.neck.moves import root_moves
from undersong.neck.shapes import closed_shapes
from undersong.theory.key import MAJOR_KEYS, Degree, Key, parse_key
from undersong.theory.pitch import midi_to_hz

PRINTED_MM = 0.005
PRINTED_SPAN_MM = 0.05
PRINTED_HZ = 0.0005

TUNINGS = """
standard           28 33 38 43
five-string, low B 23 28 33 38 43
five-string, high C 28 33 38 43 48
six-string         23 28 33 38 43 48
drop D             26 33 38 43
half-step down     27 32 37 42
whole-step down    26 31 36 41
B-E-A-D            23 28 33 38
tenor              33 38 43 48
"""

FRETS_MM = {
    762.0: (42.77, 83.14, 121.24, 157.20, 191.15, 223.18, 253.43, 281.97, 308.91, 334.34, 358.34,
            381.00),
    812.8: (45.62, 88.68, 129.32, 167.68, 203.89, 238.06, 270.32, 300.77, 329.51, 356.63, 382.23,
            406.40),
    838.2: (47.04, 91.45, 133.36, 172.92, 210.26, 245.50, 278.77, 310.17, 339.80, 367.78, 394.18,
            419.10),
    863.6: (48.47, 94.22, 137.40, 178.16, 216.63, 252.94, 287.22, 319.57, 350.10, 378.92, 406.12,
            431.80),
    889.0: (49.90, 96.99, 141.44, 183.40, 223.00, 260.38, 295.66, 328.97, 360.40, 390.07, 418.07,
            444.50),
}  # fmt: skip

FOUR_FRET_SPANS_MM = {
    1: (114.4, 122.1, 129.7, 133.5),
    2: (108.0, 115.2, 122.4, 126.0),
    3: (101.9, 108.7, 115.5, 118.9),
    4: (96.2, 102.6, 109.1, 112.3),
    5: (90.8, 96.9, 102.9, 106.0),
    7: (80.9, 86.3, 91.7, 94.4),
    9: (72.1, 76.9, 81.7, 84.1),
    12: (60.6, 64.7, 68.7, 70.7),
}
THREE_FRET_SPANS_MM = {
    1: (78.5, 83.7, 88.9, 91.5),
    3: (69.9, 74.6, 79.2, 81.6),
    5: (62.3, 66.4, 70.6, 72.7),
    7: (55.5, 59.2, 62.9, 64.7),
}
SCALES_MM = (762.0, 812.8, 863.6, 889.0)

# Start degree: string offsets, fret offsets from the first note, first finger (4.6, 4.7).
SHAPES = {
    1: ("00111222", (0, 2, -1, 0, 2, -1, 1, 2), 2),
    3: ("00011122", (0, 1, 3, 0, 2, 3, 0, 2), 1),
    4: ("00111222", (0, 2, -1, 1, 2, -1, 1, 2), 2),
    5: ("00111222", (0, 2, -1, 0, 2, -1, 0, 2), 2),
    6: ("00011122", (0, 2, 3, 0, 2, 3, 0, 2), 1),
    7: ("00011122", (0, 1, 3, 0, 1, 3, 0, 2), 1),
}
FROM_TWO = {
    ("00011122", (0, 2, 3, 0, 2, 4, 0, 2)),
    ("00011222", (0, 2, 3, 0, 2, -1, 0, 2)),
    ("00111222", (0, 2, -2, 0, 2, -1, 0, 2)),
    ("01112223", (0, -3, -2, 0, -3, -1, 0, -3)),
}

# From > to | up: least | up: others | down: least | down: others, as strings,frets (4.8).
MOVES = """
1>2 | 0,+2 | +1,-3 | -2,0 | -1,-5 -3,+5
1>3 | +1,-1 | 0,+4 | -2,+2 | -1,-3
1>4 | +1,0 | 0,+5 +2,-5 | -1,-2 | -2,+3
1>5 | +1,+2 | +2,-3 | -1,0 | 0,-5 -2,+5
1>6 | +2,-1 | +1,+4 | -1,+2 | 0,-3
1>7 | +2,+1 | +3,-4 | 0,-1 | -1,+4
2>1 | +2,0 | +1,+5 +3,-5 | 0,-2 | -1,+3
2>3 | 0,+2 | +1,-3 | -2,0 | -1,-5 -3,+5
2>4 | +1,-2 | 0,+3 | -2,+1 | -1,-4
2>5 | +1,0 | 0,+5 +2,-5 | -1,-2 | -2,+3
2>6 | +1,+2 | +2,-3 | -1,0 | 0,-5 -2,+5
2>7 | +2,-1 | +1,+4 | -1,+2 | 0,-3
3>1 | +2,-2 | +1,+3 | -1,+1 | 0,-4
3>2 | +2,0 | +1,+5 +3,-5 | 0,-2 | -1,+3
3>4 | 0,+1 | +1,-4 | -2,-1 | -3,+4
3>5 | +1,-2 | 0,+3 | -2,+1 | -1,-4
3>6 | +1,0 | 0,+5 +2,-5 | -1,-2 | -2,+3
3>7 | +1,+2 | +2,-3 | -1,0 | 0,-5 -2,+5
4>1 | +1,+2 | +2,-3 | -1,0 | 0,-5 -2,+5
4>2 | +2,-1 | +1,+4 | -1,+2 | 0,-3
4>3 | +2,+1 | +3,-4 | 0,-1 | -1,+4
4>5 | 0,+2 | +1,-3 | -2,0 | -1,-5 -3,+5
4>6 | +1,-1 | 0,+4 | -2,+2 | -1,-3
4>7 | +1,+1 | +2,-4 | -1,-1 | -2,+4
5>1 | +1,0 | 0,+5 +2,-5 | -1,-2 | -2,+3
5>2 | +1,+2 | +2,-3 | -1,0 | 0,-5 -2,+5
5>3 | +2,-1 | +1,+4 | -1,+2 | 0,-3
5>4 | +2,0 | +1,+5 +3,-5 | 0,-2 | -1,+3
5>6 | 0,+2 | +1,-3 | -2,0 | -1,-5 -3,+5
5>7 | +1,-1 | 0,+4 | -2,+2 | -1,-3
6>1 | +1,-2 | 0,+3 | -2,+1 | -1,-4
6>2 | +1,0 | 0,+5 +2,-5 | -1,-2 | -2,+3
6>3 | +1,+2 | +2,-3 | -1,0 | 0,-5 -2,+5
6>4 | +2,-2 | +1,+3 | -1,+1 | 0,-4
6>5 | +2,0 | +1,+5 +3,-5 | 0,-2 | -1,+3
6>7 | 0,+2 | +1,-3 | -2,0 | -1,-5 -3,+5
7>1 | 0,+1 | +1,-4 | -2,-1 | -3,+4
7>2 | +1,-2 | 0,+3 | -2,+1 | -1,-4
7>3 | +1,0 | 0,+5 +2,-5 | -1,-2 | -2,+3
7>4 | +1,+1 | +2,-4 | -1,-1 | -2,+4
7>5 | +2,-2 | +1,+3 | -1,+1 | 0,-4
7>6 | +2,0 | +1,+5 +3,-5 | 0,-2 | -1,+3
"""


@pytest.mark.parametrize("row", TUNINGS.strip().splitlines())
def test_tunings(row: str) -> None:
    name = row.rstrip("0123456789 ").strip()
    midis = tuple(int(word) for word in row[len(name) :].split())
    assert parse_tuning(name).midis == midis


@pytest.mark.parametrize(
    ("name", "string", "hz"),
    [
        ("five", 5, 30.868),
        ("drop d", 4, 36.708),
        ("half-step down", 4, 38.891),
        ("standard", 4, 41.203),
        ("standard", 1, 97.999),
        ("tenor", 1, 130.813),
    ],
)
def test_open_strings_sound_as_the_check_values_say(name: str, string: int, hz: float) -> None:
    bass = Instrument(tuning=parse_tuning(name))
    assert midi_to_hz(bass.open_midi(string)) == pytest.approx(hz, abs=PRINTED_HZ)


@pytest.mark.parametrize("scale_mm", FRETS_MM)
def test_fret_places(scale_mm: float) -> None:
    for fret, printed in enumerate(FRETS_MM[scale_mm], start=1):
        assert fret_distance_mm(fret, scale_mm) == pytest.approx(printed, abs=PRINTED_MM)


@pytest.mark.parametrize(("table", "frets"), [(FOUR_FRET_SPANS_MM, 3), (THREE_FRET_SPANS_MM, 2)])
def test_hand_spans(table: dict[int, tuple[float, ...]], frets: int) -> None:
    for low, row in table.items():
        for scale_mm, printed in zip(SCALES_MM, row, strict=True):
            span = fret_span_mm(low, low + frets, scale_mm)
            assert span == pytest.approx(printed, abs=PRINTED_SPAN_MM)


def test_four_fingers_begin_at_fret_five_for_the_default_hand() -> None:
    lowest = next(fret for fret in range(1, 20) if is_four_finger_frame(fret, Instrument()))
    assert lowest == 5  # check value 24


def _offsets(
    notes: list[tuple[int, int]],
) -> tuple[str, tuple[int, ...]]:
    string, fret = notes[0]
    return "".join(str(string - s) for s, _ in notes), tuple(f - fret for _, f in notes)


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
@pytest.mark.parametrize("number", SHAPES)
def test_the_shape_from_every_degree_in_every_key(key: Key, number: int) -> None:
    strings, frets, finger = SHAPES[number]
    shapes = closed_shapes(Instrument(), key, Degree(number))
    assert shapes
    for shape in shapes:
        places = [(note.string, note.fret) for note in shape.notes]
        assert _offsets(places) == (strings, frets)
        assert shape.notes[0].finger == finger
        assert (shape.strings, shape.frets, shape.note) == (3, 4, None)


def test_the_fingers_of_the_major_shape() -> None:
    for shape in closed_shapes(Instrument(), parse_key("G")):
        assert [note.finger for note in shape.notes] == [2, 4, 1, 2, 4, 1, 3, 4]


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_the_shape_from_two_has_the_four_least_alternatives(key: Key) -> None:
    shapes = closed_shapes(Instrument(), key, Degree(2))
    found = {_offsets([(note.string, note.fret) for note in shape.notes]) for shape in shapes}
    assert found == FROM_TWO
    assert all(shape.note is not None for shape in shapes)


def test_start_frets_along_the_low_string_in_g() -> None:
    # check value 50, with the 3 and the 7 from 4.7
    frets = {}
    for number in SHAPES:
        shapes = closed_shapes(Instrument(), parse_key("G"), Degree(number))
        frets[number] = [shape.place[1] for shape in shapes if shape.place[0] == 4]
    assert frets[1] == [3, 15]
    assert frets[4][0] == 8
    assert frets[5][0] == 10
    assert 12 in frets[6]
    assert frets[3][0] == 7
    assert 14 in frets[7]


def _ways(text: str) -> list[tuple[int, int]]:
    return [(int(a), int(b)) for a, b in (way.split(",") for way in text.split() if way != "-")]


@pytest.mark.parametrize("row", MOVES.strip().splitlines(), ids=lambda row: row[:3])
def test_all_root_moves_on_strings_in_fourths(row: str) -> None:
    pair, up, up_others, down, down_others = (cell.strip() for cell in row.split("|"))
    start, end = pair.split(">")
    for direction, least, others in (("up", up, up_others), ("down", down, down_others)):
        (move,) = [
            move
            for move in root_moves(Instrument(), parse_key("D"))
            if (str(move.start), str(move.end), move.direction) == (start, end, direction)
        ]
        assert [(move.strings, move.frets)] == _ways(least)
        assert set(move.others) == set(_ways(others))


def test_there_are_forty_two_pairs() -> None:
    assert len(MOVES.strip().splitlines()) == 42  # check value 43
    assert len(root_moves(Instrument(), parse_key("Ab"))) == 2 * 42


def test_drop_d_adds_two_frets_on_the_bottom_string() -> None:
    bass = Instrument(tuning=parse_tuning("drop d"))
    assert (4, 5) in bass.places(31)  # check value 52
    moves = {
        move.from_string: (move.strings, move.frets)
        for move in root_moves(bass, parse_key("G"))
        if (str(move.start), str(move.end), move.direction) == ("1", "5", "up")
    }
    assert moves[3] == (1, 2)
    assert moves[4] == (1, 0)
