"""Whether a volunteer is ready for Sunday: a plain standard, known in advance.

The standard: the first pass of the day, at the service tempo, of the whole song without a stop,
good enough on two separate days. The top of a ladder is not the standard: a player there fails
about one pass in five.

References
----------
Trade handbook 1.3 T18 (default gate; common practice, no source) and 5.2.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from undersong.errors import PracticeError
from undersong.practice.ladder import Outcome
from undersong.practice.passes import Pass

ROOTS_RIGHT = 0.98  # share of chord changes, T18
DAYS_NEEDED = 2
WITHIN_DAYS = 28  # a cold try longer ago says little about this Sunday (project's choice)
TEMPO_SHARE = 0.02  # a pass this close to the service tempo is at it (project's choice)


@dataclass(frozen=True, slots=True)
class ColdTry:
    """The first pass of a day, whether it met the standard, and in words why or why not."""

    day: date
    tempo_bpm: float
    met: bool
    why: str


@dataclass(frozen=True, slots=True)
class Readiness:
    """Ready or not, the days that count, and all cold tries looked at, oldest first."""

    ready: bool
    good_days: tuple[date, ...]
    tries: tuple[ColdTry, ...]
    service_bpm: float

    @property
    def in_words(self) -> str:
        """One or two sentences for player and leader."""
        if self.ready:
            days = " and ".join(day.isoformat() for day in self.good_days[-DAYS_NEEDED:])
            said = f"Ready: the first pass of the day was good on {days}."
            if self.tries and not self.tries[-1].met:
                said += f" The last first pass was not: {self.tries[-1].why}"
            return said
        missing = DAYS_NEEDED - len(self.good_days)
        more = "one more day" if missing == 1 else f"{missing} separate days"
        said = (
            f"Not ready yet: needs a good first pass of the day, the whole song at "
            f"{self.service_bpm:g} without a stop, on {more}."
        )
        if self.tries and not self.tries[-1].met:
            said += f" Last time: {self.tries[-1].why}"
        return said


def readiness(
    passes: Iterable[Pass],
    *,
    service_bpm: float,
    now: datetime,
    within_days: int = WITHIN_DAYS,
) -> Readiness:
    """Judge a player's passes of one song against the standard.

    Parameters
    ----------
    passes
        Of one player and one song, in any order.
    service_bpm
        The tempo of the service, > 0.
    now
        With its zone.
    within_days
        How far back a first pass still counts, today included, >= 1.
    """
    if not service_bpm > 0:
        raise PracticeError(f"A service tempo is above 0, not {service_bpm!r}.")
    if now.tzinfo is None:
        raise PracticeError("The present time needs its zone.")
    oldest = now.date() - timedelta(days=within_days - 1)
    firsts: dict[date, Pass] = {}
    for each in sorted(passes, key=lambda one: one.at):
        if oldest <= each.day <= now.date():
            firsts.setdefault(each.day, each)
    tries = tuple(_judged(each, service_bpm) for _, each in sorted(firsts.items()))
    good = tuple(each.day for each in tries if each.met)
    return Readiness(len(good) >= DAYS_NEEDED, good, tries, service_bpm)


def _judged(first: Pass, service_bpm: float) -> ColdTry:
    why = _short_of(first, service_bpm)
    said = why or "whole, at tempo and good at the first try."
    return ColdTry(first.day, first.tempo_bpm, not why, said)


def _short_of(first: Pass, service_bpm: float) -> str:
    """What the first pass of a day lacks; nothing where it meets the standard."""
    if abs(first.tempo_bpm - service_bpm) > TEMPO_SHARE * service_bpm:
        return f"the first pass was at {first.tempo_bpm:g}, the service is at {service_bpm:g}."
    if not first.whole:
        return "the first pass was not the whole song without a stop."
    if first.outcome is Outcome.UNSURE:
        return "the first pass could not be judged."
    if first.outcome is Outcome.CLEAN:
        return ""
    if first.roots_right is None or first.in_time is None:
        return "the first pass was not clean."
    if first.roots_right < ROOTS_RIGHT:
        return f"{first.roots_right:.0%} of the roots were right; {ROOTS_RIGHT:.0%} are asked."
    if not first.in_time:
        return "the roots were right, the time was not."
    return ""
