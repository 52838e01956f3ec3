"""The order in which bars are played: repeats, first and second endings, D.C., D.S., coda, fine.

Conventions
-----------
After a jump back (D.C. or D.S.) repeats are not taken again and the last ending is played, as
players do unless told otherwise (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from undersong.errors import ExchangeError

MAX_BARS = 10_000
_MOST_TIMES = 64


@dataclass(slots=True)
class Road:
    """What a bar says about the way: signs at its left (first three) and right."""

    opens_repeat: bool = False
    endings: frozenset[int] = frozenset()
    is_segno: bool = False
    is_coda: bool = False
    closes_repeat: bool = False
    times: int | None = None
    da_capo: bool = False
    dal_segno: bool = False
    to_coda: bool = False
    is_fine: bool = False


def played_order(roads: Sequence[Road]) -> list[int]:
    """Indices of the bars as they are played.

    Raises
    ------
    ExchangeError
        If it would go on beyond `MAX_BARS`.
    """
    walk = _Walk(roads)
    while walk.place < len(roads):
        walk.step()
        if len(walk.order) > MAX_BARS:
            raise ExchangeError(
                f"With its repeats played out the file has over {MAX_BARS} bars: too many."
            )
    return walk.order


class _Walk:
    """Where the player is: bar, start of the repeat, time round, whether a jump was taken."""

    def __init__(self, roads: Sequence[Road]) -> None:
        self._roads = roads
        self.order: list[int] = []
        self.place = 0
        self._repeat_from = 0
        self._time = 1
        self._has_jumped = False

    def step(self) -> None:
        road = self._roads[self.place]
        if road.opens_repeat and self._repeat_from != self.place:
            self._repeat_from, self._time = self.place, 1
        last_ending = self._last_ending(self.place)
        if road.endings:
            time = last_ending if self._has_jumped else self._time
            if time not in road.endings:
                self._leave()
                return
        self.order.append(self.place)
        if self._has_jumped and self._jumped_on(road):
            return
        if road.closes_repeat and not self._has_jumped and self._time < self._times(road):
            self._time += 1
            self.place = self._repeat_from
            return
        if not self._has_jumped and (road.da_capo or road.dal_segno):
            self._has_jumped, self._time = True, 1
            self.place = 0 if road.da_capo else self._first("is_segno", 0)
            return
        if road.closes_repeat and not road.endings:
            self._repeat_from, self._time = self.place + 1, 1
        self._leave()

    def _jumped_on(self, road: Road) -> bool:
        if road.is_fine:
            self.place = len(self._roads)
            return True
        coda = self._first("is_coda", self.place + 1) if road.to_coda else 0
        if coda:
            self.place = coda
            return True
        return False

    def _leave(self) -> None:
        """To the next bar; behind the last of a group of endings the repeat is over."""
        here, self.place = self._roads[self.place], self.place + 1
        group_goes_on = self.place < len(self._roads) and bool(self._roads[self.place].endings)
        if here.endings and not group_goes_on:
            self._repeat_from, self._time = self.place, 1

    def _times(self, road: Road) -> int:
        if road.endings:
            return max(self._last_ending(self.place), road.times or 0)
        return min(road.times or 2, _MOST_TIMES)

    def _last_ending(self, place: int) -> int:
        """The highest number among the endings that stand together around a bar."""
        if not self._roads[place].endings:
            return 1
        low = high = place
        while low > 0 and self._roads[low - 1].endings:
            low -= 1
        while high + 1 < len(self._roads) and self._roads[high + 1].endings:
            high += 1
        return max(max(self._roads[each].endings) for each in range(low, high + 1))

    def _first(self, sign: str, start: int) -> int:
        places = range(start, len(self._roads))
        return next((place for place in places if getattr(self._roads[place], sign)), 0)
