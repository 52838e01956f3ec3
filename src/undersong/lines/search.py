"""The best figure for every slot of a song: dynamic programming over the whole line.

A figure's own points (ideas.py, flights.py) know nothing of its neighbours. What binds them:
approaches, fills and melodies may come only so often, and the same road should not be gone twice
running.

State: bars since the last approach, since the last fill, since the last melody (each capped
where it no longer matters), and the last road taken. Step: one figure for the next slot. Cost:
its points, and `same_road` where its road is the last one. Two figures of one kind and one road
lead to the same state, so only the cheaper can be in the best line: the others are left out
before the search, and nothing is lost. Work grows with the number of slots; the states do not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from undersong.lines.figures import Figure, Kind
from undersong.lines.levels import FILLS
from undersong.lines.weights import LineWeights

FILL_BARS = 4  # trade handbook 7.2, rule 6: at most one fill in four bars
MELODY_BARS = 2  # room between melodies; common practice, no source
APPROACH_BARS_AT_FIRST, APPROACH_BARS = 2, 1  # level 4: one in two bars (7.1); above: one a bar


@dataclass(frozen=True, slots=True)
class Choice:
    """What one slot may be filled with: its bar, its level and its figures.

    `late` holds the points of ideas whose turn it is not.
    """

    bar: int
    level: int
    figures: tuple[Figure, ...]
    late: Mapping[str, float] = field(default_factory=dict)

    def points(self, figure: Figure) -> float:
        """A figure's own points here."""
        return figure.points + self.late.get(figure.idea, 0.0)


_Memory = tuple[int, int, int, str]  # bars since approach, fill, melody; the last road
FRESH: _Memory = (APPROACH_BARS_AT_FIRST, FILL_BARS, MELODY_BARS, "")


def aged(memory: _Memory, bars: int) -> _Memory:
    """The memory so many bars later."""
    approach, fill, melody, road = memory
    return (
        min(approach + bars, APPROACH_BARS_AT_FIRST),
        min(fill + bars, FILL_BARS),
        min(melody + bars, MELODY_BARS),
        road,
    )


def after(
    memory: _Memory, figure: Figure, level: int, weights: LineWeights
) -> tuple[float, _Memory] | None:
    """Points a figure pays for what went before, and what is remembered of it; None if barred."""
    approach, fill, melody, road = memory
    points = 0.0
    if figure.kind is Kind.PLAIN:
        return points, memory
    points += weights.same_road * (figure.road == road)
    if figure.kind is Kind.APPROACH:
        gap = APPROACH_BARS if level >= FILLS else APPROACH_BARS_AT_FIRST
        points += weights.crowded * (approach < APPROACH_BARS_AT_FIRST)
        return (points, (0, fill, melody, figure.road)) if approach >= gap else None
    if figure.kind is Kind.FILL:
        return (points, (0, 0, melody, figure.road)) if fill >= FILL_BARS else None
    return (points, (0, fill, 0, figure.road)) if melody >= MELODY_BARS else None


def best_line(choices: Sequence[Choice], weights: LineWeights) -> tuple[Figure, ...]:
    """The figures of the cheapest line; of equals, the first in the order of the figures.

    Every choice must hold a plain figure, so that there is always a line.
    """
    if not choices:
        return ()
    rows: list[dict[_Memory, tuple[float, _Memory, Figure]]] = []
    best: dict[_Memory, float] = {FRESH: 0.0}
    bar = choices[0].bar
    for choice in choices:
        row: dict[_Memory, tuple[float, _Memory, Figure]] = {}
        figures = _worth_trying(choice)
        for memory, total in best.items():
            older = aged(memory, choice.bar - bar)
            for figure, own in figures:
                step = after(older, figure, choice.level, weights)
                if step is None:
                    continue
                points, new = total + own + step[0], step[1]
                known = row.get(new)
                if known is None or points < known[0]:
                    row[new] = points, memory, figure
        rows.append(row)
        best = {memory: entry[0] for memory, entry in row.items()}
        bar = choice.bar
    return _traced(rows, best)


def _worth_trying(choice: Choice) -> list[tuple[Figure, float]]:
    """The cheapest figure of each kind and road, with its points."""
    cheapest: dict[tuple[Kind, str], tuple[Figure, float]] = {}
    for figure in choice.figures:
        key = figure.kind, figure.road
        points = choice.points(figure)
        if key not in cheapest or points < cheapest[key][1]:
            cheapest[key] = figure, points
    return list(cheapest.values())


def _traced(
    rows: list[dict[_Memory, tuple[float, _Memory, Figure]]], best: dict[_Memory, float]
) -> tuple[Figure, ...]:
    memory = min(best, key=lambda each: best[each])
    line: list[Figure] = []
    for row in reversed(rows):
        _, before, figure = row[memory]
        line.append(figure)
        memory = before
    return tuple(reversed(line))
