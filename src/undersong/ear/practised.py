"""What was practised in a recording of somebody left alone: passages, and bar by bar how often.

The evidence is gathered once, as for a single take. `practised_align` finds the passages of the
Part among it; each passage is then heard like a take of its own: followed, aligned and judged note
by note against the player's own steady pulse.

Conventions
-----------
Seconds are in the recording. A bar counts as played where at least half of its strokes were heard
in one passage; a bar that has none counts where both bars beside it do.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard, aligned, pitch_odds
from undersong.ear.evidence import Evidence, gathered
from undersong.ear.frames import listen
from undersong.ear.grid import Grid, fitted, followed
from undersong.ear.hear import asked_strokes
from undersong.ear.hearing import HeardNote, Verdict
from undersong.ear.passing import is_fault
from undersong.ear.practised_align import Stretch, passages
from undersong.ear.refusal import unheard
from undersong.ear.tolerance import window_ms
from undersong.ear.verdict import judged, lowest_string, sounding
from undersong.theory.part import Bar, Part

LIKELY_ODDS = 0.0
TAIL_S = 0.6
PLAYED_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Passage:
    """One passage of the part, from one start to where it was left.

    Attributes
    ----------
    start_s, end_s
        First onset, and where the last stroke's length ends at the tempo played.
    first, last
        Index of the first and the last written note played.
    tempo_bpm
        In the meter's own beat.
    tolerance_ms
        The timing window at that tempo.
    notes
        As in a `Hearing`; timing against the player's own steady pulse.
    """

    start_s: float
    end_s: float
    first: int
    last: int
    tempo_bpm: float
    tolerance_ms: float
    notes: tuple[HeardNote, ...]

    @property
    def faults(self) -> int:
        """Notes that keep it from being clean."""
        return sum(is_fault(note, self.tolerance_ms) for note in self.notes)


@dataclass(frozen=True, slots=True)
class BarPlayed:
    """One time a bar was played.

    Attributes
    ----------
    bar
        Its number.
    start_s, end_s
        Of the bar, by the pulse of the passage.
    passage
        Index of the passage.
    clean
        None where an unsure note decides.
    """

    bar: int
    start_s: float
    end_s: float
    passage: int
    tempo_bpm: float
    asked: int
    right: int
    faults: int
    clean: bool | None


@dataclass(frozen=True, slots=True)
class Practised:
    """A session.

    Attributes
    ----------
    reason
        Why nothing could be heard, or None.
    length_s, playing_s
        Of the recording, and of its passages together.
    passages
        In order of time.
    bars
        Every time a bar was played, in order of time.
    """

    reason: str | None
    length_s: float
    playing_s: float
    passages: tuple[Passage, ...]
    bars: tuple[BarPlayed, ...]

    def of_bar(self, bar: int) -> tuple[BarPlayed, ...]:
        """Every time one bar was played."""
        return tuple(each for each in self.bars if each.bar == bar)


def practised(
    blocks: Iterable[NDArray[np.floating]],
    sample_rate_hz: int,
    part: Part,
    *,
    tempo_bpm: float | None = None,
    level: int = 1,
) -> Practised:
    """Find what of a part was practised in a recording, where and how well.

    Parameters
    ----------
    blocks
        Mono samples, shape (n,) each, any n, full scale 1.0; read once, for one hour at most.
    sample_rate_hz
        Their rate.
    part
        What was being practised.
    tempo_bpm
        A tempo about which to expect the playing, in the meter's own beat; None for the part's own.
        Passages at 0.55 to 1.65 times this tempo are found.
    level
        1 to 6: chooses the timing window (see `tolerance`).

    Raises
    ------
    AudioError
        If the rate is out of range or a block is not one row of floating-point samples.
    PracticeError
        If there is no such level, or the part has no notes.
    TheoryError
        If the tempo cannot be played.
    """
    asked_part = part if tempo_bpm is None else part.at_tempo(tempo_bpm)
    window_ms(asked_part, level=level)
    asked, index = asked_strokes(asked_part)
    take = listen(blocks, sample_rate_hz)
    reason = unheard(take)
    if reason is not None:
        return Practised(reason, take.length_s, 0.0, (), ())
    evidence = gathered(take)
    likely = np.flatnonzero(evidence.odds > LIKELY_ODDS)
    heard = Heard(
        evidence.onset_s[likely], evidence.odds[likely], pitch_odds(evidence.scores[likely])
    )
    found = passages(asked, heard, _bar_begins(asked_part, index))
    played = tuple(
        _passage(asked_part, asked, index, evidence, likely, stretch, level) for stretch in found
    )
    bars = [
        bar
        for number, (passage, grid) in enumerate(played)
        for bar in _bars_of(asked_part, passage, grid, number)
    ]
    return Practised(
        reason=None,
        length_s=take.length_s,
        playing_s=sum(passage.end_s - passage.start_s for passage, _ in played),
        passages=tuple(passage for passage, _ in played),
        bars=tuple(bars),
    )


def _bar_begins(part: Part, index: NDArray[np.intp]) -> NDArray[np.bool_]:
    """True for the first stroke of each bar."""
    places = [bar.at for bar in part.bars]
    bars = np.array([bisect_right(places, part.notes[each].at) for each in index])
    return np.append(True, np.diff(bars) > 0)


def _passage(
    part: Part,
    asked: Asked,
    index: NDArray[np.intp],
    evidence: Evidence,
    likely: NDArray[np.intp],
    stretch: Stretch,
    level: int,
) -> tuple[Passage, Grid]:
    """Hear one passage like a take of its own."""
    first, last = int(stretch.stroke[0]), int(stretch.stroke[-1]) + 1
    onset_s = evidence.onset_s[likely[stretch.attack]]
    some, some_index = asked.part(first, last), index[first:last]
    ratio = float(np.ptp(onset_s) / max(np.ptp(asked.grid_s[stretch.stroke]), 1e-3))
    line = fitted(asked.grid_s[stretch.stroke], onset_s, Grid(float(onset_s[0]), ratio))
    if len(onset_s) < 2:
        line = Grid(float(onset_s[0] - asked.grid_s[first]), 1.0)
    near = _between(evidence, float(onset_s[0]), float(onset_s[-1]) + TAIL_S)
    heard = Heard(near.onset_s, near.odds, pitch_odds(near.scores))
    match = aligned(some, heard, followed(some, heard, line))
    matched_s = np.where(match.attack == NONE, np.nan, near.onset_s[match.attack])
    line = fitted(some.grid_s, matched_s, line)
    strokes = [stroke for stroke in part.strokes if stroke.index == int(some_index[-1])]
    end_s = line.start_s + line.ratio * part.tempo_map.seconds_at(strokes[0].end)
    expected_s = line.at(some.grid_s)
    notes = judged(
        some,
        some_index,
        near,
        sounding(near, match, some),
        expected_s,
        float(expected_s[-1]),
        lowest_string(part),
    )
    tempo_bpm = part.tempo_bpm / line.ratio
    passage = Passage(
        start_s=float(onset_s[0]),
        end_s=end_s,
        first=int(some_index[0]),
        last=int(some_index[-1]),
        tempo_bpm=tempo_bpm,
        tolerance_ms=window_ms(part, level=level, tempo_bpm=tempo_bpm),
        notes=notes,
    )
    return passage, line


def _between(evidence: Evidence, first_s: float, last_s: float) -> Evidence:
    """The evidence of one passage; what sounds after it is not listened to."""
    margin_s = 0.1
    rows = slice(
        int(np.searchsorted(evidence.onset_s, first_s - margin_s)),
        int(np.searchsorted(evidence.onset_s, last_s)),
    )
    return replace(
        evidence,
        onset_s=evidence.onset_s[rows],
        odds=evidence.odds[rows],
        end_s=evidence.end_s[rows],
        scores=evidence.scores[rows],
        level_db=evidence.level_db[rows],
        length_s=min(evidence.length_s, last_s),
    )


def _bars_of(part: Part, passage: Passage, grid: Grid, number: int) -> list[BarPlayed]:
    """The bars of a passage that were played, in order."""
    bars = part.bars
    places = [bar.at for bar in bars]
    inside: dict[int, list[HeardNote]] = {}
    at = bisect_right(places, part.notes[passage.first].at) - 1
    for note in passage.notes:
        if note.index is not None:
            at = bisect_right(places, part.notes[note.index].at) - 1
        inside.setdefault(at, []).append(note)
    first, last = min(inside), max(inside)
    n_asked = _strokes_by_bar(part, places)
    return [
        _bar_played(part, bars[at], passage, grid, number, inside.get(at, []), n_asked.get(at, 0))
        for at in range(first, last + 1)
        if _is_played(inside.get(at, []), n_asked.get(at, 0))
    ]


def _strokes_by_bar(part: Part, places: Sequence[Fraction]) -> dict[int, int]:
    _, index = asked_strokes(part)
    counts: dict[int, int] = {}
    for each in index:
        at = bisect_right(places, part.notes[each].at) - 1
        counts[at] = counts.get(at, 0) + 1
    return counts


def _is_played(notes: list[HeardNote], n_asked: int) -> bool:
    heard = [n for n in notes if n.index is not None and n.verdict is not Verdict.MISSED]
    return len(heard) >= PLAYED_SHARE * n_asked


def _bar_played(
    part: Part,
    bar: Bar,
    passage: Passage,
    grid: Grid,
    number: int,
    notes: list[HeardNote],
    n_asked: int,
) -> BarPlayed:
    seconds_at = part.tempo_map.seconds_at
    faults = sum(is_fault(note, passage.tolerance_ms) for note in notes)
    n_here = sum(note.index is not None for note in notes)
    unsure = any(note.verdict is Verdict.UNSURE for note in notes)
    # Strokes of the bar outside the passage were not played at all.
    faults += n_asked - n_here
    return BarPlayed(
        bar=bar.number,
        start_s=grid.start_s + grid.ratio * seconds_at(bar.at),
        end_s=grid.start_s + grid.ratio * seconds_at(bar.at + bar.length),
        passage=number,
        tempo_bpm=passage.tempo_bpm,
        asked=n_asked,
        right=sum(note.verdict is Verdict.RIGHT for note in notes),
        faults=faults,
        clean=None if unsure and not faults else faults == 0,
    )
