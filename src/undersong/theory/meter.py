"""Meter, and musical time as exact fractions of a whole note."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from undersong.errors import TheoryError

Wholes = Fraction
"""Musical time: a fraction of a whole note (1/8 is an eighth; a bar of 6/8 lasts 3/4)."""

_METER = re.compile(r"\s*(\d{1,2})\s*/\s*(\d{1,2})\s*")
_UNITS = (1, 2, 4, 8, 16, 32)
MAX_UPPER = 32


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature; its beat is the one a band counts (a dotted quarter in 6/8)."""

    upper: int
    unit: int

    def __post_init__(self) -> None:
        if self.unit not in _UNITS or not 1 <= self.upper <= MAX_UPPER:
            raise TheoryError(f"{self} is not a meter: write 4/4, 3/4, 6/8, 12/8 and the like.")

    def __str__(self) -> str:
        return f"{self.upper}/{self.unit}"

    @property
    def is_compound(self) -> bool:
        """True where the beat divides in three: 6/8, 9/8, 12/8."""
        return self.unit >= 8 and self.upper > 3 and self.upper % 3 == 0

    @property
    def beat(self) -> Wholes:
        """Length of one counted beat."""
        return Fraction(3 if self.is_compound else 1, self.unit)

    @property
    def bar(self) -> Wholes:
        """Length of a full bar."""
        return Fraction(self.upper, self.unit)

    @property
    def beats(self) -> int:
        """Counted beats in a bar: two in 6/8."""
        return int(self.bar / self.beat)


FOUR_FOUR = Meter(4, 4)


def parse_meter(text: str) -> Meter:
    """Read ``4/4``, ``6/8`` and the like."""
    match = _METER.fullmatch(text)
    if match is None:
        raise TheoryError(f"{text!r} is not a meter: write 4/4, 3/4, 6/8, 12/8 and the like.")
    return Meter(int(match[1]), int(match[2]))


def parse_wholes(text: str) -> Wholes:
    """Read an exact length or place: ``3/8``, ``2``, ``0``."""
    try:
        value = Fraction(text)
    except (ValueError, ZeroDivisionError):
        raise TheoryError(
            f"{text!r} is not a musical time: write a fraction such as 3/8."
        ) from None
    if "." in text or "e" in text.lower():
        raise TheoryError(f"{text!r} is not exact: write a fraction such as 3/8.")
    return value
