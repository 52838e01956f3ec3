"""What a take says before anyone asks what was to be played: attacks with their odds, and pitches.

Every place where something may begin is weighed by a logistic rule on what was measured there:
rises in three bands, how much of the string's energy is new (`renewal`), how restless the sound was
before, how loud it is in this take and how much louder than just before. The weights were fitted on
takes with known answers by design/ear_odds.py.

Conventions
-----------
`Evidence` rows are attacks in order of time. Odds are natural logarithms.
"""

from __future__ import annotations

from bisect import bisect
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import find_peaks

from undersong.ear.attack import FRAME_S, MIDDLE_SHARE, Attacks, attacks
from undersong.ear.frames import Samples, Take
from undersong.ear.pitch import (
    MIDIS,
    Stretches,
    at_pitch_rate,
    fine_cents,
    stretches,
    tuning_of,
)
from undersong.ear.renewal import Renewal, edges_of, smooth_string
from undersong.ear.ringing import in_step

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

STRONG = 2.6
"""Strength from which a rise is taken for a note before anything else is known."""
LONGEST_STRETCH_S = 0.42
TUNING_ROUND_CENTS = 5.0
SETTLED = (80, 200)
UNEXPLAINED = 0.15
EARLY_S = 0.14
FRESH_S = 0.05
STILL_POSSIBLE = -6.0
TURNS = 5
IMPOSSIBLE = -6.0
LEAST_CHANGED, CHANGED_S = -3.5, 0.1
CHANGE_WORTH, CHANGE_PRIOR = 20.0, 3.5
BATCH = 256
RENEWED_SHARE = 0.12
RENEWAL_RISE = 40
RENEWAL_DELAY_S = 0.01
DISTINCT_S = 0.018
QUIET_SHARE = 0.02
ODDS_LIMIT = 8.0
LEAST_GOING_ON = -2.0
LEAST_IN_STEP, IN_STEP = 0.75, 0.95
"""Correlations (`ringing.in_step`) below and above which a note surely does not, does go on."""
GOING_ON_WORTH, OFTEN = (7.0, 12.0), (0.08, 0.2)
USUAL_PERCENT = 60
BODY_WORTH, LEAST_BODY = 6.0, 1.5
FAINT_WORTH, FAINTEST_DB = 0.5, 22.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that was heard in a take.

    Attributes
    ----------
    onset_s
        Shape (n_attacks,), seconds, increasing.
    odds
        Shape (n_attacks,): log-odds that a note begins there, everything measured taken together.
    end_s
        Shape (n_attacks,): where the next likely note begins, or the take ends.
    scores
        Shape (n_attacks, n_hypotheses): from `pitch`.
    level_db
        Shape (n_attacks,): level of the stretch after each attack.
    tuning_cents
        Of the take as a whole.
    string
        The take at `PITCH_RATE_HZ`, for asking again about a stretch.
    smooth
        From `renewal.smooth_string`.
    notes_s, f0_hz
        Shape (n_notes,): likely notes and their fundamentals.
    gaps_s
        Shape (n_gaps, 2): holes in the recording.
    going_on
        Shape (n_attacks,), in [0, 1]: how surely only the note before goes on there, interrupted.
    """

    onset_s: Floats
    odds: Floats
    end_s: Floats
    scores: Floats
    level_db: Floats
    tuning_cents: float
    string: Samples
    length_s: float
    smooth: Samples
    notes_s: Floats
    f0_hz: Floats
    gaps_s: Floats
    going_on: Floats

    def before(self, onset_s: Floats) -> Floats:
        """Fundamental of the note before each onset, nan where there is none."""
        return fundamentals_before(onset_s, self.notes_s, self.f0_hz)


@dataclass(frozen=True, slots=True)
class Measures:
    """What was measured at each place where something may begin, each of shape (n_attacks,)."""

    onset_s: Floats
    high: Floats
    middle: Floats
    low: Floats
    renewal: Floats
    restless: Floats
    spent: Floats
    level: Floats
    gain: Floats

    @property
    def strength(self) -> Floats:
        """As in `Attacks`."""
        return self.high + np.maximum(self.low, MIDDLE_SHARE * self.middle)

    @property
    def table(self) -> Floats:
        """Columns in the order of `WEIGHTS`, shape (n_attacks, n_weights)."""
        renewal = np.log(self.renewal + 0.02)
        return np.stack(
            (
                np.ones_like(renewal),
                np.minimum(self.high, 5),
                np.minimum(self.middle, 5),
                np.minimum(self.low, 5),
                renewal,
                self.restless,
                renewal * self.restless,
                self.spent,
                np.clip(self.level, -8, 1),
                np.clip(self.gain, -3, 3),
            ),
            axis=1,
        )


WEIGHTS = np.array([5.1, 1.57, 0.81, 3.94, 5.54, -9.46, 5.1, -8.04, 0.47, 0.87])


def gathered(take: Take, found: Attacks | None = None) -> Evidence:
    """All evidence of a take; its attacks may be known already."""
    string = at_pitch_rate(take.samples)
    smooth = smooth_string(take.samples)
    renewal = Renewal(smooth)
    if found is None:
        found = attacks(take.samples)
    notes_s = apart(found.onset_s[found.strength > STRONG])
    tuning = 0.0
    for turn in range(TURNS):
        sounded_s = notes_s
        until_s = _heard_until(notes_s, take.length_s)
        if turn == 0:
            tuning = TUNING_ROUND_CENTS * round(
                tuning_of(_some(string, notes_s, until_s)) / TUNING_ROUND_CENTS
            )
            pitches = Pitches(string, tuning)
        f0_hz = pitches.read(notes_s, until_s)
        track = _renewal(pitches, renewal, notes_s, f0_hz)
        measures = measured(found, track)
        odds = np.clip(measures.table @ WEIGHTS, -ODDS_LIMIT, ODDS_LIMIT)
        odds[in_gap(measures.onset_s, found.gaps_s)] = -ODDS_LIMIT
        # A rise that was strong by itself still parts two notes: the weighing may have failed only
        # because the note before it was not known yet.
        before_s = notes_s
        likely = (odds > 0) | ((measures.strength > STRONG) & (odds > STILL_POSSIBLE))
        notes_s = measures.onset_s[likely][strongest(measures.onset_s[likely], odds[likely])]
        if np.array_equal(notes_s, before_s):
            break
    kept = strongest(measures.onset_s, odds)
    onset_s, odds = measures.onset_s[kept], odds[kept]
    end_s = ends(onset_s, notes_s, take.length_s)
    possible = np.flatnonzero(odds > IMPOSSIBLE)
    scores, level_db = np.zeros((len(odds), len(MIDIS))), np.full(len(odds), -120.0)
    scores[possible], level_db[possible] = _scored(
        string, onset_s[possible], end_s[possible], tuning
    )
    before_hz = fundamentals_before(onset_s, sounded_s, f0_hz)
    odds = changed(odds, scores, onset_s, end_s, before_hz)
    going_on = gone_on(string, odds, scores, onset_s, end_s, before_hz)
    odds = odds - going_on_worth(going_on, odds) * going_on - bodiless(odds, scores, level_db)
    odds = np.maximum(odds, -ODDS_LIMIT)
    return Evidence(
        onset_s=onset_s,
        odds=odds,
        end_s=end_s,
        scores=scores,
        level_db=level_db,
        tuning_cents=tuning,
        string=string,
        length_s=take.length_s,
        smooth=smooth,
        notes_s=sounded_s,
        f0_hz=f0_hz,
        gaps_s=found.gaps_s,
        going_on=going_on,
    )


def _scored(
    string: Samples, onset_s: Floats, end_s: Floats, tuning_cents: float
) -> tuple[Floats, Floats]:
    """Scores and level of every stretch, in batches: spectra are a hundred times as large."""
    scores = np.zeros((len(onset_s), len(MIDIS)))
    level_db = np.zeros(len(onset_s))
    for first in range(0, len(onset_s), BATCH):
        rows = slice(first, first + BATCH)
        until_s = np.minimum(end_s[rows], onset_s[rows] + LONGEST_STRETCH_S)
        some = stretches(string, onset_s[rows], until_s)
        scores[rows], level_db[rows] = some.scores(tuning_cents), some.level_db
    return scores, level_db


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
        going_on[row] = np.clip((step - LEAST_IN_STEP) / (IN_STEP - LEAST_IN_STEP), 0, 1)
    return going_on


def going_on_worth(going_on: Floats, odds: Floats) -> float:
    """What going on counts for against a note: more where drums interrupt a take all the time.

    Of notes struck again a few in a hundred seem to go on by chance.
    """
    likely = max(1, np.count_nonzero(odds > 0))
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


def strongest(onset_s: Floats, odds: Floats, least_s: float = 0.035) -> Places:
    """Rows to keep so that none lies closer than `least_s` to one with better odds."""
    taken: list[float] = []
    kept = np.zeros(len(onset_s), bool)
    padded = np.concatenate(([-np.inf], onset_s, [np.inf]))
    is_lone = np.minimum(np.diff(padded)[:-1], np.diff(padded)[1:]) >= least_s
    kept[is_lone] = True
    for row in sorted(np.flatnonzero(~is_lone), key=lambda row: -odds[row]):
        at = onset_s[row]
        place = bisect(taken, at)
        if any(abs(at - other) < least_s for other in taken[max(0, place - 1) : place + 1]):
            continue
        taken.insert(place, at)
        kept[row] = True
    return np.flatnonzero(kept)


def apart(onset_s: Floats, least_s: float = 0.045) -> Floats:
    """Onsets without those that follow another too closely to be a note of their own."""
    if len(onset_s) == 0:
        return onset_s
    return np.asarray(onset_s[np.append(True, np.diff(onset_s) > least_s)])


def ends(onset_s: Floats, notes_s: Floats, length_s: float) -> Floats:
    """For each onset the next likely note after it, or the end of the take."""
    following = np.searchsorted(notes_s, onset_s + DISTINCT_S)
    return np.append(notes_s, length_s)[following]


def _heard_until(notes_s: Floats, length_s: float) -> Floats:
    """Where each note's own sound surely ends."""
    end_s = np.append(notes_s[1:], length_s)[: len(notes_s)]
    return np.asarray(np.minimum(end_s, notes_s + LONGEST_STRETCH_S))


