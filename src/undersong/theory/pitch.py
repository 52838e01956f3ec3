"""Pitches with their spelling.

G# and Ab are different pitches that share a MIDI number: compare with the one you mean.
All pitches are sounding pitches. Octaves as in scientific pitch notation (middle C is C4).

References
----------
MIDI note 60 is middle C and note 69 is A4 [MIDI 1.0]; A4 is 440 Hz [ISO 16:1975].
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import total_ordering

from undersong.errors import TheoryError

LETTERS = "CDEFGAB"
NATURAL_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SEMITONES_PER_OCTAVE = 12
A4_MIDI = 69
A4_HZ = 440.0
MIDI_MIN, MIDI_MAX = 0, 127
MAX_ALTERATION = 4  # four sharps or flats: beyond anything spelling by degree can ask for

_ACCIDENTALS = {"#": 1, "♯": 1, "b": -1, "♭": -1, "♮": 0, "x": 2, "𝄪": 2, "𝄫": -2}
_NAME = re.compile(r"([A-Ga-g])([#♯b♭♮x𝄪𝄫]*)")
_PITCH = re.compile(r"([A-Ga-g])([#♯b♭♮x𝄪𝄫]*)(-?\d+)")


def accidental_signs(alteration: int) -> str:
    """Plain signs for an alteration: ``-1`` is ``b``, ``2`` is ``##``."""
    return "#" * alteration if alteration > 0 else "b" * -alteration


def musical_signs(plain: str) -> str:
    """A printed name with the musical signs: ``Bb`` as ``B♭``, ``F#`` as ``F♯``.

    Only for names and degrees (``b7``, ``G#m``): every ``b`` or ``#`` in it is a sign.
    """
    return plain.replace("b", "♭").replace("#", "♯")


def alteration_of(signs: str) -> int:
    """Semitones that a run of accidental signs adds (plain or musical signs)."""
    return sum(_ACCIDENTALS[sign] for sign in signs)


@dataclass(frozen=True, slots=True)
class PitchName:
    """A spelled note without its octave: letter and alteration in semitones."""

    letter: str
    alteration: int = 0

    def __post_init__(self) -> None:
        if self.letter not in NATURAL_SEMITONES:
            raise TheoryError(f"{self.letter!r} is not a note letter: use A to G.")
        if abs(self.alteration) > MAX_ALTERATION:
            raise TheoryError(f"{self.letter} with {self.alteration} semitones is no note name.")

    def __str__(self) -> str:
        return self.letter + accidental_signs(self.alteration)

    @property
    def pitch_class(self) -> int:
        """0 for C to 11 for B, whatever the spelling."""
        return (NATURAL_SEMITONES[self.letter] + self.alteration) % SEMITONES_PER_OCTAVE

    @property
    def step(self) -> int:
        """0 for the letter C to 6 for B."""
        return LETTERS.index(self.letter)

    def with_midi(self, midi: int) -> Pitch:
        """This name at the MIDI number it must sound; the name has to fit the number."""
        octave, rest = divmod(
            midi - NATURAL_SEMITONES[self.letter] - self.alteration, SEMITONES_PER_OCTAVE
        )
        if rest:
            raise TheoryError(f"MIDI note {midi} is not a {self}.")
        return Pitch(self.letter, self.alteration, octave - 1)

    def at_or_above(self, midi: int) -> Pitch:
        """The lowest pitch of this name that is not below a MIDI number."""
        return self.with_midi(midi + (self.pitch_class - midi) % SEMITONES_PER_OCTAVE)


@total_ordering
@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled, sounding pitch; ordered by height, then by letter."""

    letter: str
    alteration: int
    octave: int

    def __post_init__(self) -> None:
        PitchName(self.letter, self.alteration)
        if not MIDI_MIN <= self.midi <= MIDI_MAX:
            raise TheoryError(f"{self} is outside the MIDI range, C-1 to G9.")

    def __str__(self) -> str:
        return f"{self.name}{self.octave}"

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, Pitch):
            return NotImplemented
        return (self.midi, self._height) < (other.midi, other._height)

    @property
    def _height(self) -> int:
        return self.octave * len(LETTERS) + LETTERS.index(self.letter)

    @property
    def name(self) -> PitchName:
        """The pitch without its octave."""
        return PitchName(self.letter, self.alteration)

    @property
    def midi(self) -> int:
        """MIDI note number; middle C is 60."""
        return (
            SEMITONES_PER_OCTAVE * (self.octave + 1)
            + NATURAL_SEMITONES[self.letter]
            + self.alteration
        )

    @property
    def hz(self) -> float:
        """Frequency in equal temperament at A4 = 440 Hz."""
        return midi_to_hz(self.midi)


def midi_to_hz(midi: float, a4_hz: float = A4_HZ) -> float:
    """Frequency of a MIDI note number in equal temperament.

    Parameters
    ----------
    midi
        Note number; 69 is A4. Fractions are allowed here alone, for detuned sound.
    a4_hz
        Tuning reference in Hz, > 0.
    """
    return float(a4_hz * 2.0 ** ((midi - A4_MIDI) / SEMITONES_PER_OCTAVE))


def parse_pitch_name(text: str) -> PitchName:
    """Read ``Bb``, ``F♯``, ``c#`` and the like."""
    match = _NAME.fullmatch(text.strip())
    if match is None:
        raise TheoryError(f"{text!r} is not a note name: write a letter A to G, then # or b.")
    return PitchName(match[1].upper(), alteration_of(match[2]))


def parse_pitch(text: str) -> Pitch:
    """Read ``E1``, ``Bb2``, ``C#-1`` and the like."""
    match = _PITCH.fullmatch(text.strip())
    if match is None:
        raise TheoryError(f"{text!r} is not a pitch: write a note name and an octave, as in Bb1.")
    return Pitch(match[1].upper(), alteration_of(match[2]), int(match[3]))


def plain_pitch(midi: int, *, prefer_flats: bool = False) -> Pitch:
    """A spelling for a bare MIDI number, sharps unless asked for flats."""
    sharps = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
    flats = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
    table = flats if prefer_flats else sharps
    return parse_pitch_name(table[midi % SEMITONES_PER_OCTAVE]).with_midi(midi)
