"""A wrong turn: bars left out, or played twice, and the rest of the part played on.

Everything after it lies whole bars from its place, and each note would be held against a player who
played it well. So where a pass fits badly, every turn is tried that leaves out, or plays again, a
run of whole bars: the part is laid on either side of it with the alignment as ever. One is believed
only where both sides fit well, and much better than the part as written. What was left out is
missed, what was played again is extra, and the pass is not clean.

One turn a pass (common practice, no source): who goes astray twice starts again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard, Match, aligned_each
from undersong.ear.grid import Grid
from undersong.ear.hearing import HeardNote, Verdict
from undersong.ear.pitch import LOWEST_MIDI, MIDIS
from undersong.ear.verdict import not_heard
from undersong.theory.part import Part

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Flags = NDArray[np.bool_]

MOST_BARS = 8
"""Longer turns are another section: a pass to begin again."""
FITS_S = 0.12
"""So near its place a stroke belongs there; beyond it a neighbour may be meant."""
LEAST_SIDE, SIDE_SHARE = 4, 0.75
"""Strokes on either side of a turn, and the share of them that must fit."""
LEAST_CHANGES = 2
"""Changes of pitch on either side: one note again and again fits wherever it is laid."""
LEAST_GAIN, GAIN_SHARE = 4, 0.05
"""So many more strokes must fit with a turn than without, and such a share of all."""
SPARE_ODDS = 2.0
"""An attack as likely as this that belongs to no stroke may be one of bars played twice."""
SURE = 0.99
"""Probability that what a turn left out was not played."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Bars left out, or played again when they end.

    Attributes
    ----------
    first, last
        Places in `Part.bars`.
    shift_s
        By how much later what follows comes, at the tempo asked; negative where bars were left out.
    """

    first: int
    last: int
    shift_s: float

    @property
    def is_again(self) -> bool:
        """True where the bars were played twice."""
        return self.shift_s > 0

    def before(self, bar: Places) -> Flags:
        """Which strokes are played before the turn, given the bar of each."""
        return bar <= self.last if self.is_again else bar < self.first

    def after(self, bar: Places) -> Flags:
        """Which strokes are played after it; some on both sides where bars were played twice."""
        return bar >= self.first if self.is_again else bar > self.last

    def words(self, part: Part) -> str:
        """What a musician is told, as in ``You left out bars 5 and 6.``."""
        first, last = part.bars[self.first].number, part.bars[self.last].number
        if first == last:
            which = f"bar {first}" if first else "the pick-up"
        else:
            which = f"bars {first} {'and' if last == first + 1 else 'to'} {last}"
        return f"You played {which} twice." if self.is_again else f"You left out {which}."


def wrong_turn(
    part: Part, asked: Asked, heard: Heard, grid: Grid, match: Match, *, is_start_known: bool
) -> Turn | None:
    """The turn by which a pass is explained far better than without one, or None.

    Parameters
    ----------
    part
        At the tempo asked.
    asked
        Its strokes.
    grid, match
        Where and how it fits best as it is written.
    is_start_known
        If not, the first bars played twice are a false start, and no turn.
    """
    plain = _fits(asked, heard, grid.at(asked.grid_s), match)
    found = np.flatnonzero(match.attack != NONE)
    reached = int(found[-1]) + 1 if len(found) else 0
    spare = np.count_nonzero(heard.attack_odds > SPARE_ODDS) - len(found)
    if reached < 2 * LEAST_SIDE or max(reached - plain.sum(), spare) < LEAST_GAIN:
        return None
    bar = bar_of_each(part, asked)
    turns = list(_turns(part, bar))
    # The place found may belong to what comes after the turn as well as to what comes before it.
    shifts_s = _distinct([0.0, *(way * turn.shift_s for turn in turns for way in (1, -1))])
    expected_s = grid.at(asked.grid_s) + grid.ratio * shifts_s[:, None]
    matches = aligned_each(asked, heard, expected_s, timing_s=FITS_S)
    fits = np.stack([_fits(asked, heard, *each) for each in zip(expected_s, matches, strict=True)])
    best, most = None, plain.sum() + max(LEAST_GAIN, GAIN_SHARE * len(asked)) - 1
    for turn in turns:
        for start_s in (0.0, -turn.shift_s):
            laid = [int(np.abs(shifts_s - s).argmin()) for s in (start_s, start_s + turn.shift_s)]
            before = fits[laid[0], turn.before(bar)]
            after = _to_its_last(fits[laid[1], turn.after(bar)])
            count = int(before.sum() + after.sum())
            first, last = asked.midi[turn.before(bar)], asked.midi[turn.after(bar)]
            if count > most and _holds(before, first) and _holds(after, last[: len(after)]):
                best, most = turn, count
    if best is not None and best.is_again and best.first == bar.min() and not is_start_known:
        return None
    return best


def bar_of_each(part: Part, asked: Asked) -> Places:
    """The place in `Part.bars` of each stroke's bar, shape (n_strokes,)."""
    at_s = np.array([part.tempo_map.seconds_at(bar.at) for bar in part.bars])
    # A stroke on the bar line belongs to the bar it begins, however its seconds are rounded.
    return np.asarray(np.searchsorted(at_s - 1e-6, asked.grid_s, side="right") - 1)


