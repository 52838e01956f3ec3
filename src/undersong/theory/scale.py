"""Scales and modes as intervals above their first note."""

from __future__ import annotations

from dataclasses import dataclass

from undersong.theory.interval import Interval, parse_interval
from undersong.theory.pitch import Pitch, PitchName


@dataclass(frozen=True, slots=True)
class Scale:
    """A name and the intervals of its notes above the first, unison first, octave left out."""

    name: str
    intervals: tuple[Interval, ...]

    def names(self, tonic: PitchName) -> tuple[PitchName, ...]:
        """The scale's note names upward from a tonic."""
        return tuple(interval.above_name(tonic) for interval in self.intervals)

    def pitches(self, tonic: Pitch) -> tuple[Pitch, ...]:
        """One octave upward from a pitch, the octave included."""
        octave = parse_interval("P8")
        return tuple(interval.above(tonic) for interval in (*self.intervals, octave))


def _scale(name: str, intervals: str) -> Scale:
    return Scale(name, tuple(parse_interval(word) for word in intervals.split()))


MAJOR = _scale("major", "P1 M2 M3 P4 P5 M6 M7")
NATURAL_MINOR = _scale("natural minor", "P1 M2 m3 P4 P5 m6 m7")
HARMONIC_MINOR = _scale("harmonic minor", "P1 M2 m3 P4 P5 m6 M7")
MAJOR_PENTATONIC = _scale("major pentatonic", "P1 M2 M3 P5 M6")
MINOR_PENTATONIC = _scale("minor pentatonic", "P1 m3 P4 P5 m7")

MODE_NAMES = ("Ionian", "Dorian", "Phrygian", "Lydian", "Mixolydian", "Aeolian", "Locrian")


def mode(degree: int) -> Scale:
    """The major scale started from one of its degrees: 1 is Ionian, 7 is Locrian."""
    if not 1 <= degree <= len(MODE_NAMES):
        raise ValueError(f"a major scale has degrees 1 to 7, not {degree}")
    octave = parse_interval("P8")
    start = MAJOR.intervals[degree - 1]
    around = MAJOR.intervals[degree - 1 :] + tuple(
        interval + octave for interval in MAJOR.intervals[: degree - 1]
    )
    return Scale(MODE_NAMES[degree - 1], tuple(interval + -start for interval in around))
