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
    return aligned_each(asked, heard, expected_s[None], timing_s=timing_s, reach_s=reach_s)[0]


def aligned_each(
    asked: Asked,
    heard: Heard,
    expected_s: Floats,
    *,
    timing_s: float = TIMING_S,
    reach_s: float | Floats = REACH_S,
) -> list[Match]:
    """As `aligned`, for several guesses at once: `expected_s` of shape (n_guesses, n_strokes)."""
    n_guesses, n_strokes = expected_s.shape
    # What is so unlikely costs more to match than to leave out, whatever its pitch and time.
    possible = np.flatnonzero(heard.attack_odds > -SKIP_COST - MATCH_GAIN)
    onset_s = heard.onset_s[possible]
    first = np.maximum.accumulate(np.searchsorted(onset_s, expected_s - reach_s), axis=1)
    last = np.maximum.accumulate(np.searchsorted(onset_s, expected_s + reach_s), axis=1)
    width = int((last - first).max(initial=0))
    pays = _pays(asked, heard, expected_s, timing_s, possible, first, last)
    # best[guess, j]: worth of the strokes so far when attacks below `first + j` may be used up.
    best = np.zeros((n_guesses, width + 1))
    before = _places_before(first, width)
    left_out, chosen = np.empty_like(best), np.empty_like(best)
    matched = np.full_like(best, -np.inf)
    is_match = np.empty((n_strokes, n_guesses, width + 1), bool)
    is_carried = np.empty_like(is_match)
    for stroke in range(n_strokes):
        seen = best.take(before[stroke])
        np.subtract(seen, SKIP_COST, out=left_out)
        np.add(seen[:, :-1], pays[stroke], out=matched[:, 1:])
        np.maximum(left_out, matched, out=chosen)
        np.maximum.accumulate(chosen, axis=1, out=best)
        np.greater(matched, left_out, out=is_match[stroke])
        np.greater(best, chosen, out=is_carried[stroke])
    padded = np.append(possible, NONE)
    return [
        Match(
            padded[_traced(first[guess], is_match[:, guess], is_carried[:, guess])],
            float(best[guess, -1]),
        )
        for guess in range(n_guesses)
    ]


def _places_before(first: Places, width: int) -> Places:
    """Where in the last stroke's `best` each place of a stroke's own stands, all guesses in a row.

    Attacks before a window are used up; those behind the last one's end are free.
    """
    moved = np.diff(first, axis=1, prepend=first[:, :1]).T[..., None]
    row = (width + 1) * np.arange(len(first))[:, None]
    return np.asarray(row + np.minimum(moved + np.arange(width + 1), width))


def _pays(
    asked: Asked,
    heard: Heard,
    expected_s: Floats,
    timing_s: float,
    possible: Places,
    first: Places,
    last: Places,
) -> Floats:
    """What matching a stroke to an attack pays, shape (n_strokes, n_guesses, width)."""
    place = first.T[..., None] + np.arange(int((last - first).max(initial=0)))
    inside = place < last.T[..., None]
    attack = possible[np.where(inside, place, 0)] if len(possible) else place
    column = (asked.midi - LOWEST_MIDI)[:, None, None]
    known = (column >= 0) & (column < len(MIDIS))
    fit = heard.pitch_odds[attack, np.where(known, column, 0)]
    gain = MATCH_GAIN + heard.attack_odds[attack]
    gain = np.where(known, gain + np.maximum(fit, PITCH_FLOOR), gain)
    late = (heard.onset_s[attack] - expected_s.T[..., None]) / timing_s
    return np.where(inside, gain - np.log1p(late**2), -np.inf)


def _traced(first: Places, is_match: NDArray[np.bool_], is_carried: NDArray[np.bool_]) -> Places:
    """The attack matched to each stroke of one guess, or `NONE`, from its last stroke back."""
    attack = np.full(len(first), NONE)
    lows, matches, carries = first.tolist(), is_match.tolist(), is_carried.tolist()
    most = is_match.shape[1] - 1
    place = most + (lows[-1] if lows else 0)
    for stroke in range(len(lows) - 1, -1, -1):
        j = min(place - lows[stroke], most)
        while carries[stroke][j]:
            j -= 1
        if matches[stroke][j]:
            attack[stroke] = lows[stroke] + j - 1
            j -= 1
        place = lows[stroke] + j
    return attack
