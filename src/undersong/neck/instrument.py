"""The bass and the hand that plays it: tuning, frets, scale length, span, finger system.

Conventions
-----------
Strings are numbered as players number them: 1 is the highest. A tuning lists its strings from
low to high. Nothing here depends on handedness: a left-hander's neck is the same numbers drawn
in a mirror.

Sources
-------
Tunings are theory's (`theory/tuning.py`) and named here too, beside the instrument that has them.
Scale lengths and the default span: trade handbook 4.3 and 4.5, common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from undersong.errors import TheoryError
from undersong.theory.tuning import STANDARD, TUNINGS, Tuning, parse_tuning

__all__ = [
    "ADULT_SPAN_MM",
    "DEFAULT_FRETS",
    "FRETS_MAX",
    "FRETS_MIN",
    "MM_PER_INCH",
    "SCALE_LENGTHS_MM",
    "SCALE_MAX_MM",
    "SCALE_MIN_MM",
    "SPAN_MAX_MM",
    "SPAN_MIN_MM",
    "STANDARD",
    "TUNINGS",
    "FingerSystem",
    "Instrument",
    "Tuning",
    "parse_finger_system",
    "parse_scale_length",
    "parse_tuning",
]

FRETS_MIN, FRETS_MAX = 5, 36
SCALE_MIN_MM, SCALE_MAX_MM = 400.0, 1200.0
SPAN_MIN_MM, SPAN_MAX_MM = 50.0, 180.0
MM_PER_INCH = 25.4
DEFAULT_FRETS = 20
ADULT_SPAN_MM = 105.0

SCALE_LENGTHS_MM = {"short": 762.0, "medium": 812.8, "long": 863.6, "extra long": 889.0}


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


class FingerSystem(StrEnum):
    """How fingers fall on frets (trade handbook 4.5)."""

    ONE_PER_FRET = "one finger per fret"
    ONE_TWO_FOUR = "1-2-4"  # where four frets are wider than the hand; one per fret above that


def parse_finger_system(text: str) -> FingerSystem:
    """Read ``one finger per fret``, ``1-2-3-4``, ``1-2-4`` or ``Simandl``."""
    plain = _plain(text)
    if plain in ("onefingerperfret", "oneperfret", "1234", "fourfingers"):
        return FingerSystem.ONE_PER_FRET
    if plain in ("124", "onetwofour", "simandl", "threefingers"):
        return FingerSystem.ONE_TWO_FOUR
    raise TheoryError(f"{text!r} is not a finger system: write one finger per fret, or 1-2-4.")


def parse_scale_length(text: str) -> float:
    """Millimetres of a scale length: ``short``, ``extra long``, ``34in``, ``863.6``."""
    plain = re.sub(r"[\s_-]+", " ", text.strip().lower())
    if plain in SCALE_LENGTHS_MM:
        return SCALE_LENGTHS_MM[plain]
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(mm|in|inch|inches|\")?", plain)
    if match is None:
        names = ", ".join(SCALE_LENGTHS_MM)
        raise TheoryError(f"{text!r} is not a scale length: write {names}, 863.6 mm or 34 in.")
    number = float(match[1])
    return number if match[2] in (None, "mm") else number * MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Instrument:
    """One bass in one pair of hands.

    `scale_mm` is the vibrating length of the open string; `hand_span_mm` the comfortable
    distance from finger 1 to finger 4, measured relaxed on the neck.
    """

    tuning: Tuning = STANDARD
    frets: int = DEFAULT_FRETS
    scale_mm: float = SCALE_LENGTHS_MM["long"]
    left_handed: bool = False
    fretless: bool = False
    hand_span_mm: float = ADULT_SPAN_MM
    finger_system: FingerSystem = FingerSystem.ONE_PER_FRET

    def __post_init__(self) -> None:
        if not FRETS_MIN <= self.frets <= FRETS_MAX:
            frets = "1 fret" if self.frets == 1 else f"{self.frets} frets"
            raise TheoryError(
                f"A neck of {frets} is not one we can use: give {FRETS_MIN} to {FRETS_MAX}."
            )
        if not SCALE_MIN_MM <= self.scale_mm <= SCALE_MAX_MM:
            raise TheoryError(
                f"A scale length of {self.scale_mm:g} mm is not one we can use: give "
                f"{SCALE_MIN_MM:g} to {SCALE_MAX_MM:g} mm (long is 863.6)."
            )
        if not SPAN_MIN_MM <= self.hand_span_mm <= SPAN_MAX_MM:
            raise TheoryError(
                f"A hand span of {self.hand_span_mm:g} mm is not one we can use: measure finger "
                f"1 to finger 4 relaxed on the neck, {SPAN_MIN_MM:g} to {SPAN_MAX_MM:g} mm."
            )

    @property
    def strings(self) -> int:
        """How many strings."""
        return len(self.tuning.strings)

    @property
    def lowest(self) -> int:
        """MIDI number of the lowest open string."""
        return self.tuning.midis[0]

    @property
    def highest(self) -> int:
        """MIDI number of the last fret of the highest string."""
        return self.tuning.midis[-1] + self.frets

    def open_midi(self, string: int) -> int:
        """MIDI number of an open string; string 1 is the highest."""
        return self.tuning.midis[-string]

    def midi_at(self, string: int, fret: int) -> int:
        """MIDI number at a string and fret; fret 0 is the open string."""
        if not (1 <= string <= self.strings and 0 <= fret <= self.frets):
            raise ValueError(f"no string {string} and fret {fret} on this neck")
        return self.open_midi(string) + fret

    def places(self, midi: int) -> tuple[tuple[int, int], ...]:
        """Every (string, fret) that sounds a MIDI number, lowest string first."""
        count = self.strings
        return tuple(
            (count - place, midi - low)
            for place, low in enumerate(self.tuning.midis)
            if 0 <= midi - low <= self.frets
        )
