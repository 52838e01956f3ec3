"""When a recording cannot be judged, and why, in a sentence the player can act on."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from undersong.ear.evidence import Evidence
from undersong.ear.frames import Take
from undersong.ear.hearing import HeardNote, Verdict
from undersong.ear.passing import is_fault
from undersong.ear.pitch import MIDIS
from undersong.theory.part import Part

Floats = NDArray[np.float64]

SHORTEST_S = 0.25
QUIETEST_PEAK = 10 ** (-60 / 20)
"""A take whose loudest sample is below -60 dB of full scale holds nothing to judge."""
MOST_BAD_SHARE = 0.01
MOST_CLIPPED_SHARE = 0.2
LEAST_RIGHT_SHARE = 0.5
LEAST_MATCHED = 3
LEAST_DOUBTFUL, MOST_DOUBTFUL_SHARE = 4, 0.1
LEAST_CLARITY = 3.0
"""Mean log-odds of a take's strokes below which their beginnings are guessed rather than heard."""
LEAST_CROWD, CROWD_SHARE, CROWDED_RIGHT = 5, 0.4, 0.7
"""So many extra notes, and such a share of those asked, where so many of these are right, are
somebody else's (common practice, no source)."""
CLEAR_ODDS = 4.0
SHIFTED_SHARE = 0.7
HIGHEST_BASS_MIDI = 63
"""The 20th fret of the G string."""
NO_BASS = "This does not sound like a bass: most of what I heard lies above its highest note."
BLUR = (
    "There is too much echo or noise in the recording to tell where each note begins. "
    "Move closer, and play it again."
)
ANOTHER_PIECE = "This does not sound like the exercise: most of its notes are not there."


def unheard(take: Take) -> str | None:
    """Why a recording holds nothing that could be judged, or None."""
    if take.length_s == 0:
        return "The recording is empty."
    if take.length_s < SHORTEST_S:
        return f"The recording is too short to judge: {1000 * take.length_s:.3g} milliseconds."
    if take.bad_samples > MOST_BAD_SHARE * take.length_s * 8000:
        return (
            f"The recording is damaged: {take.bad_samples} of its samples are no numbers. "
            "Record it again."
        )
    if take.peak == 0:
        return "The recording is silent. Check the cable and the input, and play it again."
    if take.peak < QUIETEST_PEAK:
        return "The recording is too quiet. Move closer or turn up, and play it again."
    return None


def unlike(
    part: Part,
    take: Take,
    evidence: Evidence,
    notes: tuple[HeardNote, ...],
    stopped: int | None,
) -> str | None:
    """Why what was heard cannot be judged as a pass of this part, or None."""
    asked = [note for note in notes if note.index is not None]
    if stopped is not None:
        asked = [note for note in asked if note.index is not None and note.index < stopped]
    played = [note for note in asked if note.verdict is not Verdict.MISSED]
    right = sum(note.verdict is Verdict.RIGHT for note in asked)
    if take.cut_short and stopped is not None:
        return "The recording is longer than an hour, and I heard only its first hour."
    if take.clipped_share > MOST_CLIPPED_SHARE:
        return (
            "The recording is clipped: it is too loud for the input. Turn down, and play it again."
        )
    # Of a part of three long notes two are enough: the third was left out.
    if len(played) < min(LEAST_MATCHED, ceil(LEAST_RIGHT_SHARE * len(part.strokes))):
        if (evidence.odds > 0).sum() < LEAST_MATCHED or is_above_a_bass(evidence):
            return nothing_fits(evidence)
        return ANOTHER_PIECE
    shifts = Counter(
        note.heard_midi - note.asked_midi
        for note in played
        if note.heard_midi is not None and note.asked_midi is not None
    )
    if right >= LEAST_RIGHT_SHARE * len(asked):
        return None
    shift, count = shifts.most_common(1)[0] if shifts else (0, 0)
    if shift != 0 and count >= SHIFTED_SHARE * len(asked):
        return shifted(shift)
    return NO_BASS if is_above_a_bass(evidence) else ANOTHER_PIECE


