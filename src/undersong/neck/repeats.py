"""Bars that come again at once, so that the hand can play them the same way again.

A bar repeats another when its strokes start at the same places, last as long, sound the same
pitches with the same articulation and can be played in the same ways. Patterns of one, two and
four bars are looked for; where several fit, the one that covers most bars is taken, the shortest
among equals.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from undersong.neck.effort import Hands, MoveTime
from undersong.theory.part import Part, Stroke

PATTERN_BARS = (1, 2, 4)
TIME_DIGITS = 9  # seconds are compared to a nanosecond


@dataclass(frozen=True, slots=True)
class Repeat:
    """`count` times the same `size` strokes, the first of them at `start`."""

    start: int
    size: int
    count: int

    @property
    def end(self) -> int:
        """The stroke after its last."""
        return self.start + self.size * self.count


@dataclass(frozen=True, slots=True)
class _Bar:
    start: int
    size: int
    music: Hashable


def repeats(
    part: Part, strokes: Sequence[Stroke], ways: Sequence[Hands], times: Sequence[MoveTime]
) -> tuple[Repeat, ...]:
    """The repeats of a part in order, none over another.

    `ways` and `times` are those of the strokes; the same ways are the same value.
    """
    bars = _bars(part, strokes, ways, times)
    found: list[Repeat] = []
    at = 0
    while at < len(bars):
        period, count = max(
            ((period, _count(bars, at, period)) for period in PATTERN_BARS),
            key=lambda each: (each[0] * each[1] if each[1] > 1 else 0, -each[0]),
        )
        if count < 2:
            at += 1
            continue
        size = sum(bar.size for bar in bars[at : at + period])
        found.append(Repeat(bars[at].start, size, count))
        at += period * count
    return tuple(found)


def _bars(
    part: Part, strokes: Sequence[Stroke], ways: Sequence[Hands], times: Sequence[MoveTime]
) -> list[_Bar]:
    """The bars that hold strokes; a silent bar between two makes them no neighbours."""
    bars: list[_Bar] = []
    place = 0
    for bar in part.bars:
        first = place
        while place < len(strokes) and strokes[place].at < bar.at + bar.length:
            place += 1
        inside = range(first, place)
        # The time of the move out of a bar depends on what follows: it is compared for all but
        # the last stroke here, and follows from equal bars for the last.
        music = (
            bar.length,
            tuple(
                (
                    strokes[index].at - bar.at,
                    strokes[index].length,
                    # Only the first can differ here: whether the bar before rings into it.
                    index > 0 and strokes[index - 1].end > strokes[index].at,
                    strokes[index].note.pitch.midi,
                    strokes[index].note.articulation,
                    id(ways[index]),
                )
                for index in inside
            ),
            tuple(
                (
                    round(times[index].stopped_s, TIME_DIGITS),
                    round(times[index].open_s, TIME_DIGITS),
                )
                for index in inside[:-1]
            ),
        )
        bars.append(_Bar(first, len(inside), music))
    return bars


def _rounded(time: MoveTime) -> tuple[float, float]:
    return round(time.stopped_s, TIME_DIGITS), round(time.open_s, TIME_DIGITS)


def _count(bars: Sequence[_Bar], at: int, period: int) -> int:
    """How often the pattern at a bar comes at once, the first time included."""
    pattern = [bar.music for bar in bars[at : at + period]]
    if not all(bar.size for bar in bars[at : at + period]) or len(pattern) < period:
        return 0
    count = 1
    while [bar.music for bar in bars[at + count * period : at + (count + 1) * period]] == pattern:
        count += 1
    return count
