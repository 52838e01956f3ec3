"""A neck as marks: strings, frets where they are on the real one, and notes as rounded squares.

Nut on the left for a right hand, on the right for a left hand; the lowest string lowest. A note is
its degree in a rounded square: filled where it belongs to what is shown, outlined otherwise; a
root has a second outline; the finger stands small below. Nothing is told by colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from undersong.neck.geometry import fret_distance_mm
from undersong.neck.instrument import Instrument
from undersong.page.ground import Ink
from undersong.page.lettering import BOLD, CAP_EM, signs, text_width
from undersong.page.marks import Anchor, Box, Curve, Line, Mark, Point, Shape, text

_STRING_GAP_MM = 11.0
_TOP_MM = 7.0
_FEET_MM = 16.0  # below the lowest string: fret numbers and the hand's bracket
_OPEN_MM = 13.0  # beside the nut, for names of strings and open notes
_NAME_MM = 8.0
_END_MM = 4.5  # beyond the last fret, so that its notes stay on the sheet
_MOST_SQUARE_MM = 7.0
_MARKED_FRETS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)


@dataclass(frozen=True, slots=True)
class Spot:
    """A note to show: where, by what degree, and how."""

    string: int
    fret: int
    degree: str
    is_filled: bool = False
    is_root: bool = False
    finger: int | None = None


@dataclass(frozen=True, slots=True)
class Hop:
    """An arrow from one place (string, fret) to another."""

    start: tuple[int, int]
    end: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Board:
    """One neck at one size; every place on it in mm."""

    instrument: Instrument
    width_mm: float
    last_fret: int

    @property
    def height_mm(self) -> float:
        """Height of the whole drawing."""
        return _TOP_MM + _STRING_GAP_MM * (self.instrument.strings - 1) + _FEET_MM + 5.0

    @property
    def square_mm(self) -> float:
        """Side of a note's square: as the narrowest space between frets allows."""
        narrowest = self._wire(self.last_fret) - self._wire(self.last_fret - 1)
        return min(_MOST_SQUARE_MM, narrowest * 0.9)

    def _wire(self, fret: int) -> float:
        """Distance of a fret wire from the nut."""
        scale_mm = self.instrument.scale_mm
        share = fret_distance_mm(fret, scale_mm) / fret_distance_mm(self.last_fret, scale_mm)
        return share * (self.width_mm - _NAME_MM - _OPEN_MM - _END_MM)

    def across(self, x: float) -> float:
        """A place from the nut's end, mirrored for a left hand."""
        return self.width_mm - x if self.instrument.left_handed else x

    def wire(self, fret: int) -> float:
        """Where a fret's wire stands."""
        return self.across(_NAME_MM + _OPEN_MM + self._wire(fret))

    def place(self, string: int, fret: int) -> Point:
        """The middle of a note's square."""
        y = _TOP_MM + _STRING_GAP_MM * (string - 1)
        if fret == 0:
            return self.across(_NAME_MM + _OPEN_MM / 2), y
        return (self.wire(fret - 1) + self.wire(fret)) / 2, y

    def neck(self) -> Iterator[Mark]:
        """Frets, strings with their thickness and names, fret numbers."""
        low = _TOP_MM + _STRING_GAP_MM * (self.instrument.strings - 1)
        for fret in range(self.last_fret + 1):
            x = self.wire(fret)
            width = 1.3 if fret == 0 else 0.3
            dash = 1.2 if self.instrument.fretless and fret else 0.0
            yield Line(x, _TOP_MM - 2.0, x, low + 2.0, width, Ink.PENCIL, dash)
        end = self.across(_NAME_MM + _OPEN_MM + self._wire(self.last_fret))
        for string in range(1, self.instrument.strings + 1):
            y = _TOP_MM + _STRING_GAP_MM * (string - 1)
            yield Line(self.wire(0), y, end, y, 0.25 + 0.2 * (string - 1), Ink.PENCIL)
            name = signs(str(self.instrument.tuning.strings[-string].name))
            x = self.across(_NAME_MM / 2)
            yield text(x, y + 1.6, name, 4.6, anchor=Anchor.MIDDLE, ink=Ink.PENCIL)
        yield from self._numbers(low + 11.0)

    def _numbers(self, y: float) -> Iterator[Mark]:
        for fret in range(1, self.last_fret + 1):
            x = self.place(1, fret)[0]
            weight = BOLD if fret in _MARKED_FRETS else 400
            yield text(x, y, str(fret), 3.3, weight=weight, ink=Ink.PENCIL, anchor=Anchor.MIDDLE)

    def bracket(self, low_fret: int, high_fret: int) -> Iterator[Mark]:
        """The hand over its frets."""
        ends = (self.wire(max(low_fret - 1, 0)), self.wire(high_fret))
        left, right = min(ends) + 0.7, max(ends) - 0.7
        y = _TOP_MM + _STRING_GAP_MM * (self.instrument.strings - 1) + 13.8
        points = ((left, y - 1.6), (left, y), (right, y), (right, y - 1.6))
        yield Shape(points, 0.45, Ink.MARK, is_closed=False)
        words = f"hand, frets {low_fret} to {high_fret}"
        size = min(3.4, 3.4 * (right - left) / text_width(words, 3.4) * 1.6)
        yield text((left + right) / 2, y + 4.4, words, size, anchor=Anchor.MIDDLE)

    def spot(self, spot: Spot) -> Iterator[Mark]:
        """One note."""
        x, y = self.place(spot.string, spot.fret)
        side = self.square_mm
        fill = Ink.INK if spot.is_filled else Ink.GROUND
        if spot.is_root:
            around = side + 1.7
            yield _square(x, y, around, Ink.GROUND, 0.35)
        yield _square(x, y, side, fill, 0.35)
        label = signs(spot.degree)
        size = side * 0.72
        size *= min(1.0, side * 0.86 / text_width(label, size, BOLD))
        ink = Ink.GROUND if spot.is_filled else Ink.INK
        baseline = y + size * CAP_EM / 2
        yield text(x, baseline, label, size, weight=BOLD, ink=ink, anchor=Anchor.MIDDLE)
        if spot.finger is not None:
            below = y + side / 2 + (1.0 if spot.is_root else 0.3) + 2.4
            yield text(x, below, str(spot.finger), 3.0, anchor=Anchor.MIDDLE)

    def hop(self, hop: Hop) -> Iterator[Mark]:
        """An arrow between two notes, bent to its left so that the way back lies apart."""
        (x1, y1), (x2, y2) = self.place(*hop.start), self.place(*hop.end)
        length = math.hypot(x2 - x1, y2 - y1) or 1.0
        along = (x2 - x1) / length, (y2 - y1) / length
        back = -along[0], -along[1]
        side = along[1], -along[0]
        half = self.square_mm * 0.5 + 0.9
        if length < 2.4 * self.square_mm:  # too near for a straight way: out and round the side
            start = _towards((x1, y1), along, side, 0.0, half)
            end = _towards((x2, y2), back, side, 0.0, half)
            bend, reach = 0.42 * length, 0.2 * length
        else:
            start = _towards((x1, y1), along, side, half, 0.12 * half)
            end = _towards((x2, y2), back, side, half, 0.12 * half)
            bend, reach = 2.2 + 0.13 * length, 0.25 * length
        first = _towards(start, along, side, reach, bend)
        second = _towards(end, back, side, reach, bend)
        curve = Curve(start, first, second, end, 0.5, Ink.MARK)
        yield curve
        yield _head(curve)


