"""Scales, modes and chords as closed shapes, and where each fits.

What shapes.py finds for the scale of a key, this finds for any row of rising notes on a root:
within three strings and four frets, without open strings, else the least alternative with its
cost. Where one place has several layouts the one the hand likes best is kept, and the fingers
are those of the least-effort fingering up and down.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from undersong.errors import TheoryError
from undersong.neck.fingering import Fingering, Wishes, finger_part
from undersong.neck.instrument import Instrument
from undersong.neck.shapes import (
    HAND_FRETS,
    HAND_STRINGS,
    MOST_EXTRA,
    Place,
    Shape,
    ShapeNote,
    cost_words,
    layouts,
    places_of,
)
from undersong.theory.interval import Interval, parse_interval
from undersong.theory.key import MAJOR_KEYS, Degree
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Note, Part
from undersong.theory.pitch import PitchName, plain_pitch
from undersong.theory.scale import (
    HARMONIC_MINOR,
    MAJOR,
    MAJOR_PENTATONIC,
    MINOR_PENTATONIC,
    NATURAL_MINOR,
    Scale,
    mode,
)

OCTAVE = parse_interval("P8")
REFERENCE_TEMPO_BPM = 70.0


@dataclass(frozen=True, slots=True)
class Pattern:
    """A row of rising notes on a root: a scale with its octave, a chord, a tenth."""

    name: str
    intervals: tuple[Interval, ...]

    @property
    def degrees(self) -> tuple[Degree, ...]:
        """Each note as a degree counted from the root: 1 b3 5 b7."""
        return tuple(_degree(interval) for interval in self.intervals)


def _degree(interval: Interval) -> Degree:
    number = interval.steps % 7 + 1
    natural = Degree(number).interval.semitones
    return Degree(number, interval.semitones % 12 - natural)


def _of_scale(scale: Scale) -> Pattern:
    return Pattern(scale.name, (*scale.intervals, OCTAVE))


def _of_words(name: str, words: str) -> Pattern:
    return Pattern(name, tuple(parse_interval(word) for word in words.split()))


PATTERNS: tuple[Pattern, ...] = (
    *(
        _of_scale(scale)
        for scale in (MAJOR, NATURAL_MINOR, HARMONIC_MINOR, MAJOR_PENTATONIC, MINOR_PENTATONIC)
    ),
    *(_of_scale(mode(number)) for number in range(1, 8)),
    _of_words("major triad", "P1 M3 P5 P8"),
    _of_words("minor triad", "P1 m3 P5 P8"),
    _of_words("diminished triad", "P1 m3 d5 P8"),
    _of_words("augmented triad", "P1 M3 A5 P8"),
    _of_words("first inversion, major", "P1 m3 m6 P8"),
    _of_words("first inversion, minor", "P1 M3 M6 P8"),
    _of_words("second inversion, major", "P1 P4 M6 P8"),
    _of_words("second inversion, minor", "P1 P4 m6 P8"),
    _of_words("seventh", "P1 M3 P5 m7"),
    _of_words("major seventh", "P1 M3 P5 M7"),
    _of_words("minor seventh", "P1 m3 P5 m7"),
    _of_words("half-diminished seventh", "P1 m3 d5 m7"),
    _of_words("diminished seventh", "P1 m3 d5 d7"),
    _of_words("root, fifth, octave", "P1 P5 P8"),
    _of_words("major tenth", "P1 M10"),
    _of_words("minor tenth", "P1 m10"),
)

_BY_NAME = {pattern.name.lower(): pattern for pattern in PATTERNS}


def pattern_named(name: str) -> Pattern:
    """The pattern of a name, capitals free."""
    found = _BY_NAME.get(name.strip().lower())
    if found is None:
        names = "; ".join(pattern.name for pattern in PATTERNS)
        raise TheoryError(f"{name!r} is not a pattern: there are {names}.")
    return found


def pattern_shapes(instrument: Instrument, root: PitchName, pattern: Pattern) -> tuple[Shape, ...]:
    """Every place where a pattern lies under the hand: one shape for each place of its root.

    Lowest string first. Where it fits nowhere within three strings and four frets, the least
    alternatives, each with its `note`; empty where the neck cannot hold it at all.
    """
    for extra in range(MOST_EXTRA + 1):
        shapes = tuple(_with_extra(instrument, root, pattern, extra))
        if shapes:
            return shapes
    return ()


def _with_extra(
    instrument: Instrument, root: PitchName, pattern: Pattern, extra: int
) -> Iterator[Shape]:
    for first in places_of(instrument, root):
        low = instrument.midi_at(*first)
        midis = [low + interval.semitones for interval in pattern.intervals]
        found: dict[tuple[Place, ...], None] = {}
        for frets in range(extra + 1):
            limits = HAND_FRETS + frets, HAND_STRINGS + extra - frets
            found |= dict.fromkeys(layouts(instrument, midis, first, *limits))
        if found:
            best = min((_fingered(instrument, midis, row) for row in found), key=lambda f: f.cost)
            yield _shape(pattern, best, is_alternative=extra > 0)


def _fingered(instrument: Instrument, midis: list[int], row: tuple[Place, ...]) -> Fingering:
    """The row up and down in its own places, fingered."""
    quarter = Fraction(1, 4)
    steps = [*zip(midis, row, strict=True)]
    notes = tuple(
        Note(quarter * at, quarter, plain_pitch(midi), string=string, fret=fret)
        for at, (midi, (string, fret)) in enumerate([*steps, *steps[-2::-1]])
    )
    part = Part("shape", MAJOR_KEYS[7], FOUR_FOUR, REFERENCE_TEMPO_BPM, notes)
    return finger_part(part, instrument, wishes=Wishes(keep_places=True))


def _shape(pattern: Pattern, fingering: Fingering, *, is_alternative: bool) -> Shape:
    rising = fingering.part.notes[: len(pattern.intervals)]
    notes = tuple(
        ShapeNote(degree, note.pitch.midi, note.string or 0, note.fret or 0, note.finger or 0)
        for degree, note in zip(pattern.degrees, rising, strict=True)
    )
    shape = Shape(pattern.degrees[0], notes)
    if not is_alternative:
        return shape
    return replace(shape, note=cost_words(shape, fingering.hands[: len(notes)]))