def _some(string: Samples, notes_s: Floats, until_s: Floats) -> Stretches:
    """Stretches of enough notes to tell the tuning by, spread over the take."""
    count = min(len(notes_s), BATCH)
    rows = np.linspace(0, len(notes_s) - 1, count).astype(np.intp)
    return stretches(string, notes_s[rows], until_s[rows])


class Pitches:
    """Fundamentals of stretches of a take; what was read once is remembered."""

    def __init__(self, string: Samples, tuning_cents: float) -> None:
        self._string = string
        self._tuning_cents = tuning_cents
        self._known: dict[tuple[float, float], float] = {}

    def read(self, onset_s: Floats, until_s: Floats) -> Floats:
        """Fundamental in Hz of the likeliest pitch of each stretch, as exactly as can be."""
        keys = list(zip(onset_s.tolist(), until_s.tolist(), strict=True))
        unread = [row for row, key in enumerate(keys) if key not in self._known]
        for first in range(0, len(unread), BATCH):
            rows = unread[first : first + BATCH]
            some = stretches(self._string, onset_s[rows], until_s[rows])
            midi = MIDIS[some.scores(self._tuning_cents).argmax(axis=1)]
            f0_hz = 440.0 * 2 ** ((midi + fine_cents(some, midi) / 100 - 69) / 12)
            for row, f0 in zip(rows, f0_hz.tolist(), strict=True):
                self._known[keys[row]] = f0
        return np.array([self._known[key] for key in keys])


