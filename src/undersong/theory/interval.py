"""Intervals: letter steps and semitones, so that adding one keeps the spelling right."""

from __future__ import annotations

import re
from dataclasses import dataclass

from undersong.errors import TheoryError
from undersong.theory.pitch import (
    LETTERS,
    NATURAL_SEMITONES,
    SEMITONES_PER_OCTAVE,
    Pitch,
    PitchName,
)

_STEPS = len(LETTERS)
_PERFECT = {0, 3, 4}
_MAJOR_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_TEXT = re.compile(r"(-?)([PMmAd]+)(\d+)")


@dataclass(frozen=True, slots=True)
class Interval:
    """Letter steps (0 is a unison, 7 an octave) and semitones; negative is downward."""

    steps: int
    semitones: int

    def __add__(self, other: Interval) -> Interval:
        return Interval(self.steps + other.steps, self.semitones + other.semitones)

    def __neg__(self) -> Interval:
        return Interval(-self.steps, -self.semitones)

    def __str__(self) -> str:
        down = self.steps < 0 or (self.steps == 0 and self.semitones < 0)
        size = -self if down else self
        octaves, step = divmod(size.steps, _STEPS)
        natural = octaves * SEMITONES_PER_OCTAVE + _MAJOR_SEMITONES[step]
        return (
            ("-" if down else "") + _quality(size.semitones - natural, step) + str(size.steps + 1)
        )

    def above_name(self, name: PitchName) -> PitchName:
        """The note name this interval above a name."""
        letter = LETTERS[(name.step + self.steps) % _STEPS]
        shift = name.pitch_class + self.semitones - NATURAL_SEMITONES[letter]
        return PitchName(letter, _nearest_zero(shift))

    def above(self, pitch: Pitch) -> Pitch:
        """The pitch this interval above a pitch, with its spelling."""
        return self.above_name(pitch.name).with_midi(pitch.midi + self.semitones)


def _nearest_zero(semitones: int) -> int:
    half = SEMITONES_PER_OCTAVE // 2
    return (semitones + half) % SEMITONES_PER_OCTAVE - half


def _quality(off: int, step: int) -> str:
    if step in _PERFECT:
        return "P" if off == 0 else ("A" * off if off > 0 else "d" * -off)
    if off >= 0:
        return "M" if off == 0 else "A" * off
    return "m" if off == -1 else "d" * (-off - 1)


def parse_interval(text: str) -> Interval:
    """Read ``M3``, ``P5``, ``-m2``, ``A4``, ``d5``, ``M10``."""
    match = _TEXT.fullmatch(text.strip())
    if match is None or int(match[3]) < 1:
        raise TheoryError(f"{text!r} is not an interval: write P5, M3, m7, A4, d5 and the like.")
    steps = int(match[3]) - 1
    octaves, step = divmod(steps, _STEPS)
    natural = octaves * SEMITONES_PER_OCTAVE + _MAJOR_SEMITONES[step]
    for off in range(-4, 5):
        if _quality(off, step) == match[2]:
            size = Interval(steps, natural + off)
            return -size if match[1] else size
    raise TheoryError(f"{text!r} is not an interval: a {match[3]} cannot be {match[2]}.")


def between(low: Pitch, high: Pitch) -> Interval:
    """The interval from one pitch to another."""
    steps = (high.octave - low.octave) * _STEPS + high.name.step - low.name.step
    return Interval(steps, high.midi - low.midi)
