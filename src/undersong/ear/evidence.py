"""What a take says before anyone asks what was to be played: attacks with their odds, and pitches.

Every place where something may begin is weighed twice (`weighing`): first by how the sound goes
there, round and round until the notes that are thought to ring and the places where new ones begin
agree; then, once its pitch has been asked, by that as well.

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

from undersong.ear.attack import Attacks, attacks
from undersong.ear.frames import Samples, Take
from undersong.ear.measures import DISTINCT_S, Measures, measured
from undersong.ear.pitch import (
    MIDIS,
    Stretches,
    at_pitch_rate,
    fine_cents,
    stretches,
    tuning_of,
)
from undersong.ear.renewal import Renewal, edges_of, smooth_in_place
from undersong.ear.weighing import ODDS_LIMIT, of_notes, of_pitch, of_places, of_sound

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

STRONG = 2.6
"""Strength from which a rise is taken for a note before anything else is known."""
LONGEST_STRETCH_S = 0.42
TUNING_ROUND_CENTS = 5.0
SETTLED = (80, 200)
UNEXPLAINED = 0.15
EARLY_S, LATE_S = 0.14, 0.12
FRESH_S = 0.05
STILL_POSSIBLE = -6.0
TURNS = 7
IMPOSSIBLE = -6.0
BATCH = 256
DATED = 0.3


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
        As in `Sound`.
    notes_s, f0_hz
        Shape (n_notes,): likely notes and their fundamentals.
    gaps_s
        Shape (n_gaps, 2): holes in the recording.
    vague
        Shape (n_attacks,): True where no rise dates the attack, only a change in what sounds.
    """

    onset_s: Floats
    odds: Floats
    end_s: Floats
    scores: Floats
    level_db: Floats
    tuning_cents: float
    string: Samples
    length_s: float
    smooth: NDArray[np.float16]
    notes_s: Floats
    f0_hz: Floats
    gaps_s: Floats
    vague: NDArray[np.bool_]

    def before(self, onset_s: Floats) -> Floats:
        """Fundamental of the note before each onset, nan where there is none."""
        return fundamentals_before(onset_s, self.notes_s, self.f0_hz)


@dataclass(frozen=True, slots=True)
class Sound:
    """What the ear keeps of a take's sound; the samples themselves are not needed any more.

    Attributes
    ----------
    string
        As in `Evidence`.
    smooth
        From `renewal.smooth_in_place`, at half the precision: 66 dB are more than is asked of it.
    found
        All its rises.
    """

    string: Samples
    smooth: NDArray[np.float16]
    found: Attacks
    length_s: float


def kept_of(samples: Samples, length_s: float, found: Attacks) -> Sound:
    """What is kept of a take of which the attacks are known. The samples are written over."""
    string = at_pitch_rate(samples)
    return Sound(string, smooth_in_place(samples).astype(np.float16), found, length_s)


def gathered(take: Take) -> Evidence:
    """All evidence of a take."""
    found = attacks(take.samples, take.top)
    return weighed(kept_of(take.samples.copy(), take.length_s, found))


