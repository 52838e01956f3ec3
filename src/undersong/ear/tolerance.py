"""How far from the beat is still in time? The window that makes a pass clean.

The window is a share of a beat, kept between two limits, by level (trade handbook 5.6: common
practice, no source). It never exceeds a quarter of the shortest written stroke, or neighbouring
notes would become confusable. Beginners get the widest: a listener notices a note about 6 ms or
2.5 % off (Friberg & Sundberg 1995), so every one of these windows is far wider than what can be
heard and far wider than what the ear measures wrongly.
"""

from __future__ import annotations

from dataclasses import dataclass

from undersong.errors import PracticeError
from undersong.theory.part import Part

LEVELS = (1, 2, 3, 4, 5, 6)


@dataclass(frozen=True, slots=True)
class Window:
    """A share of a beat, in [`least_ms`, `most_ms`]."""

    share: float
    least_ms: float
    most_ms: float


A = Window(0.10, 25.0, 60.0)
B = Window(0.075, 25.0, 50.0)
C = Window(0.05, 20.0, 40.0)
BY_LEVEL = {1: A, 2: A, 3: B, 4: C, 5: C, 6: C}
LARGEST_SHARE_OF_NOTE = 0.25


def window_ms(part: Part, *, level: int = 1, tempo_bpm: float | None = None) -> float:
    """The timing window of a part, early or late, in milliseconds.

    Parameters
    ----------
    level
        1 to 6; the handbook's figures end with 5, and 6 keeps them.
    tempo_bpm
        In the meter's own beat; None for the tempo written.

    Raises
    ------
    PracticeError
        If there is no such level.
    """
    if level not in BY_LEVEL:
        raise PracticeError(f"There is no level {level}: use 1 to 6.")
    tempo = part.tempo_bpm if tempo_bpm is None else tempo_bpm
    window = BY_LEVEL[level]
    beat_ms = 60_000.0 / tempo
    width = min(max(window.share * beat_ms, window.least_ms), window.most_ms)
    strokes = part.strokes
    if not strokes:
        return width
    shortest = min(stroke.length for stroke in strokes)
    beats = float(shortest / part.meter.beat)
    return min(width, LARGEST_SHARE_OF_NOTE * beats * beat_ms)
