from __future__ import annotations

import pytest

from undersong.errors import TheoryError
from undersong.neck.instrument import TUNINGS, Instrument, Tuning, parse_tuning
from undersong.neck.patterns import PATTERNS, Pattern, pattern_named, pattern_shapes
from undersong.neck.shapes import closed_shapes
from undersong.theory.key import MAJOR_KEYS, Key
from undersong.theory.pitch import parse_pitch_name

BASS = Instrument()


def test_patterns_are_found_by_name() -> None:
    assert pattern_named(" Minor Triad ").name == "minor triad"
    with pytest.raises(TheoryError, match="there are major; natural minor"):
        pattern_named("blue scale")


def test_degrees_are_counted_from_the_root() -> None:
    named = {p.name: " ".join(str(degree) for degree in p.degrees) for p in PATTERNS}
    assert named["minor pentatonic"] == "1 b3 4 5 b7 1"
    assert named["half-diminished seventh"] == "1 b3 b5 b7"
    assert named["diminished seventh"] == "1 b3 b5 bb7"
    assert named["major tenth"] == "1 3"
    assert named["Lydian"] == "1 2 3 #4 5 6 7 1"


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_the_major_pattern_is_the_major_shape(key: Key) -> None:
    by_pattern = pattern_shapes(BASS, key.tonic, pattern_named("major"))
    by_key = closed_shapes(BASS, key)
    assert [[(n.string, n.fret, n.finger) for n in s.notes] for s in by_pattern] == [
        [(n.string, n.fret, n.finger) for n in s.notes] for s in by_key
    ]


def test_chord_shapes_have_the_fingers_players_use() -> None:
    # Root, fifth, octave with 1 3 4, the minor triad with 1 4 3 4 and the major with 2 1 4 4:
    # common practice, no source.
    def first(name: str) -> list[int]:
        shape = pattern_shapes(BASS, parse_pitch_name("A"), pattern_named(name))[0]
        return [note.finger for note in shape.notes]

    assert first("root, fifth, octave") == [1, 3, 4]
    assert first("minor triad") == [1, 4, 3, 4]
    assert first("major triad") == [2, 1, 4, 4]
    assert first("minor pentatonic") == [1, 4, 1, 3, 1, 3]
    assert first("major pentatonic") == [2, 4, 1, 4, 1, 4]


@pytest.mark.parametrize("tuning", TUNINGS, ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern.name)
def test_every_pattern_sounds_its_intervals_on_every_tuning(
    pattern: Pattern, tuning: Tuning
) -> None:
    bass = Instrument(tuning=tuning)
    shapes = pattern_shapes(bass, parse_pitch_name("Bb"), pattern)
    assert shapes
    for shape in shapes:
        midis = [bass.midi_at(note.string, note.fret) for note in shape.notes]
        assert midis == [note.midi for note in shape.notes]
        assert midis[0] % 12 == 10
        assert [midi - midis[0] for midi in midis] == [i.semitones for i in pattern.intervals]
        assert all(note.fret > 0 and 1 <= note.finger <= 4 for note in shape.notes)
        fits = shape.strings <= 3 and shape.frets <= 4
        assert fits == (shape.note is None)


def test_a_neck_too_small_for_a_pattern_gives_none() -> None:
    one = Instrument(tuning=parse_tuning("E1"), frets=5)
    assert pattern_shapes(one, parse_pitch_name("F"), pattern_named("major tenth")) == ()
