"""A Part as written bars: voices, note values, ties, what stands where.

The step between a Part and any staff notation. Notes that lie over one another go to further
voices; within a voice, notes of one place and length are one chord of heads.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from undersong.exchange.beams import beamed
from undersong.exchange.values import Span, Value, bar_values
from undersong.theory.meter import Wholes
from undersong.theory.part import Bar, Part


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """One bar; each voice is a run of values that fills it, places counted from the part's start.

    A voice without a note in the bar has no values, but for the first, which then rests.
    """

    bar: Bar
    voices: tuple[tuple[Value, ...], ...]


@dataclass(frozen=True, slots=True)
class WrittenPart:
    """Bars; which notes (by index) are tied back or on; for each, the one before in its voice."""

    bars: tuple[WrittenBar, ...]
    tied_back: frozenset[int]
    tied_on: frozenset[int]
    before: dict[int, int]


def written(part: Part) -> WrittenPart:
    """The part in bars and values; nothing is left out of a bar or lies over its line."""
    voices = _voices(part)
    bars = part.bars or (Bar(1, Fraction(0), part.meter.bar, part.meter),)
    nexts = [0] * len(voices)
    rows = [
        WrittenBar(
            bar,
            tuple(_bar_voice(bar, voice, nexts, number) for number, voice in enumerate(voices)),
        )
        for bar in bars
    ]
    back, on = _ties(part)
    before = {
        index: left.notes[0]
        for voice in voices
        for left, right in pairwise(voice)
        for index in right.notes
    }
    return WrittenPart(tuple(rows), back, on, before)


def _voices(part: Part) -> list[list[Span]]:
    heads: dict[tuple[Wholes, Wholes], list[int]] = {}
    for index, note in enumerate(part.notes):
        heads.setdefault((note.at, note.end), []).append(index)
    voices: list[list[Span]] = [[]]
    for (at, end), notes in sorted(heads.items()):
        free = (voice for voice in voices if not voice or voice[-1].end <= at)
        voice = next(free, None)
        if voice is None:
            voice = []
            voices.append(voice)
        voice.append(Span(at, end, tuple(notes)))
    return voices


def _bar_voice(bar: Bar, voice: Sequence[Span], nexts: list[int], number: int) -> tuple[Value, ...]:
    """The voice's values in a bar; `nexts` remembers where each voice has got to."""
    end = bar.at + bar.length
    events: list[Span] = []
    at = bar.at
    while nexts[number] < len(voice) and voice[nexts[number]].start < end:
        span = voice[nexts[number]]
        start = max(span.start, bar.at)
        if start > at:
            events.append(Span(at, start))
        events.append(Span(start, min(span.end, end), span.notes))
        at = events[-1].end
        if span.end > end:
            break
        nexts[number] += 1
    if not events:
        return () if number else (_whole_rest(bar),)
    if at < end:
        events.append(Span(at, end))
    return tuple(_placed(bar, events))


def _whole_rest(bar: Bar) -> Value:
    return Value(Span(bar.at, bar.at + bar.length), 0)


def _placed(bar: Bar, events: Iterable[Span]) -> list[Value]:
    """Values of a bar, counted for the beat from where its full bar would begin."""
    missing = bar.meter.bar - bar.length if bar.number == 0 else Fraction(0)
    origin = bar.at - missing
    inside = [_moved(span, -origin) for span in events]
    values = beamed(bar_values(inside, bar.meter), bar.meter)
    return [replace(value, span=_moved(value.span, origin)) for value in values]


def _moved(span: Span, by: Wholes) -> Span:
    return Span(span.start + by, span.end + by, span.notes)


def _ties(part: Part) -> tuple[frozenset[int], frozenset[int]]:
    """Notes tied to the one before, and notes tied on to the next, as `Part.strokes` joins."""
    back, on = set[int](), set[int]()
    waiting: dict[int, int] = {}
    for index, note in enumerate(part.notes):
        before = waiting.pop(note.pitch.midi, None)
        if before is not None and part.notes[before].end == note.at:
            back.add(index)
            on.add(before)
        if note.tied:
            waiting[note.pitch.midi] = index
    return frozenset(back), frozenset(on)
