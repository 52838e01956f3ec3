"""The least-effort fingering of a whole part, and how to tell it.

What effort is stands in effort.py, how the least is found in search.py, what a player may ask
for in wishes.py. This module puts a part through them and says in words what came out.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from undersong.neck.effort import WEIGHTS, Hands, MoveTime, Weights, move_time
from undersong.neck.instrument import Instrument
from undersong.neck.repeats import repeats
from undersong.neck.search import Line, Search, picked
from undersong.neck.together import Held, groups, held_together, not_together
from undersong.neck.wishes import ANYHOW, Wishes, strokes_to_finger, ways_of
from undersong.theory.meter import beat_words
from undersong.theory.part import Articulation, Part, Stroke

__all__ = ["Fingering", "Wishes", "finger_part", "fingered", "position_name", "second_best"]

ORDINALS = (
    "no",
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
    "thirteenth",
    "fourteenth",
    "fifteenth",
    "sixteenth",
    "seventeenth",
    "eighteenth",
    "nineteenth",
    "twentieth",
)
LEAST_RING = Fraction(1, 16)
"""Notes that overlap by less than this are taken as played one after the other."""
NEW_BEGINNING = Fraction(3, 4)
"""After a rest as long as a bar of 3/4 a note is begun anew, not struck again."""
ON_ONE_STRING = (Articulation.HAMMERED, Articulation.SLIDE)


@dataclass(frozen=True, slots=True)
class Fingering:
    """A fingered part, what it costs and why.

    Parameters
    ----------
    part
        With string, fret and finger on every note.
    cost
        Points of the whole; the sum of `terms` and of `points`.
    terms
        Points by name.
    points
        Points of each stroke together with the move into it.
    hands
        The fret under finger 1 for each stroke.
    shift_mm_s
        How fast the hand travels into each stroke, mm/s.
    stretch_mm
        How far each finger lies beyond its comfortable reach, mm.
    """

    part: Part
    cost: float
    terms: dict[str, float]
    points: tuple[float, ...]
    hands: tuple[int, ...]
    shift_mm_s: tuple[float, ...]
    stretch_mm: tuple[float, ...]

    @property
    def hardest_mm_s(self) -> float:
        """The fastest the hand has to travel."""
        return max(self.shift_mm_s, default=0.0)

    def words(self) -> tuple[str, ...]:
        """The fingering told in sentences: where the hand starts, and every shift."""
        strokes = self.part.strokes
        if not strokes:
            return ("Nothing to play.",)
        told = [f"Start in {position_name(self.hands[0])}."]
        bars = self.part.bars
        starts = [bar.at for bar in bars]
        for place in range(1, len(strokes)):
            if self.hands[place] != self.hands[place - 1]:
                bar = bars[bisect_right(starts, strokes[place].at) - 1]
                early = bar.meter.bar - bar.length if bar.number == 0 else 0
                beat = (strokes[place].at - bar.at + early) / bar.meter.beat + 1
                words = beat_words(beat, bar.meter)
                told.append(f"Bar {bar.number}, {words}: {self._shift(strokes, place)}")
        if len(told) == 1:
            told.append("The hand never shifts.")
        return tuple(told)

    def _shift(self, strokes: Sequence[Stroke], place: int) -> str:
        before, after = strokes[place - 1], strokes[place]
        way = "up" if self.hands[place] > self.hands[place - 1] else "down"
        to = position_name(self.hands[place])
        if before.note.finger == 0:
            return f"shift {way} to {to} on the open {before.note.pitch.name}."
        if before.end < after.at:
            return f"shift {way} to {to} in the rest before the {after.note.pitch.name}."
        return f"shift {way} to {to} for the {after.note.pitch.name}."

    def cost_words(self) -> str:
        """What the points went on, the most first."""
        paid = sorted(((points, name) for name, points in self.terms.items()), reverse=True)
        parts = ", ".join(f"{name} {points:.1f}" for points, name in paid if points >= 0.05)
        return f"{self.cost:.1f} points: {parts}." if parts else "No effort at all."


def position_name(hand: int) -> str:
    """``fifth position``: the fret under finger 1."""
    name = ORDINALS[hand] if hand < len(ORDINALS) else f"{hand}th"
    return f"{name} position"


def fingered(
    part: Part,
    instrument: Instrument,
    *,
    wishes: Wishes = ANYHOW,
    weights: Weights = WEIGHTS,
) -> Part:
    """The part with string, fret and finger on every note; see `finger_part`."""
    return finger_part(part, instrument, wishes=wishes, weights=weights).part


def finger_part(
    part: Part,
    instrument: Instrument,
    *,
    wishes: Wishes = ANYHOW,
    weights: Weights = WEIGHTS,
) -> Fingering:
    """The least-effort fingering of a part.

    Parameters
    ----------
    part
        A bass part, at most two notes at once.
    instrument
        The neck and the hand.
    wishes
        What to respect; the optimum is taken among what they leave.
    weights
        Points of each kind of effort.

    Raises
    ------
    UnplayableError
        If a note lies nowhere on this neck, or nowhere the wishes leave: the sentence names the
        note, its bar and beat, and the nearest that can be played.
    """
    task = _Task(part, instrument, wishes, weights)
    return task.told(task.search.best_road(task.line))


def second_best(
    part: Part,
    instrument: Instrument,
    *,
    wishes: Wishes = ANYHOW,
    weights: Weights = WEIGHTS,
) -> Fingering | None:
    """The least-effort fingering that puts at least one note elsewhere than the best does.

    None where every note has only one place. Parameters and errors as for `finger_part`.
    """
    task = _Task(part, instrument, wishes, weights)
    best = task.search.best_road(task.line)
    road = task.search.second_road(task.line, best) if best else None
    return None if road is None else task.told(road)


class _Task:
    """One part on one instrument, ready to be searched."""

    def __init__(
        self, part: Part, instrument: Instrument, wishes: Wishes, weights: Weights
    ) -> None:
        self.part, self.instrument = part, instrument
        self.strokes = strokes_to_finger(part)
        self.groups = groups(part, self.strokes)
        self.search = Search(instrument, weights, wishes.open_strings)
        every = ways_of(part, self.strokes, instrument, wishes)
        self.uppers: list[Hands | None] = []
        ways = self._leads(every)
        leads = [self.strokes[group[0]] for group in self.groups]
        seconds = _seconds(part, leads)
        on_string = [stroke.note.articulation in ON_ONE_STRING for stroke in leads]
        rung_over = [
            place > 0 and leads[place - 1].end - stroke.at >= LEAST_RING
            for place, stroke in enumerate(leads)
        ]
        again = repeats(part, leads, ways, seconds) if wishes.same_again else ()
        self.line = Line(
            ways, _move_times(seconds), on_string, rung_over, _struck_again(leads), again
        )

    def _leads(self, every: Sequence[Hands]) -> list[Hands]:
        """The ways of each lowest note, those of a note struck with it in mind."""
        known: dict[tuple[int, int], Held | None] = {}
        ways = []
        for low, *high in self.groups:
            if not high:
                ways.append(every[low])
                self.uppers.append(None)
                continue
            pair = every[low], every[high[0]]
            key = id(pair[0]), id(pair[1])
            if key not in known:
                known[key] = held_together(*pair, self.search.way_points(pair[1]))
            held = known[key]
            if held is None:
                raise not_together(self.part, self.strokes[low], self.strokes[high[0]])
            ways.append(held.lead)
            self.uppers.append(held.upper)
        return ways

    def told(self, road: Sequence[int]) -> Fingering:
        """A road as a fingering; an upper note stands beside its lead and has no points."""
        leads = picked(self.line.ways, road)
        terms, speeds = self.search.account(self.line, leads)
        totals = {name: float(points.sum()) for name, points in terms.items()}
        points = np.sum(list(terms.values()), axis=0)
        rows: list[tuple[int, int, int, int, float, float, float]] = []
        for place, (upper, way) in enumerate(zip(self.uppers, road, strict=True)):
            rows.append((*_row(leads, place), float(points[place]), float(speeds[place])))
            if upper is not None:
                rows.append((*_row(upper, way), 0.0, 0.0))
        return Fingering(
            part=_written(self.part, self.strokes, [row[:3] for row in rows], self.instrument),
            cost=sum(totals.values()),
            terms=totals,
            points=tuple(row[5] for row in rows),
            hands=tuple(row[3] for row in rows),
            shift_mm_s=tuple(row[6] for row in rows),
            stretch_mm=tuple(row[4] for row in rows),
        )


def _row(hands: Hands, way: int) -> tuple[int, int, int, int, float]:
    """String, fret, finger, hand and stretch of one way."""
    return (
        int(hands.string[way]),
        int(hands.fret[way]),
        int(hands.finger[way]),
        int(hands.hand[way]),
        float(hands.stretch_mm[way]),
    )


def _seconds(part: Part, strokes: Sequence[Stroke]) -> list[tuple[float, float]]:
    """Where each stroke starts and ends, seconds."""
    tempo_map = part.tempo_map
    return [(tempo_map.seconds_at(each.at), tempo_map.seconds_at(each.end)) for each in strokes]


def _struck_again(strokes: Sequence[Stroke]) -> list[bool]:
    """Whether each stroke is the note of the one before it, with no long rest between."""
    return [False] * bool(strokes) + [
        before.note.pitch.midi == stroke.note.pitch.midi and stroke.at - before.end < NEW_BEGINNING
        for before, stroke in pairwise(strokes)
    ]


def _move_times(seconds: Sequence[tuple[float, float]]) -> list[MoveTime]:
    return [
        move_time(following - start, end - start)
        for (start, end), (following, _) in pairwise(seconds)
    ]


def _written(
    part: Part,
    strokes: Sequence[Stroke],
    places: Sequence[tuple[int, int, int]],
    instrument: Instrument,
) -> Part:
    """The part with every written note, tied ones too, given the place of its stroke."""
    notes = list(part.notes)
    for stroke, (string, fret, finger) in zip(strokes, places, strict=True):
        for index in range(stroke.index, len(notes)):
            note = notes[index]
            if note.at >= stroke.end:
                break
            if note.pitch.midi == stroke.note.pitch.midi:
                notes[index] = replace(note, string=string, fret=fret, finger=finger)
    return replace(part, notes=tuple(notes), tuning=instrument.tuning.midis)
