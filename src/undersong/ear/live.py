"""The ear while somebody plays: blocks of a stream in, events out.

The evidence is that of the offline ear, cut off by the present (`live_evidence`); the part is
followed by the same alignment over the last second (`live_follow`). A note is judged from 0.1 s
after its onset, when a low B has sounded three periods, on a clear margin only; otherwise the ear
listens on (`live_judge`). What is learnt later may correct what was said. docs/live.md has the
events and what was measured.
"""

from __future__ import annotations

from math import isfinite

import numpy as np
from numpy.typing import NDArray

from undersong.ear.frames import checked
from undersong.ear.hear import asked_strokes
from undersong.ear.live_events import (
    Event,
    NoteJudged,
    NowAt,
    PassOver,
    PlayerTempo,
    event_json,
)
from undersong.ear.live_evidence import LiveEvidence, Struck
from undersong.ear.live_follow import Follower
from undersong.ear.live_judge import Judge
from undersong.ear.live_stream import Stream
from undersong.ear.tuner import Tuner, TunerReading
from undersong.errors import PracticeError
from undersong.theory.part import Part

__all__ = [
    "Event",
    "LiveEar",
    "NoteJudged",
    "NowAt",
    "PassOver",
    "PlayerTempo",
    "TunerReading",
    "event_json",
]

LEAD_S = 0.1
"""How loud the playing is, is told from so long before the start."""
NEAR_S, PASSED_S = 0.2, 0.12
"""An attack so near to a note is that note, for the place; a note so long due has passed."""
LEAST_FOR_TEMPO = 4


class LiveEar:
    """Listens to one player.

    Parameters
    ----------
    sample_rate_hz
        Of the blocks.
    part
        What is to be played; None to tune only.
    tempo_bpm
        What tempo is asked, in the meter's own beat; None for the part's own.
    start_s
        Where beat 0 of the part falls, in seconds of the stream; None to find it.
    tuner
        False to leave tuner readings out.

    Raises
    ------
    AudioError
        If the rate is out of range.
    PracticeError
        If the start is no time, or the part has no notes.
    TheoryError
        If the tempo cannot be played.
    """

    def __init__(
        self,
        sample_rate_hz: int,
        part: Part | None = None,
        *,
        tempo_bpm: float | None = None,
        start_s: float | None = None,
        tuner: bool = True,
    ) -> None:
        self._stream = Stream(sample_rate_hz)
        self._evidence = LiveEvidence(self._stream)
        self._tuner = Tuner(self._stream) if tuner or part is None else None
        self._part, self._tempo_bpm = part, tempo_bpm
        self._pass: _Pass | None = None
        self.begin(start_s)

    @property
    def heard_s(self) -> float:
        """Seconds of the stream that were listened to."""
        return self._stream.now_s

    def begin(
        self,
        start_s: float | None,
        *,
        part: Part | None = None,
        tempo_bpm: float | None = None,
    ) -> None:
        """Expect another pass; what is left out stays as it was.

        Parameters
        ----------
        start_s
            As for the class.
        """
        if start_s is not None and not isfinite(start_s):
            raise PracticeError(f"A start at {start_s} seconds is no place in a stream.")
        if part is not None:
            self._part, self._tempo_bpm = part, None
        if tempo_bpm is not None:
            self._tempo_bpm = tempo_bpm
        if self._part is None:
            return
        tempo = self._tempo_bpm
        asked = self._part if tempo is None else self._part.at_tempo(tempo)
        now_s = self._stream.now_s
        self._evidence.since_s = now_s if start_s is None else start_s - LEAD_S
        self._pass = _Pass(asked, start_s, now_s)

    def feed(self, block: NDArray[np.floating]) -> list[Event]:
        """Hear the next block.

        Parameters
        ----------
        block
            Shape (n,), floating point, full scale 1.0, any n; follows the last one without a gap.

        Raises
        ------
        AudioError
            If it is not one row of floating-point samples.
        """
        samples, _ = checked(block)
        if self._tuner is not None:
            self._tuner.meter(samples)
        return self._go_on(self._stream.feed(samples), is_last=False)

    def finish(self) -> list[Event]:
        """The stream has ended: what is still open is decided."""
        return self._go_on(self._stream.finish(), is_last=True)

    def _go_on(self, hops: int, *, is_last: bool) -> list[Event]:
        events: list[Event] = []
        for hop in range(hops):
            self._stream.step()
            if self._pass is not None:
                last = is_last and hop == hops - 1
                events += self._pass.step(self._evidence, self._stream.now_s, is_last=last)
            reading = None if self._tuner is None else self._tuner.step()
            if reading is not None:
                events.append(reading)
        if is_last and hops == 0 and self._pass is not None:
            events += self._pass.decide(self._evidence, [], self._stream.now_s, is_last=True)
        return events


