"""Tunings: the open strings of a bass from low to high, and what players call them.

References
----------
Trade handbook 4.1 (pitches in MIDI numbering).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise

from undersong.errors import TheoryError
from undersong.theory.pitch import Pitch, parse_pitch

STRINGS_MAX = 12
STRING_MIN_MIDI, STRING_MAX_MIDI = 12, 84  # C0 to C6: every fret stays a MIDI note


@dataclass(frozen=True, slots=True)
class Tuning:
    """Open strings from low to high, each higher than the one before, and a name for them.

    `midis` holds their MIDI numbers in the same order.
    """

    name: str
    strings: tuple[Pitch, ...]
    midis: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not 1 <= len(self.strings) <= STRINGS_MAX:
            raise TheoryError(f"A tuning has 1 to {STRINGS_MAX} strings, not {len(self.strings)}.")
        for pitch in self.strings:
            if not STRING_MIN_MIDI <= pitch.midi <= STRING_MAX_MIDI:
                raise TheoryError(f"A string tuned to {pitch} is no string: use C0 to C6.")
        for low, high in pairwise(self.strings):
            if low.midi >= high.midi:
                raise TheoryError(
                    f"The strings of a tuning go from low to high: {high} does not lie above {low}."
                )
        object.__setattr__(self, "midis", tuple(pitch.midi for pitch in self.strings))

    def __str__(self) -> str:
        return ",".join(str(pitch) for pitch in self.strings)

    @property
    def gaps(self) -> tuple[int, ...]:
        """Semitones from each string to the next above it."""
        return tuple(high - low for low, high in pairwise(self.midis))

    @property
    def is_even(self) -> bool:
        """True where every string lies the same interval above the one below."""
        return len(set(self.gaps)) <= 1


def _strings(text: str) -> tuple[Pitch, ...]:
    return tuple(parse_pitch(word) for word in re.split(r"[,;\s]+", text.strip()) if word)


STANDARD = Tuning("standard", _strings("E1 A1 D2 G2"))
TUNINGS = (
    STANDARD,
    Tuning("five-string, low B", _strings("B0 E1 A1 D2 G2")),
    Tuning("five-string, high C", _strings("E1 A1 D2 G2 C3")),
    Tuning("six-string", _strings("B0 E1 A1 D2 G2 C3")),
    Tuning("drop D", _strings("D1 A1 D2 G2")),
    Tuning("five-string, drop A", _strings("A0 E1 A1 D2 G2")),
    Tuning("half-step down", _strings("Eb1 Ab1 Db2 Gb2")),
    Tuning("whole-step down", _strings("D1 G1 C2 F2")),
    Tuning("B-E-A-D", _strings("B0 E1 A1 D2")),
    Tuning("tenor", _strings("A1 D2 G2 C3")),
    Tuning("piccolo", _strings("E2 A2 D3 G3")),
)

_OTHER_NAMES = {
    "four": "standard",
    "fourstring": "standard",
    "fourstringstandard": "standard",
    "4": "standard",
    "4string": "standard",
    "five": "five-string, low B",
    "fivestring": "five-string, low B",
    "5": "five-string, low B",
    "5string": "five-string, low B",
    "lowb": "five-string, low B",
    "fivelowb": "five-string, low B",
    "highc": "five-string, high C",
    "fivehighc": "five-string, high C",
    "six": "six-string",
    "6": "six-string",
    "6string": "six-string",
    "dropa": "five-string, drop A",
    "halfdown": "half-step down",
    "eflat": "half-step down",
    "lowstringdropped": "drop D",
    "wholedown": "whole-step down",
    "tenoradgc": "tenor",
}


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


_BY_LETTERS = {"EADG": "standard", "BEADG": "fivestring"}
_BY_NAME = {_plain(tuning.name): tuning for tuning in TUNINGS}
_BY_NAME |= {other: _BY_NAME[_plain(name)] for other, name in _OTHER_NAMES.items()}


def parse_tuning(text: str) -> Tuning:
    """A listed name (case, spaces and dashes are free), or strings low to high: ``E1,A1,D2,G2``."""
    named = _BY_NAME.get(_BY_LETTERS.get(text.strip().upper()) or _plain(text))
    if named is not None:
        return named
    try:
        strings = _strings(text)
    except TheoryError as error:
        names = "; ".join(tuning.name for tuning in TUNINGS)
        raise TheoryError(
            f"{text!r} is not a tuning: write strings from low to high with their octaves, "
            f"as in E1,A1,D2,G2, or one of: {names}."
        ) from error
    listed = [tuning for tuning in TUNINGS if tuning.strings == strings]
    return listed[0] if listed else Tuning(",".join(map(str, strings)), strings)
