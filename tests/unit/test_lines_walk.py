"""Roads between targets: scales of the moment, approaches and their spelling, best roads."""

import pytest

from undersong.chart.song import in_key
from undersong.chart.text import parse_song
from undersong.lines import write_line
from undersong.lines.walk import (
    Approach,
    approaches,
    arrives,
    best_road,
    lattice,
    readable,
    scale_over,
)
from undersong.lines.weights import WEIGHTS
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import MAJOR_KEYS, parse_key
from undersong.theory.pitch import parse_pitch_name


def ways(target: str, goal: str, chord: str, key: str = "G", start: int = 0) -> list[Approach]:
    return list(
        approaches(parse_pitch_name(target), goal, start, parse_number_chord(chord), parse_key(key))
    )


def spelled(target: str, chord: str, key: str, road: str) -> list[str]:
    over, home = parse_number_chord(chord), parse_key(key)
    found = [way.names[-1] for way in ways(target, "it", chord, key) if way.road == road]
    return [str(readable(name, over, home)) for name in found]


@pytest.mark.parametrize(
    ("target", "key", "below", "above"),
    [
        ("D", "G", "C#", "Eb"),  # 4.5 of trade handbook 7.3: #4 under 5
        ("C", "G", [], "Db"),  # b5 above 4, trade handbook 7.3
        ("A", "C", "G#", "Bb"),
        ("Bb", "Ab", "A", "B"),  # no Cb where the key has none; common practice, no source
        ("Eb", "Db", "D", "E"),
        ("C#", "A", "C", []),
        ("F", "Gb", "E", []),
        ("G#", "E", "G", []),  # F## is shown as its plain neighbour, trade handbook 3.3
    ],
)
def test_half_steps_are_spelled_towards_their_target(
    target: str, key: str, below: str | list[str], above: str | list[str]
) -> None:
    for side, wanted in (("below", below), ("above", above)):
        found = spelled(target, "1", key, f"chromatic {side}")
        assert found == ([wanted] if wanted else [])


def test_a_half_step_inside_the_key_is_not_called_chromatic() -> None:
    found = {way.road: way.whys[-1] for way in ways("C", "the 4", "1")}
    assert "chromatic below" not in found
    assert found["below"] == "half step inside the key into the 4 from below"
    assert found["chromatic above"] == "chromatic approach to the 4 from above"


def test_a_double_approach_goes_round_its_target() -> None:
    doubles = [way for way in ways("D", "the 5", "1") if way.road == "double"]
    assert [way.moves for way in doubles] == [(2, -1), (-1, 2)]
    assert doubles[0].whys == (
        "double approach to the 5: first from above",
        "double approach to the 5: then from below",
    )


def test_the_scale_follows_the_chord() -> None:
    assert "F" in [str(n) for n in scale_over(parse_number_chord("b7"), parse_key("G"))]
    assert "C#" in [str(n) for n in scale_over(parse_number_chord("2"), parse_key("G"))]
    assert "D#" in [str(n) for n in scale_over(parse_number_chord("3"), parse_key("G"))]
    assert "Eb" in [str(n) for n in scale_over(parse_number_chord("4-"), parse_key("G"))]


def test_a_road_goes_by_step_and_ends_beside_its_goal() -> None:
    notes = lattice(parse_number_chord("1"), parse_key("G"), 28, 43, pentatonic=False)
    road = best_road(31, 36, (True, False), notes, WEIGHTS)
    assert road is not None
    assert [str(name.with_midi(midi)) for midi, name in road] == ["A1", "B1"]


def test_a_road_without_a_goal_ends_on_a_chord_note() -> None:
    notes = lattice(parse_number_chord("1"), parse_key("G"), 28, 43, pentatonic=False)
    road = best_road(31, None, (True, False, True), notes, WEIGHTS)
    assert road is not None
    assert road[-1][0] % 12 in (31 % 12, 35 % 12, 38 % 12)


def test_there_may_be_no_road() -> None:
    notes = lattice(parse_number_chord("1"), parse_key("G"), 28, 33, pentatonic=False)
    assert best_road(31, 43, (True,), notes, WEIGHTS) is None
    assert best_road(31, 31, (), notes, WEIGHTS) is None


def test_a_pentatonic_road_leaves_out_what_rubs() -> None:
    notes = lattice(parse_number_chord("1"), parse_key("G"), 31, 42, pentatonic=True)
    assert [str(name) for _, name, _ in notes.notes] == ["G", "A", "B", "D", "E"]


def test_arriving_is_a_step_and_not_a_repeat() -> None:
    assert arrives(35, 36, is_tone=False)
    assert not arrives(36, 36, is_tone=True)
    assert not arrives(33, 36, is_tone=True)


def test_no_line_prints_a_double_sign_or_a_far_name_of_a_white_key() -> None:
    text = "Title: A\nKey: Db\n\nVerse\n| 1 | 3(7) | 6- | 2(7) |\n| 5 | 4- | b3 | 1 | x2\n"
    for key in MAJOR_KEYS:
        song = in_key(parse_song(text), key)
        for level in (4, 5, 6):
            for note in write_line(song, level=level).part.notes:
                assert note.chord is not None
                own = {*key.names, *(name for _, name in note.chord.in_key(key).tones)}
                name, degree = note.pitch.name, note.degree
                assert abs(name.alteration) <= 1
                assert str(name) not in ("B#", "E#", "Cb", "Fb") or name in own
                assert degree is not None
                assert abs(degree.alteration) <= 1, (key, note)


@pytest.mark.parametrize("key", ["Am", "F#m", "Bbm", "Em"])
def test_a_minor_line_is_numbered_without_detours(key: str) -> None:
    song = parse_song(
        f"Title: A\nKey: {key}\nMinor: 1-\n\nVerse\n| 1- | b6 | b3 | b7 | 4- | b6 | b3 | 1- | x3\n"
    )
    for seed in (1, 2, 3):
        notes = write_line(song, level=5, seed=seed).part.notes
        numbered = {str(note.degree) for note in notes}
        assert not numbered & {"b1", "b4", "#3", "#7", "bb7", "bb3"}
