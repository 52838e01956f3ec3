"""Bars that come again at once, so that the hand can play them the same way again.

A bar repeats another when its strokes start at the same places, last as long, sound the same
pitches with the same articulation at the same tempo and can be played in the same ways. Patterns
of one, two and four bars are looked for; where several fit, the one that covers most bars is
taken, the shortest among equals.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from undersong.neck.effort import Hands
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
    part: Part,
    strokes: Sequence[Stroke],
    ways: Sequence[Hands],
    seconds: Sequence[tuple[float, float]],
) -> tuple[Repeat, ...]:
    """The repeats of a part in order, none over another.

    `ways` are those of the strokes (the same ways are the same value), `seconds` where each
    starts and ends.
    """
    bars = _bars(part, strokes, ways, seconds)
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
    part: Part,
    strokes: Sequence[Stroke],
    ways: Sequence[Hands],
    seconds: Sequence[tuple[float, float]],
) -> list[_Bar]:
    """The bars in order, silent ones too: a silent bar between two makes them no neighbours."""
    bars: list[_Bar] = []
    tempo_map, place = part.tempo_map, 0
    bar_s = 0.0
    for bar in part.bars:
        first, start_s = place, bar_s
        bar_s = tempo_map.seconds_at(bar.at + bar.length)
        notes: list[Hashable] = []
        while place < len(strokes) and strokes[place].at < bar.at + bar.length:
            stroke = strokes[place]
            starts_s, ends_s = seconds[place]
            notes.append(
                (
                    stroke.at - bar.at,
                    stroke.length,
                    stroke.note.pitch.midi,
                    stroke.note.articulation,
                    id(ways[place]),
                    round(starts_s - start_s, TIME_DIGITS),
                    round(ends_s - start_s, TIME_DIGITS),
                    # Whether the bar before rings into its first note.
                    place > 0 and strokes[place - 1].end > stroke.at,
                )
            )
            place += 1
        music = (bar.length, round(bar_s - start_s, TIME_DIGITS), tuple(notes))
        bars.append(_Bar(first, len(notes), music))
    return bars


def _count(bars: Sequence[_Bar], at: int, period: int) -> int:
    """How often the pattern at a bar comes at once, the first time included."""
    pattern = [bar.music for bar in bars[at : at + period]]
    if not all(bar.size for bar in bars[at : at + period]) or len(pattern) < period:
        return 0
    count = 1
    while [bar.music for bar in bars[at + count * period : at + (count + 1) * period]] == pattern:
        count += 1
    return count
