"""What to practise today, in fifteen to twenty minutes.

Conventions
-----------
A day has seven turns: tune, yesterday's item cold, something hard (A), something else (B), A
again, a section of a song, one line of notes. With less time turns become shorter, then fall away
in a stated order; a plan never holds more minutes than were given, nor more than twenty. Turns
are counted in half minutes.

References
----------
Trade handbook 5.7 (twenty minutes a day; six items a week, each on at least two days) and 5.3;
common practice, no source for the minutes themselves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from undersong.errors import PracticeError
from undersong.practice.care import EASY_DAYS, PAIN_AFTER, PAIN_STOP

MOST_MIN = 20.0
EASY_MIN = 10.0  # the most on the days after pain (project's choice)
ITEMS_A_WEEK = 6
_SHORT_MIN = 17.0  # at or under this B has half its turn, as the handbook's fifteen minutes do


class Turn(StrEnum):
    """The turns of a day, in order."""

    TUNE = "tune"
    COLD = "first try"
    HARD = "new"
    OTHER = "other"
    AGAIN = "again"
    SONG = "song"
    NOTE = "write"
    REST = "rest"


@dataclass(frozen=True, slots=True)
class WeakSpot:
    """Something that goes wrong: where, what in words, how much (more is worse), tempo to try."""

    item: str
    what: str
    weight: float = 1.0
    tempo_bpm: float | None = None


@dataclass(frozen=True, slots=True)
class PlanSong:
    """A song of Sunday's set: its name in the log, its title, its tempo and its sections."""

    item: str
    title: str
    service_bpm: float
    sections: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanItem:
    """One turn: minutes, what to play (None for no item), at what tempo, in words, and why."""

    minutes: float
    turn: Turn
    item: str | None
    tempo_bpm: float | None
    text: str
    why: str


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The turns of one day."""

    day: date
    items: tuple[PlanItem, ...]

    @property
    def minutes(self) -> float:
        """All turns together."""
        return sum(item.minutes for item in self.items)


# Turn: minutes of a full day, least minutes that make sense. Listed in the order in which turns
# fall away when even the least of all does not fit.
_TURNS: dict[Turn, tuple[float, float]] = {
    Turn.OTHER: (4.0, 2.0),
    Turn.AGAIN: (3.0, 1.5),
    Turn.NOTE: (1.0, 0.5),
    Turn.SONG: (3.0, 1.5),
    Turn.HARD: (4.0, 2.0),
    Turn.TUNE: (2.0, 1.0),
    Turn.COLD: (3.0, 2.0),
}
_ORDER = (Turn.TUNE, Turn.COLD, Turn.HARD, Turn.OTHER, Turn.AGAIN, Turn.SONG, Turn.NOTE)


@dataclass(frozen=True, slots=True)
class _Task:
    """Something to work on: a weak spot, a song's hardest moves, or plain technique."""

    item: str | None
    text: str
    tempo_bpm: float | None = None


# When there is too little from songs: what every bassist needs (trade handbook 6, X17-X19 and X7).
_TECHNIQUE = (
    _Task(None, "Long tones: hold for four counts, and stop exactly on the next 1."),
    _Task(None, "Stops: four eighths, then four eighths of silence. Both hands mute."),
    _Task(None, "Root moves: from 1 to 4, 5 and 6 and back, second half with eyes shut."),
    _Task(None, "Open strings, each struck only after the last is damped, up and down."),
)


