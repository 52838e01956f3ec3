"""Which note values a length is written as, so that a reader sees the beat.

Conventions
-----------
Places are fractions of a whole note, counted from the bar line (for a pick-up bar, from where
its full bar would begin). A value is a power of two, with or without one dot. Rules of common
notation practice, no single source:

- a note may cover the strongest point inside it only where it starts or ends on as strong a one,
  or sits squarely across it (a quarter on an off-beat, but not across the middle of the bar);
- in compound meter a beat is never covered in part; within it the same rules hold;
- rests are written beat by beat, without dots, except a whole compound beat or bar;
- places off the halves of halves belong to a tuplet over the shortest stretch that holds them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm

from undersong.theory.meter import Meter, Wholes

FINEST = 1024  # MusicXML's shortest note type
_QUARTER = Fraction(1, 4)


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a bar, one note head or rest wide (or, before splitting, one event)."""

    start: Wholes
    end: Wholes
    notes: tuple[int, ...] = ()

    @property
    def length(self) -> Wholes:
        """How long it lasts."""
        return self.end - self.start


@dataclass(frozen=True, slots=True)
class Value:
    """One written note value: `kind` 4 is a quarter, 0 none there is a name for.

    In a tuplet `actual` of them fill the time of `normal`; outside both are 1. A tuplet that
    begins here may need a bracket. `beams` go by level, as MusicXML names them.
    """

    span: Span
    kind: int
    dots: int = 0
    actual: int = 1
    normal: int = 1
    starts_tuplet: bool = False
    stops_tuplet: bool = False
    is_bracketed: bool = False
    beams: tuple[str, ...] = ()

    @property
    def is_rest(self) -> bool:
        """True where nothing sounds."""
        return not self.span.notes

    @property
    def flags(self) -> int:
        """Flags (or beams) of the value: one for an eighth."""
        return max(self.kind.bit_length() - 3, 0)


def is_dyadic(place: Wholes) -> bool:
    """True for halves of halves: places that need no tuplet."""
    return place.denominator & (place.denominator - 1) == 0


def value_name(length: Wholes) -> tuple[int, int] | None:
    """Kind and dots of a length: 3/8 is a quarter (4) with one dot; None where none fits."""
    if length.numerator not in (1, 3) or not is_dyadic(length) or length > Fraction(3, 2):
        return None
    dots = length.numerator // 3
    kind = length.denominator // 2 if dots else length.denominator
    return (kind, dots) if 1 <= kind <= FINEST else None


def bar_values(events: Sequence[Span], meter: Meter) -> list[Value]:
    """The values that write one voice of a bar.

    Parameters
    ----------
    events
        Spans that follow one another without gaps (rests are spans without notes).
    meter
        Of the full bar, whose beats decide.
    """
    values: list[Value] = []
    for start, end, actual in _stretches(events, meter):
        inside = [_clipped(event, start, end) for event in events]
        present = [event for event in inside if event.start < event.end]
        if actual == 1:
            values.extend(_plain(piece) for each in present for piece in _split(each, meter))
        else:
            values.extend(_tuplet(present, start, actual))
    return values


def _clipped(event: Span, start: Wholes, end: Wholes) -> Span:
    return Span(max(event.start, start), min(event.end, end), event.notes)


def _plain(span: Span) -> Value:
    kind, dots = value_name(span.length) or (0, 0)
    return Value(span, kind, dots)


def beat_windows(start: Wholes, end: Wholes, meter: Meter) -> list[tuple[Wholes, Wholes]]:
    """The beats (quarters in simple meters, all of 3/8) that lie between two places of a bar."""
    step = meter.beat if meter.is_compound else _QUARTER
    if meter.bar == 3 * meter.beat and meter.unit >= 8:
        step = meter.bar
    windows, at = [], start // step * step
    while at < end:
        windows.append((max(at, start), min(at + step, end)))
        at += step
    return windows


def _stretches(events: Sequence[Span], meter: Meter) -> list[tuple[Wholes, Wholes, int]]:
    """The bar as (start, end, tuplet): 1 for plain time, plain neighbours joined."""
    start, end = events[0].start, events[-1].end
    if all(is_dyadic(event.end) and is_dyadic(event.start) for event in events):
        return [(start, end, 1)]
    joined: list[tuple[Wholes, Wholes, int]] = []
    for low, high in _merged(beat_windows(start, end, meter), events):
        for piece in _refined(low, high, events):
            if joined and joined[-1][2] == piece[2] == 1:
                joined[-1] = (joined[-1][0], piece[1], 1)
            else:
                joined.append(piece)
    return joined


