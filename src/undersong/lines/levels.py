"""The six levels a line can be written at.

The list of the trade handbook 7.1 (common practice, no source) with its fifth level in two: what
a level plays it adds to the level before, and the note on each chord's arrival is the same at all
of them, so that players can swap on the morning.
"""

from __future__ import annotations

from dataclasses import dataclass

from undersong.errors import LineError


@dataclass(frozen=True, slots=True)
class Level:
    """One step of the way: its number, a name, and what is played."""

    number: int
    name: str
    plays: str


LEVELS = (
    Level(1, "held roots", "One long note for each chord: arrive on time, end on time."),
    Level(2, "steady roots", "The root in the rhythm of the kick drum, and nothing else."),
    Level(3, "root, fifth, octave", "The root with its fifth and octave, in two rhythms a song."),
    Level(
        4,
        "passing and approach notes",
        "A step or a half step into the next chord, at most once in two bars.",
    ),
    Level(5, "fills and pick-ups", "A short figure at phrase ends, and a lead into each section."),
    Level(6, "melodic lines", "Tenths and a second melody between the roots."),
)
LOWEST_LEVEL, HIGHEST_LEVEL = 1, len(LEVELS)
HELD, STEADY, CHORD_NOTES, APPROACHES, FILLS, MELODY = range(LOWEST_LEVEL, HIGHEST_LEVEL + 1)


def checked_level(level: int) -> int:
    """The level itself, if there is one of that number."""
    if not LOWEST_LEVEL <= level <= HIGHEST_LEVEL:
        raise LineError(
            f"There is no level {level}: levels go from {LOWEST_LEVEL}, {LEVELS[0].name}, "
            f"to {HIGHEST_LEVEL}, {LEVELS[-1].name}."
        )
    return level