def daily_plan(
    songs: Sequence[PlanSong],
    weak_spots: Sequence[WeakSpot],
    *,
    day: date,
    minutes: float = MOST_MIN,
    yesterday: str | None = None,
    last_pain: date | None = None,
) -> DayPlan:
    """The plan of one day.

    Parameters
    ----------
    songs
        Sunday's songs in order.
    weak_spots
        What goes wrong, in any order; the worst six are worked on, in rotation by the day.
    day
        Which day it is for.
    minutes
        Time there is, >= 0; more than twenty are not filled.
    yesterday
        The item worked on yesterday, to be tried cold; by rotation if None.
    last_pain
        The last day on which the player said that it hurt: no playing on that day, and a short,
        easy plan on the days after.

    Returns
    -------
    DayPlan
        At most `minutes` long; empty where not even one turn fits.
    """
    if not (math.isfinite(minutes) and minutes >= 0):
        raise PracticeError(f"A plan has some minutes, 0 or more, not {minutes!r}.")
    sore = None if last_pain is None else (day - last_pain).days
    if sore is not None and sore <= 0:
        return _day_of_rest(day, minutes)
    easy = sore is not None and sore <= EASY_DAYS
    most = min(minutes, EASY_MIN if easy else MOST_MIN)
    # After pain nothing at full tempo: no cold try, no song.
    wanted = [turn for turn in _ORDER if not (easy and turn in (Turn.COLD, Turn.SONG))]
    tasks = _tasks(songs, weak_spots)
    place = day.toordinal() % len(tasks)
    hard = tasks[place]
    other = tasks[(place + len(tasks) // 2) % len(tasks)]
    if other is hard:
        other = _TECHNIQUE[day.toordinal() % len(_TECHNIQUE)]
    cold = _cold(tasks, songs, tasks[place - 1] if yesterday is None else None, yesterday)
    words = {
        Turn.TUNE: _tune(easy=easy),
        Turn.COLD: cold,
        Turn.HARD: (hard.item, hard.tempo_bpm, hard.text, _WHY[Turn.HARD]),
        Turn.OTHER: (other.item, other.tempo_bpm, other.text, _WHY[Turn.OTHER]),
        Turn.AGAIN: (hard.item, hard.tempo_bpm, f"Once more: {hard.text}", _WHY[Turn.AGAIN]),
        Turn.SONG: _section(songs, day),
        Turn.NOTE: (
            None,
            None,
            "Write one line on paper: what went better, what is next.",
            _WHY[Turn.NOTE],
        ),
    }
    shares = turn_minutes(most, wanted)
    return DayPlan(
        day, tuple(PlanItem(shares[turn], turn, *words[turn]) for turn in _ORDER if turn in shares)
    )


def week_plan(
    songs: Sequence[PlanSong],
    weak_spots: Sequence[WeakSpot],
    *,
    first_day: date,
    days: int = 6,
    minutes: float = MOST_MIN,
) -> tuple[DayPlan, ...]:
    """Days in a row; of six items or fewer each comes on at least two days of six."""
    if days < 0:
        raise PracticeError(f"A week plan has some days, 0 or more, not {days}.")
    return tuple(
        daily_plan(songs, weak_spots, day=first_day + timedelta(days=ahead), minutes=minutes)
        for ahead in range(days)
    )


_WHY = {
    Turn.TUNE: "Ears and hands wake up together.",
    Turn.COLD: "The first try of the day is the honest one: Sunday has no second.",
    Turn.HARD: "The hardest thing comes while you are fresh. Let the climb set the tempo.",
    Turn.OTHER: "Something else in between makes the first thing stick.",
    Turn.AGAIN: "Coming back to it after a change is where it settles.",
    Turn.SONG: "Full tempo, no stopping, whatever happens: the band will not wait.",
    Turn.NOTE: "Tomorrow you will want to know.",
    Turn.REST: "Rest is part of the work.",
}

_Words = tuple[str | None, float | None, str, str]


def _tune(*, easy: bool) -> _Words:
    text = "Tune each string on its own; then long tones, both hands muting."
    return None, None, f"{PAIN_AFTER} {text}" if easy else text, _WHY[Turn.TUNE]


def _tasks(songs: Sequence[PlanSong], weak_spots: Sequence[WeakSpot]) -> tuple[_Task, ...]:
    """The week's items, the worst first: weak spots, then songs without one, then technique."""
    worst = sorted(weak_spots, key=lambda spot: -spot.weight)[:ITEMS_A_WEEK]
    tasks = [_Task(spot.item, f"{spot.what}.".replace("..", "."), spot.tempo_bpm) for spot in worst]
    covered = {spot.item for spot in worst}
    tasks += [
        _Task(song.item, f"{song.title}: only its two hardest moves, as a loop.")
        for song in songs
        if song.item not in covered
    ]
    return tuple(tasks[:ITEMS_A_WEEK]) or _TECHNIQUE


def _cold(
    tasks: Sequence[_Task], songs: Sequence[PlanSong], task: _Task | None, yesterday: str | None
) -> _Words:
    """Yesterday's item at its real tempo, once, and the result written down."""
    item = yesterday if task is None else task.item
    known = task or next((each for each in tasks if each.item == yesterday), None)
    song = next((each for each in songs if each.item == item), None)
    what = song.title if song else known.text.rstrip(".") if known else f"{item}"
    tempo_bpm = song.service_bpm if song else known.tempo_bpm if known else None
    at_tempo = "at tempo" if tempo_bpm is None else f"at {tempo_bpm:g}"
    text = f"First try, cold, {at_tempo}: {what}. Once through, no stopping; keep the result."
    return item, tempo_bpm, text, _WHY[Turn.COLD]


def _section(songs: Sequence[PlanSong], day: date) -> _Words:
    if not songs:
        text = "A song you know, one section, full tempo, no stopping."
        return None, None, text, _WHY[Turn.SONG]
    turn = day.toordinal()
    song = songs[turn % len(songs)]
    part = song.sections[turn // len(songs) % len(song.sections)] if song.sections else None
    what = f"{song.title}, {part}" if part else f"{song.title}, one section"
    text = f"{what}: full tempo, {song.service_bpm:g}, no stopping."
    return song.item, song.service_bpm, text, _WHY[Turn.SONG]


def _day_of_rest(day: date, minutes: float) -> DayPlan:
    if minutes < 1:
        return DayPlan(day, ())
    text = f"No playing today. {PAIN_STOP} With the time you have: listen to Sunday's songs, read"
    listen = PlanItem(
        math.floor(min(minutes, MOST_MIN) * 2) / 2,
        Turn.REST,
        None,
        None,
        f"{text} along in numbers, and say the roots aloud.",
        _WHY[Turn.REST],
    )
    return DayPlan(day, (listen,))


def turn_minutes(minutes: float, turns: Sequence[Turn] = _ORDER) -> dict[Turn, float]:
    """Minutes for each turn of a day, in half minutes, together at most `minutes`.

    Turns that cannot have their least are left out, B first and the cold try last; the rest is
    shared in the proportion of a full day.
    """
    halves = math.floor(minutes * 2)
    kept = [turn for turn in _TURNS if turn in turns]
    while kept and sum(_halves(_TURNS[turn][1]) for turn in kept) > halves:
        kept = kept[1:]
    if not kept:
        return {}
    full = {turn: _full_halves(turn, minutes) for turn in kept}
    least = {turn: _halves(_TURNS[turn][1]) for turn in kept}
    share = min(1.0, halves / sum(full.values()))
    given = {turn: max(least[turn], math.floor(full[turn] * share)) for turn in kept}
    while sum(given.values()) > halves:  # raising some to their least may have gone over
        given[max(kept, key=lambda turn: (given[turn] - least[turn], full[turn]))] -= 1
    while sum(given.values()) < min(halves, sum(full.values())):
        given[max(kept, key=lambda turn: full[turn] * share - given[turn])] += 1
    return {turn: count / 2 for turn, count in given.items()}


def _halves(minutes: float) -> int:
    return round(minutes * 2)


def _full_halves(turn: Turn, minutes: float) -> int:
    full, least = _TURNS[turn]
    return _halves(least if turn is Turn.OTHER and minutes <= _SHORT_MIN else full)
