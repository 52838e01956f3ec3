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

# How beats are counted aloud: 1 e + a in four, 1 + a in three; common practice, no source.
_SYLLABLES = {
    4: ("", "e", "+", "a"),
    3: ("", "+", "a"),
}
_SPOKEN = {"e": "the e of", "+": "the and of", "a": "the a of"}
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_NOTE_NAMES = {8: "eighth", 16: "sixteenth", 32: "thirty-second"}


def beat_words(beat: Fraction, meter: Meter) -> str:
    """A place in a bar in words: ``beat 2``, ``the and of 2``; in 6/8 ``beat 2, third eighth``.

    Parameters
    ----------
    beat
        In counted beats of the meter, 1 on the bar line.
    """
    whole, inside = divmod(Fraction(beat), 1)
    if not inside:
        return f"beat {whole}"
    syllable = _syllable(inside, meter)
    if syllable and not meter.is_compound:
        return f"{_SPOKEN[syllable]} {whole}"
    written = inside * meter.beat
    place, name = inside.numerator, f"of {inside.denominator}"
    for unit, called in reversed(_NOTE_NAMES.items()):
        if unit % written.denominator == 0:
            place, name = int(written * unit), called
    ordinal = _ORDINALS[place] if place < len(_ORDINALS) else f"{place + 1}th"
    return f"beat {whole}, {ordinal} {name}"


def beat_count(beat: Fraction, meter: Meter) -> str:
    """The same in the fewest signs, as it is counted: ``2``, ``2+``, ``2a``."""
    whole, inside = divmod(Fraction(beat), 1)
    syllable = _syllable(inside, meter)
    if syllable is not None:
        return f"{whole}{syllable}"
    return f"{whole}({inside.numerator + 1} of {inside.denominator})"


def _syllable(inside: Fraction, meter: Meter) -> str | None:
    """What is said at a part of a beat; None where it has no syllable."""
    parts = 3 if meter.is_compound else 4
    place = inside * parts
    return _SYLLABLES[parts][int(place)] if place.denominator == 1 else None


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
