"""One bar of a number chart as marks: the numbers on their beats, and the signs over them.

Signs follow the trade (handbook 2.2): an underline joins the chords of a split bar, dots over
them count uneven beats, an arrow to the left is a push, a diamond is struck and left to ring, a
wedge is struck and damped, a block is silence, a thin stroke is the chord before carrying on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from undersong.chart.degrees import plain_chord
from undersong.chart.song import EIGHTH, Bar, ChordEvent
from undersong.page.ground import Ink
from undersong.page.lettering import BOLD, em_of_figures, signs, text_width
from undersong.page.marks import (
    Anchor,
    Curve,
    Line,
    Mark,
    Point,
    Run,
    Shape,
    Text,
    runs_width,
    text,
)
from undersong.theory.chord import Chord, NumberChord
from undersong.theory.key import Key
from undersong.theory.meter import Wholes, beat_count

RAISED = 0.52  # size of what stands raised after a number, as a share of the number's
_LIFT_EM = 0.34
_PAD = 0.34  # room inside the bar lines, in figure heights
_GAP = 0.36  # least room between two chords
_HAIR_MM = 0.3
# Over the figures, in figure heights: where signs stand, room for dots, the tips of a diamond.
_SIGNS, _DOTS, _DOTS_TOP, _DIAMOND = 0.26, 0.2, 0.46, 0.32
_WIDEST_DIAMOND = 1.1  # figure heights; a wider label gets a lozenge with a flat top


def chord_runs(chord: NumberChord) -> tuple[Run, ...]:
    """A number as a hand writes it: the dash at full size, other tails raised and small."""
    return (
        Run(signs(str(chord.root))),
        *_tail(chord.quality.number_tail),
        *((Run("/"), Run(signs(str(chord.bass)))) if chord.bass is not None else ()),
    )


def letter_runs(chord: Chord) -> tuple[Run, ...]:
    """A letter chord, its kind a little smaller; double signs shown as the plain neighbour."""
    plain = plain_chord(chord)
    tail = plain.quality.letter_tail
    kind = signs(tail) if tail else ""
    over = (Run("/" + signs(str(plain.bass))),) if plain.bass is not None else ()
    return Run(signs(str(plain.root))), *((Run(kind, 0.8),) if kind else ()), *over


def _tail(tail: str) -> Iterator[Run]:
    if tail.startswith("-"):
        yield Run("-", 1.2, -0.03)
        tail = tail[1:]
    if tail:
        yield Run(signs(tail), RAISED, _LIFT_EM)


@dataclass(frozen=True, slots=True)
class _Slot:
    """A chord of a bar, or (`event` None) the chord before carrying on; `beats` it lasts."""

    at: Wholes
    event: ChordEvent | None
    beats: Fraction
    runs: tuple[Run, ...]
    under: tuple[Run, ...]


@dataclass(frozen=True, slots=True)
class BarInk:
    """What one bar has to show, before its width is known."""

    bar: Bar
    slots: tuple[_Slot, ...]
    figure_mm: float

    @property
    def em_mm(self) -> float:
        """Size of the numbers."""
        return em_of_figures(self.figure_mm)

    @property
    def least_mm(self) -> float:
        """The narrowest this bar can be without its chords touching."""
        gaps = _GAP * (len(self.slots) - 1) + 2 * _PAD
        lead = 0.8 * bool(self.bar.opens_repeat) + 0.8 * bool(self.bar.closes_repeat)
        return sum(self._width(slot) for slot in self.slots) + (gaps + lead) * self.figure_mm

    def _width(self, slot: _Slot) -> float:
        width = max(
            runs_width(slot.runs, self.em_mm, BOLD), runs_width(slot.under, self.em_mm * 0.5)
        )
        around = 0.9 if slot.event is not None and slot.event.held else 0.0
        width = max(width, self._signs_width(slot))
        least = 0.8 if slot.event is not None and slot.event.chord is None else 0.45
        return max(width, least * self.figure_mm) + around * self.figure_mm

    def _signs_width(self, slot: _Slot) -> float:
        """How far the signs over a chord reach to the right of its left end."""
        f, event = self.figure_mm, slot.event
        reach = 0.0
        if self._is_uneven:
            place = self._place_words(slot)
            reach = text_width(place, 0.42 * f) if place else (0.24 * float(slot.beats)) * f
        if event is not None and event.pushed:
            reach = max(reach, 0.75 * f)
            if event.push != EIGHTH:
                reach = max(reach, 0.85 * f + text_width(self._push_place(event), 0.5 * f))
        return reach

    @property
    def above(self) -> float:
        """How far its signs reach over the figures, in figure heights."""
        return max((self._above(slot) for slot in self.slots), default=0.0)

    def _above(self, slot: _Slot) -> float:
        event = slot.event
        reach = _DOTS_TOP if self._is_uneven else 0.0
        if event is None or event.chord is None:
            return reach
        if event.held:
            reach = max(reach, _DIAMOND + 0.04)
        if event.pushed or event.stopped or event.fermata:
            tall = 0.4 if event.fermata else 0.24
            reach = max(reach, self._lift(event) + tall)
        return reach

    def _lift(self, event: ChordEvent | None) -> float:
        """How far over the figures the signs of a chord stand, in figure heights."""
        is_held = event is not None and event.held
        return _SIGNS + _DOTS * self._is_uneven + (_DIAMOND - 0.02) * is_held

    def marks(self, x: float, width: float, top: float) -> Iterator[Mark]:
        """The bar between its lines: figures stand from `top` to `top` + figure height."""
        places = self._places(width)
        for slot, place in zip(self.slots, places, strict=True):
            yield from self._slot(slot, x + place, top)
        if len(self.slots) > 1:
            low = top + 1.2 * self.figure_mm
            end = places[-1] + self._width(self.slots[-1])
            yield Line(x + places[0], low, x + end, low, _HAIR_MM * 1.3)

    def _places(self, width: float) -> list[float]:
        """Left ends of the chords: on their beats, moved only as far as they would touch."""
        pad, f = _PAD * self.figure_mm, self.figure_mm
        left = pad + (0.8 * f if self.bar.opens_repeat else 0.0)
        right = width - pad - (0.8 * f if self.bar.closes_repeat else 0.0)
        widths = [self._width(slot) for slot in self.slots]
        places: list[float] = []
        for slot in self.slots:
            wish = left + float(slot.at / self.bar.length) * (right - left)
            least = places[-1] + widths[len(places) - 1] + _GAP * f if places else left
            places.append(max(wish, least))
        limit = right
        for index in range(len(places) - 1, -1, -1):
            places[index] = min(places[index], limit - widths[index])
            limit = places[index] - _GAP * f
        return places

    def _slot(self, slot: _Slot, x: float, top: float) -> Iterator[Mark]:
        f = self.figure_mm
        baseline, width = top + f, self._width(slot)
        if self._is_uneven:
            yield from self._dots(slot, x, top - _SIGNS * f)
        if slot.event is None:
            yield Line(x, top + 0.55 * f, x + width, top + 0.55 * f, 0.09 * f, Ink.PENCIL)
            return
        if slot.event.chord is None:
            yield from block_rest(x, top + 0.6 * f, f)
            return
        inset = 0.45 * f if slot.event.held else 0.0
        yield Text(x + inset, baseline, slot.runs, self.em_mm, BOLD)
        if slot.under:
            under = baseline + 0.85 * f
            yield Text(x + inset, under, slot.under, self.em_mm * 0.5, ink=Ink.PENCIL)
        if slot.event.held:
            yield _lozenge(x, top, width, f)
        yield from self._signs(slot.event, x + inset, top - self._lift(slot.event) * f)

    def _signs(self, event: ChordEvent, x: float, y: float) -> Iterator[Mark]:
        f = self.figure_mm
        if event.pushed:
            yield Line(x, y, x + 0.75 * f, y, 0.075 * f)
            head = ((x + 0.26 * f, y - 0.16 * f), (x - 0.03 * f, y), (x + 0.26 * f, y + 0.16 * f))
            yield Shape(head, 0.02 * f, fill=Ink.INK)
            if event.push != EIGHTH:
                yield text(x + 0.85 * f, y + 0.12 * f, self._push_place(event), 0.5 * f)
        if event.stopped:
            wedge = ((x + 0.08 * f, y + 0.1 * f), (x + 0.5 * f, y + 0.1 * f))
            yield Shape((*wedge, (x + 0.29 * f, y - 0.2 * f)), 0.02 * f, fill=Ink.INK)
        if event.fermata:
            yield from _fermata(x + 0.3 * f, y + 0.08 * f, f)

    def _push_place(self, event: ChordEvent) -> str:
        """The beat it comes on, counted in the bar it comes from."""
        meter = self.bar.meter
        place = (event.at - event.push) % meter.bar / meter.beat + 1
        return beat_count(place, meter)

    def _place_words(self, slot: _Slot) -> str:
        """The beat of a chord that whole dots cannot count, else nothing."""
        meter = self.bar.meter
        if slot.beats.denominator == 1 and slot.at % meter.beat == 0:
            return ""
        return beat_count(slot.at / meter.beat + 1, meter)

    @property
    def _is_uneven(self) -> bool:
        return len({slot.beats for slot in self.slots}) > 1

    def _dots(self, slot: _Slot, x: float, y: float) -> Iterator[Mark]:
        """One dot a beat; a place between the beats is written out."""
        f = self.figure_mm
        place = self._place_words(slot)
        if place:
            yield text(x, y + 0.1 * f, place, 0.42 * f, ink=Ink.PENCIL)
            return
        for beat in range(int(slot.beats)):
            yield dot(x + (0.12 + 0.24 * beat) * f, y, 0.07 * f)


def bar_ink(bar: Bar, key: Key, figure_mm: float, *, with_letters: bool) -> BarInk:
    """What a bar shows; `key` is the key its numbers are counted in."""
    events = list(bar.events)
    places = [event.at for event in events]
    starts: list[tuple[Wholes, ChordEvent | None]] = list(zip(places, events, strict=True))
    if not places or places[0] > 0:
        starts.insert(0, (Fraction(0), None))
    ends = [at for at, _ in starts[1:]] + [bar.length]
    slots = []
    for (at, event), end in zip(starts, ends, strict=True):
        chord = None if event is None else event.chord
        runs = () if chord is None else chord_runs(chord)
        under = letter_runs(chord.in_key(key)) if chord is not None and with_letters else ()
        slots.append(_Slot(at, event, Fraction(end - at) / bar.meter.beat, runs, under))
    return BarInk(bar, tuple(slots), figure_mm)


def dot(x: float, y: float, radius: float) -> Shape:
    """A filled dot (an octagon: round at this size)."""
    near, far = radius * 0.414, radius
    corners = ((-far, -near), (-near, -far), (near, -far), (far, -near))
    ring = (*corners, *((-dx, -dy) for dx, dy in corners))
    return Shape(tuple((x + dx, y + dy) for dx, dy in ring), fill=Ink.INK)


def block_rest(x: float, y: float, f: float) -> Iterator[Mark]:
    """Silence: a block lying on its line, as musicians know it from a half rest."""
    yield Line(x, y, x + 0.8 * f, y, 0.05 * f)
    corners = ((0.17, -0.24), (0.63, -0.24), (0.63, 0.0), (0.17, 0.0))
    yield Shape(tuple((x + dx * f, y + dy * f) for dx, dy in corners), fill=Ink.INK)


def _lozenge(x: float, top: float, width: float, f: float) -> Shape:
    middle, high, low = top + 0.5 * f, top - _DIAMOND * f, top + (1 + _DIAMOND) * f
    points: tuple[Point, ...]
    if width - 0.9 * f <= _WIDEST_DIAMOND * f:
        centre = x + width / 2
        half = width / 2 + 0.22 * f
        points = ((centre - half, middle), (centre, high), (centre + half, middle), (centre, low))
    else:
        left, right = x + 0.32 * f, x + width - 0.32 * f
        points = ((x - 0.15 * f, middle), (left, high), (right, high))
        points += ((x + width + 0.15 * f, middle), (right, low), (left, low))
    return Shape(points, 0.05 * f)


def _fermata(x: float, y: float, f: float) -> Iterator[Mark]:
    half, rise = 0.36 * f, 0.5 * f
    yield Curve((x - half, y), (x - half, y - rise), (x + half, y - rise), (x + half, y), 0.06 * f)
    yield dot(x, y - 0.08 * f, 0.065 * f)


def repeat_dots(x: float, top: float, f: float) -> Iterator[Mark]:
    """The two dots beside a repeat's bar line."""
    yield dot(x, top + 0.28 * f, 0.08 * f)
    yield dot(x, top + 0.72 * f, 0.08 * f)


def bar_line(x: float, top: float, f: float, *, is_heavy: bool) -> Line:
    """A bar line, a little taller than the figures."""
    width = 0.11 * f if is_heavy else _HAIR_MM
    return Line(x, top - 0.14 * f, x, top + 1.2 * f, width, Ink.INK)


def ending_marks(x: float, width: float, y: float, words: str, f: float) -> Iterator[Mark]:
    """The bracket of an ending, its number inside."""
    yield Line(x, y, x + width, y, _HAIR_MM)
    yield Line(x, y, x, y + 0.34 * f, _HAIR_MM)
    yield text(x + 0.14 * f, y + 0.36 * f, words, 0.46 * f, anchor=Anchor.START)
