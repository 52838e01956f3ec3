"""When does a note that is slid into begin? Nothing is struck there; its pitch arrives.

From its arrival on the sound repeats itself at the new pitch: each moment is like that some periods
later. While the hand is still on its way, it is not. A slid note is in time when it arrives (common
practice, no source), so that is its onset.

Conventions
-----------
Samples are at `pitch.PITCH_RATE_HZ`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Match
from undersong.ear.evidence import LONGEST_STRETCH_S, Evidence
from undersong.ear.frames import Samples
from undersong.ear.pitch import MIDIS, PITCH_RATE_HZ, fine_cents, stretches
from undersong.theory.pitch import midi_to_hz

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

LAG_S = 0.045
"""Least distance of the two moments compared: over less, a semitone's slide changes too little."""
WINDOW_S = 0.016
ALIKE, UNLIKE = 0.85, 0.75
SEARCHED_S = (0.15, 0.13)
"""Before and after where the note was thought to begin."""
SETTLED_S = 0.06
"""How far the search's end may lie behind the last moment that is alike."""
ARRIVED_S, ARRIVED_WINDOWS, ARRIVED_PERIODS = 0.0035, 0.6, 0.5
"""From the last moment that is unlike to the arrival: fitted on 343 slid notes of the tune split,
where 90 % of arrivals are then within 10 ms."""
READ_S = 0.06
ARRIVED_ODDS, STRUCK_ODDS = 3.0, 1.0
"""Odds that a note which arrives is one, and those from which an attack was surely struck."""
LONG_AFTER_S, CLEAR_S = 0.15, 0.025
"""So long after its place a stroke may be another: time enough to read the pitch in between, which
is not asked so shortly before it."""


def with_arrivals(
    evidence: Evidence, match: Match, asked: Asked, expected_s: Floats, slid: NDArray[np.bool_]
) -> tuple[Evidence, Match]:
    """Evidence in which notes that are slid into begin where they arrive.

    Where no slide is asked, a stroke may be slid into all the same: if hardly anything was struck
    there and yet the asked pitch arrives, it was. So it is where something was struck long after
    the stroke's place, but its pitch had come before: that is another note then.

    Parameters
    ----------
    expected_s
        Shape (n_strokes,): where each stroke is expected.
    slid
        Shape (n_strokes,): True where the part asks for a slide into the stroke.
    """
    matched = match.attack != NONE
    struck = np.zeros(len(asked), bool)
    struck[matched] = evidence.odds[match.attack[matched]] > STRUCK_ODDS
    begin_s = np.where(match.attack == NONE, expected_s, evidence.onset_s[match.attack])
    until_s = np.append(begin_s[1:], evidence.length_s)
    after = struck & (begin_s - expected_s > LONG_AFTER_S)
    until_s[after], begin_s[after] = begin_s[after] - CLEAR_S, expected_s[after]
    rows, strokes, at_s = [], [], []
    for stroke in np.flatnonzero(slid | ~struck | after):
        if stroke == 0 or asked.midi[stroke] in (asked.midi[stroke - 1], NONE):
            continue
        since_s = float(begin_s[stroke - 1])
        midi, arrival_s = _read_arrival(
            evidence, since_s, float(begin_s[stroke]), float(until_s[stroke])
        )
        if arrival_s is None:
            continue
        # Echo smears what arrives: where something was struck after all, doubt is for the player.
        nearer = abs(arrival_s - expected_s[stroke]) < abs(begin_s[stroke] - expected_s[stroke])
        is_free = after[stroke] or not matched[stroke]
        is_asked = midi == asked.midi[stroke] and (is_free or nearer)
        if is_asked or (slid[stroke] and not after[stroke]):
            rows.append(NONE if after[stroke] else int(match.attack[stroke]))
            strokes.append(int(stroke))
            at_s.append(arrival_s)
    if not strokes:
        return evidence, match
    return _moved(evidence, match, np.array(rows), np.array(strokes), np.array(at_s), until_s)