def _turns(part: Part, bar: Places) -> Iterator[Turn]:
    """Every turn with strokes on both sides of it, the shortest first."""
    edge_s = [part.tempo_map.seconds_at(each.at) for each in part.bars]
    edge_s.append(part.tempo_map.seconds_at(part.length))
    low, high = int(bar.min()), int(bar.max())
    for length in range(1, MOST_BARS + 1):
        for first in range(low, high - length + 2):
            last = first + length - 1
            length_s = edge_s[last + 1] - edge_s[first]
            if low < first and last < high:
                yield Turn(first, last, -length_s)
            yield Turn(first, last, length_s)


def _distinct(shifts_s: list[float]) -> Floats:
    ordered = np.unique(shifts_s)
    return np.asarray(ordered[np.append(True, np.diff(ordered) > FITS_S / 4)])


def _fits(asked: Asked, heard: Heard, expected_s: Floats, match: Match) -> Flags:
    """Which strokes were heard near their place with their own pitch."""
    found = match.attack != NONE
    attack = np.where(found, match.attack, 0)
    column = asked.midi - LOWEST_MIDI
    known = (column >= 0) & (column < len(MIDIS))
    near = np.abs(heard.onset_s[attack] - expected_s) < FITS_S
    own = heard.pitch_odds[attack, np.where(known, column, 0)] >= 0
    return np.asarray(found & near & (own | ~known))


def _to_its_last(side: Flags) -> Flags:
    """What follows a turn, up to the last that fits: the player may have stopped."""
    good = np.flatnonzero(side)
    return side[: int(good[-1]) + 1 if len(good) else 0]


def _holds(side: Flags, midi: Places) -> bool:
    is_long = len(side) >= LEAST_SIDE and float(side.mean()) >= SIDE_SHARE
    return is_long and bool(np.count_nonzero(np.diff(midi)) >= LEAST_CHANGES)


def turned(turn: Turn, part: Part, asked: Asked, index: Places) -> tuple[Asked, Places]:
    """The strokes as they were played, and the index of each one's first written note.

    Where bars were played twice their strokes stand there twice.
    """
    bar = bar_of_each(part, asked)
    sides = [np.flatnonzero(turn.before(bar)), np.flatnonzero(turn.after(bar))]
    played = np.concatenate(sides)
    grid_s = np.concatenate((asked.grid_s[sides[0]], asked.grid_s[sides[1]] + turn.shift_s))
    return Asked(grid_s, asked.midi[played]), index[played]


def told(
    turn: Turn, notes: tuple[HeardNote, ...], part: Part, asked: Asked, index: Places
) -> tuple[HeardNote, ...]:
    """The notes of the part as written: what came again is extra, what was left out is missed.

    Parameters
    ----------
    notes
        Of the strokes as they were played (see `turned`).
    asked, index
        The strokes as they are written.
    """
    if turn.is_again:
        return tuple(_once(notes))
    bar = bar_of_each(part, asked)
    left_out = np.flatnonzero(~turn.before(bar) & ~turn.after(bar))
    missed = [not_heard(asked, index, int(each), Verdict.MISSED, SURE) for each in left_out]
    follows = {int(each) for each in index[turn.after(bar)]}
    place = next(place for place, note in enumerate(notes) if note.index in follows)
    return (*notes[:place], *missed, *notes[place:])


def _once(notes: tuple[HeardNote, ...]) -> Iterator[HeardNote]:
    """Each note of the part as it came first; what came again belongs to nothing asked."""
    seen: set[int] = set()
    for note in notes:
        if note.index is None or note.index not in seen:
            yield note
        elif note.verdict is not Verdict.MISSED:
            is_sure = note.verdict is not Verdict.UNSURE
            verdict = Verdict.EXTRA if is_sure else Verdict.UNSURE
            yield replace(note, index=None, asked_midi=None, timing_ms=None, verdict=verdict)
        if note.index is not None:
            seen.add(note.index)
