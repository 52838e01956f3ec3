"""Cautions: when to rest, when to stop, when to change the task.

Not medical advice; local rules and qualified people come first. Pain is asked about and never
played through.

References
----------
Trade handbook 9.2 (rest after ten minutes of one climb, five minutes in every twenty-five, growth
over 30 % against the four-week mean, stop signs) and 5.2 (three failures in a row); common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from undersong.practice.ladder import Outcome
from undersong.practice.passes import Pass

CLIMB_MIN = 10.0
REST_MIN = 1.0  # hands off the strings this long ends a run of one climb (project's choice)
STRETCH_MIN = 25.0
BREAK_MIN = 5.0
GROWTH = 0.30
FAILURES = 3
EASY_DAYS = 3  # days of shorter, easier playing after pain (project's choice)
_WEEK_DAYS = 7
_MEAN_WEEKS = 4

PAIN_QUESTION = (
    "Before you play: any pain, tingling, numbness, weakness or swelling in hands, arms, "
    "shoulders, neck or back?"
)
PAIN_STOP = (
    "Stop for today, and do not test it. Come back shorter and easier. If it lasts more than a few "
    "days, comes back, or there is numbness or weakness, see a clinician, best one who sees "
    "musicians."
)
PAIN_AFTER = (
    "You said that it hurt a little while ago: keep it short and easy, and stop at the first sign. "
    "If it is still there or has come back, see a clinician, best one who sees musicians."
)


class CautionKind(StrEnum):
    """What a caution asks for."""

    PAIN = "pain"
    BREAK = "break"
    REST = "rest"
    CHANGE_TASK = "change task"
    GROWTH = "growth"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to say to the player now."""

    kind: CautionKind
    text: str


@dataclass(frozen=True, slots=True)
class Load:
    """Minutes played: today, in the last seven days, and in a mean week of the four before.

    `mean_week_min` is None while there is no full week before the last seven days.
    """

    today_min: float
    week_min: float
    mean_week_min: float | None

    @property
    def growth(self) -> float | None:
        """0.3 is 30 % more than the mean; None without a mean, or after weeks of nothing."""
        if not self.mean_week_min:
            return None
        return round(self.week_min / self.mean_week_min - 1.0, 6)  # 130 on 100 is 0.3 exactly


def cautions(
    passes: Iterable[Pass], *, now: datetime, last_pain: date | None = None
) -> tuple[Caution, ...]:
    """What to say to a player now, the gravest first.

    Parameters
    ----------
    passes
        All of one player's passes, of every item, in any order.
    now
        With its zone; later passes are ignored.
    last_pain
        The last day on which the player said that it hurt.
    """
    played = sorted((each for each in passes if each.at <= now), key=lambda one: one.at)
    if last_pain is not None and last_pain >= now.date():
        return (Caution(CautionKind.PAIN, PAIN_STOP),)
    said: list[Caution] = []
    if last_pain is not None and (now.date() - last_pain).days <= EASY_DAYS:
        said.append(Caution(CautionKind.PAIN, PAIN_AFTER))
    if unbroken_min(played, now=now, pause_min=BREAK_MIN) >= STRETCH_MIN:
        said.append(Caution(CautionKind.BREAK, _BREAK_TEXT))
    elif climb_min(played, now=now) >= CLIMB_MIN:
        said.append(Caution(CautionKind.REST, _REST_TEXT))
    if failures_in_a_row(played) >= FAILURES:
        said.append(Caution(CautionKind.CHANGE_TASK, _CHANGE_TEXT))
    return (*said, *_growth_caution(load(played, now=now)))


_BREAK_TEXT = (
    f"{STRETCH_MIN:.0f} minutes without a break: put the bass down for {BREAK_MIN:.0f} minutes."
)
_REST_TEXT = (
    f"{CLIMB_MIN:.0f} minutes on one climb: rest your hands for a minute, then play something else."
)
_CHANGE_TEXT = (
    f"{FAILURES} passes in a row were not clean: change the task, not the tempo. A shorter loop, "
    "fewer notes, or only the move that goes wrong."
)


def _growth_caution(played: Load) -> tuple[Caution, ...]:
    if played.mean_week_min == 0 and played.week_min > 0:
        text = "Back after weeks without playing: begin with short days and let the hands catch up."
    elif played.growth is not None and played.growth > GROWTH:
        text = (
            f"{played.week_min:.0f} minutes in seven days, {played.growth:.0%} more than your mean "
            "week: hands like slower growth, 10 to 20 % a week."
        )
    else:
        return ()
    return (Caution(CautionKind.GROWTH, text),)


def unbroken_min(passes: Sequence[Pass], *, now: datetime, pause_min: float) -> float:
    """Minutes from the start of the playing that goes on now, over pauses shorter than given.

    `passes` are in order of time. 0 where the last pass ended longer ago than the pause.
    """
    pause = timedelta(minutes=pause_min)
    began = now
    for each in reversed(passes):
        if began - each.end >= pause:
            break
        began = min(began, each.at)
    return (now - began).total_seconds() / 60.0


def climb_min(passes: Sequence[Pass], *, now: datetime) -> float:
    """Minutes of the climb that goes on now: the last item alone, over pauses under a minute."""
    same: list[Pass] = []
    for each in reversed(passes):
        if each.item != passes[-1].item:
            break
        same.append(each)
    return unbroken_min(same[::-1], now=now, pause_min=REST_MIN)


def failures_in_a_row(passes: Sequence[Pass]) -> int:
    """Failed passes at the end of the last item's passes that day; unjudged ones do not count."""
    count = 0
    for each in reversed(passes):
        if each.item != passes[-1].item or each.day != passes[-1].day:
            break
        if each.outcome is Outcome.CLEAN:
            break
        count += each.outcome is Outcome.NOT_CLEAN
    return count


def load(passes: Iterable[Pass], *, now: datetime) -> Load:
    """Minutes played lately, in days of the player's own calendar.

    A player with less than four weeks before the last seven days is held against the weeks there
    are; with less than one, against nothing.
    """
    ago_min: dict[int, float] = {}
    for each in passes:
        days_ago = (now.date() - each.day).days
        if days_ago >= 0:
            ago_min[days_ago] = ago_min.get(days_ago, 0.0) + each.length_s / 60.0
    week = sum(minutes for days, minutes in ago_min.items() if days < _WEEK_DAYS)
    span = min(max(ago_min, default=0) + 1 - _WEEK_DAYS, _MEAN_WEEKS * _WEEK_DAYS)
    mean: float | None = None
    if span >= _WEEK_DAYS:
        earlier = sum(m for days, m in ago_min.items() if _WEEK_DAYS <= days < _WEEK_DAYS + span)
        mean = earlier / (span / _WEEK_DAYS)
    return Load(ago_min.get(0, 0.0), week, mean)


def asks_about_pain(last_asked: datetime | None, *, now: datetime) -> bool:
    """Whether to ask before playing on: at the day's first pass, and after every 25 minutes."""
    if last_asked is None or last_asked.astimezone(now.tzinfo).date() != now.date():
        return True
    return now - last_asked >= timedelta(minutes=STRETCH_MIN)