def weighed(sound: Sound) -> Evidence:
    """All evidence of a take of which the sound is kept."""
    string, found = sound.string, sound.found
    tuning = _rounded_tuning(string, _strong(found), sound.length_s)
    agreed = _agreed(sound, Pitches(string, tuning))
    measures, notes_s = agreed.measures, agreed.notes_s
    kept = strongest(measures.onset_s, agreed.odds)
    onset_s, odds = measures.onset_s[kept], agreed.odds[kept]
    end_s = ends(onset_s, notes_s, sound.length_s)
    possible = np.flatnonzero(odds > IMPOSSIBLE)
    scores, level_db = np.zeros((len(odds), len(MIDIS))), np.full(len(odds), -120.0)
    scores[possible], level_db[possible] = _scored(
        string, onset_s[possible], end_s[possible], tuning
    )
    before_hz = fundamentals_before(onset_s, agreed.sounded_s, agreed.f0_hz)
    table = of_notes(
        string,
        sound.smooth,
        agreed.places[kept],
        onset_s,
        end_s,
        odds,
        scores,
        level_db,
        before_hz,
        notes_s,
    )
    again = of_pitch(table)
    again[in_gap(onset_s, found.gaps_s)] = -ODDS_LIMIT
    return Evidence(
        onset_s=onset_s,
        odds=np.where(odds > IMPOSSIBLE, again, odds),
        end_s=end_s,
        scores=scores,
        level_db=level_db,
        tuning_cents=tuning,
        string=string,
        length_s=sound.length_s,
        smooth=sound.smooth,
        notes_s=agreed.sounded_s,
        f0_hz=agreed.f0_hz,
        gaps_s=found.gaps_s,
        vague=measures.strength[kept] < DATED,
    )


@dataclass(frozen=True, slots=True)
class _Agreed:
    """Notes thought to ring, and what is known of every place where something may begin.

    Attributes
    ----------
    notes_s
        Shape (n_notes,): the likely notes.
    sounded_s, f0_hz
        Shape (n_sounded,): the notes the last turn took to sound, and their fundamentals.
    measures, places
        What was measured at the places, and the table the first network was asked about.
    odds
        Shape (n_places,): what it made of them.
    """

    notes_s: Floats
    sounded_s: Floats
    f0_hz: Floats
    measures: Measures
    places: Floats
    odds: Floats


def _strong(found: Attacks) -> Floats:
    """Rises taken for notes before anything else is known."""
    return apart(found.onset_s[found.strength > STRONG])


def _agreed(sound: Sound, pitches: Pitches) -> _Agreed:
    """Round and round until what rings and where something begins agree."""
    found, renewal = sound.found, Renewal(sound.smooth)
    notes_s = _strong(found)
    sounded_s = held_s = np.zeros(0)
    for _ in range(TURNS):
        before_s, sounded_s = sounded_s, notes_s
        f0_hz = pitches.read(notes_s, _heard_until(notes_s, sound.length_s))
        track = _renewal(pitches, renewal, notes_s, f0_hz, sound.length_s)
        measures = measured(found, track)
        places = of_places(found, measures, track)
        odds = of_sound(places)
        odds[in_gap(measures.onset_s, found.gaps_s)] = -ODDS_LIMIT
        # A rise that was strong by itself still parts two notes: the weighing may have failed only
        # because the note before it was not known yet.
        likely = (odds > 0) | ((measures.strength > STRONG) & (odds > STILL_POSSIBLE))
        notes_s = measures.onset_s[likely][strongest(measures.onset_s[likely], odds[likely])]
        held_s = np.append(held_s, _come_back(notes_s, sounded_s, before_s))
        notes_s = np.sort(np.append(notes_s, held_s[_off(held_s, notes_s) > DISTINCT_S]))
        if np.array_equal(notes_s, sounded_s):
            break
    return _Agreed(notes_s, sounded_s, f0_hz, measures, places, odds)


def _come_back(notes_s: Floats, sounded_s: Floats, before_s: Floats) -> Floats:
    """Notes of this turn that were there two turns ago and not in between.

    A note slid into has no attack: while it is thought to sound, nothing seems to begin there;
    while it is not, nothing explains what sounds. Such a one is held.
    """
    is_back = (_off(notes_s, before_s) < DISTINCT_S) & (_off(notes_s, sounded_s) > DISTINCT_S)
    return notes_s[is_back]


def _off(onset_s: Floats, others_s: Floats) -> Floats:
    """How far each onset lies from the nearest of others, in seconds."""
    padded = np.concatenate(([-np.inf], others_s, [np.inf]))
    at = np.searchsorted(others_s, onset_s)
    return np.minimum(onset_s - padded[at], padded[at + 1] - onset_s)


