"""What speaks for or against a place once the pitch before and after it is known.

For: the pitch has changed. Against: the note before only goes on (a drum, a click or a hole
interrupted it), or there is no body of a note in what comes after.

Conventions
-----------
Odds are natural logarithms; rows are attacks, as in `evidence.Evidence`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from undersong.ear.frames import Samples
from undersong.ear.measures import DISTINCT_S
from undersong.ear.pitch import MIDIS
from undersong.ear.ringing import in_step

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

LEAST_CHANGED, CHANGED_S = -3.5, 0.1
CHANGE_WORTH, CHANGE_PRIOR = 20.0, 3.5
LEAST_GOING_ON = -2.0
LEAST_IN_STEP, IN_STEP = 0.75, 0.95
"""Correlations (`ringing.in_step`) below and above which a note surely does not, does go on."""
GOING_ON_WORTH, OFTEN = (6.0, 12.0), (0.08, 0.2)
USUAL_PERCENT = 60
BODY_WORTH, LEAST_BODY = 6.0, 1.5
FAINT_WORTH, FAINTEST_DB = 0.5, 22.0


def changed(
    odds: Floats, scores: Floats, onset_s: Floats, end_s: Floats, f0_before: Floats
) -> Floats:
    """Odds again, where the pitch after a place is another than before it.

    A note that is slid or hammered, or plucked very softly, shows in nothing else.
    """
    column = _columns(f0_before)
    asked = (column >= 0) & (odds > LEAST_CHANGED) & (end_s - onset_s > CHANGED_S)
    rows = np.flatnonzero(asked)
    margin = scores[rows].max(axis=1) - scores[rows, column[rows]]
    odds = odds.copy()
    odds[rows] = np.maximum(odds[rows], np.minimum(CHANGE_WORTH * margin - CHANGE_PRIOR, 4.0))
    return odds


def gone_on(
    string: Samples,
    odds: Floats,
    scores: Floats,
    onset_s: Floats,
    end_s: Floats,
    before_hz: Floats,
) -> Floats:
    """How surely each likely note is only the one before it, interrupted, in [0, 1].

    Asked where the pitch after it is the pitch before it.
    """
    going_on = np.zeros(len(onset_s))
    column = _columns(before_hz)
    rows = np.flatnonzero((odds > LEAST_GOING_ON) & (scores.argmax(axis=1) == column))
    likely_s = onset_s[odds > 0]
    for row in rows:
        earlier = np.searchsorted(likely_s, onset_s[row] - DISTINCT_S) - 1
        since_s = float(likely_s[earlier]) if earlier >= 0 else 0.0
        step = in_step(
            string, float(onset_s[row]), float(before_hz[row]), since_s, float(end_s[row])
        )
        going_on[row] = surely_going_on(step)
    return going_on


def surely_going_on(step: float) -> float:
    """How surely a note goes on, in [0, 1], from how well it is foretold (`ringing.in_step`)."""
    return float(np.clip((step - LEAST_IN_STEP) / (IN_STEP - LEAST_IN_STEP), 0, 1))


def going_on_worth(going_on: Floats, odds: Floats) -> float:
    """What going on counts for against a note: more where drums interrupt a take all the time.

    Of notes struck again a few in a hundred seem to go on by chance.
    """
    likely = max(1, int(np.count_nonzero(odds > 0)))
    share = np.count_nonzero(going_on[odds > 0] > 0.5) / likely
    often = np.clip((share - OFTEN[0]) / (OFTEN[1] - OFTEN[0]), 0, 1)
    return float(GOING_ON_WORTH[0] + often * (GOING_ON_WORTH[1] - GOING_ON_WORTH[0]))


def bodiless(odds: Floats, scores: Floats, level_db: Floats) -> Floats:
    """What speaks against each attack because no pitch, or hardly a sound, comes after it."""
    likely = odds > 0
    if not likely.any():
        return np.zeros(len(odds))
    best = scores.max(axis=1)
    usual, usual_db = (np.percentile(each[likely], USUAL_PERCENT) for each in (best, level_db))
    lack = BODY_WORTH * np.maximum(0, usual - LEAST_BODY - best)
    return np.asarray(lack + FAINT_WORTH * np.maximum(0, usual_db - FAINTEST_DB - level_db))


def _columns(f0_hz: Floats) -> Places:
    """Hypothesis nearest each fundamental; -1 where there is none or it is out of range."""
    known = np.where(np.isfinite(f0_hz), f0_hz, 1.0)
    column = np.round(69 + 12 * np.log2(known / 440)).astype(np.intp) - MIDIS[0]
    return np.where((column >= 0) & (column < len(MIDIS)), column, -1)
