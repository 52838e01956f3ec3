"""Was the pass clean? The one answer that the tempo rule needs.

Clean: every stroke right, nothing extra, every note inside the timing window. Not clean: any of
these certainly fails. Neither, where what is unsure could decide (trade handbook 5.5). Spread and
drift are reported (`summary`) and do not decide.
"""

from __future__ import annotations

from math import erf, sqrt

from undersong.ear.hearing import HeardNote, Verdict
from undersong.theory.part import Part

ONSET_ERROR_MS = 3.0
"""Standard error of one onset, for the probability alone; the window itself is applied exactly."""
FAULTS = (Verdict.WRONG, Verdict.MISSED, Verdict.EXTRA)
LEAST_STOPPED = 3
STOPPED_SHARE = 0.1


def stopped_before(notes: tuple[HeardNote, ...]) -> int | None:
    """Index of the first written note not reached, where a run of strokes is missing at the end.

    At least `LEAST_STOPPED` strokes and `STOPPED_SHARE` of all must be missing.
    """
    asked = [note for note in notes if note.index is not None]
    heard = [place for place, note in enumerate(asked) if note.verdict is not Verdict.MISSED]
    if not heard:
        return None
    missing = len(asked) - 1 - heard[-1]
    if missing < max(LEAST_STOPPED, STOPPED_SHARE * len(asked)):
        return None
    return asked[heard[-1] + 1].index


def passed(
    part: Part, notes: tuple[HeardNote, ...], window_ms: float, stopped: int | None
) -> tuple[bool | None, str | None, float]:
    """Clean or not, the reason where that cannot be said, and the probability of the answer."""
    all_right = 1.0
    for note in notes:
        all_right *= _chance_right(note, window_ms)
    if any(is_fault(note, window_ms) for note in notes):
        why = None if stopped is None else f"You stopped before {place_name(part, stopped)}."
        return False, why, 1.0 - all_right
    unsure = [note for note in notes if note.verdict is Verdict.UNSURE]
    if unsure:
        return None, _unsure_reason(part, unsure), 1.0
    return True, None, all_right


def is_fault(note: HeardNote, window_ms: float) -> bool:
    """True where a note by itself makes a pass not clean."""
    if note.verdict in FAULTS:
        return True
    return (
        note.verdict is Verdict.RIGHT
        and note.timing_ms is not None
        and abs(note.timing_ms) > window_ms
    )


def _chance_right(note: HeardNote, window_ms: float) -> float:
    if note.verdict in FAULTS:
        return 1.0 - note.probability
    if note.verdict is Verdict.UNSURE:
        return 0.5
    inside = (window_ms - abs(note.timing_ms or 0.0)) / ONSET_ERROR_MS
    return note.probability * 0.5 * (1 + erf(inside / sqrt(2)))


def _unsure_reason(part: Part, unsure: list[HeardNote]) -> str:
    places = [place_name(part, note.index) for note in unsure if note.index is not None]
    if not places:
        return "I could not tell whether there was an extra note."
    if len(places) == 1:
        return f"I could not tell about one note: {places[0]}."
    return f"I could not tell about {len(places)} notes, the first at {places[0]}."


def place_name(part: Part, index: int) -> str:
    """Bar and beat of a written note, in words: ``bar 3, beat 4``."""
    return part.place_words(part.notes[index].at)