def _renewal(pitches: Pitches, renewal: Renewal, notes_s: Floats, f0_hz: Floats) -> Samples:
    """The renewal track of a take in which some notes are thought to sound.

    Where neither a note nor the one before explains its sound, either both ring together, or two
    notes were taken for one and the second was read: then its beginning alone gives a third guess.
    """
    track = renewal.track(notes_s, f0_hz)
    edges = edges_of(notes_s, track.shape[1])
    share = track[0] / np.maximum(track[1], 1e-12)
    doubtful = []
    for note, (first, last) in enumerate(pairwise(edges)):
        settled = share[first + SETTLED[0] : min(first + SETTLED[1], last)]
        if len(settled) and np.median(settled) > UNEXPLAINED:
            doubtful.append(note)
    if not doubtful:
        return track
    early_hz = np.full(len(notes_s), np.nan)
    early_hz[doubtful] = pitches.read(notes_s[doubtful], notes_s[doubtful] + EARLY_S)
    for note in sorted({*doubtful, *(note + 1 for note in doubtful if note + 1 < len(notes_s))}):
        first, last = int(edges[note]), int(edges[note + 1])
        if last > first:
            again = renewal.between(first, last, _what_may_ring(f0_hz, early_hz, note))
            track[0, first:last] = np.minimum(track[0, first:last], again[0])
    return track


def _what_may_ring(f0_hz: Floats, early_hz: Floats, note: int) -> list[tuple[float, ...]]:
    """Further guesses at what rings while a note is thought to: its beginning, and pairs."""
    own, early = float(f0_hz[note]), float(early_hz[note])
    old = [] if note == 0 else [float(f0_hz[note - 1]), float(early_hz[note - 1])]
    guesses: list[tuple[float, ...]] = [(each,) for each in (early, *old[1:])]
    guesses += [(before, each) for before in old for each in (own, early)]
    return [guess for guess in guesses if all(np.isfinite(guess))]


