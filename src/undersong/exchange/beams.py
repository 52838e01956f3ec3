"""Which values share a beam.

By the beat; where two beats of a simple meter hold four plain eighths, those four (common
practice, no source). Rests and longer values break a beam.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from undersong.exchange.values import Value, beat_windows
from undersong.theory.meter import Meter, Wholes

_HALF, _EIGHTH = Fraction(1, 2), 8


def beamed(values: Sequence[Value], meter: Meter) -> list[Value]:
    """The values of one voice of a bar with their beams; tuplets without a common one bracketed."""
    levels = _beams(values, meter)
    with_beams = [replace(v, beams=names) for v, names in zip(values, levels, strict=True)]
    start = 0
    for place, value in enumerate(with_beams):
        if value.starts_tuplet:
            start = place
        if value.stops_tuplet:
            inside = with_beams[start : place + 1]
            one_beam = (
                all(v.beams for v in inside) and sum(v.beams[0] == "begin" for v in inside) == 1
            )
            with_beams[start] = replace(with_beams[start], is_bracketed=not one_beam)
    return with_beams


def _beams(values: Sequence[Value], meter: Meter) -> list[tuple[str, ...]]:
    result: list[tuple[str, ...]] = [() for _ in values]
    for group in _groups(values, meter):
        flags = [values[place].flags for place in group]
        for inside, place in enumerate(group):
            result[place] = tuple(
                _beam(flags, inside, level) for level in range(1, flags[inside] + 1)
            )
    return result


def _beam(flags: Sequence[int], place: int, level: int) -> str:
    joins_left = place > 0 and flags[place - 1] >= level
    joins_right = place + 1 < len(flags) and flags[place + 1] >= level
    if joins_left:
        return "continue" if joins_right else "end"
    if joins_right:
        return "begin"
    return "backward hook" if place > 0 else "forward hook"


def _groups(values: Sequence[Value], meter: Meter) -> list[list[int]]:
    groups: list[list[int]] = []
    if not values:
        return groups
    windows = _windows(values, meter)
    for low, high in windows:
        run: list[int] = []
        for place, value in enumerate(values):
            if not low <= value.span.start < high:
                continue
            if value.flags and not value.is_rest:
                run.append(place)
            else:
                groups.append(run)
                run = []
        groups.append(run)
    return [group for group in groups if len(group) > 1]


def _windows(values: Sequence[Value], meter: Meter) -> list[tuple[Wholes, Wholes]]:
    windows = beat_windows(values[0].span.start, values[-1].span.end, meter)
    joined: list[tuple[Wholes, Wholes]] = []
    for low, high in windows:
        before = joined[-1] if joined else None
        if (
            before is not None
            and meter.unit == 4
            and meter.bar % _HALF == 0
            and before[0] % _HALF == 0
            and high - before[0] == _HALF
            and _are_eighths([v for v in values if before[0] <= v.span.start < high])
        ):
            joined[-1] = (before[0], high)
        else:
            joined.append((low, high))
    return joined


def _are_eighths(values: Sequence[Value]) -> bool:
    return len(values) == 4 and all(
        value.kind == _EIGHTH and not value.dots and value.actual == 1 and not value.is_rest
        for value in values
    )
