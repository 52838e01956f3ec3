"""The search for the least-effort road through all the ways to play a part.

State: one way to play one stroke (a row of its `Hands`). Step: the next stroke. Cost: the points
of the way plus the points of the move to it. The cost of a move depends on nothing but the two
ways and the time between them, so the best road to a way goes through the best road to some way
of the stroke before it (Bellman's principle): what comes out is the optimum of the stated cost.
Work grows with the number of strokes and with the square of the ways to play one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from undersong.neck.effort import (
    Floats,
    Hands,
    Ints,
    MoveTime,
    OpenStrings,
    Weights,
    articulation_points,
    fret_places_mm,
    hand_distance_mm,
    hurry_factors,
    move_terms,
    place_terms,
)
from undersong.neck.instrument import Instrument


class Search:
    """The points of one search, each pair of pitches worked out once.

    The tables are keyed by the identity of `Hands` values, so callers hand in the same value
    for the same ways, and keep it alive as long as the search.
    """

    def __init__(self, instrument: Instrument, weights: Weights, liking: OpenStrings) -> None:
        self.weights = weights
        self.liking = liking
        self._places_mm = fret_places_mm(instrument)
        self._moves: dict[tuple[int, int], tuple[Floats, Floats]] = {}
        self._ways: dict[int, tuple[Hands, Floats]] = {}

    def way_points(self, hands: Hands) -> Floats:
        """Points of each way: shape (n_ways,)."""
        if id(hands) not in self._ways:
            terms = place_terms(hands, self.weights, self.liking)
            self._ways[id(hands)] = hands, np.sum(list(terms.values()), axis=0)
        return self._ways[id(hands)][1]

    def _unhurried(self, before: Hands, after: Hands) -> tuple[Floats, Floats]:
        """Points of every move but for hurry, points of its end included; distance squared."""
        key = id(before), id(after)
        if key not in self._moves:
            column = before.column()
            distance = hand_distance_mm(column, after, self._places_mm)
            terms = move_terms(column, after, distance, self.weights)
            points = np.sum(list(terms.values()), axis=0) + self.way_points(after)
            self.way_points(before)  # keeps `before` alive, so that its identity stays its own
            self._moves[key] = points, distance**2
        return self._moves[key]

    def move_points(
        self, before: Hands, after: Hands, time: MoveTime, *, on_string: bool
    ) -> Floats:
        """Points of every move and of the way it ends in: shape (n_before, n_after)."""
        points, squared = self._unhurried(before, after)
        moves = squared * hurry_factors(before, time, self.weights)[:, None]
        moves += points
        if on_string:
            moves += articulation_points(before.column(), after, self.weights)
        return moves

    def best_road(
        self, ways: Sequence[Hands], times: Sequence[MoveTime], on_string: Sequence[bool]
    ) -> list[int]:
        """The cheapest road.

        Parameters
        ----------
        ways
            The ways to play each stroke; none empty.
        times
            Time of each move, one fewer than `ways`.
        on_string
            Whether each stroke is slid or hammered from the one before it.

        Returns
        -------
        list of int
            Index into the ways of each stroke.
        """
        if not ways:
            return []
        best = self.way_points(ways[0])
        came_from: list[Ints] = []
        for place, time in enumerate(times, start=1):
            roads = self.move_points(ways[place - 1], ways[place], time, on_string=on_string[place])
            roads += best[:, None]
            came_from.append(roads.argmin(axis=0))
            best = roads.min(axis=0)
        road = [int(best.argmin())]
        for choice in reversed(came_from):
            road.append(int(choice[road[-1]]))
        return road[::-1]

    def account(
        self, road: Hands, times: Sequence[MoveTime], on_string: Sequence[bool]
    ) -> tuple[dict[str, Floats], float]:
        """Points of one road by name, each of shape (n_strokes,), and its fastest hand in mm/s.

        `road` holds one way for each stroke, in order; the points of a move stand with the
        stroke it leads to.
        """
        terms = place_terms(road, self.weights, self.liking)
        if len(road) < 2:
            return terms, 0.0
        before, after = road.taken(np.arange(len(road) - 1)), road.taken(np.arange(1, len(road)))
        time = MoveTime(
            np.array([each.stopped_s for each in times]), np.array([each.open_s for each in times])
        )
        distance = hand_distance_mm(before, after, self._places_mm)
        moves = move_terms(before, after, distance, self.weights)
        moves["hurry"] = distance**2 * hurry_factors(before, time, self.weights)
        slid = np.array(on_string[1:], dtype=np.float64)
        moves["articulation"] = slid * articulation_points(before, after, self.weights)
        terms |= {name: np.concatenate(([0.0], points)) for name, points in moves.items()}
        seconds = np.where(before.finger == 0, time.open_s, time.stopped_s)
        return terms, float((distance / seconds).max())


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
    )