def _merged(
    windows: Sequence[tuple[Wholes, Wholes]], events: Sequence[Span]
) -> list[tuple[Wholes, Wholes]]:
    """Beats joined where a tuplet lies across their border.

    Its mark is a note across it from one tuplet place to another, or a note as long as that one
    with a single end on such a place: the outer two of three halves in the time of two.
    """
    loose = [event for event in events if _loose_ends(event)]
    spanning = {
        event.length
        for event in loose
        if _loose_ends(event) == 2 and any(event.start < low < event.end for low, _ in windows)
    }
    merged: list[tuple[Wholes, Wholes]] = []
    for low, high in windows:
        across = (event for event in loose if event.start < low < event.end)
        if merged and any(event.length in spanning for event in across):
            merged[-1] = (merged[-1][0], high)
        else:
            merged.append((low, high))
    return merged


def _loose_ends(event: Span) -> int:
    return (not is_dyadic(event.start)) + (not is_dyadic(event.end))


def _refined(
    low: Wholes, high: Wholes, events: Sequence[Span]
) -> Iterator[tuple[Wholes, Wholes, int]]:
    """The shortest stretches within a window that hold its tuplets whole."""
    inner = {e for event in events for e in (event.start, event.end) if low < e < high}
    off = [place for place in inner if not is_dyadic(place)]
    if not off:
        yield low, high, 1
        return
    size = high - low
    count = 3 if size.numerator % 3 == 0 else 2
    borders = [low + size * step / count for step in range(count + 1)]
    is_crossed = any(
        event.start < border < event.end and not (is_dyadic(event.start) and is_dyadic(event.end))
        for event in events
        for border in borders[1:-1]
    )
    if is_crossed or not all(is_dyadic(border) for border in borders):
        yield low, high, lcm(*(_odd_part((place - low).denominator) for place in off))
        return
    for left, right in pairwise(borders):
        yield from _refined(left, right, events)


def _odd_part(number: int) -> int:
    return number // (number & -number)


def _tuplet(events: Sequence[Span], start: Wholes, actual: int) -> list[Value]:
    """A tuplet's values, named as if its time were stretched to plain values."""
    normal = 1 << (actual.bit_length() - 1)
    stretch = Fraction(actual, normal)
    values = []
    for event in events:
        wide = Span((event.start - start) * stretch, (event.end - start) * stretch, event.notes)
        for piece in _named(wide):
            kind, dots = value_name(piece.length) or (0, 0)
            true = Span(start + piece.start / stretch, start + piece.end / stretch, piece.notes)
            values.append(Value(true, kind, dots, actual, normal))
    return [
        Value(
            each.span, each.kind, each.dots, actual, normal,
            starts_tuplet=place == 0, stops_tuplet=place == len(values) - 1,
        )
        for place, each in enumerate(values)
    ]  # fmt: skip


def _named(span: Span) -> Iterator[Span]:
    name = value_name(span.length)
    if name is not None and not (span.notes == () and name[1]):
        yield span
        return
    yield from _halves(span, _strongest(span.start, span.end), _named)


def _split(span: Span, meter: Meter) -> Iterator[Span]:
    """A plain event cut into values that show the beat."""
    beat = meter.beat if meter.is_compound else None
    if _fits(span, beat):
        yield span
        return
    base = span.start // beat * beat if beat else Fraction(0)
    if beat and span.end > base + beat:
        cut = _strongest(span.start / beat, span.end / beat)
        cut = None if cut is None else cut * beat
    else:
        cut = _strongest(span.start - base, span.end - base)
        cut = None if cut is None else cut + base
    yield from _halves(span, cut, lambda piece: _split(piece, meter))


def _halves(span: Span, cut: Wholes | None, on: Callable[[Span], Iterator[Span]]) -> Iterator[Span]:
    if cut is None:  # finer than any value there is
        yield span
        return
    yield from on(Span(span.start, cut, span.notes))
    yield from on(Span(cut, span.end, span.notes))


def _strongest(start: Wholes, end: Wholes) -> Wholes | None:
    """The place strictly inside that is the multiple of the largest power of two."""
    step = Fraction(32)
    while step * FINEST >= 1:
        place = (start // step + 1) * step
        if place < end:
            return place
        step /= 2
    return None


def _fits(span: Span, beat: Wholes | None) -> bool:
    name = value_name(span.length)
    if name is None:
        return False
    start, length, is_rest = span.start, span.length, not span.notes
    if beat is not None:
        inside = start % beat
        if inside + length > beat:
            return length / beat in (2, 4) and start % length == 0
        if name[1] and inside % length == 0 and (not is_rest or length == beat):
            return True
        start = inside
    fits = _fits_dotted if name[1] else _fits_plain
    return fits(start, length, is_rest=is_rest)


def _fits_plain(start: Wholes, length: Wholes, *, is_rest: bool) -> bool:
    if start % length == 0:
        return True
    middle = start + length / 2
    return not is_rest and start % length == length / 2 and middle % (2 * length) != 0


def _fits_dotted(start: Wholes, length: Wholes, *, is_rest: bool) -> bool:
    frame = length * 4 / 3
    return not is_rest and (start % frame == 0 or (start + length) % frame == 0)