def _towards(point: Point, along: Point, side: Point, forward: float, out: float) -> Point:
    return (
        point[0] + along[0] * forward + side[0] * out,
        point[1] + along[1] * forward + side[1] * out,
    )


def _head(curve: Curve) -> Shape:
    tip, before = curve.end, curve.at(0.7)
    length = math.hypot(tip[0] - before[0], tip[1] - before[1]) or 1.0
    along = (tip[0] - before[0]) / length, (tip[1] - before[1]) / length
    side = along[1], -along[0]
    left = _towards(tip, along, side, -2.3, 1.05)
    right = _towards(tip, along, side, -2.3, -1.05)
    return Shape((tip, left, right), 0.1, Ink.MARK, Ink.MARK)


def _square(x: float, y: float, side: float, fill: Ink, stroke_mm: float) -> Box:
    return Box(x - side / 2, y - side / 2, side, side, side * 0.24, stroke_mm, Ink.INK, fill)


def board_marks(
    board: Board,
    spots: Sequence[Spot],
    *,
    hops: Sequence[Hop] = (),
    hand: tuple[int, int] | None = None,
) -> tuple[Mark, ...]:
    """A neck with notes on it, arrows between them and the hand's bracket (lowest, highest fret).

    Notes beyond the last fret of the board are left out.
    """
    shown = [spot for spot in spots if spot.fret <= board.last_fret]
    marks = [*board.neck()]
    for hop in hops:
        if max(hop.start[1], hop.end[1]) <= board.last_fret:
            marks += board.hop(hop)
    for spot in shown:
        marks += board.spot(spot)
    if hand is not None:
        marks += board.bracket(*hand)
    return tuple(marks)
