"""While somebody plays: what the live ear says of a stream, as a page shows it.

The verdict on a pass stays with the ear that hears all of it. What is said here is a help in the
moment: where the computer falls behind some of it is skipped, where it cannot keep up it is left
away, and the recording goes on.

Messages are dicts with `kind`: `note` (index, verdict, heard, stroke, is_outside, words, onset_s
on the click's clock), `place` (index, played), `tuner` (name, cents, level_db, peak_db, advice),
`off` (words).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import inf
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from undersong.ear import HeardNote, Verdict
from undersong.ear.live import LiveEar, NoteJudged, NowAt, TunerReading
from undersong.theory.pitch import musical_signs, plain_pitch
from undersong.web.incoming import Samples
from undersong.web.judged import mark_of, short_words

if TYPE_CHECKING:
    from undersong.ear.live import Event
    from undersong.theory.part import Part

MOST_BEHIND_S = 0.8  # further behind, and what is said comes too late to help
MOST_SKIPS = 3  # a computer that falls behind more often than that cannot keep up
LEAST_GAP_S = 0.008
TOO_LOUD_DB, TOO_QUIET_DB, ROOM_DB = -1.0, -40.0, -42.0
SETTLED_S = 2.0
PULSE_FROM, SETTLED_AFTER = 3, 4
AFTER_SKIP_S = 0.1
TOO_LOUD = "Too loud: turn the input down until the loudest note stays off the end of the scale."
TOO_QUIET = "Too quiet: turn up or move closer, until a note reaches a quarter of the scale."
LOUD_ROOM = "The room is loud while you rest: move closer, use a cable, or wait for quiet."
CANNOT_KEEP_UP = "The computer cannot keep up with hearing along: the verdict comes after the pass."
Message = dict[str, object]


class LevelWatch:
    """Whether the input is too loud, too quiet, or the room is; one sentence, or none.

    Levels are those of tuner readings. A note is anything steady enough to have a pitch; what is
    quieter than a note and goes on without one for `SETTLED_S` is the room; in a pass it is not
    asked after, for there quick notes give no steady pitch either.
    """

    def __init__(self, *, in_a_pass: bool = False) -> None:
        self._in_a_pass = in_a_pass
        self._loudest_db: float | None = None
        self._unpitched_since_s: float | None = None
        self._too_loud_until_s = 0.0

    def advice(self, reading: TunerReading) -> str:
        """What to do after this reading; empty where all is well."""
        if reading.peak_db >= TOO_LOUD_DB:
            self._too_loud_until_s = reading.said_s + SETTLED_S
        if reading.said_s < self._too_loud_until_s:
            return TOO_LOUD
        if reading.midi is not None:
            self._unpitched_since_s = None
            before = self._loudest_db
            self._loudest_db = max(reading.level_db, -120.0 if before is None else before - 0.3)
        elif self._unpitched_since_s is None:
            self._unpitched_since_s = reading.said_s
        elif self._is_room(reading.said_s - self._unpitched_since_s, reading.level_db):
            return LOUD_ROOM
        if self._loudest_db is not None and self._loudest_db < TOO_QUIET_DB:
            return TOO_QUIET
        return ""

    def _is_room(self, unpitched_s: float, level_db: float) -> bool:
        return not self._in_a_pass and unpitched_s > SETTLED_S and level_db > ROOM_DB


class OwnPulse:
    """Lateness against the player's own pulse, where the round trip is only guessed.

    A guess that is off makes every note late by as much: the median of the notes so far is taken
    out, and with fewer than `PULSE_FROM` nothing is said of time.
    """

    def __init__(self) -> None:
        self._late_ms: dict[int, float] = {}
        self._is_right: dict[int, bool] = {}

    @property
    def is_settled(self) -> bool:
        """Whether enough was told to know if the guess is any good."""
        return len(self._is_right) >= SETTLED_AFTER

    @property
    def is_lost(self) -> bool:
        """Whether the player is somewhere else than where the click is."""
        return 2 * sum(self._is_right.values()) <= len(self._is_right)

    def against(self, note: HeardNote) -> HeardNote:
        """The same note with its lateness against the pulse so far."""
        if note.index is None:
            return note
        self._is_right[note.index] = note.verdict is Verdict.RIGHT
        if note.timing_ms is None:
            return note
        self._late_ms[note.index] = note.timing_ms
        if len(self._late_ms) < PULSE_FROM:
            return replace(note, timing_ms=None)
        return replace(note, timing_ms=note.timing_ms - median(self._late_ms.values()))


class Alongside:
    """One stream, heard along as it comes in.

    Parameters
    ----------
    part
        At the tempo of the pass; None to tune only.
    tolerance_ms
        Inside it a note is in time.
    start_time
        Where beat 0 falls on the click's clock; None where the round trip is not known.
    about_time
        Where it falls if the round trip is what the browser believes. Notes are found by it from
        the first on (off by up to 0.15 s); lateness is told against the player's own pulse.
    """

    def __init__(
        self,
        sample_rate_hz: int,
        part: Part | None,
        tolerance_ms: float,
        start_time: float | None,
        about_time: float | None = None,
        *,
        has_tuner: bool = True,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._rate, self._part, self._tolerance_ms = sample_rate_hz, part, tolerance_ms
        self._start_time = about_time if start_time is None else start_time
        self._own_pulse = OwnPulse() if start_time is None and about_time is not None else None
        self._early: list[Samples] | None = None if self._own_pulse is None else []
        self._now, self._has_tuner = now, has_tuner
        self._ear: LiveEar | None = None
        self._levels = LevelWatch(in_a_pass=part is not None)
        self._zero_s = self._fed_s = self._began_s = 0.0
        self._skips, self._skipped_s, self._is_off = 0, -inf, False

    def hear(self, samples: Samples, time_s: float) -> list[Message]:
        """The next block, whose first sample was captured at a time of the click's clock."""
        return self.hear_all([(samples, time_s)])

    def hear_all(self, blocks: Sequence[tuple[Samples, float]]) -> list[Message]:
        """Several blocks that have come in, in their order."""
        if self._is_off:
            return []
        said = [message for samples, time_s in blocks for message in self._heard(samples, time_s)]
        behind_s = self._now() - self._began_s - self._fed_s
        if self._ear is None or abs(behind_s) <= MOST_BEHIND_S:
            return said
        self._skips += 1
        if behind_s < 0 or self._skips > MOST_SKIPS or self._start_time is None:
            self._is_off = True  # too slow, or a take that is sent once more
            return [{"kind": "off", "words": CANNOT_KEEP_UP}]
        # A new ear takes over where the sound is now; what fell between is not spoken of.
        self._ear, self._early = None, None
        self._skipped_s = self._zero_s + self._fed_s + behind_s
        return said

    def _heard(self, samples: Samples, time_s: float) -> list[Message]:
        if not len(samples) or time_s < self._skipped_s:
            return []
        if self._ear is None:
            self._ear = self._begun(time_s)
        gap = round((time_s - self._zero_s - self._fed_s) * self._rate)
        if gap > LEAST_GAP_S * self._rate:
            samples = _after_silence(samples, min(gap, self._rate))
        elif gap < -LEAST_GAP_S * self._rate:
            samples = samples[-gap:]  # the click stood still meanwhile
            if not len(samples):
                return []
        self._fed_s += len(samples) / self._rate
        if self._early is not None:
            self._early.append(samples)
        said = [self._message(event) for event in self._ear.feed(samples)]
        if self._own_pulse is not None and self._own_pulse.is_settled:
            said += self._settled(self._own_pulse)
        return [each for each in said if each is not None]

    def _settled(self, pulse: OwnPulse) -> list[Message | None]:
        """Go on by the guess, or, where the player is elsewhere, hear it all again without one."""
        early, self._early = self._early, None
        if not pulse.is_lost or early is None:
            return []
        self._own_pulse = self._start_time = None
        self._ear = LiveEar(self._rate, self._part, tuner=False)
        return [self._message(event) for each in early for event in self._ear.feed(each)]

    def _begun(self, time_s: float) -> LiveEar:
        self._zero_s, self._fed_s, self._began_s = time_s, 0.0, self._now()
        start_s = None if self._start_time is None else self._start_time - time_s
        # The tuner is a quarter of the work: it is the first to be left away.
        tuner = self._has_tuner and not self._skips
        return LiveEar(self._rate, self._part, start_s=start_s, tuner=tuner)

    def _message(self, event: Event) -> Message | None:
        if isinstance(event, TunerReading):
            return self._tuner(event)
        if isinstance(event, NowAt):
            return {"kind": "place", "index": event.index, "played": event.played}
        if isinstance(event, NoteJudged) and self._part is not None:
            return self._note(event, self._part)
        return None

    def _note(self, event: NoteJudged, part: Part) -> Message | None:
        note = event.note
        if note.index is None or self._is_skipped(note.index, part):
            return None  # an extra note is told after the pass, where it can be looked at
        if self._own_pulse is not None:
            note = self._own_pulse.against(note)
        mark = mark_of(note, part, self._tolerance_ms)
        onset_s = None if note.onset_s is None else round(self._zero_s + note.onset_s, 4)
        is_telling = note.verdict is not Verdict.UNSURE
        return {
            "kind": "note",
            "index": note.index,
            "verdict": mark.verdict,
            "heard": mark.heard,
            "stroke": mark.stroke,
            "is_outside": mark.is_outside,
            "words": short_words(note, part, self._tolerance_ms) if is_telling else "",
            "onset_s": onset_s,
        }

    def _is_skipped(self, index: int, part: Part) -> bool:
        """Whether a note was due in what was skipped."""
        if self._start_time is None:
            return False
        due_s = self._start_time + part.tempo_map.seconds_at(part.notes[index].at)
        return due_s < self._skipped_s + AFTER_SKIP_S

    def _tuner(self, reading: TunerReading) -> Message:
        name = "" if reading.midi is None else musical_signs(str(plain_pitch(reading.midi)))
        return {
            "kind": "tuner",
            "name": name,
            "cents": None if reading.cents is None else round(reading.cents, 1),
            "level_db": round(reading.level_db, 1),
            "peak_db": round(reading.peak_db, 1),
            "advice": self._levels.advice(reading),
        }


def _after_silence(samples: Samples, frames: int) -> Samples:
    return np.concatenate([np.zeros(frames, np.float32), samples])