def _read_arrival(
    evidence: Evidence, since_s: float, begin_s: float, until_s: float
) -> tuple[int, float | None]:
    """The pitch that sounds after a beginning; where it arrives, or None if that is not clear."""
    read_s = np.array([begin_s + READ_S])
    sound = stretches(
        evidence.string, read_s, np.array([min(until_s, begin_s + LONGEST_STRETCH_S)])
    )
    midi = MIDIS[sound.scores(evidence.tuning_cents).argmax(axis=1)]
    f0_hz = midi_to_hz(float(midi[0]) + float(fine_cents(sound, midi)[0]) / 100)
    first_s = max(since_s + WINDOW_S, begin_s - SEARCHED_S[0])
    last_s = min(begin_s + SEARCHED_S[1], until_s - READ_S)
    return int(midi[0]), arrival(evidence.string, f0_hz, first_s, last_s)


def arrival(string: Samples, f0_hz: float, first_s: float, last_s: float) -> float | None:
    """Seconds at which a pitch arrives between two moments, or None if it does not.

    Parameters
    ----------
    string
        Shape (n_samples,).
    f0_hz
        Fundamental of the pitch that arrives.
    """
    period = PITCH_RATE_HZ / f0_hz
    lag = round(max(2, np.ceil(LAG_S * f0_hz)) * period)
    size = round(max(WINDOW_S * PITCH_RATE_HZ, period))
    first, last = round(first_s * PITCH_RATE_HZ), round(last_s * PITCH_RATE_HZ)
    if first < 0 or last <= first or last + size + lag > len(string):
        return None
    now = string[first : last + size].astype(float)
    later = string[first + lag : last + size + lag].astype(float)
    energies = _running(now**2, size) * _running(later**2, size)
    alike = _running(now * later, size) / np.sqrt(np.maximum(energies, 1e-20))
    good = np.flatnonzero(alike >= ALIKE)
    if len(good) == 0 or good[-1] < len(alike) - 1 - SETTLED_S * PITCH_RATE_HZ:
        return None
    bad = np.flatnonzero(alike[: good[-1]] < UNLIKE)
    if len(bad) == 0:
        return None
    after = ARRIVED_WINDOWS * size + ARRIVED_PERIODS * period
    return (first + int(bad[-1]) + after) / PITCH_RATE_HZ + ARRIVED_S


def _running(values: Floats, size: int) -> Floats:
    """Sum of `size` values from each on, shape (n - size + 1,)."""
    sums = np.cumsum(np.append(0.0, values))
    return np.asarray(sums[size:] - sums[:-size])


def _moved(
    evidence: Evidence,
    match: Match,
    rows: Places,
    strokes: Places,
    at_s: Floats,
    until_s: Floats,
) -> tuple[Evidence, Match]:
    """The attacks of some strokes moved to another place, or put there where there was none."""
    new = rows == NONE
    end_s = until_s[strokes]
    stretch = stretches(evidence.string, at_s, np.minimum(end_s, at_s + LONGEST_STRETCH_S))
    scores = stretch.scores(evidence.tuning_cents)
    onset_s, odds = evidence.onset_s.copy(), evidence.odds.copy()
    vague = evidence.vague.copy()
    onset_s[rows[~new]] = at_s[~new]
    odds[rows[~new]] = np.maximum(odds[rows[~new]], ARRIVED_ODDS)
    vague[rows[~new]] = False
    onset_s = np.append(onset_s, at_s[new])
    order = np.argsort(onset_s, kind="stable")
    moved = replace(
        evidence,
        onset_s=onset_s[order],
        odds=np.append(odds, np.full(np.count_nonzero(new), ARRIVED_ODDS))[order],
        end_s=np.append(evidence.end_s, end_s[new])[order],
        scores=np.concatenate((evidence.scores, scores[new]))[order],
        level_db=np.append(evidence.level_db, stretch.level_db[new])[order],
        vague=np.append(vague, np.zeros(np.count_nonzero(new), bool))[order],
    )
    attack = match.attack.copy()
    attack[strokes[new]] = len(evidence.onset_s) + np.arange(np.count_nonzero(new))
    place = np.argsort(order)
    attack[attack != NONE] = place[attack[attack != NONE]]
    return moved, replace(match, attack=attack)
