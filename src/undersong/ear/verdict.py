"""From an alignment to a verdict on every note, each with its probability.

A note is accused only on a clear margin: the prior is that it was played, and played right, because
most are. Between sure and not is `unsure`.

Conventions
-----------
Odds are natural logarithms. Priors and scales were chosen on takes of the tune split, whose answers
are known; they say how much a score is worth, not what the answer is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Match
from undersong.ear.evidence import BATCH, LONGEST_STRETCH_S, Evidence, in_gap
from undersong.ear.hearing import HeardNote, Verdict
from undersong.ear.pitch import (
    LOWEST_MIDI,
    MIDIS,
    Stretches,
    fine_cents,
    scores_over_ring,
    stretches,
    stretches_before,
)
from undersong.ear.renewal import continued
from undersong.ear.ringing import in_step, surely_going_on
from undersong.theory.part import Part
from undersong.theory.tuning import STANDARD

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

PITCH_PRIOR = 3.0
PITCH_WORTH = 30.0
PLAYED_PRIOR = 3.2
CHANGE_WORTH, CHANGE_PRIOR = 20.0, 3.0
EXTRA_PRIOR = 0.3
GOING_ON = 0.8
GOING_ON_WORTH = 1.0
BODY_WORTH = 15.0
LEAST_BODY = 0.7
DOUBT = 0.1
FAR_OFF, FAR_WORTH, BELOW_WORTH = 14, 0.15, 0.3
"""A wrong note is mostly near the asked one (common practice, no source): a pitch further off by
more semitones counts so much less."""
SURE_ODDS, SURE_EXTRA_ODDS, SURE_MISSED_ODDS, SURE_TIMED_ODDS = 1.0, 0.5, 2.5, -1.0
"""A verdict against a note needs these odds; below them it is `unsure`."""
LONGEST_TAIL_S = 2.0
STILL_DB, MOST_SOUNDING_ON = 6.0, 3
"""Where more strokes than so many on one pitch are not heard, and it goes on with hardly a loss,
they are hidden, not missed: who leaves a note out damps the one before, or it dies away."""
HIDDEN_S, CLEAR_ODDS = 0.06, 4.0
EXTRA_APART_S = 0.09
BESIDE_HOLE_S, BESIDE_HOLE_WORTH = (0.06, 0.03), 2.0
"""Against an extra note beside a hole, which breaks off what rings as another note would."""
QUIETEST_EXTRA_DB = -20.0
FAINT_EXTRA_DB = -10.0
LOW_B_MIDI, TOO_LOW_WORTH = 23, 2.0
"""Against an extra note below everything asked and below the lowest string: rather a drum."""
MOST_SLACKENED, OCTAVE = 2, 12
"""Semitones by which a lowest string may be slackened. What sounds lower still is a drum; or, an
octave below what is asked, a string that the part does not tell of."""
VAGUE_MS = 10.0
"""A note that only a change in what sounds dates may lie so far off, and is unsure there."""
FAINT_DB, FAINT_WORTH = -20.0, 1.0
"""What is fainter than this beside the other notes of a take speaks against itself, by the dB."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """The notes a take holds: matched strokes and extra ones, in order of time.

    Attributes
    ----------
    attack
        Row of the evidence, shape (n_notes,).
    stroke
        Stroke matched, or `NONE` for an extra note, shape (n_notes,).
    scores, level_db, cents
        Of the stretch until the next of these notes; cents are taken at `midi`.
    midi
        The likeliest pitch.
    going_on
        For notes nobody asked for, how surely they are the note before, interrupted, in [0, 1].
    asked_midi
        Pitch asked, or `NONE`.
    """

    attack: Places
    stroke: Places
    scores: Floats
    level_db: Floats
    midi: Places
    cents: Floats
    going_on: Floats
    asked_midi: Places


def sounding(evidence: Evidence, match: Match, asked: Asked) -> Sounding:
    """Matched strokes and likely extra notes, each heard until the next of them begins."""
    stroke_of = np.full(len(evidence.onset_s), NONE)
    matched = np.flatnonzero(match.attack != NONE)
    stroke_of[match.attack[matched]] = matched
    rows = np.flatnonzero((stroke_of != NONE) | (evidence.odds > 0))
    rows = rows[_apart(evidence, rows, stroke_of)]
    onset_s = evidence.onset_s[rows]
    end_s = np.append(onset_s[1:], evidence.length_s)[: len(rows)]
    until_s = np.minimum(end_s, onset_s + LONGEST_STRETCH_S)
    column = _asked_columns(asked, stroke_of[rows])
    scores = np.zeros((len(rows), len(MIDIS)))
    level_db, cents = np.zeros(len(rows)), np.zeros(len(rows))
    for first in range(0, len(rows), BATCH):
        some = slice(first, first + BATCH)
        parts = stretches(evidence.string, onset_s[some], until_s[some])
        plain = parts.scores(evidence.tuning_cents)
        scores[some] = _without_ring(evidence, parts, plain, onset_s[some], column[some])
        level_db[some] = parts.level_db
        cents[some] = fine_cents(parts, MIDIS[scores[some].argmax(axis=1)])
    midi = MIDIS[scores.argmax(axis=1)]
    own_hz = 440.0 * 2 ** ((midi + cents / 100 - 69) / 12)
    return Sounding(
        attack=rows,
        stroke=stroke_of[rows],
        scores=scores,
        level_db=level_db,
        midi=midi,
        cents=cents,
        going_on=_interrupted(evidence, onset_s, stroke_of[rows], own_hz),
        asked_midi=np.where(stroke_of[rows] != NONE, asked.midi[stroke_of[rows]], NONE),
    )


def _interrupted(evidence: Evidence, onset_s: Floats, stroke: Places, own_hz: Floats) -> Floats:
    """How surely each unasked note is only the one before it, going on after a drum or a click.

    Asked at the pitch read before it and, as that may have been misread, at its own.
    """
    going_on = np.zeros(len(onset_s))
    asked = np.flatnonzero(stroke == NONE)
    shares = continued(evidence.smooth, onset_s[asked], evidence.before(onset_s[asked]))
    going_on[asked] = np.clip((shares - GOING_ON) / (1 - GOING_ON), 0, 1)
    since_s = np.append(0.0, onset_s)[:-1]
    until_s = np.append(onset_s[1:], evidence.length_s)[: len(onset_s)]
    for row in asked:
        at_s, since, until = float(onset_s[row]), float(since_s[row]), float(until_s[row])
        step = in_step(evidence.string, at_s, float(own_hz[row]), since, until)
        going_on[row] = max(going_on[row], surely_going_on(step))
    return going_on


def _asked_columns(asked: Asked, stroke: Places) -> Places:
    """Column of the asked pitch of each note, or `NONE`."""
    column = asked.midi[stroke] - LOWEST_MIDI
    return np.where((stroke != NONE) & (column >= 0) & (column < len(MIDIS)), column, NONE)


def _without_ring(
    evidence: Evidence, parts: Stretches, scores: Floats, onset_s: Floats, column: Places
) -> Floats:
    """Scores again, with the note before allowed to ring on, wherever the asked one is in doubt.

    Under a ringing note everything fits a little: where another pitch fits best all the same, it is
    believed half as it fits alone.
    """
    asked = np.flatnonzero(column != NONE)
    own = scores[asked, column[asked]]
    doubtful = asked[own - _best_other(scores[asked], column[asked]) < DOUBT]
    if len(doubtful) == 0:
        return scores
    before = stretches_before(evidence.string, onset_s[doubtful], parts.window[doubtful])
    over_ring = scores_over_ring(parts.rows(doubtful), before, evidence.tuning_cents, MIDIS)
    still = over_ring[np.arange(len(doubtful)), column[doubtful]] < over_ring.max(axis=1)
    over_ring[still] = 0.5 * (over_ring[still] + scores[doubtful[still]])
    again = scores.copy()
    again[doubtful] = over_ring
    return again


def _best_other(scores: Floats, column: Places) -> Floats:
    others = scores.copy()
    others[np.arange(len(scores)), column] = -np.inf
    return np.asarray(others.max(axis=1))


def _apart(evidence: Evidence, rows: Places, stroke_of: Places) -> NDArray[np.bool_]:
    """Leaves out what comes too close to a matched stroke to be a note of its own."""
    onset_s = evidence.onset_s[rows]
    matched_s = onset_s[stroke_of[rows] != NONE]
    at = np.searchsorted(matched_s, onset_s)
    padded = np.concatenate(([-np.inf], matched_s, [np.inf]))
    near = np.minimum(onset_s - padded[at], padded[np.minimum(at + 1, len(padded) - 1)] - onset_s)
    return np.asarray((stroke_of[rows] != NONE) | (near > EXTRA_APART_S))


def probability(odds: float) -> float:
    """Logistic function."""
    return float(1 / (1 + np.exp(-np.clip(odds, -30, 30))))


def lowest_string(part: Part) -> int:
    """MIDI number of the lowest open string; in standard tuning if the part does not say."""
    return min(part.tuning or STANDARD.midis)


def judged(
    asked: Asked,
    index: Places,
    evidence: Evidence,
    heard: Sounding,
    expected_s: Floats,
    end_s: float,
    lowest_open: int,
    window_ms: float = np.inf,
) -> tuple[HeardNote, ...]:
    """A verdict for every stroke, extra notes between them.

    Parameters
    ----------
    index
        Shape (n_strokes,): the written note each stroke begins with.
    expected_s
        Shape (n_strokes,): where the grid puts each stroke.
    end_s
        Where the last stroke's written length ends: what follows is no extra note of this pass.
    lowest_open
        From `lowest_string`.
    window_ms
        The timing window, if timing counts: what lies outside it must be dated well.
    """
    matched_db = heard.level_db[heard.stroke != NONE]
    usual_db = float(np.median(matched_db)) if len(matched_db) else 0.0
    best_scores = heard.scores[heard.stroke != NONE].max(axis=1, initial=-np.inf)
    usual_score = float(np.percentile(best_scores, 10)) if len(best_scores) else 0.0
    lowest = int(asked.midi[asked.midi != NONE].min(initial=lowest_open))
    place_of = np.full(len(asked), NONE)
    matched = heard.stroke != NONE
    place_of[heard.stroke[matched]] = np.flatnonzero(matched)
    notes: list[tuple[float, HeardNote]] = []
    sounding_on: list[int] = []
    for stroke in range(len(asked)):
        place = int(place_of[stroke])
        if place == NONE:
            note = _unheard(asked, index, evidence, stroke, float(expected_s[stroke]), PLAYED_PRIOR)
            if _sounds_all_the_same(asked, evidence, stroke, expected_s, usual_db):
                note = replace(note, verdict=Verdict.UNSURE, probability=0.5)
            elif _sounds_on(asked, evidence, stroke, expected_s, usual_db):
                sounding_on.append(len(notes))
            notes.append((float(expected_s[stroke]), note))
        else:
            expected = float(expected_s[stroke])
            note = _played(asked, index, evidence, heard, stroke, place, expected, usual_db, lowest)
            attack = int(heard.attack[place])
            over_ms = abs(note.timing_ms or 0.0) - window_ms
            is_vague = evidence.vague[attack] and over_ms < VAGUE_MS
            if over_ms > 0 and (is_vague or evidence.odds[attack] < SURE_TIMED_ODDS):
                note = replace(note, verdict=Verdict.UNSURE)
            notes.append((float(evidence.onset_s[heard.attack[place]]), note))
    if len(sounding_on) > MOST_SOUNDING_ON:
        for place in sounding_on:
            at_s, note = notes[place]
            notes[place] = at_s, replace(note, verdict=Verdict.UNSURE, probability=0.5)
    extras = [
        _extra(evidence, heard, int(place), usual_db, usual_score, lowest)
        for place in _inside_pass(evidence, heard, matched, end_s)
    ]
    notes.extend(_one_by_one([extra for extra in extras if extra is not None]))
    return tuple(note for _, note in sorted(notes, key=lambda pair: pair[0]))


def _one_by_one(extras: list[HeardNote]) -> list[tuple[float, HeardNote]]:
    """Extra notes and their onsets; of two too close for two notes the likelier."""
    kept: list[tuple[float, HeardNote]] = []
    for extra in sorted(extras, key=lambda note: -note.probability):
        at_s = extra.onset_s or 0.0
        if all(abs(at_s - other_s) > EXTRA_APART_S for other_s, _ in kept):
            kept.append((at_s, extra))
    return kept


def _inside_pass(
    evidence: Evidence, heard: Sounding, matched: NDArray[np.bool_], end_s: float
) -> Places:
    """Notes nobody asked for, from the first matched note to the end of the pass."""
    if not matched.any():
        return np.zeros(0, np.intp)
    onset_s = evidence.onset_s[heard.attack]
    first_s, last_s = onset_s[matched].min(), onset_s[matched].max()
    until_s = max(min(end_s, last_s + LONGEST_TAIL_S), last_s)
    return np.flatnonzero(~matched & (onset_s > first_s) & (onset_s < until_s))


def _sounds_all_the_same(
    asked: Asked, evidence: Evidence, stroke: int, expected_s: Floats, usual_db: float
) -> bool:
    """True where no stroke was heard and yet its pitch sounds, which the note before cannot be."""
    column = int(asked.midi[stroke]) - LOWEST_MIDI
    if not 0 <= column < len(MIDIS) or (stroke and asked.midi[stroke - 1] == asked.midi[stroke]):
        return False
    at_s = expected_s[stroke : stroke + 1]
    next_s = float(np.append(expected_s, evidence.length_s)[stroke + 1])
    until_s = np.minimum(at_s + LONGEST_STRETCH_S, next_s)
    sound = stretches(evidence.string, at_s, until_s)
    is_there = int(sound.scores(evidence.tuning_cents)[0].argmax()) == column
    return is_there and float(sound.level_db[0]) > usual_db + FAINT_DB


def _sounds_on(
    asked: Asked, evidence: Evidence, stroke: int, expected_s: Floats, usual_db: float
) -> bool:
    """True where the pitch just played is asked again, nothing begins, and it sounds no softer."""
    if not stroke or asked.midi[stroke - 1] != asked.midi[stroke]:
        return False
    begin_s = expected_s[stroke - 1 : stroke + 1]
    until_s = np.append(begin_s[1], np.append(expected_s, evidence.length_s)[stroke + 1])
    sound = stretches(evidence.string, begin_s, np.minimum(until_s, begin_s + LONGEST_STRETCH_S))
    before_db, level_db = sound.level_db
    return bool(level_db > max(before_db - STILL_DB, usual_db + FAINT_DB))


def _unheard(
    asked: Asked, index: Places, evidence: Evidence, stroke: int, expected_s: float, odds: float
) -> HeardNote:
    """A stroke that was missed, unless a hole in the recording may have swallowed it."""
    first_s, last_s = evidence.gaps_s.T
    is_hidden = bool(np.any((first_s < expected_s + HIDDEN_S) & (last_s > expected_s - HIDDEN_S)))
    if is_hidden:
        return not_heard(asked, index, stroke, Verdict.UNSURE, 0.5)
    return not_heard(asked, index, stroke, Verdict.MISSED, probability(odds))


def not_heard(
    asked: Asked, index: Places, stroke: int, verdict: Verdict, probability: float
) -> HeardNote:
    """A stroke of which there is nothing but what was asked."""
    midi = int(asked.midi[stroke])
    return HeardNote(
        index=int(index[stroke]),
        asked_midi=midi if midi != NONE else None,
        heard_midi=None,
        onset_s=None,
        timing_ms=None,
        cents=None,
        verdict=verdict,
        probability=probability,
    )


def _played(
    asked: Asked,
    index: Places,
    evidence: Evidence,
    heard: Sounding,
    stroke: int,
    place: int,
    expected_s: float,
    usual_db: float,
    lowest: int,
) -> HeardNote:
    midi = int(asked.midi[stroke])
    present = _presence_odds(evidence, heard, place) + PLAYED_PRIOR
    if midi != NONE:
        present -= FAINT_WORTH * max(0.0, usual_db + FAINT_DB - float(heard.level_db[place]))
    if present < -SURE_MISSED_ODDS:
        return _unheard(asked, index, evidence, stroke, expected_s, -present)
    onset_s = _unhidden(evidence, int(heard.attack[place]), expected_s)
    timing_ms = 1000 * (onset_s - expected_s)
    pitch = _pitch_odds(heard, place, midi, lowest)
    best = int(heard.midi[place])
    if pitch < -SURE_ODDS and _is_drum(best, lowest) and (midi - best) % OCTAVE:
        return _unheard(asked, index, evidence, stroke, expected_s, -pitch)
    cents = float(heard.cents[place]) - evidence.tuning_cents
    if present < SURE_ODDS or abs(pitch) < SURE_ODDS:
        verdict, odds = Verdict.UNSURE, min(abs(present), abs(pitch))
    elif pitch > 0:
        verdict, odds, best = Verdict.RIGHT, min(pitch, present), midi if midi != NONE else best
    else:
        verdict, odds = Verdict.WRONG, min(-pitch, present)
    return HeardNote(
        int(index[stroke]),
        midi if midi != NONE else None,
        best if midi != NONE else None,
        onset_s,
        timing_ms,
        cents,
        verdict,
        probability(odds),
    )


def _unhidden(evidence: Evidence, attack: int, expected_s: float) -> float:
    """Where a note began; if a hole may have swallowed its beginning, as near as it may have been.

    Nobody is called late for what the recording left out.
    """
    onset_s = float(evidence.onset_s[attack])
    if evidence.odds[attack] > CLEAR_ODDS:
        return onset_s
    for first_s, last_s in evidence.gaps_s:
        if first_s < onset_s < last_s + HIDDEN_S:
            return float(np.clip(expected_s, first_s, onset_s))
    return onset_s


def _presence_odds(evidence: Evidence, heard: Sounding, place: int) -> float:
    """Odds that a stroke was played where an attack was matched to it.

    Either the attack itself says so, or the pitch has changed.
    """
    odds = float(evidence.odds[heard.attack[place]])
    if place > 0:
        old, new = int(heard.scores[place - 1].argmax()), int(heard.scores[place].argmax())
        if old != new:
            change = float(heard.scores[place, new] - heard.scores[place, old])
            odds = max(odds, CHANGE_WORTH * change - CHANGE_PRIOR)
    return odds


def _pitch_odds(heard: Sounding, place: int, midi: int, lowest: int) -> float:
    """Odds that the pitch is the asked one; sure where none is asked.

    What is read below low B and all that is asked is mostly the difference of two sounds.
    """
    column = midi - LOWEST_MIDI
    if not 0 <= column < len(MIDIS):
        return PITCH_PRIOR
    scores = heard.scores[place]
    far = np.abs(np.arange(len(MIDIS)) - column) > FAR_OFF
    below = min(lowest, LOW_B_MIDI) > MIDIS
    others = np.delete(scores - FAR_WORTH * far - BELOW_WORTH * below, column).max()
    return PITCH_PRIOR + PITCH_WORTH * float(scores[column] - others)


def _is_drum(midi: int, lowest: int) -> bool:
    """True for what no string of this bass can sound."""
    return midi < lowest - MOST_SLACKENED


def _extra(
    evidence: Evidence,
    heard: Sounding,
    place: int,
    usual_db: float,
    usual_score: float,
    lowest: int,
) -> HeardNote | None:
    attack = heard.attack[place : place + 1]
    odds = float(evidence.odds[attack[0]]) + EXTRA_PRIOR
    if in_gap(evidence.onset_s[attack], evidence.gaps_s, *BESIDE_HOLE_S).any():
        odds -= BESIDE_HOLE_WORTH
    if place and heard.midi[place] in (heard.midi[place - 1], heard.asked_midi[place - 1]):
        odds -= GOING_ON_WORTH * float(heard.going_on[place])
    odds -= BODY_WORTH * max(0.0, usual_score - LEAST_BODY - float(heard.scores[place].max()))
    odds -= FAINT_WORTH * max(0.0, usual_db + FAINT_EXTRA_DB - float(heard.level_db[place]))
    if heard.midi[place] < lowest:
        odds -= TOO_LOW_WORTH
    is_faint = heard.level_db[place] < usual_db + QUIETEST_EXTRA_DB
    if odds < 0 or is_faint or _is_drum(int(heard.midi[place]), lowest):
        return None
    return HeardNote(
        None,
        None,
        int(heard.midi[place]),
        float(evidence.onset_s[heard.attack[place]]),
        None,
        float(heard.cents[place]) - evidence.tuning_cents,
        Verdict.EXTRA if odds > SURE_EXTRA_ODDS else Verdict.UNSURE,
        probability(odds),
    )