def blurred(notes: tuple[HeardNote, ...], stroke_odds: Floats) -> str | None:
    """Why nothing can be held against a pass, because too little of it is clear, or None.

    Parameters
    ----------
    stroke_odds
        Shape (n_heard,): odds of the attacks that were taken for strokes.
    """
    n_asked = sum(note.index is not None for note in notes)
    doubtful = sum(note.verdict is Verdict.UNSURE for note in notes)
    is_dull = len(stroke_odds) >= LEAST_DOUBTFUL and stroke_odds.mean() < LEAST_CLARITY
    if doubtful < max(LEAST_DOUBTFUL, MOST_DOUBTFUL_SHARE * n_asked) and not is_dull:
        return None
    return BLUR


def crowded(notes: tuple[HeardNote, ...]) -> str | None:
    """Why extra notes cannot be held against a pass, because somebody else may play them, or None.

    Nobody who plays what is asked adds so many notes of their own; a drum that rings may.
    """
    asked = [note for note in notes if note.index is not None]
    right = sum(note.verdict is Verdict.RIGHT for note in asked)
    extra = sum(note.verdict is Verdict.EXTRA for note in notes)
    if extra < max(LEAST_CROWD, CROWD_SHARE * len(asked)) or right < CROWDED_RIGHT * len(asked):
        return None
    return (
        f"Beside the part I heard {extra} other notes: drums, perhaps, or another player. "
        "Record the bass alone."
    )


def is_guessed(evidence: Evidence) -> bool:
    """True where most places that may be notes may as well be none."""
    unclear = int(np.count_nonzero(np.abs(evidence.odds) < CLEAR_ODDS))
    clear = int(np.count_nonzero(evidence.odds >= CLEAR_ODDS))
    return unclear > max(LEAST_DOUBTFUL, clear)


def withdrawn(notes: tuple[HeardNote, ...], window_ms: float) -> tuple[HeardNote, ...]:
    """Notes with everything held against them withdrawn, timing too."""
    return tuple(
        replace(note, verdict=Verdict.UNSURE) if is_fault(note, window_ms) else note
        for note in notes
    )


def recognised(part: Part, other: Part) -> str:
    """The sentence for a take of another part than was asked."""
    return f"This is not {part.title!r}: it sounds like {other.title!r}."


def nothing_fits(evidence: Evidence) -> str:
    """The sentence for a take in which no stroke of a part can be placed, or hardly one."""
    if is_above_a_bass(evidence):
        return NO_BASS
    clear = np.count_nonzero(evidence.odds >= CLEAR_ODDS)
    if clear == 0:
        return "I heard no bass in this recording."
    if clear >= LEAST_MATCHED:
        return ANOTHER_PIECE
    return "I heard only a note or two: too few to judge. Play more of it."


def is_above_a_bass(evidence: Evidence) -> bool:
    """True where most of what was heard lies above the highest fret of a bass."""
    likely = evidence.odds > 0
    if np.count_nonzero(likely) < LEAST_MATCHED:
        return False
    return bool(np.median(MIDIS[evidence.scores[likely].argmax(axis=1)]) > HIGHEST_BASS_MIDI)


def shifted(semitones: int) -> str:
    """The sentence for a pass played throughout in another key or octave."""
    way = "higher" if semitones > 0 else "lower"
    size = abs(semitones)
    if size % 12 == 0:
        count = "an octave" if size == 12 else f"{size // 12} octaves"
        return f"You played this {count} {way} than written."
    count = "a half step" if size == 1 else f"{size} half steps"
    return f"You played this in another key: {count} {way} than written."


def never_begun(start_s: float, length_s: float) -> str:
    """The sentence for a take that ends before the part would begin in it."""
    return (
        f"The part would begin {start_s:.0f} seconds into the recording, "
        f"and the recording ends after {length_s:.0f}."
    )
