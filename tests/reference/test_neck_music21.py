"""Shapes and drills against music21 (general-purpose music theory library, version 10).

music21 builds the modes from its own interval networks; our shapes come from places on a neck.
"""

from __future__ import annotations

from typing import Any

import pytest
from music21 import chord as m21chord
from music21 import pitch as m21pitch
from music21 import scale as m21scale

from undersong.drills.catalogue import make_drill
from undersong.neck.instrument import Instrument
from undersong.neck.neckmap import key_on_neck
from undersong.neck.patterns import pattern_named, pattern_shapes
from undersong.neck.shapes import closed_shapes
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, Mode
from undersong.theory.pitch import parse_pitch_name

MODES = (
    m21scale.MajorScale,
    m21scale.DorianScale,
    m21scale.PhrygianScale,
    m21scale.LydianScale,
    m21scale.MixolydianScale,
    m21scale.MinorScale,
    m21scale.LocrianScale,
)
KEYS = [*MAJOR_KEYS, *MINOR_KEYS]


def m21_name(name: object) -> str:
    return str(name).replace("b", "-")


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_the_shape_from_each_degree_is_its_mode(key: Key) -> None:
    first_mode = 0 if key.mode is Mode.MAJOR else 5
    for step, degree in enumerate(key.degrees):
        tonic = m21_name(key.name_of(degree))
        mode = MODES[(first_mode + step) % 7](tonic)
        for shape in closed_shapes(Instrument(), key, degree):
            low = m21pitch.Pitch(tonic)
            low.octave = 1
            while low.midi < shape.notes[0].midi:
                low.octave += 1
            wanted = mode.getPitches(low, low.transpose("P8"))
            assert [note.midi for note in shape.notes] == [pitch.midi for pitch in wanted]
            names = [m21_name(key.name_of(note.degree)) for note in shape.notes]
            assert names == [pitch.name for pitch in wanted]


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_the_map_has_the_key_s_notes_and_no_other(key: Key) -> None:
    kind = m21scale.MajorScale if key.mode is Mode.MAJOR else m21scale.MinorScale
    wanted = {pitch.name for pitch in kind(m21_name(key.tonic)).getPitches()}
    found = {m21_name(note.pitch.name) for note in key_on_neck(Instrument(), key)}
    assert found == wanted


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_the_scale_drill_is_the_scale(key: Key) -> None:
    kind = m21scale.MajorScale if key.mode is Mode.MAJOR else m21scale.MinorScale
    strokes = make_drill("scale", key).part.strokes
    low = m21pitch.Pitch(m21_name(strokes[0].note.pitch.name))
    low.octave = strokes[0].note.pitch.octave
    up = [pitch.nameWithOctave for pitch in kind(low.name).getPitches(low, low.transpose("P8"))]
    drill = [m21_name(stroke.note.pitch) for stroke in strokes]
    assert drill == up + up[-2::-1]


SCALES: dict[str, Any] = {
    "major": m21scale.MajorScale,
    "natural minor": m21scale.MinorScale,
    "harmonic minor": m21scale.HarmonicMinorScale,
    "Ionian": m21scale.MajorScale,
    "Dorian": m21scale.DorianScale,
    "Phrygian": m21scale.PhrygianScale,
    "Lydian": m21scale.LydianScale,
    "Mixolydian": m21scale.MixolydianScale,
    "Aeolian": m21scale.MinorScale,
    "Locrian": m21scale.LocrianScale,
}
# Our name, music21's common name of the chord, and the inversion it finds.
CHORDS = [
    ("major triad", "major triad", 0),
    ("minor triad", "minor triad", 0),
    ("diminished triad", "diminished triad", 0),
    ("augmented triad", "augmented triad", 0),
    ("first inversion, major", "major triad", 1),
    ("first inversion, minor", "minor triad", 1),
    ("second inversion, major", "major triad", 2),
    ("second inversion, minor", "minor triad", 2),
    ("seventh", "dominant seventh chord", 0),
    ("major seventh", "major seventh chord", 0),
    ("minor seventh", "minor seventh chord", 0),
    ("half-diminished seventh", "half-diminished seventh chord", 0),
    ("diminished seventh", "diminished seventh chord", 0),
]


@pytest.mark.parametrize("name", SCALES)
def test_scale_patterns_are_music21_s_scales(name: str) -> None:
    for tonic in ("E", "B-", "F#"):
        wanted = SCALES[name](tonic).getPitches(f"{tonic}2", f"{tonic}3")
        root = parse_pitch_name(tonic.replace("-", "b"))
        names = [m21_name(i.above_name(root)) for i in pattern_named(name).intervals]
        assert names == [pitch.name for pitch in wanted]


@pytest.mark.parametrize(("ours", "theirs", "inversion"), CHORDS)
def test_chord_shapes_are_music21_s_chords(ours: str, theirs: str, inversion: int) -> None:
    pattern = pattern_named(ours)
    root = parse_pitch_name("A")
    for shape in pattern_shapes(Instrument(), root, pattern):
        low = root.with_midi(shape.notes[0].midi)
        pitches = [i.above(low) for i in pattern.intervals]
        assert [pitch.midi for pitch in pitches] == [note.midi for note in shape.notes]
        chord = m21chord.Chord([m21_name(pitch) for pitch in pitches])
        assert chord.commonName == theirs
        assert chord.inversion() == inversion
