"""While somebody plays: what the live ear says of a stream, as a page shows it.

The verdict on a pass stays with the ear that hears all of it. What is said here is a help in the
moment: if the computer cannot keep up it is left away, and the recording goes on.

Messages are dicts with `kind`: `note` (index, verdict, heard, stroke, is_outside, words, onset_s
on the click's clock), `place` (index, played), `tuner` (name, cents, level_db, peak_db, advice),
`off` (words).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from undersong.ear import Verdict
from undersong.ear.live import LiveEar, NoteJudged, NowAt, TunerReading
from undersong.theory.pitch import musical_signs, plain_pitch
from undersong.web.incoming import Samples
from undersong.web.judged import mark_of, short_words

if TYPE_CHECKING:
    from undersong.ear.live import Event
    from undersong.theory.part import Part

MOST_BEHIND_S = 0.8  # further behind, and what is said comes too late to help
LEAST_GAP_S = 0.008
TOO_LOUD_DB, TOO_QUIET_DB, ROOM_DB = -1.0, -40.0, -42.0
SETTLED_S = 2.0
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
    """

    def __init__(
        self,
        sample_rate_hz: int,
        part: Part | None,
        tolerance_ms: float,
        start_time: float | None,
        *,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._rate, self._part, self._tolerance_ms = sample_rate_hz, part, tolerance_ms
        self._start_time, self._now = start_time, now
        self._ear: LiveEar | None = None
        self._levels = LevelWatch(in_a_pass=part is not None)
        self._zero_s = self._fed_s = self._began_s = 0.0
        self._is_off = False

    def hear(self, samples: Samples, time_s: float) -> list[Message]:
        """The next block, whose first sample was captured at a time of the click's clock."""
        if self._is_off or not len(samples):
            return []
        if self._ear is None:
            self._ear = self._begun(time_s)
        gap = round((time_s - self._zero_s - self._fed_s) * self._rate)
        if gap > LEAST_GAP_S * self._rate:
            samples = _after_silence(samples, min(gap, self._rate))
        self._fed_s += len(samples) / self._rate
        said = [self._message(event) for event in self._ear.feed(samples)]
        behind_s = self._now() - self._began_s - self._fed_s
        if abs(behind_s) > MOST_BEHIND_S:  # or far ahead: a take that is sent once more
            self._is_off = True
            return [{"kind": "off", "words": CANNOT_KEEP_UP}]
        return [each for each in said if each is not None]

    def _begun(self, time_s: float) -> LiveEar:
        self._zero_s, self._began_s = time_s, self._now()
        start_s = None if self._start_time is None else self._start_time - time_s
        return LiveEar(self._rate, self._part, start_s=start_s)

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
        if note.index is None:
            return None  # an extra note is told after the pass, where it can be looked at
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
