"""Where may a note have begun, and which? The measures of `evidence`, on a sound not yet over.

A place is weighed `WEIGHED_AFTER` frames after it: earlier, neither its body nor the pitch of a low
B can be told from noise. It is weighed once, by the logistic rule of `measures` (one fitted to what
is heard so far, by design/ear_live.py, is no better), and its pitch is read again and again as its
sound grows longer, until something else begins.

Conventions
-----------
Frames and seconds of the stream. Odds are natural logarithms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import find_peaks

from undersong.ear.attack import AHEAD, BANDS, FRAME, FRAME_S, MIDDLE_SHARE, refined
from undersong.ear.frames import Samples
from undersong.ear.live_stream import HOP_FRAMES, Stream
from undersong.ear.measures import WEIGHTS
from undersong.ear.pitch import (
    MIDIS,
    PITCH_RATE_HZ,
    Stretches,
    fine_cents,
    stretches,
)
from undersong.ear.renewal import WINDOW, compared, continued

Floats = NDArray[np.float64]

WEIGHED_AFTER = 92
LOOKED_BACK = 80
LONGEST_LAG = 150
"""Frames: two periods that add up, of the lowest notes."""
FLAGGED_AFTER = 32
STRONG, WELL_DATED = 2.6, 3.0
"""Strength from which a rise may be a note before anything else is known, and dates it alone."""
LEAST_STRENGTH, LEAST_GAP = 0.7, 25
RENEWED_SHARE = 0.12
RENEWAL_DELAY = 10
DISTINCT, CLOSE_S = 18, 0.035
COMING = 80
QUIET_SHARE = 0.02
UNEXPLAINED = 0.15
POSSIBLE = -6.0
SEEN = WEIGHED_AFTER + HOP_FRAMES + LOOKED_BACK
"""Frames that are looked at in every step."""
WIDEST = max(band.width for band in BANDS)
_WIDTHS = np.array([[band.width] for band in BANDS])
_SHARES = np.array([[band.share] for band in BANDS])
# Places in a table of `SEEN + WIDEST + 1` sums for each band, taken as one row.
_HERE = np.arange(SEEN) + WIDEST
_ROWS = (SEEN + WIDEST + 1) * np.arange(len(BANDS))[:, None]
_UNTIL = _ROWS + np.minimum(_HERE + _WIDTHS, SEEN + WIDEST)
_SINCE = _ROWS + _HERE - _WIDTHS
_NO_PEAKS = np.zeros(0, np.intp)
CHANGED_S, DISTINCT_S = 0.1, 0.04
CHANGE_WORTH, CHANGE_PRIOR, CHANGE_MOST = 20.0, 3.5, 4.0
LEAST_CHANGED = -3.5
MOST_AT_ONCE = 4
ODDS_LIMIT = 8.0
LASTING_S = (0.0905, 0.1255, 0.174, 0.2265, 0.3025, 0.4065)
"""Ages from which each of `pitch.WINDOWS` fits between the settling of a note and its end."""
STAGES_S = (0.0905, 0.115, *LASTING_S[2:])
"""Ages from which each is used: the second before its end, where the window is nearly zero."""
KEPT_S = 2.0


@dataclass(slots=True)
class Struck:
    """A place where a note may begin, and what is known of it so far.

    Attributes
    ----------
    rose_s
        Where it was found; `onset_s` may be dated again.
    table
        The measures its odds were made of, in the order of `WEIGHTS`.
    stage
        How many of `STAGES_S` its sound has lasted; 0 before its pitch was read.
    is_over
        True once something else has begun, or its sound is as long as is listened to.
    scores
        Of every pitch, shape (n_hypotheses,).
    cents
        From equal temperament, at `midi`.
    early_hz
        Fundamental as it was read first: later, two strings ringing together may mislead.
    change
        Odds that a note begins here, from the change of pitch alone.
    is_judged
        True once it was decided whether it is an extra note.
    """

    onset_s: float
    odds: float = 0.0
    table: Floats = field(default_factory=lambda: np.zeros(len(WEIGHTS)))
    stage: int = 0
    is_over: bool = False
    scores: Floats = field(default_factory=lambda: np.zeros(len(MIDIS)))
    level_db: float = -120.0
    midi: int = int(MIDIS[0])
    cents: float = 0.0
    early_hz: float = 0.0
    change: float = -ODDS_LIMIT
    is_judged: bool = False
    rose_s: float = field(init=False)

    def __post_init__(self) -> None:
        self.rose_s = self.onset_s

    @property
    def belief(self) -> float:
        """Odds that a note begins here: by what was measured, or because the pitch changes."""
        return max(self.odds, self.change) if self.odds > LEAST_CHANGED else self.odds

    @property
    def f0_hz(self) -> float:
        """Fundamental as it was read."""
        return float(440.0 * 2 ** ((self.midi + self.cents / 100 - 69) / 12))


class LiveEvidence:
    """Places where notes may have begun, hop by hop.

    Attributes
    ----------
    struck
        Possible beginnings of the last `KEPT_S`, in order of time, and the last two likely ones.
    flagged_s
        Strong attacks, from about 30 ms after them.
    renewed_s
        Places where the string's sound was renewed.
    since_s
        Loudness is told from here on.
    tuning_cents
        What the pitches are read against.
    """

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self.struck: list[Struck] = []
        self.flagged_s: list[float] = []
        self.renewed_s: list[float] = []
        self.since_s = 0.0
        self.tuning_cents = 0.0

    def step(self) -> list[Struck]:
        """Look at the newest hop; returns the places about which something new is known."""
        now = self._stream.n_frames
        first = now - SEEN
        rise = self._rises(now)
        strength = rise["high"] + np.maximum(rise["low"], MIDDLE_SHARE * rise["middle"])
        peaks = _NO_PEAKS
        if strength.max() >= LEAST_STRENGTH:
            peaks, _ = find_peaks(strength, height=LEAST_STRENGTH, distance=LEAST_GAP)
        self._flag(first, peaks[strength[peaks] > STRONG], rise, now)
        new = self._weighed(first, peaks, rise, now)
        self._forget()
        return new + self._read_on(exclude=new)

    def _rises(self, now: int) -> dict[str, Samples]:
        """As `attack.rises`, for the newest `SEEN` frames; what is to come is not known.

        All bands at once: for so few frames it is the calls that cost.
        """
        total = np.zeros((len(BANDS), SEEN + WIDEST + 1))
        energies = [
            self._stream.energies[band.name].between(now - SEEN - WIDEST, now) for band in BANDS
        ]
        np.cumsum(energies, axis=1, dtype=np.float64, out=total[:, 1:])
        here = total[:, WIDEST:-1]
        after = (total.take(_UNTIL) - here) / _WIDTHS
        before = (here - total.take(_SINCE)) / _WIDTHS
        floors = np.array([[self._stream.floors[band.name]] for band in BANDS])
        coming = maximum_filter1d(after, AHEAD, axis=1, origin=-(AHEAD // 2))
        soft = _SHARES * coming + floors
        rise = np.log((after + soft) / (before + soft))
        rise = np.maximum(rise, 0.0).astype(np.float32)
        return {band.name: row for band, row in zip(BANDS, rise, strict=True)}

    def _flag(
        self, first: int, peaks: NDArray[np.intp], rise: dict[str, Samples], now: int
    ) -> None:
        recent = peaks[(first + peaks <= now - FLAGGED_AFTER) & (first + peaks > now - 70)]
        if len(recent) == 0:
            return
        for onset in refined(recent, rise["high"], rise["body"]):
            at_s = first * FRAME_S + float(onset)
            if all(abs(at_s - other) > CLOSE_S for other in self.flagged_s):
                self.flagged_s.append(at_s)

    def _weighed(
        self, first: int, peaks: NDArray[np.intp], rise: dict[str, Samples], now: int
    ) -> list[Struck]:
        """New places: rises and renewals whose time has come to be weighed."""
        highest = now - WEIGHED_AFTER - first
        lowest = highest - HOP_FRAMES
        due = peaks[(peaks > lowest) & (peaks <= highest)]
        places: list[float] = []
        if len(due):
            onsets = first + refined(due, rise["high"], rise["body"]) / FRAME_S
            places += [float(onset) for onset in onsets]
        rising = [float(first + peak) for peak in peaks]
        renewed = self._renewed(now) if now % (2 * HOP_FRAMES) == 0 else []
        self.renewed_s.extend(place * FRAME_S for place in renewed)
        for place in renewed:
            if all(abs(place - other) > DISTINCT for other in (*places, *rising)):
                places.append(place)
        found = []
        for place in sorted(places)[:MOST_AT_ONCE]:
            near = slice(max(0, round(place) - first - 10), round(place) - first + 11)
            high, middle, low = (
                float(rise[name][near].max(initial=0.0)) for name in ("high", "middle", "low")
            )
            struck = self._measured(place, (high, middle, low), now)
            if struck is not None and self._is_best(struck):
                found.append(struck)
        for struck in self.struck:
            self._date(struck)
        return found

    def _date(self, struck: Struck) -> None:
        """Date a place that hardly rose by the renewal just before it, if there is one."""
        rose = struck.table[1] + max(struck.table[3], MIDDLE_SHARE * struck.table[2])
        if rose < WELL_DATED:
            before = [at for at in self.renewed_s if 0 <= struck.rose_s - at < CLOSE_S]
            struck.onset_s = max(before, default=struck.onset_s)

    def _is_best(self, struck: Struck) -> bool:
        """Put a place among the others, dropping less likely ones too close to it; or leave it."""
        close = [each for each in self.struck if abs(each.onset_s - struck.onset_s) < CLOSE_S]
        if any(each.odds >= struck.odds for each in close):
            return False
        self.struck = [each for each in self.struck if each not in close]
        self.struck.append(struck)
        self.struck.sort(key=lambda each: each.onset_s)
        return True

    def _sounding(self, before_s: float) -> list[float]:
        """Fundamentals of the last two likely notes before a time, latest last."""
        return [s.f0_hz for s in self.struck if s.belief > 0 and s.onset_s < before_s][-2:]

    def _renewed(self, now: int) -> list[float]:
        """Places where the string's sound is renewed, in frames; found without any rise.

        Of the last two hops that can be weighed.
        """
        known = self._sounding((now - 40) * FRAME_S)
        if not known:
            return []
        highest = now - WEIGHED_AFTER
        start = highest - 2 * HOP_FRAMES - 30
        new, energy = self._track(start, now - WINDOW, [(f0,) for f0 in known])
        coming = maximum_filter1d(energy, COMING + 1, origin=-(COMING // 2))
        loudness = self._stream.loudness(self.since_s)
        renewal = new / (coming + QUIET_SHARE * loudness)
        peaks, _ = find_peaks(renewal, height=RENEWED_SHARE, distance=LEAST_GAP)
        places = []
        for peak in peaks.tolist():
            low = np.flatnonzero(renewal[max(0, peak - 40) : peak] < 0.5 * renewal[peak])
            rise = max(0, peak - 40) + int(low[-1]) + 1 if len(low) else peak
            place = start + rise + RENEWAL_DELAY
            if highest - 2 * HOP_FRAMES < place <= highest:
                places.append(float(place))
        return places

    def _track(self, first: int, last: int, guesses: Sequence[tuple[float, ...]]) -> Samples:
        """`renewal.compared` for frames of the stream."""
        start = (first - LONGEST_LAG) * FRAME
        string = self._stream.smooth.between(start, (last + WINDOW) * FRAME + 1)
        return compared(string, LONGEST_LAG, LONGEST_LAG + last - first, guesses)

    def _measured(self, place: float, rises: tuple[float, float, float], now: int) -> Struck | None:
        """Everything measured at one place, and its odds; None where there is surely nothing."""
        struck = Struck(place * FRAME_S)
        self._read(struck, self._end_of(struck))
        struck.early_hz = struck.f0_hz
        old = self._sounding(struck.onset_s - 0.05)
        guesses: list[tuple[float, ...]] = [(f0,) for f0 in (*old, struck.f0_hz)]
        if old:
            guesses.append((old[-1], struck.f0_hz))
        at = LOOKED_BACK
        frame = round(place)
        new, energy = self._track(frame - at, now - WINDOW, guesses)
        if np.median(new[at - 70 : at - 22]) > UNEXPLAINED * np.median(energy[at - 70 : at - 22]):
            again, _ = self._track(frame - at, now - WINDOW, self._further(struck))
            new = np.minimum(new, again)
        loudness = self._stream.loudness(self.since_s)
        coming = maximum_filter1d(energy, COMING + 1, origin=-(COMING // 2))
        renewal = new / (coming + QUIET_SHARE * loudness)
        share = new / np.maximum(energy, 1e-12) * np.minimum(1, energy / (0.01 * loudness))
        quiet = 0.01 * loudness
        after, before = energy[at : at + 60].max(), energy[at - 60 : at - 16].max()
        fresh = np.log(float(renewal[at - 24 : at + 9].max()) + 0.02)
        restless = float(np.median(share[at - 70 : at - 22 : 4]))
        struck.table = np.array(
            [
                1.0,
                *(min(rise, 5.0) for rise in rises),
                fresh,
                restless,
                fresh * restless,
                float(renewal[at - 64 : at - 25].max()),
                float(np.clip(np.log(after / loudness + 1e-9), -8, 1)),
                float(np.clip(np.log((after + quiet) / (before + quiet)), -3, 3)),
            ]
        )
        struck.odds = float(np.clip(struck.table @ WEIGHTS, -ODDS_LIMIT, ODDS_LIMIT))
        return struck if struck.odds > POSSIBLE else None

    def _further(self, struck: Struck) -> list[tuple[float, ...]]:
        """Further guesses at what rang before a place: notes as first read, and two together."""
        notes = [s for s in self.struck if s.belief > 0 and s.onset_s < struck.onset_s - 0.05][-2:]
        if not notes:
            return [(struck.f0_hz,)]
        early = [each.early_hz for each in notes]
        guesses: list[tuple[float, ...]] = [(f0,) for f0 in early]
        guesses.append((early[-1], struck.f0_hz))
        if len(notes) == 2:
            guesses += [(early[0], early[1]), (notes[0].f0_hz, early[1])]
        return guesses

    def _end_of(self, struck: Struck) -> float:
        """Where something else begins, or the present."""
        end_s = min(self._stream.now_s, struck.onset_s + STAGES_S[-1] + 0.02)
        later = [s.onset_s for s in self.struck if s.belief > 0 and s.onset_s > struck.onset_s]
        later += self.flagged_s
        return min([end_s, *(at for at in later if at > struck.onset_s + STAGES_S[0])])

    def _read_on(self, *, exclude: list[Struck]) -> list[Struck]:
        """Read the pitch of what has sounded longer by now; returns those read."""
        read = []
        for struck in self.struck:
            if struck.is_over or any(struck is each for each in exclude):
                continue
            end_s = self._end_of(struck)
            stage = _stage_at(end_s - struck.onset_s)
            # What is over is returned even if its sound grew no longer: now it is known to be.
            is_over = stage == len(STAGES_S) or end_s < self._stream.now_s - 2 * FRAME_S
            if stage > struck.stage or is_over:
                self._read(struck, end_s)
                struck.is_over = is_over
                read.append(struck)
        return read

    def _read(self, struck: Struck, end_s: float) -> None:
        """Read the pitch of a place's sound up to a time."""
        struck.stage = _stage_at(end_s - struck.onset_s)
        if struck.stage and end_s > self._stream.now_s - 2 * FRAME_S:
            end_s = max(end_s, struck.onset_s + LASTING_S[struck.stage - 1])
        part = self._stretch(struck, end_s)
        struck.scores = part.scores(self.tuning_cents)[0]
        struck.level_db = float(part.level_db[0])
        struck.midi = int(MIDIS[struck.scores.argmax()])
        struck.cents = float(fine_cents(part, np.array([struck.midi]))[0])
        before = self.before(struck)
        if before is not None and end_s - struck.onset_s > CHANGED_S:
            margin = struck.scores.max() - struck.scores[before.midi - MIDIS[0]]
            struck.change = min(CHANGE_WORTH * float(margin) - CHANGE_PRIOR, CHANGE_MOST)

    def before(self, struck: Struck) -> Struck | None:
        """The likely note before a place."""
        notes = [s for s in self.struck if s.belief > 0 and s.onset_s < struck.onset_s - DISTINCT_S]
        return notes[-1] if notes else None

    def _stretch(self, struck: Struck, end_s: float) -> Stretches:
        first = round((struck.onset_s - 0.02) * PITCH_RATE_HZ)
        string = self._stream.string_between(first, round(end_s * PITCH_RATE_HZ))
        at_s = struck.onset_s - first / PITCH_RATE_HZ
        return stretches(string, np.array([at_s]), np.array([at_s + end_s - struck.onset_s]))

    def goes_on(self, struck: Struck) -> float:
        """Share of the sound after a place that is the note before it, going on, in [0, 1]."""
        old = self._sounding(struck.onset_s - 0.02)
        if not old:
            return 0.0
        end_s = self._stream.now_s
        first = round((struck.onset_s - 0.4) / FRAME_S) * FRAME
        string = self._stream.smooth.between(first, self._stream.smooth.end)
        at_s = struck.onset_s - first * FRAME_S / FRAME
        known = tuple(a for a in (0.025, 0.06, 0.1) if struck.onset_s + a + 0.035 <= end_s)
        if not known:
            return 0.0
        return float(continued(string, np.array([at_s]), np.array([old[-1]]), known)[0])

    def _forget(self) -> None:
        oldest_s = self._stream.now_s - KEPT_S
        notes = [each for each in self.struck if each.belief > 0][-2:]
        self.struck = [
            each
            for each in self.struck
            if each.onset_s > oldest_s or any(each is note for note in notes)
        ]
        self.flagged_s = [at for at in self.flagged_s if at > oldest_s]
        self.renewed_s = [at for at in self.renewed_s if at > oldest_s]


def _stage_at(age_s: float) -> int:
    return int(np.searchsorted(STAGES_S, age_s, side="right"))
