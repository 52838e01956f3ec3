"""Pitch against the standards.

Sources: MIDI 1.0 note numbering (69 is A4, 60 is middle C) and ISO 16:1975 (A4 = 440 Hz), long
established and not re-read; figures of trade handbook 4.1 and 10, computed there from
440 * 2**((n - 69) / 12).
"""

import pytest

from undersong.theory.key import MAJOR_KEYS, parse_degree, parse_key
from undersong.theory.meter import Meter
from undersong.theory.pitch import midi_to_hz, parse_pitch
from undersong.theory.tempo import steady

HALF_LAST_DIGIT_HZ = 0.0005


@pytest.mark.parametrize(
    ("name", "midi", "hz"),
    [
        ("B0", 23, 30.868),
        ("D1", 26, 36.708),
        ("Eb1", 27, 38.891),
        ("E1", 28, 41.203),
        ("A1", 33, 55.000),
        ("D2", 38, 73.416),
        ("G2", 43, 97.999),
        ("C3", 48, 130.813),
        ("C4", 60, 261.626),
        ("A4", 69, 440.0),
    ],
)
def test_note_numbers_and_frequencies(name: str, midi: int, hz: float) -> None:
    pitch = parse_pitch(name)
    assert pitch.midi == midi
    assert pitch.hz == pytest.approx(hz, abs=HALF_LAST_DIGIT_HZ)


def test_other_reference() -> None:
    assert midi_to_hz(28, a4_hz=442.0) == pytest.approx(41.391, abs=HALF_LAST_DIGIT_HZ)


# Trade handbook 3.1 (computed there, cross-checked with music21).
FIFTEEN_KEYS = """
Cb Db Eb Fb Gb Ab Bb; Gb Ab Bb Cb Db Eb F; Db Eb F Gb Ab Bb C; Ab Bb C Db Eb F G;
Eb F G Ab Bb C D; Bb C D Eb F G A; F G A Bb C D E; C D E F G A B; G A B C D E F#;
D E F# G A B C#; A B C# D E F# G#; E F# G# A B C# D#; B C# D# E F# G# A#;
F# G# A# B C# D# E#; C# D# E# F# G# A# B#
"""


def test_the_fifteen_major_keys() -> None:
    rows = [row.split() for row in FIFTEEN_KEYS.split(";")]
    assert [[str(name) for name in key.names] for key in MAJOR_KEYS] == rows


@pytest.mark.parametrize(
    ("key", "altered"),
    [
        ("Cb", "Dbb Ebb F Abb Bbb"),
        ("Ab", "Bbb Cb D Fb Gb"),
        ("F", "Gb Ab B Db Eb"),
        ("G", "Ab Bb C# Eb F"),
        ("E", "F G A# C D"),
        ("C#", "D E F## A B"),
    ],
)
def test_altered_degrees(key: str, altered: str) -> None:
    """Trade handbook 3.3: b2 b3 #4 b6 b7 (computed there)."""
    degrees = [parse_degree(text) for text in ("b2", "b3", "#4", "b6", "b7")]
    assert " ".join(str(parse_key(key).name_of(degree)) for degree in degrees) == altered


@pytest.mark.parametrize(
    ("tempo", "beat_ms"), [(60, 1000.0), (70, 857.1), (72, 833.3), (120, 500.0)]
)
def test_beats_in_milliseconds(tempo: int, beat_ms: float) -> None:
    """Trade handbook 5.6 (computed there)."""
    four_four = steady(tempo, Meter(4, 4))
    assert four_four.seconds_at(Meter(4, 4).beat) * 1000 == pytest.approx(beat_ms, abs=0.05)


def test_eighths_in_six_eight() -> None:
    """Trade handbook 10, row 83: 400.0 ms at dotted quarter 50 (computed there)."""
    meter = Meter(6, 8)
    assert steady(50, meter).seconds_at(meter.beat / 3) * 1000 == pytest.approx(400.0)