def measured(found: Attacks, track: Samples) -> Measures:
    """Measures at every rise and at every place where the string's sound is renewed.

    Parameters
    ----------
    track
        New energy and energy of every frame, from `renewal.Renewal.track`.
    """
    new, energy = track
    if not energy.any():
        none = np.zeros(len(found.onset_s))
        still = np.full_like(none, -8.0)
        return Measures(
            found.onset_s, found.high, found.middle, found.low, none, none, none, still, none
        )
    loudness = float(np.percentile(maximum_filter1d(energy, 401)[::50], 80)) + 1e-9
    coming = maximum_filter1d(energy, 81, origin=-40) + QUIET_SHARE * loudness
    renewal = new / coming
    place_s, source = _places(found.onset_s, renewal)
    frame = np.clip((place_s / FRAME_S).astype(np.intp), 0, len(energy) - 1)
    share = new / np.maximum(energy, 1e-12) * np.minimum(1, energy / (0.01 * loudness))
    quiet = 0.01 * loudness
    after = _around(energy, frame, 0, 60, 5).max(axis=1)
    before = _around(energy, frame, -60, -16, 5).max(axis=1)
    renewal_there = _around(renewal, frame, -24, 9, 1).max(axis=1)
    rises = [np.append(rise, 0.0)[source] for rise in (found.high, found.middle, found.low)]
    return Measures(
        place_s,
        *(rises[0], rises[1], rises[2]),
        renewal=renewal_there,
        restless=np.median(_around(share, frame, -70, -22, 4), axis=1),
        spent=_around(renewal, frame, -64, -25, 3).max(axis=1),
        level=np.log(after / loudness + 1e-9),
        gain=np.log((after + quiet) / (before + quiet)),
    )


def fundamentals_before(onset_s: Floats, notes_s: Floats, f0_hz: Floats) -> Floats:
    """Fundamental of the note that was sounding before each onset, nan where there was none."""
    if len(notes_s) == 0:
        return np.full(len(onset_s), np.nan)
    before = np.searchsorted(notes_s, onset_s - FRESH_S) - 1
    return np.where(before >= 0, f0_hz[np.maximum(before, 0)], np.nan)


GAP_BEFORE_S, GAP_AFTER_S = 0.01, 0.015


def in_gap(onset_s: Floats, gaps_s: Floats) -> NDArray[np.bool_]:
    """True for onsets that a hole in the recording makes."""
    inside = np.zeros(len(onset_s), bool)
    for first_s, last_s in gaps_s:
        inside |= (onset_s > first_s - GAP_BEFORE_S) & (onset_s < last_s + GAP_AFTER_S)
    return inside


def _around(values: Floats | Samples, frame: Places, first: int, last: int, step: int) -> Floats:
    """Values from `first` to `last` frames after each of some frames, shape (n, n_steps)."""
    places = frame[:, None] + np.arange(first, last, step)
    return np.asarray(values[np.clip(places, 0, len(values) - 1)])


def _places(onset_s: Floats, renewal: Samples) -> tuple[Floats, Places]:
    """All places to weigh, and for each the rise it came from (-1: renewed without a rise)."""
    peaks, _ = find_peaks(renewal, height=RENEWED_SHARE, distance=25)
    back = np.arange(-RENEWAL_RISE, 1)
    run = renewal[np.clip(peaks[:, None] + back, 0, None)] >= 0.5 * renewal[peaks, None]
    # The last frame before the peak that is not yet half as high; the window looks ahead by itself.
    rise = np.where(run.all(axis=1), 0, RENEWAL_RISE - run[:, ::-1].argmin(axis=1) + 1)
    peak_s = (peaks - RENEWAL_RISE + rise) * FRAME_S + RENEWAL_DELAY_S
    at = np.searchsorted(onset_s, peak_s)
    padded = np.concatenate(([-np.inf], onset_s, [np.inf]))
    near = np.minimum(peak_s - padded[at], padded[at + 1] - peak_s)
    peak_s = peak_s[near > DISTINCT_S]
    place_s = np.concatenate((onset_s, peak_s))
    source = np.concatenate((np.arange(len(onset_s)), np.full(len(peak_s), -1)))
    order = np.argsort(place_s, kind="stable")
    return place_s[order], source[order].astype(np.intp)
