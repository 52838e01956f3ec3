"""A few bars of a part, and bars again and again.

An excerpt is a Part of its own, with the key, meter, tempo and chord in force where it begins. A
note that goes on beyond its end stops with it. One already sounding at its start is struck again
there, for whoever plays it would have to; on paper (`rung_in` False) it is left out, since its
stroke is not in these bars.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from undersong.errors import TheoryError
from undersong.theory.meter import Wholes
from undersong.theory.part import Bar, ChordMark, KeyMark, MeterMark, Note, Part
from undersong.theory.tempo import TempoMark


def excerpt(part: Part, first_bar: int, last_bar: int, *, rung_in: bool = True) -> Part:
    """Bars `first_bar` to `last_bar` of a part, both included; 0 is the pick-up bar."""
    every = part.bars
    bars = [bar for bar in every if first_bar <= bar.number <= last_bar]
    if not every:
        raise TheoryError(f"{part.title!r} has no bars: there is nothing to play.")
    if not bars:
        raise TheoryError(
            f"{part.title!r} has bars {every[0].number} to {every[-1].number}: "
            f"bars {first_bar} to {last_bar} are not in it."
        )
    return _from(part, bars[0], bars[-1].at + bars[-1].length, rung_in=rung_in)


def section_bars(part: Part, name: str, visit: int = 1) -> tuple[int, int]:
    """First and last bar of a section, by its name (capitals do not matter) and time round."""
    wanted = [
        mark
        for mark in part.sections
        if mark.name.casefold() == name.casefold() and mark.visit == visit
    ]
    if not wanted:
        names = ", ".join(dict.fromkeys(mark.name for mark in part.sections)) or "none"
        raise TheoryError(f"{part.title!r} has no section {name!r} ({names}): choose one of these.")
    start = wanted[0].at
    end = min((mark.at for mark in part.sections if mark.at > start), default=part.length)
    inside = [bar.number for bar in part.bars if start < bar.at + bar.length and bar.at < end]
    return inside[0], inside[-1]


def looped(part: Part, times: int) -> Part:
    """A part played several times without a break; a pick-up is played only once."""
    if times < 1:
        raise TheoryError(f"A loop is played at least once, not {times} times.")
    if part.length == part.pickup:  # nothing but a pick-up: that is what goes round
        part = replace(part, pickup=Fraction(0))
    body = part.length - part.pickup
    places = [turn * body for turn in range(times)]

    def kept(shift: Wholes, at: Wholes) -> bool:
        return not shift or at >= part.pickup

    return replace(
        part,
        notes=tuple(
            replace(n, at=n.at + shift) for shift in places for n in part.notes if kept(shift, n.at)
        ),
        length=part.pickup + times * body,
        sections=tuple(
            replace(m, at=m.at + shift, visit=m.visit + turn)
            for turn, shift in enumerate(places)
            for m in part.sections
            if kept(shift, m.at)
        ),
        chords=tuple(
            replace(m, at=m.at + shift)
            for shift in places
            for m in part.chords
            if kept(shift, m.at)
        ),
        key_marks=_again(part.key_marks, KeyMark(part.pickup, part.key), places),
        meter_marks=_again(part.meter_marks, MeterMark(part.pickup, part.meter), places),
        tempo_marks=_again(
            part.tempo_marks, TempoMark(part.pickup, part.tempo_bpm, part.meter.beat), places
        ),
    )


_Mark = TypeVar("_Mark", KeyMark, MeterMark, TempoMark)


def _again(marks: tuple[_Mark, ...], first: _Mark, places: list[Wholes]) -> tuple[_Mark, ...]:
    """Marks of each turn; where there are any, each later turn begins as the first one did."""
    if not marks:
        return ()
    turns = [replace(mark, at=mark.at + shift) for shift in places for mark in marks]
    taken = {mark.at for mark in turns}
    back = [replace(first, at=first.at + shift) for shift in places[1:]]
    turns += [mark for mark in back if mark.at not in taken]
    return tuple(sorted(turns, key=lambda mark: mark.at))


def _from(part: Part, first: Bar, end: Wholes, *, rung_in: bool) -> Part:
    """The stretch from the bar `first` to `end` as a part."""
    start = first.at
    tempo = TempoMark(Fraction(0), part.tempo_bpm, part.meter.beat)
    for mark in part.tempo_marks:
        if mark.at <= start:
            tempo = mark
    before = part.chord_at(start)
    return replace(
        part,
        key=part.key_at(start),
        meter=first.meter,
        tempo_bpm=60 / (tempo.whole_s * float(first.meter.beat)),
        notes=tuple(
            _cut(note, start, end)
            for note in part.notes
            if start < note.end and note.at < end and (rung_in or note.at >= start)
        ),
        pickup=first.length if first.number == 0 else Fraction(0),
        length=end - start,
        key_marks=_inside(part.key_marks, start, end),
        meter_marks=_inside(part.meter_marks, start, end),
        tempo_marks=_inside(part.tempo_marks, start, end),
        sections=tuple(replace(m, at=m.at - start) for m in part.sections if start <= m.at < end),
        chords=(
            *([] if before is None else [ChordMark(Fraction(0), before)]),
            *(replace(m, at=m.at - start) for m in part.chords if start < m.at < end),
        ),
    )


def _inside(marks: tuple[_Mark, ...], start: Wholes, end: Wholes) -> tuple[_Mark, ...]:
    return tuple(replace(mark, at=mark.at - start) for mark in marks if start < mark.at < end)


def _cut(note: Note, start: Wholes, end: Wholes) -> Note:
    at = max(note.at, start)
    return replace(
        note,
        at=at - start,
        length=min(note.end, end) - at,
        tied=note.tied and note.end < end,
    )