def _rounded_tuning(string: Samples, notes_s: Floats, length_s: float) -> float:
    """The take's tuning in cents, so rounded that few tables of expected spectra are made."""
    some = _some(string, notes_s, _heard_until(notes_s, length_s))
    return TUNING_ROUND_CENTS * round(tuning_of(some) / TUNING_ROUND_CENTS)


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


def _renewal(
    pitches: Pitches, renewal: Renewal, notes_s: Floats, f0_hz: Floats, length_s: float
) -> Samples:
    """The renewal track of a take in which some notes are thought to sound.

    Where neither a note nor the one before explains its sound, either both ring together, or two
    notes were taken for one and the second was read: then its beginning alone gives a third guess;
    or it was slid or bent into, and only its end has a pitch: that gives a fourth.
    """
    track = renewal.track(notes_s, f0_hz)
    edges = edges_of(notes_s, track.shape[1])
    share = track[0] / np.maximum(track[1], 1e-12)
    doubtful = []
    for note, (first, last) in enumerate(pairwise(edges)):
        settled = share[first + SETTLED[0] : min(first + SETTLED[1], last)]
        if len(settled) and np.count_nonzero(settled > UNEXPLAINED) * 2 > len(settled):
            doubtful.append(note)
    if not doubtful:
        return track
    early_hz, late_hz = np.full(len(notes_s), np.nan), np.full(len(notes_s), np.nan)
    early_hz[doubtful] = pitches.read(notes_s[doubtful], notes_s[doubtful] + EARLY_S)
    until_s = np.append(notes_s[1:], length_s)
    long = [note for note in doubtful if until_s[note] - notes_s[note] > LATE_S + EARLY_S]
    late_s = notes_s[long] + LATE_S
    late_hz[long] = pitches.read(late_s, np.minimum(until_s[long], late_s + LONGEST_STRETCH_S))
    for note in sorted({*doubtful, *(note + 1 for note in doubtful if note + 1 < len(notes_s))}):
        first, last = int(edges[note]), int(edges[note + 1])
        if last > first:
            again = renewal.between(first, last, _what_may_ring(f0_hz, early_hz, late_hz, note))
            track[0, first:last] = np.minimum(track[0, first:last], again[0])
    return track


def _what_may_ring(
    f0_hz: Floats, early_hz: Floats, late_hz: Floats, note: int
) -> list[tuple[float, ...]]:
    """Further guesses at what rings while a note is thought to: its beginning, its end, pairs."""
    own, early = float(f0_hz[note]), float(early_hz[note])
    old = [] if note == 0 else [float(f0_hz[note - 1]), float(early_hz[note - 1])]
    guesses: list[tuple[float, ...]] = [(each,) for each in (early, float(late_hz[note]), *old[1:])]
    guesses += [(before, each) for before in old for each in (own, early)]
    return [guess for guess in guesses if all(np.isfinite(guess))]


def fundamentals_before(onset_s: Floats, notes_s: Floats, f0_hz: Floats) -> Floats:
    """Fundamental of the note that was sounding before each onset, nan where there was none."""
    if len(notes_s) == 0:
        return np.full(len(onset_s), np.nan)
    before = np.searchsorted(notes_s, onset_s - FRESH_S) - 1
    return np.where(before >= 0, f0_hz[np.maximum(before, 0)], np.nan)


GAP_BEFORE_S, GAP_AFTER_S = 0.01, 0.015


def in_gap(
    onset_s: Floats,
    gaps_s: Floats,
    before_s: float = GAP_BEFORE_S,
    after_s: float = GAP_AFTER_S,
) -> NDArray[np.bool_]:
    """True for onsets that a hole in the recording makes, or that lie so far from one."""
    inside = np.zeros(len(onset_s), bool)
    for first_s, last_s in gaps_s:
        inside |= (onset_s > first_s - before_s) & (onset_s < last_s + after_s)
    return inside
