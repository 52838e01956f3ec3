"""Marks above the notes, put together from what a file says about them."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from typing import Protocol, TypeVar

from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import MeterMark, SectionMark
from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM, TempoMark

_FINEST_UNIT, _MOST_UPPER = 32, 32
_MINUTE_US = 60_000_000
_DECIMALS = 4
_QUARTER = Fraction(1, 4)


class _Placed(Protocol):
    @property
    def at(self) -> Wholes: ...


Mark = TypeVar("Mark", bound=_Placed)


def in_force(marks: Iterable[Mark]) -> Callable[[Wholes], Mark | None]:
    """For any place the last mark at or before it; each look-up is a bisection.

    Files may hold tens of thousands of marks and notes, too many to compare each with each.
    """
    ordered = sorted(marks, key=lambda mark: mark.at)
    places = [mark.at for mark in ordered]

    def mark_at(at: Wholes) -> Mark | None:
        found = bisect_right(places, at)
        return ordered[found - 1] if found else None

    return mark_at


def sections_of(named: Iterable[tuple[Wholes, str]]) -> tuple[SectionMark, ...]:
    """Section marks in order of place; a name that comes again is its next visit."""
    visits: Counter[str] = Counter()
    marks = []
    for at, name in sorted(named, key=lambda pair: pair[0]):
        visits[name] += 1
        marks.append(SectionMark(at, name, visits[name]))
    return tuple(marks)


def meter_lasting(length: Wholes, unit: int) -> Meter | None:
    """The meter of a bar of some length in units at least so fine; None where none fits."""
    unit = max(unit, length.denominator)
    upper = length * unit
    if unit > _FINEST_UNIT or upper.denominator != 1 or not 1 <= upper <= _MOST_UPPER:
        return None
    if unit & (unit - 1):
        return None  # no power of two: no such note value
    return Meter(int(upper), unit)


def meter_marks(signs: Sequence[tuple[Wholes, Meter]]) -> list[MeterMark]:
    """Meter marks for signs in order of place, the first where bar 1 begins.

    A sign within a bar cuts that bar short: the short bar gets a meter of its own, so that
    bar lines stay where the file has them.
    """
    marks: list[MeterMark] = []
    for (at, meter), following in zip(signs, (*signs[1:], None), strict=True):
        if not marks or marks[-1].meter != meter:
            marks.append(MeterMark(at, meter))
        if following is None:
            break
        bars, rest = divmod(following[0] - at, meter.bar)
        short = meter_lasting(rest, meter.unit) if rest else None
        if short is not None:
            marks.append(MeterMark(at + bars * meter.bar, short))
    return marks


def written_tempo(quarter_us: int, beat: Wholes) -> float:
    """Beats a minute for microseconds a quarter: the roundest figure that gives the same.

    MIDI rounds a quarter to a microsecond, so that 72 comes back as 72.00003 unless rounded.
    """
    exact = _MINUTE_US / (quarter_us * float(beat) * 4)
    for decimals in range(_DECIMALS + 1):
        tempo_bpm = round(exact, decimals)
        if tempo_bpm and round(_MINUTE_US / (tempo_bpm * float(beat) * 4)) == quarter_us:
            return tempo_bpm
    return exact


def told_in(mark: TempoMark, beat: Wholes) -> float:
    """The tempo of a mark in beats of another length."""
    share = float(mark.beat / beat)
    return mark.tempo_bpm if share == 1 else round(mark.tempo_bpm * share, _DECIMALS)


def tempo_mark(at: Wholes, quarter_us: int, beat: Wholes) -> TempoMark:
    """A MIDI tempo in the meter's beat; in quarters where that would be no figure to count."""
    for each in (beat, _QUARTER):
        tempo_bpm = written_tempo(quarter_us, each)
        if TEMPO_MIN_BPM <= tempo_bpm <= TEMPO_MAX_BPM:
            return TempoMark(at, tempo_bpm, each)
    return TempoMark(at, tempo_bpm, beat)  # refuses it with the range that can be played
