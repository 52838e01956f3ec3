"""Which of what was heard is the Part, and where in it? One dynamic program over a whole session.

A player left alone starts, restarts, jumps about, changes the tempo and noodles. Every attack is
either a stroke of the Part or nobody's. State: an attack matched to a stroke at a tempo. Step: from
one of the last few attacks matched to one of the last few strokes, at the same tempo or the next
one; what lies between was extra or missed. Cost: how far the time between the two is from what the
tempo makes it, what was left out on either side, and a pitch that is not the asked one. A passage
may begin anywhere, after anything, at a price: less at the beginning of a bar, least at the
beginning of the Part; so a chance likeness of a few notes is no passage.

Time is linear in the number of attacks; memory is a byte for each attack, stroke and tempo.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard
from undersong.ear.pitch import LOWEST_MIDI, MIDIS

Floats = NDArray[np.float32]
Places = NDArray[np.intp]

FASTEST_RATIO, SLOWEST_RATIO = 0.6, 1.8
RATIO_STEP = 0.04
"""Tempos (natural logarithm) a passage may have, over the tempo asked, and their distance."""
RATIO_CHANGE = 1.5
BACK = 3
"""So many attacks and strokes back a step may reach: two in a row may be extra, or missed."""
MATCH_GAIN, PITCH_FLOOR = 2.6, -4.5
"""One right note pays for a wrong one and for the scatter of both: a passage whose last note but
one is wrong does not end before it."""
MISSED_COST, EXTRA_COST = 2.5, 2.0
TIMING_S, TIMING_SHARE = 0.025, 0.06
"""Scatter of the time between two notes: so much, and such a share of it."""
LONGEST_STEP_S = 12.0
BEGIN_PART, BEGIN_BAR, BEGIN_ELSEWHERE = 7.0, 8.0, 11.0
LEAST_STROKES = 4
NEVER = np.float32(-1e9)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A passage: attacks and the strokes they are, both increasing, shape (n_matched,) each."""

    attack: Places
    stroke: Places


def passages(asked: Asked, heard: Heard, begins: NDArray[np.bool_]) -> list[Stretch]:
    """The passages of the Part in a session, in order of time.

    Parameters
    ----------
    asked
        All strokes of the Part, at the tempo asked.
    heard
        All likely notes of the session.
    begins
        Shape (n_strokes,): True for the first stroke of each bar.
    """
    if len(heard.onset_s) == 0:
        return []
    search = _Search(asked, heard, begins)
    for attack in range(len(heard.onset_s)):
        search.step(attack)
    return [each for each in search.traced() if len(each.attack) >= LEAST_STROKES]


class _Search:
    """The dynamic program; `best` is kept for the last `BACK` attacks only."""

    def __init__(self, asked: Asked, heard: Heard, begins: NDArray[np.bool_]) -> None:
        count = int(np.log(SLOWEST_RATIO / FASTEST_RATIO) / RATIO_STEP) + 1
        self._ratios = (FASTEST_RATIO * np.exp(RATIO_STEP * np.arange(count))).astype(np.float32)
        self._heard = heard
        self._gain = _gains(asked, heard)
        begin = np.where(begins, BEGIN_BAR, BEGIN_ELSEWHERE)
        begin[0] = BEGIN_PART
        self._begin = begin.astype(np.float32)[:, None]
        self._steps_s = []
        for back in range(1, BACK + 1):
            step_s = np.full(len(asked), np.nan)
            step_s[back:] = asked.grid_s[back:] - asked.grid_s[:-back]
            self._steps_s.append(step_s.astype(np.float32)[:, None] * self._ratios)
        self._extra = EXTRA_COST / (1 + np.exp(-heard.attack_odds))
        shape = (len(asked), count)
        self._recent: list[Floats] = []
        self._from = np.zeros((len(heard.onset_s), *shape), np.int8)
        # Best worth of everything up to an attack, and where it ends: attack, stroke, tempo; an
        # attack of nobody's keeps the end before it.
        self._free = np.zeros(len(heard.onset_s) + 1)
        self._end: list[tuple[int, int, int] | None] = [None] * (len(heard.onset_s) + 1)

    def step(self, attack: int) -> None:
        """Match one more attack to every stroke at every tempo, or to none."""
        onset_s = self._heard.onset_s
        begun = np.float32(self._free[attack]) - self._begin
        best = np.broadcast_to(begun, self._from.shape[1:]).copy()
        came = np.zeros(best.shape, np.int8)
        between = 0.0
        for ago, before in enumerate(self._recent, start=1):
            apart_s = np.float32(onset_s[attack] - onset_s[attack - ago])
            if apart_s > LONGEST_STEP_S:
                break
            moved, way = _drifted(before)
            for back in range(1, min(BACK, len(best) - 1) + 1):
                steps_s = self._steps_s[back - 1][back:]
                off = (apart_s - steps_s) / (TIMING_S + TIMING_SHARE * steps_s)
                cost = np.float32(between + MISSED_COST * (back - 1)) + np.log1p(off * off)
                worth = moved[:-back] - cost
                better = worth > best[back:]
                best[back:][better] = worth[better]
                step = 3 * ((ago - 1) * BACK + back) + way[:-back]
                came[back:][better] = step[better]
            between += float(self._extra[attack - ago])
        best += self._gain[attack][:, None]
        self._from[attack] = came
        self._recent = [best, *self._recent][:BACK]
        stroke, ratio = np.unravel_index(int(best.argmax()), best.shape)
        self._free[attack + 1], self._end[attack + 1] = self._free[attack], self._end[attack]
        if best[stroke, ratio] > self._free[attack]:
            self._free[attack + 1] = best[stroke, ratio]
            self._end[attack + 1] = (attack, int(stroke), int(ratio))

    def traced(self) -> list[Stretch]:
        """The best course of the session, from its end back."""
        found: list[Stretch] = []
        place = self._end[-1]
        while place is not None:
            attack, stroke, ratio = place
            attacks, strokes = [attack], [stroke]
            while (came := int(self._from[attack, stroke, ratio])) != 0:
                step, way = divmod(came + 1, 3)
                ago, back = divmod(step - 1, BACK)
                attack, stroke, ratio = attack - ago - 1, stroke - back - 1, ratio + way - 1
                attacks.append(attack)
                strokes.append(stroke)
            found.append(Stretch(np.array(attacks[::-1]), np.array(strokes[::-1])))
            place = self._end[attack]
        return found[::-1]


def _gains(asked: Asked, heard: Heard) -> Floats:
    """What matching each attack to each stroke pays, timing apart, shape (n_attacks, n_strokes)."""
    column = asked.midi - LOWEST_MIDI
    known = (asked.midi != NONE) & (column >= 0) & (column < len(MIDIS))
    pitch = np.maximum(heard.pitch_odds[:, np.where(known, column, 0)], PITCH_FLOOR)
    pitch = np.where(known, pitch, -1.0)
    return (MATCH_GAIN + pitch + np.minimum(heard.attack_odds, 0.0)[:, None]).astype(np.float32)


def _drifted(best: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """Each tempo, or a neighbouring one at a price; and which of the three it was."""
    moved = best.copy()
    way = np.zeros(best.shape, np.int8)
    for step in (-1, 1):
        other = np.full_like(best, NEVER)
        if step < 0:
            other[:, 1:] = best[:, :-1] - np.float32(RATIO_CHANGE)
        else:
            other[:, :-1] = best[:, 1:] - np.float32(RATIO_CHANGE)
        better = other > moved
        moved[better] = other[better]
        way[better] = step
    return moved, way
