"""A player's own line of a song: written at their level, with what they changed bar by bar.

Conventions
-----------
What was changed is kept in the log as a row of steps, in their order ("another" idea for bar 3,
bar 5 "simpler", bar 7 "kept", bar 3 "free"), and done again each time the line is written: in
another key or at another level the same wishes hold. Bars are numbered as played.
"""

from __future__ import annotations

from functools import lru_cache

from undersong.chart.song import Song
from undersong.errors import LineError, UndersongError
from undersong.lines import LineSheet, another_idea, free_bar, pin_bar, simplify_bar, write_line
from undersong.log.values import Player
from undersong.neck.instrument import Instrument
from undersong.web.desk import Desk

STEPS = {
    "another": another_idea,
    "simpler": simplify_bar,
    "kept": pin_bar,
    "free": free_bar,
}
MOST_STEPS = 300
Step = tuple[str, int]


def line_for(desk: Desk, player: Player | None, song: Song, level: int | None = None) -> LineSheet:
    """The line as this player plays it; at their own level unless another is asked for."""
    usual = player.level if player else 1
    steps = steps_of(desk, player, song.title)
    return _line(song, level or usual, desk.instrument(player), steps)


def steps_of(desk: Desk, player: Player | None, title: str) -> tuple[Step, ...]:
    """What a player changed in the line of a song."""
    kept = desk.book.setting(_name(player, title), [])
    return tuple((str(what), int(bar)) for what, bar in kept) if isinstance(kept, list) else ()


def change_bar(desk: Desk, player: Player | None, song: Song, level: int, step: Step) -> None:
    """Change one bar, and remember it; a LineError where the song has no such bar."""
    what, bar = step
    if what not in STEPS:
        raise UndersongError(f"There is nothing called {what} to do with a bar.")
    before = line_for(desk, player, song, level)
    STEPS[what](song, before, bar)
    steps = [
        each for each in steps_of(desk, player, song.title) if what != "free" or each[1] != bar
    ]
    if what != "free":
        steps.append(step)
    if len(steps) > MOST_STEPS:
        raise UndersongError("This line was changed very often: set some bars free first.")
    desk.book.keep_setting(_name(player, song.title), [list(each) for each in steps])


@lru_cache(maxsize=64)
def _line(song: Song, level: int, instrument: Instrument, steps: tuple[Step, ...]) -> LineSheet:
    sheet = write_line(song, level=level, instrument=instrument)
    for what, bar in steps:
        try:
            sheet = STEPS[what](song, sheet, bar)
        except LineError:
            continue  # the chart was changed since, and has no such bar any more
    return sheet


def _name(player: Player | None, title: str) -> str:
    return f"line of {player.name if player else 'nobody'}: {title}"
