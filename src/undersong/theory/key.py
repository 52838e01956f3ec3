"""Keys and scale degrees.

A degree is counted from the major scale on the tonic, whatever the mode: in A minor the note C
is ``b3``. A minor song charted in its relative major is numbered by that major key instead;
`Key.number_key` gives the key to count from for either habit.

Conventions
-----------
Only the fifteen signatures from seven flats to seven sharps exist.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from undersong.errors import TheoryError
from undersong.theory.interval import Interval
from undersong.theory.pitch import (
    LETTERS,
    Pitch,
    PitchName,
    accidental_signs,
    alteration_of,
    parse_pitch_name,
)
from undersong.theory.scale import MAJOR, NATURAL_MINOR, Scale

DEGREES = len(LETTERS)
MAX_SIGNATURE = 7
_FIFTHS_OF_LETTER = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_DEGREE = re.compile(r"([#♯b♭]*)([1-7])")
_KEY = re.compile(r"([A-Ga-g][#♯b♭]*)\s*(major|maj|minor|min|m|-)?", re.IGNORECASE)


class Mode(StrEnum):
    """Major or natural minor."""

    MAJOR = "major"
    MINOR = "minor"


class MinorHabit(StrEnum):
    """How the numbers of a minor song are counted (trade handbook 2.5)."""

    RELATIVE = "relative"  # home chord 6-
    TONIC = "tonic"  # home chord 1-


@dataclass(frozen=True, slots=True)
class Degree:
    """A scale degree 1 to 7 with its alteration against the major scale: ``b7``, ``#4``."""

    number: int
    alteration: int = 0

    def __post_init__(self) -> None:
        if not 1 <= self.number <= DEGREES:
            raise TheoryError(f"{self.number} is not a scale degree: use 1 to 7.")

    def __str__(self) -> str:
        return accidental_signs(self.alteration) + str(self.number)

    @property
    def interval(self) -> Interval:
        """From the tonic up to this degree, within the octave."""
        natural = MAJOR.intervals[self.number - 1]
        return Interval(natural.steps, natural.semitones + self.alteration)


