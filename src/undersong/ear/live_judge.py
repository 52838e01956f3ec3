"""What to say of each note, and when: early where it is clear, later where it is not.

A verdict is said once its odds are clear, and corrected if what is heard later is clear the other
way. Odds are those of `verdict`; how much a difference of scores is worth depends on how long the
note has sounded and how low it is (`PITCH_WORTH`, fitted by design/ear_live.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked
from undersong.ear.hearing import HeardNote, Verdict
from undersong.ear.live_events import NoteJudged
from undersong.ear.live_evidence import LiveEvidence, Struck
from undersong.ear.live_follow import Follower
from undersong.ear.pitch import HIGHEST_MIDI, LOWEST_MIDI
from undersong.ear.verdict import probability

Floats = NDArray[np.float64]

REGISTERS = (28, 36)
"""Asked pitches below E1, below C2, and the rest."""
PITCH_PRIOR = np.array(
    [
        [3.9, 5.1, 2.7],
        [4.7, 4.0, 3.6],
        [4.4, 4.4, 4.2],
        [4.0, 5.1, 3.8],
        [4.0, 4.1, 4.6],
        [3.5, 4.6, 2.4],
        [1.2, 6.2, 2.6],
    ]
)
PITCH_WORTH = np.array(
    [
        [31.9, 54.8, 25.6],
        [26.8, 46.2, 30.3],
        [39.1, 25.8, 21.2],
        [26.4, 24.6, 19.2],
        [22.3, 22.8, 23.7],
        [18.1, 18.8, 21.0],
        [12.6, 19.9, 17.3],
    ]
)
"""Rows: how many of `STAGES_S` the note has lasted. Columns: `REGISTERS`."""
EARLY_RIGHT, EARLY_WRONG = 3.0, -2.5
"""Odds on the pitch at which a verdict is said while the note may still tell more."""
LOW_STAGE = 2
"""Below E1 nothing is said of the pitch before so many of `STAGES_S`."""
PLAYED_PRIOR = 2.5
SURE_ODDS = 1.0
EARLY_S, SETTLED_S = 0.06, 0.16
MISSED_S = 0.27
"""A note is called missed when it is late by so much."""
PATIENCE_S = 0.42
REDATED_S = 0.005
"""A note dated again by as much is told again."""
EXTRA_PRIOR, EXTRA_SURE = -0.5, 0.5
EXTRA_APART_S, EXTRA_AFTER_S, TAIL_S = 0.05, 0.25, 2.0
GOING_ON, GOING_ON_WORTH = 0.8, 8.0
BODY_WORTH, LEAST_BODY, USUAL = 15.0, 0.7, 24
QUIETEST_EXTRA_DB = -20.0


@dataclass(slots=True)
class _Usual:
    """Level and score of the notes of this pass so far, the newest `USUAL` of them."""

    level_db: list[float]
    score: list[float]

    def add(self, struck: Struck) -> None:
        self.level_db = [*self.level_db, struck.level_db][-USUAL:]
        self.score = [*self.score, float(struck.scores.max())][-USUAL:]


class Judge:
    """Verdicts on one pass.

    Parameters
    ----------
    asked, index
        The strokes and the written note each begins with (`hear.asked_strokes`).
    end_s
        Asked seconds from the start of the part to its written end.
    """

    def __init__(
        self, asked: Asked, index: NDArray[np.intp], end_s: float, follower: Follower
    ) -> None:
        self._asked, self._index, self._follower = asked, index, follower
        self._end_s = end_s
        self._said: dict[int, HeardNote] = {}
        self._extras: list[tuple[Struck, HeardNote]] = []
        self._usual = _Usual([], [])
        self._n_said = 0

    @property
    def is_done(self) -> bool:
        """True once every stroke was spoken of and closed."""
        return self._n_said == len(self._asked) and self._follower.first_open == len(self._asked)

    def step(
        self, evidence: LiveEvidence, news: list[Struck], now_s: float, *, is_last: bool = False
    ) -> list[NoteJudged]:
        """What is to be said now.

        Parameters
        ----------
        news
            Places about which something new is known.
        is_last
            The stream has ended: what is still open is decided.
        """
        events: list[NoteJudged] = []
        for stroke, struck in sorted(self._follower.matched.items()):
            is_new = any(struck is each for each in news)
            if is_last or is_new or self._is_open(stroke):
                note = self._played(evidence, stroke, struck, now_s, is_last=is_last)
                self._say(events, stroke, note, now_s)
        self._say_missed(events, now_s, is_last=is_last)
        self._say_extras(events, evidence, now_s, is_last=is_last)
        return events

    def _is_open(self, stroke: int) -> bool:
        """True where nothing was said of a stroke, or only that it was missed."""
        said = self._said.get(stroke)
        return said is None or said.verdict is Verdict.MISSED

    def _say(
        self, events: list[NoteJudged], stroke: int, note: HeardNote | None, now_s: float
    ) -> None:
        before = self._said.get(stroke)
        if note is None or (before is not None and _is_same(before, note)):
            return
        if before is not None and note.verdict is Verdict.UNSURE:
            # What was clear once is not taken back by what is not clear.
            return
        if before is None:
            self._n_said += 1
        self._said[stroke] = note
        events.append(NoteJudged(note, now_s, before is not None))

    def _played(
        self,
        evidence: LiveEvidence,
        stroke: int,
        struck: Struck,
        now_s: float,
        *,
        is_last: bool,
    ) -> HeardNote | None:
        """The verdict on a matched stroke; None while it is better to listen on."""
        midi = int(self._asked.midi[stroke])
        present = struck.belief + PLAYED_PRIOR
        pitch, best = pitch_odds_of(struck, midi)
        must = is_last or struck.is_over or now_s - struck.onset_s > PATIENCE_S
        if not must and (abs(present) < SURE_ODDS or not _is_early_clear(struck, midi, pitch)):
            return None
        if pitch < 0 and not is_last and self._may_be_another(stroke, struck, now_s):
            return None
        sure = min(abs(present), abs(pitch)) >= SURE_ODDS
        if present < -SURE_ODDS:
            return self._unheard(stroke, -present) if must else None
        if must and pitch > SURE_ODDS:
            self._usual.add(struck)
        if not sure:
            verdict, odds = Verdict.UNSURE, min(abs(present), abs(pitch))
        elif pitch > 0:
            verdict, odds, best = Verdict.RIGHT, min(pitch, present), midi if midi != NONE else best
        else:
            verdict, odds = Verdict.WRONG, min(-pitch, present)
        return HeardNote(
            int(self._index[stroke]),
            midi if midi != NONE else None,
            best if midi != NONE else None,
            struck.onset_s,
            self._follower.lateness_ms(stroke, struck.onset_s),
            struck.cents - evidence.tuning_cents,
            verdict,
            probability(odds),
        )

    def _may_be_another(self, stroke: int, struck: Struck, now_s: float) -> bool:
        """True where a wrong note came so early that the right one may be yet to come."""
        expected_s = self._follower.expected_s(stroke)
        return struck.onset_s < expected_s - EARLY_S and now_s < expected_s + SETTLED_S

    def _unheard(self, stroke: int, odds: float) -> HeardNote:
        midi = int(self._asked.midi[stroke])
        return HeardNote(
            index=int(self._index[stroke]),
            asked_midi=midi if midi != NONE else None,
            heard_midi=None,
            onset_s=None,
            timing_ms=None,
            cents=None,
            verdict=Verdict.MISSED,
            probability=probability(odds),
        )

    def _say_missed(self, events: list[NoteJudged], now_s: float, *, is_last: bool) -> None:
        follower = self._follower
        stroke = follower.first_open
        while stroke < len(self._asked):
            if not is_last and follower.expected_s(stroke) > now_s - MISSED_S:
                return
            if stroke not in follower.matched:
                self._say(events, stroke, self._unheard(stroke, PLAYED_PRIOR), now_s)
            stroke += 1

    def _say_extras(
        self, events: list[NoteJudged], evidence: LiveEvidence, now_s: float, *, is_last: bool
    ) -> None:
        """Notes nobody asked for, once the strokes about them are decided."""
        taken = [float(at) for at in self._follower.heard_s[np.isfinite(self._follower.heard_s)]]
        self._take_back(events, taken, now_s)
        for struck in evidence.struck:
            if struck.is_judged:
                continue
            is_settled = is_last or (
                now_s - struck.onset_s > EXTRA_AFTER_S and (struck.is_over or struck.stage >= 3)
            )
            if not is_settled or not self._is_inside(struck, taken) or self._is_known(struck):
                continue
            struck.is_judged = True
            note = self._extra(evidence, struck)
            if note is not None:
                self._extras = [*self._extras, (struck, note)][-USUAL:]
                events.append(NoteJudged(note, now_s, revises=False))

    def _take_back(self, events: list[NoteJudged], taken: list[float], now_s: float) -> None:
        """An extra note that turned out to be an asked one was none."""
        kept = []
        for struck, note in self._extras:
            if any(abs(struck.onset_s - at) <= EXTRA_APART_S for at in taken):
                unsure = replace(note, verdict=Verdict.UNSURE, probability=0.5)
                events.append(NoteJudged(unsure, now_s, revises=True))
            else:
                kept.append((struck, note))
        self._extras = kept

    def _is_known(self, struck: Struck) -> bool:
        return any(abs(struck.onset_s - each.onset_s) < EXTRA_APART_S for each, _ in self._extras)

    def _is_inside(self, struck: Struck, taken: list[float]) -> bool:
        """After the first matched note, before the end, and apart from every matched one."""
        line = self._follower.line
        if not taken or line is None:
            return False
        end_s = line.start_s + line.ratio * self._end_s
        if not min(taken) < struck.onset_s < max(min(end_s, max(taken) + TAIL_S), max(taken)):
            return False
        return all(abs(struck.onset_s - at) > EXTRA_APART_S for at in taken)

    def _extra(self, evidence: LiveEvidence, struck: Struck) -> HeardNote | None:
        odds = struck.belief + EXTRA_PRIOR
        usual = self._usual
        if odds < EXTRA_SURE or not usual.level_db:
            return None
        if struck.level_db < float(np.median(usual.level_db)) + QUIETEST_EXTRA_DB:
            return None
        before = evidence.before(struck)
        if before is not None and before.midi == struck.midi:
            share = evidence.goes_on(struck)
            odds -= GOING_ON_WORTH * float(np.clip((share - GOING_ON) / (1 - GOING_ON), 0, 1))
        least = float(np.percentile(usual.score, 10)) - LEAST_BODY
        odds -= BODY_WORTH * max(0.0, least - float(struck.scores.max()))
        if odds < EXTRA_SURE:
            return None
        return HeardNote(
            None,
            None,
            struck.midi,
            struck.onset_s,
            None,
            struck.cents - evidence.tuning_cents,
            Verdict.EXTRA,
            probability(odds),
        )


def _is_same(before: HeardNote, note: HeardNote) -> bool:
    """True where a note is called what it was called, and when: a place may be dated again."""
    if before.verdict is not note.verdict or before.onset_s is None or note.onset_s is None:
        return before.verdict is note.verdict
    return abs(before.onset_s - note.onset_s) < REDATED_S


def pitch_odds_of(struck: Struck, midi: int) -> tuple[float, int]:
    """Odds that the pitch sounding is the asked one, and the likeliest pitch."""
    register = int(np.searchsorted(REGISTERS, midi, side="right"))
    prior, worth = PITCH_PRIOR[struck.stage, register], PITCH_WORTH[struck.stage, register]
    if not LOWEST_MIDI <= midi <= HIGHEST_MIDI:
        return float(prior), struck.midi
    margin, best = margin_of(struck.scores, midi)
    return float(prior + worth * margin), best


def _is_early_clear(struck: Struck, midi: int, odds: float) -> bool:
    """True where the pitch is so clear that nothing is gained by listening on."""
    if NONE < midi < REGISTERS[0] and struck.stage < LOW_STAGE:
        return False
    return odds > EARLY_RIGHT or odds < EARLY_WRONG or midi == NONE


def margin_of(scores: Floats, midi: int) -> tuple[float, int]:
    """By how much a pitch scores better than the best other, and the best of all."""
    column = midi - LOWEST_MIDI
    others = np.delete(scores, column)
    return float(scores[column] - others.max()), LOWEST_MIDI + int(scores.argmax())
