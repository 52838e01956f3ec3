"""Shapes and drills against music21 (general-purpose music theory library, version 10).

music21 builds the modes from its own interval networks; our shapes come from places on a neck.
"""

from __future__ import annotations

import pytest
from music21 import pitch as m21pitch
from music21 import scale as m21scale

from undersong.drills.catalogue import make_drill
from undersong.neck.instrument import Instrument
from undersong.neck.neckmap import key_on_neck
from undersong.neck.shapes import closed_shapes
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, Mode

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