def parse_degree(text: str) -> Degree:
    """Read ``4``, ``b7``, ``#5`` (plain or musical signs)."""
    match = _DEGREE.fullmatch(text.strip())
    if match is None:
        raise TheoryError(f"{text!r} is not a degree: write 1 to 7, with b or # before it.")
    return Degree(int(match[2]), alteration_of(match[1]))


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic and a mode, among the fifteen signatures."""

    tonic: PitchName
    mode: Mode = Mode.MAJOR

    def __post_init__(self) -> None:
        if abs(self.signature) > MAX_SIGNATURE:
            count = f"{abs(self.signature)} {'sharps' if self.signature > 0 else 'flats'}"
            raise TheoryError(
                f"The key of {self} would need {count}: write it as {_same_sound(self)}."
            )

    def __str__(self) -> str:
        return f"{self.tonic}{'m' if self.mode is Mode.MINOR else ''}"

    @property
    def signature(self) -> int:
        """Sharps in the key signature; flats count negative."""
        return _signature(self.tonic, self.mode)

    @property
    def scale(self) -> Scale:
        """Major or natural minor."""
        return MAJOR if self.mode is Mode.MAJOR else NATURAL_MINOR

    @property
    def names(self) -> tuple[PitchName, ...]:
        """The seven notes of the key upward from the tonic."""
        return self.scale.names(self.tonic)

    @property
    def degrees(self) -> tuple[Degree, ...]:
        """The degrees of `names`: 1 to 7 in major; 1 2 b3 4 5 b6 b7 in minor."""
        return tuple(self.degree_of(name) for name in self.names)

    @property
    def relative(self) -> Key:
        """The key of the other mode with the same signature."""
        if self.mode is Mode.MAJOR:
            return Key(Degree(6).interval.above_name(self.tonic), Mode.MINOR)
        return Key(Degree(3, -1).interval.above_name(self.tonic), Mode.MAJOR)

    def number_key(self, habit: MinorHabit = MinorHabit.RELATIVE) -> Key:
        """The key whose tonic is counted as 1 on a chart."""
        if self.mode is Mode.MINOR and habit is MinorHabit.RELATIVE:
            return self.relative
        return self

    def name_of(self, degree: Degree) -> PitchName:
        """The note name on a degree, spelled by degree."""
        return degree.interval.above_name(self.tonic)

    def degree_of(self, name: PitchName) -> Degree:
        """The degree of a note name; its letter fixes the number, its sign the alteration."""
        number = (name.step - self.tonic.step) % DEGREES + 1
        natural = self.name_of(Degree(number))
        off = name.alteration - natural.alteration
        return Degree(number, off)

    def spell(self, midi: int) -> Pitch:
        """The spelling of a MIDI number that fits this key.

        Notes of the key by their degree; others by the first that fits of the altered degrees
        charts use most: #4, b7, #5, #1, #2, then the flat ones (common practice, no source).
        """
        for degree in (*self.degrees, *_ALTERED):
            name = self.name_of(degree)
            if name.pitch_class == midi % 12 and abs(name.alteration) <= 1:
                return name.with_midi(midi)
        for degree in _ALTERED:
            name = self.name_of(degree)
            if name.pitch_class == midi % 12:
                return name.with_midi(midi)
        raise TheoryError(f"MIDI note {midi} has no name in {self}.")


_ALTERED = tuple(
    parse_degree(text)
    for text in ("#4", "b7", "#5", "#1", "#2", "b6", "b3", "b2", "b5", "6", "7", "3")
)


def _signature(tonic: PitchName, mode: Mode) -> int:
    fifths = _FIFTHS_OF_LETTER[tonic.letter] + DEGREES * tonic.alteration
    return fifths if mode is Mode.MAJOR else fifths - 3


def _same_sound(key: Key) -> str:
    for candidate in (Mode.MAJOR, Mode.MINOR):
        if candidate is key.mode:
            return str(key_on(key.tonic.pitch_class, candidate))
    raise AssertionError(key.mode)


def parse_key(text: str) -> Key:
    """Read ``G``, ``Em``, ``E minor``, ``Bb``, ``f♯ minor``, ``6-``-style dashes (``E-``)."""
    match = _KEY.fullmatch(text.strip())
    if match is None:
        raise TheoryError(
            f"{text!r} is not a key: write a note name, with m for minor (G, Bb, F#m)."
        )
    word = (match[2] or "").strip()
    is_minor = word in ("m", "-") or word.lower() in ("minor", "min")
    return Key(parse_pitch_name(match[1]), Mode.MINOR if is_minor else Mode.MAJOR)


def key_on(pitch_class: int, mode: Mode = Mode.MAJOR, *, prefer_flats: bool = False) -> Key:
    """The key a band would write on a pitch class: fewest accidentals (trade handbook 3.4).

    On the one tie of each mode (F# or Gb; D# or Eb minor) sharps win in major and flats in
    minor, unless `prefer_flats` asks for Gb.
    """
    best: list[tuple[int, bool, PitchName]] = []
    for letter in LETTERS:
        for alteration in (-1, 0, 1):
            name = PitchName(letter, alteration)
            if name.pitch_class != pitch_class % 12:
                continue
            signature = _signature(name, mode)
            if abs(signature) <= MAX_SIGNATURE:
                flats_first = prefer_flats or mode is Mode.MINOR
                best.append((abs(signature), (signature < 0) is not flats_first, name))
    return Key(min(best, key=lambda row: row[:2])[2], mode)


MAJOR_KEYS = tuple(
    Key(parse_pitch_name(name))
    for name in ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
)
MINOR_KEYS = tuple(key.relative for key in MAJOR_KEYS)
