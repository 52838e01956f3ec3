"""The search for the least-effort road through all the ways to play a part.

State: one way to play one stroke (a row of its `Hands`). Step: the next stroke. Cost: the points
of the way plus the points of the move to it. The cost of a move depends on nothing but the two
ways and the time between them, so the best road to a way goes through the best road to some way
of the stroke before it (Bellman's principle): what comes out is the optimum of the stated cost.
Work grows with the number of strokes and with the square of the ways to play one.

A repeat (the same strokes several times at once, to be played the same way each time) is one
step: for every pair of a first and a last way the cheapest road between them is found once and
counted `count` times, with `count - 1` moves from its last way back to its first. That is exact
too, and costs one more factor of the ways inside the repeat.

The second best road differs from the best in the place of at least one stroke. So for each
stroke its best place is barred, the cheapest road under that bar is read off from the cheapest
roads before and after (which do not change), and the least of all these is it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from undersong.neck.effort import (
    Floats,
    Hands,
    Ints,
    Mask,
    MoveTime,
    OpenStrings,
    Weights,
    articulation_points,
    elsewhere_points,
    fret_places_mm,
    hand_distance_mm,
    hurry_factor,
    move_terms,
    place_terms,
    ringing_points,
    seconds_to_move,
)
from undersong.neck.instrument import Instrument
from undersong.neck.repeats import Repeat


@dataclass(frozen=True, slots=True)
class Line:
    """What is to be searched.

    Parameters
    ----------
    ways
        The ways to play each stroke; none empty. Equal ways are the same value.
    times
        Time of each move, one fewer than `ways`.
    on_string
        Whether each stroke is slid or hammered from the one before it.
    rung_over
        Whether the stroke before each is meant to ring on under it.
    struck_again
        Whether each stroke is the note of the stroke before it, directly again.
    repeats
        Strokes to be played alike, in order, none over another.
    """

    ways: Sequence[Hands]
    times: Sequence[MoveTime]
    on_string: Sequence[bool]
    rung_over: Sequence[bool]
    struck_again: Sequence[bool]
    repeats: Sequence[Repeat] = ()

    def steps(self) -> list[Repeat]:
        """The whole line as repeats, a single stroke being a repeat of one, once."""
        steps: list[Repeat] = []
        at = 0
        for repeat in (*self.repeats, Repeat(len(self.ways), 0, 0)):
            steps += [Repeat(stroke, 1, 1) for stroke in range(at, repeat.start)]
            if repeat.size:
                steps.append(repeat)
            at = repeat.end
        return steps


@dataclass(frozen=True, slots=True)
class Bar:
    """Ways of one stroke that may not be used (True where barred)."""

    stroke: int
    ways: Mask


@dataclass(frozen=True, slots=True)
class _Step:
    """The outcome of one step: points of the best road to each of its last ways, and the trail."""

    best: Floats
    entered_from: Ints  # for each first way, the last way of the step before
    first_of: Ints  # for each last way, the first way of its road
    inside: tuple[Ints, ...]  # for each (first, way), the way before it


class Search:
    """The points of one search, each pair of ways worked out once."""

    def __init__(self, instrument: Instrument, weights: Weights, liking: OpenStrings) -> None:
        self.weights = weights.on(instrument)
        self.liking = liking
        self._places_mm = fret_places_mm(instrument)
        # By identity; the ways themselves are kept, so that an identity stays its own.
        self._moves: dict[tuple[int, int], tuple[Floats, Floats]] = {}
        self._ways: dict[int, tuple[Hands, Floats]] = {}

    def way_points(self, hands: Hands) -> Floats:
        """Points of each way: shape (n_ways,)."""
        if id(hands) not in self._ways:
            terms = place_terms(hands, self.weights, self.liking)
            self._ways[id(hands)] = hands, np.sum(list(terms.values()), axis=0)
        return self._ways[id(hands)][1]

    def _unhurried(self, before: Hands, after: Hands) -> tuple[Floats, Floats]:
        """Points of every move but for hurry, those of its end included; distance squared."""
        key = id(before), id(after)
        if key not in self._moves:
            self.way_points(before)
            column = before.column()
            distance = hand_distance_mm(column, after, self._places_mm)
            terms = move_terms(column, after, distance, self.weights)
            points = np.sum(list(terms.values()), axis=0) + self.way_points(after)
            self._moves[key] = points, distance**2
        return self._moves[key]

    def _move(self, line: Line, stroke: int, after: int) -> Floats:
        """Points of every move from a stroke to the ways of `after`: (n_before, n_after).

        `after` is the next stroke, or one played in the same ways.
        """
        before, ways = line.ways[stroke], line.ways[after]
        points, squared = self._unhurried(before, ways)
        seconds = seconds_to_move(before, line.times[stroke])
        moves = squared * hurry_factor(seconds, self.weights)[:, None]
        moves += points
        if line.on_string[after]:
            moves += articulation_points(before.column(), ways, self.weights)
        if line.rung_over[after]:
            moves += ringing_points(before.column(), ways, self.weights)
        if line.struck_again[after]:
            moves += elsewhere_points(before.column(), ways, self.weights)
        return moves

    def _enter(self, line: Line, before: _Step | None, start: int) -> tuple[Floats, Ints]:
        if before is None:
            points = self.way_points(line.ways[0])
            return points.copy(), np.zeros(len(points), dtype=np.int64)
        roads = self._move(line, start - 1, start)
        roads += before.best[:, None]
        return roads.min(axis=0), roads.argmin(axis=0)

    def _through(
        self, line: Line, step: Repeat, bar: Bar | None
    ) -> tuple[Floats, tuple[Ints, ...]]:
        """Points from each first way to each last way of a repeat, all its rounds, and the trail.

        The points of the first way in the first round are not counted: they belong to entering.
        """
        size = len(line.ways[step.start])
        roads = np.full((size, size), np.inf)
        np.fill_diagonal(roads, 0.0)
        trail = []
        for stroke in range(step.start + 1, step.start + step.size):
            longer = roads[:, :, None] + self._move(line, stroke - 1, stroke)[None]
            trail.append(longer.argmin(axis=1))
            roads = longer.min(axis=1)
            if bar is not None and bar.stroke == stroke:
                roads[:, bar.ways] = np.inf
        if step.count > 1:
            # The last stroke of the first round leads to the first of the second.
            again = self._move(line, step.start + step.size - 1, step.start + step.size)
            roads = step.count * roads + (step.count - 1) * again.T
        return roads, tuple(trail)

    def _step(self, line: Line, before: _Step | None, step: Repeat, bar: Bar | None) -> _Step:
        entered, entered_from = self._enter(line, before, step.start)
        if bar is not None and bar.stroke == step.start:
            entered[bar.ways] = np.inf
        if step.size == 1 and step.count == 1:
            return _Step(entered, entered_from, np.arange(len(entered)), ())
        through, trail = self._through(line, step, bar)
        roads = entered[:, None] + through
        return _Step(roads.min(axis=0), entered_from, roads.argmin(axis=0), trail)

    def _forward(self, line: Line, steps: Sequence[Repeat], bar: Bar | None) -> list[_Step]:
        done: list[_Step] = []
        for step in steps:
            done.append(self._step(line, done[-1] if done else None, step, bar))
        return done

    def best_road(self, line: Line, bar: Bar | None = None) -> list[int]:
        """The cheapest road, as the index of the way chosen for each stroke."""
        if not line.ways:
            return []
        steps = line.steps()
        done = self._forward(line, steps, bar)
        way = int(done[-1].best.argmin())
        road: list[int] = []
        for step, outcome in zip(reversed(steps), reversed(done), strict=True):
            first = int(outcome.first_of[way])
            inside = [way]
            for trail in reversed(outcome.inside):
                inside.append(int(trail[first, inside[-1]]))
            road += inside * step.count
            way = int(outcome.entered_from[first])
        return road[::-1]

    def second_road(self, line: Line, best: Sequence[int]) -> list[int] | None:
        """The cheapest road that puts at least one stroke in another place than `best` does.

        None where every stroke has but one place.
        """
        steps = line.steps()
        done = self._forward(line, steps, None)
        to_go = self._to_go(line, steps)
        cheapest, found = np.inf, None
        for number, step in enumerate(steps):
            for stroke in range(step.start, step.start + step.size):
                hands, way = line.ways[stroke], best[stroke]
                same: Mask = (hands.string == hands.string[way]) & (hands.fret == hands.fret[way])
                if same.all():
                    continue
                bar = Bar(stroke, same)
                outcome = self._step(line, done[number - 1] if number else None, step, bar)
                points = float((outcome.best + to_go[number]).min())
                if points < cheapest:
                    cheapest, found = points, bar
        return None if found is None else self.best_road(line, found)

    def _to_go(self, line: Line, steps: Sequence[Repeat]) -> list[Floats]:
        """For each step the least points still to come after each of its last ways."""
        to_go = [np.zeros(len(line.ways[-1]))]
        for step, before in zip(steps[:0:-1], steps[-2::-1], strict=True):
            after_first = to_go[-1]
            if step.size > 1 or step.count > 1:
                after_first = (self._through(line, step, None)[0] + to_go[-1]).min(axis=1)
            moves = self._move(line, before.end - 1, step.start)
            to_go.append((moves + after_first).min(axis=1))
        return to_go[::-1]

    def account(self, line: Line, road: Hands) -> tuple[dict[str, Floats], Floats]:
        """Points of one road by name, each of shape (n_strokes,), and its hand speeds in mm/s.

        `road` holds one way for each stroke, in order; the points and the speed of a move stand
        with the stroke it leads to.
        """
        terms = place_terms(road, self.weights, self.liking)
        if len(road) < 2:
            return terms, np.zeros(len(road))
        before, after = road.taken(np.arange(len(road) - 1)), road.taken(np.arange(1, len(road)))
        opens = (before.finger == 0).tolist()
        seconds = np.array(
            [
                time.open_s if is_open else time.stopped_s
                for is_open, time in zip(opens, line.times, strict=True)
            ]
        )
        distance = hand_distance_mm(before, after, self._places_mm)
        moves = move_terms(before, after, distance, self.weights)
        moves["hurry"] = distance**2 * hurry_factor(seconds, self.weights)
        slid = np.array(line.on_string[1:], dtype=np.float64)
        moves["articulation"] = slid * articulation_points(before, after, self.weights)
        rung = np.array(line.rung_over[1:], dtype=np.float64)
        moves["cut short"] = rung * ringing_points(before, after, self.weights)
        again = np.array(line.struck_again[1:], dtype=np.float64)
        moves["moved to another string"] = again * elsewhere_points(before, after, self.weights)
        terms |= {name: np.concatenate(([0.0], points)) for name, points in moves.items()}
        return terms, np.concatenate(([0.0], distance / seconds))


def picked(ways: Sequence[Hands], road: Sequence[int]) -> Hands:
    """The chosen way of each stroke, in order."""
    chosen = list(zip(ways, road, strict=True))

    def whole(name: str) -> Ints:
        return np.array([getattr(hands, name)[index] for hands, index in chosen], dtype=np.int64)

    def points(name: str) -> Floats:
        return np.array([getattr(hands, name)[index] for hands, index in chosen], dtype=np.float64)

    return Hands(
        whole("string"),
        whole("fret"),
        whole("finger"),
        whole("hand"),
        points("stretch_mm"),
        points("extended"),
        points("squeezed"),
        points("could_be_open"),
        points("away"),
        points("also"),
    )
