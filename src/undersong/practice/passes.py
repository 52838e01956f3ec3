"""A pass through a drill, a line or a song, as practice remembers it, and its notes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from undersong.errors import PracticeError
from undersong.practice.ladder import Outcome


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass: of what, when, at which asked tempo, and how it went.

    Attributes
    ----------
    item
        What was played; the same text means the same thing.
    at
        When it began, with its zone: the day is the player's own day.
    tempo_bpm
        The tempo asked for, > 0.
    outcome
        Clean, not clean, or could not tell.
    length_s
        Seconds of playing, >= 0.
    whole
        The whole of the item, its roadmap followed, without a stop.
    roots_right
        Share of chord changes with the right root, 0 to 1; None where nobody counted.
    in_time
        Every note inside the level's window; None where nobody measured.
    """

    item: str
    at: datetime
    tempo_bpm: float
    outcome: Outcome
    length_s: float = 0.0
    whole: bool = False
    roots_right: float | None = None
    in_time: bool | None = None

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise PracticeError(
                "The time of a pass needs its zone: which day it was depends on it."
            )
        if not (math.isfinite(self.tempo_bpm) and self.tempo_bpm > 0):
            raise PracticeError(f"A pass has a tempo above 0, not {self.tempo_bpm!r}.")
        if not (math.isfinite(self.length_s) and self.length_s >= 0):
            raise PracticeError(f"A pass lasts some seconds, not {self.length_s!r}.")
        if self.roots_right is not None and not 0 <= self.roots_right <= 1:
            raise PracticeError(f"A share of right roots is from 0 to 1, not {self.roots_right!r}.")

    @property
    def day(self) -> date:
        """The player's own day."""
        return self.at.date()

    @property
    def end(self) -> datetime:
        """When it ended."""
        return self.at + timedelta(seconds=self.length_s)


@dataclass(frozen=True, slots=True)
class Judged:
    """One note of a heard pass: its place in the part's notes (None for an extra), and how it was.

    `fault` is "" for a good note, else one of wrong, missed, extra, early, late.
    """

    index: int | None
    fault: str
