"""Pitches: build, refuse, compare, hash, print, round trip."""

import pytest

from undersong.errors import TheoryError
from undersong.theory.pitch import (
    Pitch,
    PitchName,
    midi_to_hz,
    musical_signs,
    parse_pitch,
    parse_pitch_name,
    plain_pitch,
)


def test_reads_and_prints_names() -> None:
    for text in ("C", "F#", "Bb", "Gbb", "F##"):
        assert str(parse_pitch_name(text)) == text


def test_reads_musical_signs_and_small_letters() -> None:
    assert parse_pitch_name("b♭") == PitchName("B", -1)
    assert parse_pitch_name("F♯") == PitchName("F", 1)
    assert parse_pitch_name("Fx") == PitchName("F", 2)


@pytest.mark.parametrize("text", ["", "H", "G%", "1", "G#1"])
def test_refuses_what_is_no_name(text: str) -> None:
    with pytest.raises(TheoryError, match="not a note name"):
        parse_pitch_name(text)


def test_reads_and_prints_pitches() -> None:
    for text in ("E1", "Bb2", "C#4", "B0", "Cb4"):
        assert str(parse_pitch(text)) == text


def test_octave_belongs_to_the_letter() -> None:
    assert parse_pitch("Cb4").midi == 59
    assert parse_pitch("B#3").midi == 60


def test_same_sound_is_not_same_pitch() -> None:
    sharp, flat = parse_pitch("G#2"), parse_pitch("Ab2")
    assert sharp.midi == flat.midi
    assert sharp != flat
    assert len({sharp, flat, parse_pitch("G#2")}) == 2


def test_orders_by_height() -> None:
    assert parse_pitch("E1") < parse_pitch("F1") <= parse_pitch("F1") < parse_pitch("Gb1")


def test_repr_rebuilds() -> None:
    pitch = parse_pitch("Bb1")
    assert eval(repr(pitch)) == pitch == Pitch("B", -1, 1)


def test_refuses_beyond_midi() -> None:
    with pytest.raises(TheoryError, match="MIDI range"):
        parse_pitch("A9")


def test_name_at_a_midi_number() -> None:
    assert str(parse_pitch_name("Cb").with_midi(35)) == "Cb2"
    with pytest.raises(TheoryError, match="not a Bb"):
        parse_pitch_name("Bb").with_midi(35)


def test_lowest_of_a_name_on_the_instrument() -> None:
    assert str(parse_pitch_name("D").at_or_above(28)) == "D2"
    assert str(parse_pitch_name("E").at_or_above(28)) == "E1"


def test_plain_spellings() -> None:
    assert str(plain_pitch(34)) == "A#1"
    assert str(plain_pitch(34, prefer_flats=True)) == "Bb1"


def test_musical_signs_for_print() -> None:
    assert musical_signs("Bb") == "B♭"
    assert musical_signs("F#m7b5") == "F♯m7♭5"


def test_other_reference_pitch() -> None:
    assert midi_to_hz(69, a4_hz=442.0) == 442.0
