"""A line of bars, cut at its bar lines."""

from __future__ import annotations

import re
from dataclasses import dataclass

from undersong.chart.lines import BAR_LINE
from undersong.chart.signs import is_chord_like
from undersong.chart.song import Style

_PHRASE_CHORDS = 3
_CHORD_ALONE = re.compile(r"[#b]*[1-7A-G][^.:|%!@]*")


@dataclass(frozen=True, slots=True)
class Stretch:
    """What stands between two bar lines; `start` is its column from 0."""

    text: str
    start: int
    opens: bool
    closes: bool


def starts_with_number(word: str) -> bool:
    """True where a line without a name starts with a chord number: ``1 - - 5 | 4 |``."""
    return word[:1].isdigit() and is_chord_like(word, Style.NUMBERS)


def is_phrased(text: str) -> bool:
    """True for ``4 5 1 4 | 4 5 1``: bar lines between phrases only, none around them."""
    phrases = [phrase.split() for phrase in text.split("|")]
    return len(phrases) > 1 and all(
        len(phrase) >= _PHRASE_CHORDS and all(_CHORD_ALONE.fullmatch(word) for word in phrase)
        for phrase in phrases
    )


def stretches_of(plain: str, start: int) -> list[Stretch]:
    """What stands between the bar lines of a line, from a column on."""
    found: list[Stretch] = []
    opens, at = False, start
    for match in BAR_LINE.finditer(plain, start):
        found.append(Stretch(plain[at : match.start()], at, opens, bool(match["closes"])))
        opens, at = bool(match["opens"]), match.end()
    found.append(Stretch(plain[at:], at, opens, closes=False))
    return found