class _Pass:
    """One pass through the part: who is where, and what was said."""

    def __init__(self, part: Part, start_s: float | None, now_s: float) -> None:
        self._part = part
        asked, self._index = asked_strokes(part)
        self._asked = asked
        self._follower = Follower(asked, start_s, now_s)
        self._end_s = part.tempo_map.seconds_at(part.strokes[-1].end)
        self._judge = Judge(asked, self._index, self._end_s, self._follower)
        self._at = -1
        self._flagged_s = now_s
        self._n_matched = 0
        self._is_over = False

    def step(self, evidence: LiveEvidence, now_s: float, *, is_last: bool) -> list[Event]:
        """Go on by a hop."""
        news = evidence.step()
        events = self._place(evidence, now_s)
        return events + self.decide(evidence, news, now_s, is_last=is_last)

    def decide(
        self, evidence: LiveEvidence, news: list[Struck], now_s: float, *, is_last: bool
    ) -> list[Event]:
        """Align, judge, and say."""
        if self._is_over:
            return []
        if news or is_last:
            self._follower.align(evidence.struck, now_s)
        events: list[Event] = []
        events += self._judge.step(evidence, news, now_s, is_last=is_last)
        events += self._tempo(now_s)
        self._follower.close(now_s)
        if self._judge.is_done and (is_last or now_s > self._written_end_s()):
            self._is_over = True
            events.append(PassOver(now_s))
        return events

    def _written_end_s(self) -> float:
        line = self._follower.line
        return float("inf") if line is None else line.start_s + line.ratio * self._end_s

    def _place(self, evidence: LiveEvidence, now_s: float) -> list[Event]:
        """Say where the player is when that changes."""
        events: list[Event] = []
        new = [at for at in evidence.flagged_s if at > self._flagged_s]
        for at_s in new:
            self._flagged_s = at_s
            stroke = self._nearest(at_s)
            if stroke is not None:
                self._at = stroke
                events.append(NowAt(int(self._index[stroke]), now_s, played=True))
        following = self._at + 1
        while following < len(self._asked):
            if self._follower.expected_s(following) > now_s - PASSED_S:
                break
            self._at = following
            events.append(NowAt(int(self._index[following]), now_s, played=False))
            following += 1
        return events

    def _nearest(self, at_s: float) -> int | None:
        """The stroke after the present one that an attack is nearest to."""
        best, least_s = None, NEAR_S
        for stroke in range(self._at + 1, min(self._at + 4, len(self._asked))):
            off_s = abs(self._follower.expected_s(stroke) - at_s)
            if off_s < least_s:
                best, least_s = stroke, off_s
        return best

    def _tempo(self, now_s: float) -> list[Event]:
        known = np.flatnonzero(np.isfinite(self._follower.heard_s))
        if len(known) <= self._n_matched or len(known) < LEAST_FOR_TEMPO:
            return []
        self._n_matched = len(known)
        line = self._follower.line
        stroke = int(known[-1])
        onset_s = float(self._follower.heard_s[stroke])
        lateness_ms = self._follower.lateness_ms(stroke, onset_s)
        if line is None or lateness_ms is None:
            return []
        return [PlayerTempo(self._part.tempo_bpm / line.ratio, lateness_ms, now_s)]
