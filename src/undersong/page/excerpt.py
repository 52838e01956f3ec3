"""Stretches of a Part cut out to be engraved: sections once each, and single hard bars."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from undersong.theory.meter import Wholes
from undersong.theory.part import Bar, ChordMark, KeyMark, MeterMark, Note, Part, SectionMark
from undersong.theory.tempo import TempoMark

_NOWHERE = Fraction(0)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bars of a part that are written the same wherever they are played.

    `ranges` holds the first and last bar number of every time, in order; `part` is the first of
    them cut out, `names` the sections it holds.
    """

    names: tuple[str, ...]
    part: Part
    ranges: tuple[tuple[int, int], ...]

    @property
    def is_silent(self) -> bool:
        """True where the bass plays nothing."""
        return not self.part.notes


def excerpt(part: Part, first: int, last: int, *, bars: tuple[Bar, ...] = ()) -> Part:
    """Bars `first` to `last` (places in `part.bars`, both counted) as a part of their own.

    A note that sounds into the first bar from before is left out: only its stroke is music
    to read; one that sounds beyond the last is cut at the bar line.
    """
    bars = part.bars
    start, end = bars[first].at, bars[last].at + bars[last].length
    notes = tuple(_cut(note, start, end) for note in part.notes if start <= note.at < end)
    is_pickup = bars[first].number == 0 and bars[first].length < bars[first].meter.bar
    return replace(
        part,
        key=part.key_at(start),
        meter=bars[first].meter,
        notes=notes,
        pickup=bars[first].length if is_pickup else _NOWHERE,
        length=end - start,
        key_marks=_within(part.key_marks, start, end),
        meter_marks=_within(part.meter_marks, start, end),
        tempo_marks=_within(part.tempo_marks, start, end),
        sections=_within(part.sections, start, end, and_start=True),
        chords=_chords(part, start, end),
    )


def _cut(note: Note, start: Wholes, end: Wholes) -> Note:
    """The note counted from `start`; its tie to something beyond `end` is kept."""
    length = min(note.end, end) - note.at
    return replace(note, at=note.at - start, length=length, tied=note.tied and note.end <= end)


_Mark = TypeVar("_Mark", KeyMark, MeterMark, TempoMark, SectionMark, ChordMark)


def _within(
    marks: Sequence[_Mark], start: Wholes, end: Wholes, *, and_start: bool = False
) -> tuple[_Mark, ...]:
    return tuple(
        replace(mark, at=mark.at - start)
        for mark in marks
        if start < mark.at < end or (and_start and mark.at == start)
    )


def _chords(part: Part, start: Wholes, end: Wholes) -> tuple[ChordMark, ...]:
    marks = _within(part.chords, start, end, and_start=True)
    if marks and marks[0].at == 0:
        return marks
    before = part.chord_at(start)
    return marks if before is None else (ChordMark(_NOWHERE, before), *marks)


def stretches(part: Part) -> tuple[Stretch, ...]:
    """The part section by section, each different one once.

    Sections a note sounds across are kept together, so that no tie is cut.
    """
    found: dict[tuple[object, ...], Stretch] = {}
    bars = part.bars
    for first, last in _blocks(part, bars):
        piece = excerpt(part, first, last, bars=bars)
        names = tuple(dict.fromkeys(mark.name for mark in piece.sections))
        numbers = (bars[first].number, bars[last].number)
        content = _content(piece)
        seen = found.get(content)
        found[content] = (
            Stretch(names, piece, (numbers,))
            if seen is None
            else replace(seen, ranges=(*seen.ranges, numbers))
        )
    return tuple(found.values())


def _content(piece: Part) -> tuple[object, ...]:
    """What makes two stretches the same on paper: all but the reasons for the notes."""
    return (
        tuple(replace(note, why=None) for note in piece.notes),
        piece.key,
        piece.meter,
        piece.length,
        piece.key_marks,
        piece.meter_marks,
        piece.chords,
        tuple(mark.name for mark in piece.sections),
    )


def _blocks(part: Part, bars: tuple[Bar, ...]) -> Iterator[tuple[int, int]]:
    if not bars:
        return
    starts = [index for index in range(len(bars)) if _begins(part, bars, index)]
    if 0 not in starts:
        starts.insert(0, 0)
    for first, after in zip(starts, [*starts[1:], len(bars)], strict=True):
        yield first, after - 1


def _begins(part: Part, bars: tuple[Bar, ...], index: int) -> bool:
    at = bars[index].at
    if not any(mark.at == at for mark in part.sections):
        return False
    return not any(
        note.at < at and (note.end > at or (note.tied and note.end == at)) for note in part.notes
    )


def bars_words(ranges: Sequence[tuple[int, int]]) -> str:
    """Bar numbers as words: ``bars 5 to 12 and 29 to 36``, ``pick-up to 8``."""
    words = [
        f"{low or 'pick-up'}" if low == high else f"{low or 'pick-up'} to {high}"
        for low, high in ranges
    ]
    many = len(words) > 1 or ranges[0][0] != ranges[0][1]
    listed = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    if listed.startswith("pick-up"):
        return listed
    return f"{'bars' if many else 'bar'} {listed}"
