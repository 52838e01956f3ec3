"""Which attack is which written stroke: the whole take against the whole Part.

One dynamic program over strokes and attacks, in order. A stroke is matched to one attack or to
none; an attack belongs to one stroke or to none. Matching pays what speaks for it: that the attack
is one (`attack_odds`), that its pitch is the asked one (`pitch_odds`, never below a floor, so that
a wrong note played in its place still belongs there), and that it comes when expected, with a
heavy tail so that a late note is still that note.

State: strokes used so far, attacks used so far. Step: drop an attack (free: what an unmatched
attack costs is a constant of the take), leave out a stroke (`SKIP_COST`), or match. Only attacks
within `REACH_S` of where a stroke is expected are looked at, so that time is linear in the length
of the take.

Before it the grid must be found and, where a player drifts, followed (`grid`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from undersong.ear.pitch import LOWEST_MIDI, MIDIS

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

SKIP_COST = 4.0
REACH_S = 0.45
TIMING_S = 0.025
"""Half width of the timing term: a note this far off costs ln 2."""
PITCH_SCALE = 15.0
PITCH_FLOOR = -3.0
MATCH_GAIN = 1.5
NONE = -1


@dataclass(frozen=True, slots=True)
class Asked:
    """The strokes of a Part as the alignment sees them.

    Attributes
    ----------
    grid_s
        Shape (n_strokes,): seconds from the start of the part at the tempo asked.
    midi
        Shape (n_strokes,); `NONE` where no pitch is asked (a ghost note).
    """

    grid_s: Floats
    midi: Places

    def __len__(self) -> int:
        return len(self.grid_s)

    def part(self, first: int, last: int) -> Asked:
        """Strokes `first` to `last`, the last left out."""
        return Asked(self.grid_s[first:last], self.midi[first:last])


@dataclass(frozen=True, slots=True)
class Heard:
    """The attacks of a take as the alignment sees them.

    Attributes
    ----------
    onset_s
        Shape (n_attacks,), seconds, increasing.
    attack_odds
        Shape (n_attacks,), log-odds that a note begins there.
    pitch_odds
        Shape (n_attacks, n_hypotheses): scaled score of each pitch below that of the best, <= 0.
    """

    onset_s: Floats
    attack_odds: Floats
    pitch_odds: Floats


def pitch_odds(scores: Floats) -> Floats:
    """Scores as `Heard` wants them: 0 for the best of each row."""
    if len(scores) == 0:
        return scores
    return np.asarray(PITCH_SCALE * (scores - scores.max(axis=1, keepdims=True)))


@dataclass(frozen=True, slots=True)
class Match:
    """An alignment.

    Attributes
    ----------
    attack
        Shape (n_strokes,): the attack matched to each stroke, or `NONE`.
    score
        Its worth; comparable between alignments of the same strokes to the same take.
    """

    attack: Places
    score: float


def aligned(
    asked: Asked,
    heard: Heard,
    expected_s: Floats,
    *,
    timing_s: float = TIMING_S,
    reach_s: float | Floats = REACH_S,
) -> Match:
    """The best alignment of strokes to attacks, given when each stroke is expected.

    Parameters
    ----------
    expected_s
        Shape (n_strokes,), seconds in the take, increasing.
    timing_s
        Half width of the timing term.
    reach_s
        How far from its expected place a stroke may be found, for all or for each.
    """
    n_strokes = len(asked)
    first = np.searchsorted(heard.onset_s, expected_s - reach_s)
    last = np.searchsorted(heard.onset_s, expected_s + reach_s)
    first, last = np.maximum.accumulate(first), np.maximum.accumulate(last)
    # best[j] is the worth of the strokes so far when attacks below `low + j` may be used up.
    best, low = (
        np.zeros(int(last[0] - first[0]) + 1 if n_strokes else 1),
        int(first[0]) if n_strokes else 0,
    )
    steps: list[tuple[int, NDArray[np.bool_], NDArray[np.bool_]]] = []
    pays = _pays(asked, heard, expected_s, timing_s, first, last)
    for stroke, pay in enumerate(pays):
        window = slice(int(first[stroke]), int(last[stroke]))
        best = _moved(best, low, window)
        low = window.start
        left_out = best - SKIP_COST
        matched = np.empty(len(best))
        matched[0] = -np.inf
        np.add(best[:-1], pay, out=matched[1:])
        chosen = np.maximum(left_out, matched)
        best = np.maximum.accumulate(chosen)
        steps.append((low, matched > left_out, best > chosen))
    return Match(_traced(steps, n_strokes), float(best[-1]) if n_strokes else 0.0)


def _pays(
    asked: Asked, heard: Heard, expected_s: Floats, timing_s: float, first: Places, last: Places
) -> list[Floats]:
    """What matching each stroke to each attack of its window pays."""
    count = last - first
    stroke = np.repeat(np.arange(len(asked)), count)
    ends = np.cumsum(count)
    attack = np.arange(len(stroke)) + np.repeat(first - (ends - count), count)
    column = asked.midi[stroke] - LOWEST_MIDI
    known = (column >= 0) & (column < len(MIDIS))
    fit = heard.pitch_odds[attack, np.where(known, column, 0)]
    gain = MATCH_GAIN + heard.attack_odds[attack]
    gain = np.where(known, gain + np.maximum(fit, PITCH_FLOOR), gain)
    pay = gain - np.log1p(((heard.onset_s[attack] - expected_s[stroke]) / timing_s) ** 2)
    return np.split(pay, ends[:-1])


def _moved(best: Floats, low: int, window: slice) -> Floats:
    """`best` seen through the next window: attacks before it are used up, new ones are free."""
    kept = best[min(window.start - low, len(best) - 1) :]
    wanted = window.stop - window.start + 1
    if wanted <= len(kept):
        return kept[:wanted]
    seen = np.empty(wanted)
    seen[: len(kept)] = kept
    seen[len(kept) :] = kept[-1]
    return seen


def _traced(
    steps: list[tuple[int, NDArray[np.bool_], NDArray[np.bool_]]], n_strokes: int
) -> Places:
    attack = np.full(n_strokes, NONE)
    place: int | None = None
    for stroke in range(n_strokes - 1, -1, -1):
        low, is_match, is_carried = steps[stroke]
        j = len(is_match) - 1 if place is None else min(place - low, len(is_match) - 1)
        while is_carried[j]:
            j -= 1
        if is_match[j]:
            attack[stroke] = low + j - 1
            j -= 1
        place = low + j
    return attack
