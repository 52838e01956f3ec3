"""Grounds and inks: what the pages are drawn on and with, the same on paper and on screen.

One accent, `mark`, and no meaning by colour alone. Every text ink stands at least 4.5:1 from its
ground and every line that means something at least 3:1 (tests compute both).

References
----------
Contrast ratio and relative luminance [WCAG 2.2, W3C Recommendation, 2023].
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from undersong.errors import PageError


class Ink(StrEnum):
    """What a mark is drawn with; `GROUND` leaves the sheet's own colour."""

    INK = "ink"
    PENCIL = "pencil"
    RULE = "rule"
    MARK = "mark"
    GROUND = "ground"


@dataclass(frozen=True, slots=True)
class Ground:
    """One set of colours, each as ``#RRGGBB``.

    `rule` is ornament only; bar lines and strings are drawn in ink or pencil.
    """

    name: str
    ground: str
    ink: str
    pencil: str
    rule: str
    mark: str

    def colour(self, ink: Ink) -> str:
        """The colour of an ink on this ground."""
        return str(getattr(self, ink.value))


PAPER = Ground("paper", "#F6F1E7", "#1F1B16", "#5E564B", "#D5CAB6", "#8F2A22")
EVENING = Ground("evening", "#17140F", "#EDE6D8", "#B3A995", "#3A342A", "#E08A7D")
BLACK = Ground("black", "#000000", "#FFC46B", "#C9964A", "#3A2A12", "#FF7A5C")
# A printer's sheet is white by itself: inked paper would cost toner and contrast.
PRINT = Ground("print", "#FFFFFF", "#1F1B16", "#5E564B", "#D5CAB6", "#8F2A22")

GROUNDS = {each.name: each for each in (PRINT, PAPER, EVENING, BLACK)}


def ground_named(name: str) -> Ground:
    """The ground called print, paper, evening or black."""
    if name not in GROUNDS:
        raise PageError(f"There is no ground called {name}: choose {', '.join(GROUNDS)}.")
    return GROUNDS[name]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two ``#RRGGBB`` colours, 1 to 21, as WCAG 2.2 defines it."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    shares = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
