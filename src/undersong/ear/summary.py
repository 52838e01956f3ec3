"""A pass in figures: lateness, spread, drift, counts, and the bars that need work.

Lateness is taken over every note that was heard in its place, right or wrong. Drift is how much the
player's own tempo changes from the first note to the last, read from a parabola through the
lateness: with a steady grid a straight slope is another tempo and only its bend is drift, but with
a known start or a click the slope counts as well.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter

import numpy as np

from undersong.ear.hearing import HeardNote, Summary, Verdict, WorstBar, WorstSpot
from undersong.ear.passing import is_fault
from undersong.theory.part import Part

LEAST_FOR_SPREAD = 2
LEAST_FOR_DRIFT = 8
WORST_BARS, WORST_SPOTS = 3, 5
CUT_SHORT = 0.5
"""A note is cut short that sounds for less of what is written (common practice, no source)."""


def summed_up(
    part: Part, notes: tuple[HeardNote, ...], window_ms: float, stopped: int | None = None
) -> Summary:
    """The figures of one pass; counts are over asked strokes, `extra` apart.

    What lies beyond the note at which a pass `stopped` is missed, but no place to work on.
    """
    reached = tuple(n for n in notes if stopped is None or n.index is None or n.index < stopped)
    timing = np.array([note.timing_ms for note in notes if note.timing_ms is not None])
    shares = np.array([note.length_share for note in notes if note.length_share is not None])
    counts = Counter(note.verdict for note in notes)
    return Summary(
        mean_ms=float(timing.mean()) if len(timing) else None,
        spread_ms=float(timing.std()) if len(timing) >= LEAST_FOR_SPREAD else None,
        drift_percent=_drift_percent(notes),
        asked=sum(note.index is not None for note in notes),
        right=counts[Verdict.RIGHT],
        wrong=counts[Verdict.WRONG],
        missed=counts[Verdict.MISSED],
        extra=counts[Verdict.EXTRA],
        unsure=counts[Verdict.UNSURE],
        early=int(np.count_nonzero(timing < -window_ms)),
        late=int(np.count_nonzero(timing > window_ms)),
        worst_bars=_worst_bars(part, reached, window_ms),
        worst_spots=_worst_spots(part, reached, window_ms),
        length_share=float(shares.mean()) if len(shares) else None,
        length_spread=float(shares.std()) if len(shares) >= LEAST_FOR_SPREAD else None,
        cut_short=int(np.count_nonzero(shares < CUT_SHORT)),
    )


def _drift_percent(notes: tuple[HeardNote, ...]) -> float | None:
    pairs = [
        (note.onset_s, note.timing_ms / 1000)
        for note in notes
        if note.timing_ms is not None and note.onset_s is not None
    ]
    if len(pairs) < LEAST_FOR_DRIFT:
        return None
    at_s, late_s = np.array(pairs).T
    kept = np.ones(len(at_s), bool)
    bend = slope = 0.0
    for _ in range(3):
        bend, slope, level = np.polyfit(at_s[kept], late_s[kept], 2)
        off = np.abs(late_s - np.polyval((bend, slope, level), at_s))
        kept = off <= max(0.01, 3 * float(np.median(off)))
        if np.count_nonzero(kept) < LEAST_FOR_DRIFT:
            break
    # A note later by x in a time t means a tempo lower by x / t.
    return float(-100 * 2 * bend * (at_s[-1] - at_s[0]))


def _worst_bars(part: Part, notes: tuple[HeardNote, ...], window_ms: float) -> tuple[WorstBar, ...]:
    """Bars with faults, most faults first, then the largest timing error."""
    faults: Counter[int] = Counter()
    timing: dict[int, float] = {}
    bars = part.bars
    places = [each.at for each in bars]
    bar = bars[0].number if bars else 1
    for note in notes:
        if note.index is not None:
            # As Part.place_of, but without making the bars again for every note.
            bar = bars[bisect_right(places, part.notes[note.index].at) - 1].number
        if not is_fault(note, window_ms):
            continue
        faults[bar] += 1
        if note.timing_ms is not None and abs(note.timing_ms) > abs(timing.get(bar, 0.0)):
            timing[bar] = note.timing_ms
    worst = sorted(faults, key=lambda each: (-faults[each], -abs(timing.get(each, 0.0)), each))
    return tuple(WorstBar(each, faults[each], timing.get(each)) for each in worst[:WORST_BARS])


def _worst_spots(
    part: Part, notes: tuple[HeardNote, ...], window_ms: float
) -> tuple[WorstSpot, ...]:
    """Places with faults, most faults first, then the largest timing error.

    An extra note belongs to the place of the note before it.
    """
    faults: Counter[int] = Counter()
    timing: dict[int, float] = {}
    index = 0
    for note in notes:
        index = index if note.index is None else note.index
        if not is_fault(note, window_ms):
            continue
        faults[index] += 1
        if note.timing_ms is not None and abs(note.timing_ms) > abs(timing.get(index, 0.0)):
            timing[index] = note.timing_ms
    worst = sorted(faults, key=lambda each: (-faults[each], -abs(timing.get(each, 0.0)), each))
    spots = []
    for each in worst[:WORST_SPOTS]:
        bar, beat = part.place_of(part.notes[each].at)
        spots.append(WorstSpot(bar, float(beat), faults[each], timing.get(each)))
    return tuple(spots)
