"""Spelling, signatures, degrees and chord tones against music21, a general theory library.

Source: music21 10.5 (`key.Key`, `scale`, `pitch`, `chord`, `interval`).
"""

import pytest
from music21 import chord as m21chord
from music21 import interval as m21interval
from music21 import key as m21key
from music21 import pitch as m21pitch
from music21 import scale as m21scale

from undersong.theory.chord import QUALITIES, Chord, Quality, diatonic_chords
from undersong.theory.interval import between, parse_interval
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, Mode
from undersong.theory.pitch import PitchName, parse_pitch
from undersong.theory.scale import MODE_NAMES, mode

ALL_KEYS = (*MAJOR_KEYS, *MINOR_KEYS)


def theirs(name: PitchName) -> str:
    """Our name in music21's spelling, where a flat is a minus sign."""
    return name.letter + ("#" * name.alteration if name.alteration > 0 else "-" * -name.alteration)


def their_key(key: Key) -> m21key.Key:
    return m21key.Key(theirs(key.tonic), "major" if key.mode is Mode.MAJOR else "minor")


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
def test_signature_and_scale(key: Key) -> None:
    other = their_key(key)
    assert other.sharps == key.signature
    assert [pitch.name for pitch in other.pitches[:7]] == [theirs(name) for name in key.names]


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_relative_minor(key: Key) -> None:
    assert their_key(key).relative.tonic.name == theirs(key.relative.tonic)


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
@pytest.mark.parametrize("sevenths", [False, True])
def test_chords_on_each_degree(key: Key, *, sevenths: bool) -> None:
    names = [theirs(name) for name in key.names]
    for degree, ours in enumerate(diatonic_chords(key, sevenths=sevenths)):
        stack = [names[(degree + 2 * place) % 7] for place in range(4 if sevenths else 3)]
        assert [theirs(name) for _, name in ours.tones] == stack


@pytest.mark.parametrize("kind", QUALITIES, ids=lambda kind: kind.name)
@pytest.mark.parametrize("root", [name for key in MAJOR_KEYS for name in (key.tonic,)], ids=str)
def test_chord_tones_of_every_kind_on_every_tonic(kind: Quality, root: PitchName) -> None:
    ours = [theirs(name) for _, name in Chord(root, kind).tones]
    base = m21pitch.Pitch(theirs(root) + "2")
    expected = [
        m21interval.Interval(str(each)).transposePitch(base).name for each in kind.intervals
    ]
    assert ours == expected


@pytest.mark.parametrize(
    ("kind", "their_name"),
    [
        ("major", "major triad"),
        ("minor", "minor triad"),
        ("diminished", "diminished triad"),
        ("augmented", "augmented triad"),
        ("seventh", "dominant seventh chord"),
        ("major seventh", "major seventh chord"),
        ("minor seventh", "minor seventh chord"),
        ("half-diminished seventh", "half-diminished seventh chord"),
        ("diminished seventh", "diminished seventh chord"),
        ("augmented major seventh", "augmented major tetrachord"),
        ("power", "Perfect Fifth"),
        ("suspended fourth", "quartal trichord"),
    ],
)
def test_kinds_are_called_the_same(kind: str, their_name: str) -> None:
    quality = next(each for each in QUALITIES if each.name == kind)
    base = m21pitch.Pitch("C3")
    pitches = [m21interval.Interval(str(i)).transposePitch(base) for i in quality.intervals]
    assert m21chord.Chord(pitches).commonName == their_name


def test_intervals_between_all_notes_of_a_bass_octave() -> None:
    texts = ["E1", "F1", "F#1", "Gb1", "G1", "G#1", "Ab1", "A1", "Bb1", "B1", "C2", "D#2", "Eb2"]
    for low in texts:
        for high in texts:
            ours = between(parse_pitch(low), parse_pitch(high))
            other = m21interval.Interval(
                m21pitch.Pitch(low.replace("b", "-")), m21pitch.Pitch(high.replace("b", "-"))
            )
            assert ours.semitones == other.semitones
            # music21 writes a downward interval with the sign in the middle ("m-2").
            if ours.semitones > 0 and ours.steps > 0:
                assert str(ours) == other.name == str(parse_interval(str(ours)))


@pytest.mark.parametrize("degree", range(1, 8))
def test_modes(degree: int) -> None:
    their_names = {"Ionian": "Major", "Aeolian": "Minor"}
    ours = MODE_NAMES[degree - 1]
    their_mode = getattr(m21scale, f"{their_names.get(ours, ours)}Scale")
    for tonic in ("D", "E", "B-", "F#"):
        other = [pitch.name for pitch in their_mode(tonic).getPitches()][:7]
        name = PitchName(tonic[0], {"": 0, "-": -1, "#": 1}[tonic[1:]])
        assert [theirs(each) for each in mode(degree).names(name)] == other
