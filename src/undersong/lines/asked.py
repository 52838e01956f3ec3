"""What a line is asked with: level, seed, feel, and a leader's wishes by section and bar."""

from __future__ import annotations

from dataclasses import dataclass, replace

from undersong.errors import LineError
from undersong.lines.feel import Feel
from undersong.lines.levels import checked_level
from undersong.lines.plan import BarPlan
from undersong.lines.score import Score
from undersong.theory.part import Note


@dataclass(frozen=True, slots=True)
class BarWish:
    """What a leader wants of one bar; places of `pinned` notes count from its bar line.

    `idea` 0 is the best line's own idea for the bar, 1 the next best, and so on round.
    """

    level: int | None = None
    idea: int = 0
    pinned: tuple[Note, ...] | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything a line was asked with; asking again gives the same line."""

    level: int
    seed: int = 1
    feel: Feel | None = None
    section_levels: tuple[tuple[str, int], ...] = ()
    bars: tuple[tuple[int, BarWish], ...] = ()

    def wish(self, bar: int) -> BarWish:
        """The wish for a bar, empty where there is none."""
        return dict(self.bars).get(bar, BarWish())

    def with_wish(self, bar: int, wish: BarWish | None) -> Asked:
        """The same with one bar's wish changed, or taken back."""
        bars = {number: each for number, each in self.bars if number != bar}
        if wish is not None:
            bars[bar] = wish
        return replace(self, bars=tuple(sorted(bars.items(), key=lambda each: each[0])))


def no_such_bar(bar: int, score: Score) -> LineError:
    """What to say of a bar the song does not have."""
    first, last = score.bars[0].number, score.bars[-1].number
    return LineError(
        f"{score.song.title} has no bar {bar}: its bars as played are {first} to {last}."
    )


def check(score: Score, asked: Asked) -> None:
    """Refuse a level, section or bar that does not exist."""
    checked_level(asked.level)
    called = [bar.called for bar in score.bars]
    known = dict.fromkeys((*(section.name for section in score.song.sections), *called))
    names = {name.casefold() for name in known}
    for name, level in asked.section_levels:
        checked_level(level)
        if name.casefold() not in names:
            raise LineError(
                f"{score.song.title} has no section called {name}: it has {', '.join(known)}."
            )
    numbers = {bar.number for bar in score.bars}
    for number, wish in asked.bars:
        if number not in numbers:
            raise no_such_bar(number, score)
        if wish.level is not None:
            checked_level(wish.level)


def level_of(plan: BarPlan, asked: Asked) -> int:
    """The level of a bar before anything is wished of it: its section's, or the line's."""
    levels = {name.casefold(): level for name, level in asked.section_levels}
    for name in (plan.played.called, plan.played.section):
        if name.casefold() in levels:
            return levels[name.casefold()]
    return asked.level
