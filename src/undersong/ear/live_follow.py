"""Where is the player in the part, and how fast? The alignment of `align`, on the last second.

The strokes about the present and the places where notes may have begun are aligned anew whenever
something new is known; strokes more than `CLOSED_S` past are closed and keep what they got. A
straight line through the last matched strokes says when the next are expected, so a player who
drifts is followed; lateness is measured from the grid, not from this line, where the grid is known.

Conventions
-----------
Seconds of the stream. Strokes as in `align.Asked`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard, aligned, pitch_odds
from undersong.ear.grid import Grid, fitted, located
from undersong.ear.live_evidence import Struck
from undersong.ear.pitch import MIDIS

Floats = NDArray[np.float64]

CLOSED_S = 1.0
REACH_S = 0.45
TIMING_S = 0.03
RECENT = 10
LEAST_FOR_LINE = 6
LEAST_FOR_SHIFT = 3
MOST_OFF_TEMPO = 0.2
"""A line through few notes is not believed when it is further than this from the tempo asked."""
LOST_S, LOST_MARGIN = 0.06, 1.0
LEAST_LOCATED, MOST_EARLY = 3, 16
SUPPORT = 0.6
SETTLED_S = 0.15


class Follower:
    """A player's place in a part.

    Parameters
    ----------
    asked
        The strokes to be played.
    start_s
        Where beat 0 of the part falls; None where it must be found.
    now_s
        When listening for it began; what was before is no part of it.

    Attributes
    ----------
    grid
        What lateness is measured from; None until the start is found.
    line
        Where the player's own pulse runs now.
    heard_s
        Shape (n_strokes,): onset of each matched stroke, nan else.
    first_open
        Strokes before it are closed.
    """

    def __init__(self, asked: Asked, start_s: float | None, now_s: float = 0.0) -> None:
        self.asked = asked
        self.is_start_known = start_s is not None
        self.grid = None if start_s is None else Grid(start_s, 1.0)
        self.line = self.grid
        self.heard_s = np.full(len(asked), np.nan)
        self.first_open = 0
        self.matched: dict[int, Struck] = {}
        self._early: list[Struck] = []
        self._floor_s = now_s if start_s is None else -np.inf

    def expected_s(self, stroke: int) -> float:
        """When a stroke is expected of this player; infinite where no start is known."""
        if self.line is None:
            return float("inf")
        return self.line.start_s + self.line.ratio * float(self.asked.grid_s[stroke])

    def lateness_ms(self, stroke: int, onset_s: float) -> float | None:
        """How late a stroke was against the grid, or, where it had to be found, the own pulse."""
        against = self.grid if self.is_start_known else self.line
        if against is None:
            return None
        return 1000 * (onset_s - against.start_s - against.ratio * float(self.asked.grid_s[stroke]))

    def align(self, struck: list[Struck], now_s: float) -> None:
        """Match open strokes anew; `matched` and `heard_s` say the result."""
        if self.line is None:
            self._locate(struck, now_s)
            if self.line is None:
                return
        first = self.first_open
        usable = [each for each in self._with_early(struck) if each.onset_s > self._floor_s]
        heard = Heard(
            np.array([each.onset_s for each in usable]),
            np.array([each.belief for each in usable]),
            pitch_odds(np.array([each.scores for each in usable]).reshape(-1, len(MIDIS))),
        )
        match, last = self._best(heard, now_s)
        if match is None:
            return
        before = self.heard_s[first:last].copy()
        for stroke, attack in enumerate(match, start=first):
            self.matched.pop(stroke, None)
            self.heard_s[stroke] = np.nan
            if attack != NONE:
                self.matched[stroke] = usable[attack]
                self.heard_s[stroke] = usable[attack].onset_s
        if not np.array_equal(before, self.heard_s[first:last], equal_nan=True):
            self._fit(last)

    def _best(self, heard: Heard, now_s: float) -> tuple[list[int] | None, int]:
        """Attack of each open stroke that is due, and where these end.

        A line that has lost the player (a stroke off, say) is given up for the grid as soon as the
        grid explains the open strokes better.
        """
        first = self.first_open
        lines = [self.line]
        if self.is_start_known and self.grid is not None and self._is_off(now_s):
            lines.append(self.grid)
        best: tuple[float, Grid, list[int], int] | None = None
        for line in lines:
            if line is None:
                continue
            expected = line.at(self.asked.grid_s)
            last = int(np.searchsorted(expected, now_s + REACH_S))
            if last <= first:
                continue
            some = self.asked.part(first, last)
            match = aligned(some, heard, expected[first:last], timing_s=TIMING_S, reach_s=REACH_S)
            if best is None or match.score > best[0] + LOST_MARGIN:
                best = (match.score, line, match.attack.tolist(), last)
        if best is None:
            return None, first
        self.line = best[1]
        return best[2], best[3]

    def _is_off(self, now_s: float) -> bool:
        """True where the line is so far from the grid that it may have lost the player."""
        if self.line is None or self.grid is None:
            return False
        at_s = (now_s - self.line.start_s) / self.line.ratio
        return abs(now_s - self.grid.start_s - self.grid.ratio * at_s) > LOST_S

    def close(self, now_s: float) -> list[int]:
        """Close strokes that are long past; returns them."""
        closed = []
        while (
            self.first_open < len(self.asked)
            and self.expected_s(self.first_open) < now_s - CLOSED_S
        ):
            stroke = self.first_open
            struck = self.matched.pop(stroke, None)
            if struck is not None:
                self._floor_s = max(self._floor_s, struck.onset_s)
            self._floor_s = max(self._floor_s, self.expected_s(stroke) - REACH_S)
            self.first_open += 1
            closed.append(stroke)
        return closed

    def _with_early(self, struck: list[Struck]) -> list[Struck]:
        """Places in memory, and those from before the start was found."""
        if not self._early:
            return struck
        known = {id(each) for each in struck}
        older = [e for e in self._early if id(e) not in known and e.onset_s > self._floor_s]
        return sorted([*older, *struck], key=lambda each: each.onset_s)

    def _locate(self, struck: list[Struck], now_s: float) -> None:
        """Find the start: the first strokes must be there, most of them, at the tempo asked."""
        known = {id(each) for each in self._early}
        self._early += [
            each
            for each in struck
            if each.belief > 0 and each.onset_s > self._floor_s and id(each) not in known
        ]
        self._early = sorted(self._early, key=lambda each: each.onset_s)[-MOST_EARLY:]
        notes = self._early
        if len(notes) < min(LEAST_LOCATED, len(self.asked)):
            return
        heard = Heard(
            np.array([each.onset_s for each in notes]),
            np.array([each.belief for each in notes]),
            pitch_odds(np.array([each.scores for each in notes])),
        )
        some = self.asked.part(0, MOST_EARLY)
        for grid in located(some, heard, ratio=1.0):
            due = some.part(0, int(np.searchsorted(grid.at(some.grid_s), now_s - SETTLED_S)))
            if len(due) < min(LEAST_LOCATED, len(self.asked)):
                continue
            match = aligned(due, heard, grid.at(due.grid_s), timing_s=TIMING_S)
            got = [k for k, attack in enumerate(match.attack) if attack != NONE]
            right = [k for k in got if notes[match.attack[k]].midi == due.midi[k]]
            if len(right) >= SUPPORT * len(due):
                off = [notes[match.attack[k]].onset_s - due.grid_s[k] for k in right]
                self.grid = self.line = Grid(float(np.median(off)), 1.0)
                return

    def _fit(self, last: int) -> None:
        """Move the line so that it runs through the last matched strokes."""
        if self.grid is None:
            return
        known = np.flatnonzero(np.isfinite(self.heard_s[:last]))[-RECENT:]
        if len(known) < LEAST_FOR_SHIFT:
            return
        x, y = self.asked.grid_s[known], self.heard_s[known]
        ratio = 1.0 if self.line is None else self.line.ratio
        shifted = Grid(float(np.median(y - ratio * x)), ratio)
        if len(known) < LEAST_FOR_LINE:
            self.line = shifted
            return
        line = fitted(x, y, shifted)
        is_near = abs(np.log(line.ratio)) < MOST_OFF_TEMPO
        self.line = line if is_near else Grid(float(np.median(y - x)), 1.0)
