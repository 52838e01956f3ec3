"""The feel of a song: which family of rhythms its players share.

The feel comes from the chart's own word for it, else from its meter. All of this is common
practice, no source (trade handbook 7.4).
"""

from __future__ import annotations

import re
from enum import StrEnum
from fractions import Fraction

from undersong.chart.song import Song
from undersong.errors import LineError
from undersong.theory.tempo import Swing


class Feel(StrEnum):
    """A family of rhythms for bass, kick and snare."""

    STRAIGHT = "straight eighths"
    SIXTEENTHS = "sixteenths"
    HALF_TIME = "half-time"
    FLOOR = "four on the floor"
    BALLAD_68 = "6/8 ballad"
    SHUFFLE = "shuffle"
    GOSPEL = "gospel"


# Looked for in this order: "half-time shuffle" is a shuffle, "straight" settles the rest.
_WORDS = (
    (r"gospel|syncopat", Feel.GOSPEL),
    (r"shuffle|swing|swung", Feel.SHUFFLE),
    (r"half.?time", Feel.HALF_TIME),
    (r"floor|dance|club|disco", Feel.FLOOR),
    (r"6/8|12/8|compound|in six", Feel.BALLAD_68),
    (r"sixteen|16", Feel.SIXTEENTHS),
    (r"straight|eighths?|8ths?|\brock\b|drive", Feel.STRAIGHT),
)
_NO_SWING = re.compile(r"\b(?:no|not|without|un)\W*(?:swing|swung|shuffle)")


def _named(text: str) -> Feel | None:
    plain = _NO_SWING.sub("straight", text.casefold())
    if "straight" in plain:
        plain = re.sub(r"shuffle|swing|swung", "", plain)
    for pattern, feel in _WORDS:
        if re.search(pattern, plain):
            return feel
    return None


def parse_feel(text: str) -> Feel:
    """Read the name of a feel: ``straight eighths``, ``Half time``, ``6/8 ballad``, ``gospel``."""
    found = _named(text)
    if found is None:
        names = ", ".join(feel.value for feel in Feel)
        raise LineError(f"{text!r} is not a feel we know: write one of {names}.")
    return found


def feel_of(song: Song) -> Feel:
    """The feel a chart asks for, by its words, else by its meter."""
    named = _named(song.feel) if song.feel else None
    if named is not None:
        return named
    return Feel.BALLAD_68 if song.meter.is_compound else Feel.STRAIGHT


def swing_of(song: Song, feel: Feel) -> Swing | None:
    """Long and short notes of a pair; none where the beat already divides in three."""
    if song.meter.is_compound:
        return None
    if song.swing is not None and feel in (Feel.SHUFFLE, feel_of(song)):
        return song.swing
    return Swing(Fraction(1, 8)) if feel is Feel.SHUFFLE else None
