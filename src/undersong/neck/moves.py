"""Root moves: how the hand goes from the root on one degree to the root on another.

A move is counted in strings and frets: one string up is the next string up in pitch, one fret
up is the next higher note. `strings * gap + frets` is always the interval, so on a tuning whose
strings all lie the same gap apart one row serves the whole neck; where the gaps differ there is
a row for each string the move can start from. Checked against all 42 moves of trade handbook
4.8 (fourths tuning, computed there).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from undersong.neck.instrument import Instrument
from undersong.theory.key import Degree, Key
from undersong.theory.pitch import SEMITONES_PER_OCTAVE

Direction = Literal["up", "down"]
MOST_OTHER_FRETS = 5

_NUMBERS = ("", "a", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class RootMove:
    """The move of least frets from one root to another, and the other ways.

    `direction` is where the pitch goes, not where the hand goes. `from_string` is None where
    the move is the same from every string. `others` holds (strings, frets), nearest first.
    """

    start: Degree
    end: Degree
    direction: Direction
    strings: int
    frets: int
    from_string: int | None = None
    others: tuple[tuple[int, int], ...] = ()

    @property
    def words(self) -> str:
        """As a teacher would say it: ``up a string, down a fret``."""
        return move_words(self.strings, self.frets)


def move_words(strings: int, frets: int) -> str:
    """Words for a move of so many strings and frets, up positive."""
    across = "same string" if strings == 0 else _way(strings, "string")
    along = "same fret" if frets == 0 else _way(frets, "fret")
    return f"{across}, {along}"


def _way(count: int, thing: str) -> str:
    size = abs(count)
    number = _NUMBERS[size] if size < len(_NUMBERS) else str(size)
    return f"{'up' if count > 0 else 'down'} {number} {thing}{'s' if size > 1 else ''}"


def interval_of(start: Degree, end: Degree, direction: Direction) -> int:
    """Semitones from one degree to the nearest other above (1 to 11) or below (-11 to -1)."""
    up = (end.interval.semitones - start.interval.semitones) % SEMITONES_PER_OCTAVE
    return up if direction == "up" else up - SEMITONES_PER_OCTAVE


def root_moves(instrument: Instrument, key: Key) -> tuple[RootMove, ...]:
    """All 42 ordered pairs of a key's degrees, up and down.

    In order of the degrees; on an uneven tuning, strings from low to high within each pair.
    """
    degrees = key.degrees
    return tuple(
        move
        for start in degrees
        for end in degrees
        if start != end
        for move in pair_moves(instrument, start, end)
    )


def pair_moves(instrument: Instrument, start: Degree, end: Degree) -> tuple[RootMove, ...]:
    """The moves of one pair, up then down."""
    directions: tuple[Direction, ...] = ("up", "down")
    if instrument.tuning.is_even:
        strings: tuple[int | None, ...] = (None,)
    else:
        strings = tuple(range(instrument.strings, 0, -1))
    return tuple(
        _least(instrument, start, end, direction, string)
        for direction in directions
        for string in strings
    )


def _least(
    instrument: Instrument, start: Degree, end: Degree, direction: Direction, string: int | None
) -> RootMove:
    semitones = interval_of(start, end, direction)
    ways = sorted(_ways(instrument, semitones, string), key=_ease)
    (strings, frets), *others = ways
    near = tuple(way for way in others if abs(way[1]) <= MOST_OTHER_FRETS)
    return RootMove(start, end, direction, strings, frets, string, near)


def _ease(way: tuple[int, int]) -> tuple[int, int, int]:
    strings, frets = way
    return abs(frets), abs(strings), -strings


def _ways(instrument: Instrument, semitones: int, string: int | None) -> Iterator[tuple[int, int]]:
    if string is None:
        gap = instrument.tuning.gaps[0] if instrument.tuning.gaps else 0
        for strings in range(1 - instrument.strings, instrument.strings):
            yield strings, semitones - strings * gap
        return
    here = instrument.open_midi(string)
    for to_string in range(1, instrument.strings + 1):
        yield string - to_string, semitones - (instrument.open_midi(to_string) - here)
