"""What was heard of a take, as values, and as the JSON others' scripts rely on.

Conventions
-----------
Seconds are in the take. `timing_ms` is heard minus asked, positive late. Probabilities are the
ear's own belief that a verdict holds, in [0, 1]; how far they can be believed is in
docs/hearing.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """What became of a note. A right note outside the timing window stays right."""

    RIGHT = "right"
    WRONG = "wrong"
    MISSED = "missed"
    EXTRA = "extra"
    UNSURE = "unsure"


class Reference(StrEnum):
    """What the timing was measured against."""

    START = "start"
    CLICK = "click"
    FITTED = "fitted"


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One asked stroke, or one note nobody asked for.

    Attributes
    ----------
    index
        Of the stroke's first written note in the part; None for an extra note.
    asked_midi, heard_midi
        None where nothing was asked, or heard, or a ghost note has no pitch.
    onset_s
        None where missed.
    timing_ms
        None where missed or extra.
    cents
        Heard pitch from equal temperament after the take's own tuning is taken out.
    length_share
        Sounding length over written length (`lengths`); None where missed, extra or not measured.
    """

    index: int | None
    asked_midi: int | None
    heard_midi: int | None
    onset_s: float | None
    timing_ms: float | None
    cents: float | None
    verdict: Verdict
    probability: float
    length_share: float | None = None


@dataclass(frozen=True, slots=True)
class WorstBar:
    """A bar where something went wrong, and how much."""

    bar: int
    faults: int
    worst_timing_ms: float | None


@dataclass(frozen=True, slots=True)
class WorstSpot:
    """A place where something went wrong: bar, beat (1 is the bar line), and how much."""

    bar: int
    beat: float
    faults: int
    worst_timing_ms: float | None


@dataclass(frozen=True, slots=True)
class Summary:
    """The pass as a whole.

    Attributes
    ----------
    mean_ms
        Mean lateness; with a fitted grid it is near 0 by construction.
    spread_ms
        Standard deviation of lateness.
    drift_percent
        Change of the player's tempo from first note to last, positive for getting faster.
    early, late
        Right or wrong notes outside the window on either side.
    worst_bars
        At most three, worst first.
    worst_spots
        The same by bar and beat, at most five.
    length_share, length_spread
        Mean and standard deviation of the notes' sounding over written lengths.
    cut_short
        Notes that sounded for less than half of what is written.
    """

    mean_ms: float | None
    spread_ms: float | None
    drift_percent: float | None
    asked: int
    right: int
    wrong: int
    missed: int
    extra: int
    unsure: int
    early: int
    late: int
    worst_bars: tuple[WorstBar, ...]
    worst_spots: tuple[WorstSpot, ...] = ()
    length_share: float | None = None
    length_spread: float | None = None
    cut_short: int = 0


@dataclass(frozen=True, slots=True)
class Hearing:
    """A take judged against a part.

    Attributes
    ----------
    clean
        None where it cannot be judged; `reason` says why.
    reference
        What timing was measured against.
    tempo_bpm
        Of the grid that was used, in the meter's own beat.
    start_s
        Where beat 0 of the part falls in the take.
    tuning_cents
        How far the instrument as a whole is from A4 = 440 Hz.
    notes
        Asked strokes in order, extra notes between them.
    probability
        That `clean` holds.
    stopped_at
        Index of the first written note not reached, where the player stopped early.
    """

    clean: bool | None
    reason: str | None
    reference: Reference
    tolerance_ms: float
    tempo_bpm: float
    start_s: float | None
    tuning_cents: float | None
    notes: tuple[HeardNote, ...]
    summary: Summary
    probability: float
    stopped_at: int | None = None


def hearing_json(hearing: Hearing) -> dict[str, object]:
    """The documented JSON form: plain values, stable keys, rounded to what can be measured."""
    return {
        "clean": hearing.clean,
        "reason": hearing.reason,
        "reference": str(hearing.reference),
        "tolerance_ms": _rounded(hearing.tolerance_ms, 1),
        "tempo_bpm": _rounded(hearing.tempo_bpm, 2),
        "start_s": _rounded(hearing.start_s, 4),
        "tuning_cents": _rounded(hearing.tuning_cents, 1),
        "probability": _rounded(hearing.probability, 4),
        "stopped_at": hearing.stopped_at,
        "notes": [_note_json(note) for note in hearing.notes],
        "summary": _summary_json(hearing.summary),
    }


def _note_json(note: HeardNote) -> dict[str, object]:
    return {
        "index": note.index,
        "asked_midi": note.asked_midi,
        "heard_midi": note.heard_midi,
        "onset_s": _rounded(note.onset_s, 4),
        "timing_ms": _rounded(note.timing_ms, 1),
        "cents": _rounded(note.cents, 1),
        "verdict": str(note.verdict),
        "probability": _rounded(note.probability, 4),
        "length_share": _rounded(note.length_share, 3),
    }


def _summary_json(summary: Summary) -> dict[str, object]:
    return {
        "mean_ms": _rounded(summary.mean_ms, 1),
        "spread_ms": _rounded(summary.spread_ms, 1),
        "drift_percent": _rounded(summary.drift_percent, 2),
        "asked": summary.asked,
        "right": summary.right,
        "wrong": summary.wrong,
        "missed": summary.missed,
        "extra": summary.extra,
        "unsure": summary.unsure,
        "early": summary.early,
        "late": summary.late,
        "worst_bars": [
            {
                "bar": bar.bar,
                "faults": bar.faults,
                "worst_timing_ms": _rounded(bar.worst_timing_ms, 1),
            }
            for bar in summary.worst_bars
        ],
        "worst_spots": [
            {
                "bar": spot.bar,
                "beat": _rounded(spot.beat, 3),
                "faults": spot.faults,
                "worst_timing_ms": _rounded(spot.worst_timing_ms, 1),
            }
            for spot in summary.worst_spots
        ],
        "length_share": _rounded(summary.length_share, 3),
        "length_spread": _rounded(summary.length_spread, 3),
        "cut_short": summary.cut_short,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)
