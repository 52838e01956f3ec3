"""Clefs, the lines of a TAB staff, and where drums stand.

References
----------
Percussion keys: General MIDI 1 percussion map (RP-003). Where they stand on a staff: common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import mean

from undersong.exchange.xmltree import Element, sub
from undersong.theory.part import Part, Voice
from undersong.theory.pitch import plain_pitch

# Low to high (trade handbook 4.1), by number of strings.
_STANDARD = {
    4: (28, 33, 38, 43),
    5: (23, 28, 33, 38, 43),
    6: (23, 28, 33, 38, 43, 48),
}
_FOURTH = 5
_MIDDLE_C = 60
_DRUMS = {
    35: ("Acoustic Bass Drum", "E4"),
    36: ("Bass Drum 1", "F4"),
    37: ("Side Stick", "C5"),
    38: ("Acoustic Snare", "C5"),
    39: ("Hand Clap", "C5"),
    40: ("Electric Snare", "C5"),
    41: ("Low Floor Tom", "G4"),
    42: ("Closed Hi Hat", "G5"),
    43: ("High Floor Tom", "A4"),
    44: ("Pedal Hi-Hat", "D4"),
    45: ("Low Tom", "B4"),
    46: ("Open Hi-Hat", "G5"),
    47: ("Low-Mid Tom", "D5"),
    48: ("Hi-Mid Tom", "E5"),
    49: ("Crash Cymbal 1", "A5"),
    50: ("High Tom", "E5"),
    51: ("Ride Cymbal 1", "F5"),
    53: ("Ride Bell", "F5"),
    54: ("Tambourine", "B5"),
    57: ("Crash Cymbal 2", "B5"),
    59: ("Ride Cymbal 2", "F5"),
}
_CROSSED = {37, 42, 44, 46, 49, 51, 53, 54, 57, 59}  # cymbals and sticks have x heads


@dataclass(frozen=True, slots=True)
class Staves:
    """The clef of the staff (sign, line, octaves), and the TAB's strings, low to high, if any."""

    sign: str
    line: int | None
    octave_change: int
    tuning: tuple[int, ...] | None

    @property
    def has_tab(self) -> bool:
        """True where a TAB staff is written under the staff."""
        return self.tuning is not None

    def write(self, attributes: Element) -> None:
        """Staves, clefs and TAB lines, in the order the standard asks for."""
        if self.tuning is not None:
            sub(attributes, "staves", "2")
        clef = sub(attributes, "clef", number="1") if self.has_tab else sub(attributes, "clef")
        sub(clef, "sign", self.sign)
        if self.line is not None:
            sub(clef, "line", str(self.line))
        if self.octave_change:
            sub(clef, "clef-octave-change", str(self.octave_change))
        if self.tuning is None:
            return
        tab = sub(attributes, "clef", number="2")
        sub(tab, "sign", "TAB")
        sub(tab, "line", str(len(self.tuning)))
        details = sub(attributes, "staff-details", number="2")
        sub(details, "staff-lines", str(len(self.tuning)))
        for line, midi in enumerate(self.tuning, start=1):
            pitch = plain_pitch(midi, prefer_flats=True)
            tuning = sub(details, "staff-tuning", line=str(line))
            sub(tuning, "tuning-step", pitch.letter)
            if pitch.alteration:
                sub(tuning, "tuning-alter", str(pitch.alteration))
            sub(tuning, "tuning-octave", str(pitch.octave))


def staves_of(part: Part) -> Staves:
    """F clef an octave down for a bass, percussion for drums, G or F for a pad by its height."""
    if part.voice is Voice.DRUMS:
        return Staves("percussion", None, 0, None)
    if part.voice is Voice.PAD:
        is_high = part.notes and mean(note.pitch.midi for note in part.notes) >= _MIDDLE_C
        return Staves("G", 2, 0, None) if is_high else Staves("F", 4, 0, None)
    is_fingered = any(note.string and note.fret is not None for note in part.notes)
    return Staves("F", 4, -1, _tuning(part) if is_fingered else None)


def _tuning(part: Part) -> tuple[int, ...]:
    """The part's tuning; without one, the standard one that its strings and frets agree with."""
    most = max(note.string or 1 for note in part.notes)
    if part.tuning is not None and len(part.tuning) >= most:
        return part.tuning
    opens = {
        note.string: note.pitch.midi - note.fret
        for note in part.notes
        if note.string and note.fret is not None
    }
    for count in (4, 5, 6):
        standard = _STANDARD[count]
        if count >= most and all(standard[-string] == midi for string, midi in opens.items()):
            return standard

    def fourths_from_nearest(string: int) -> int:
        near = min(opens, key=lambda known: abs(known - string))
        return min(max(opens[near] + _FOURTH * (near - string), 0), 127)

    return tuple(fourths_from_nearest(string) for string in range(max(most, 4), 0, -1))


def drum_id(key: int) -> str:
    """The instrument of a percussion key in a file."""
    return f"P1-I{key}"


def drum_name(key: int) -> str:
    """The General MIDI name of a percussion key."""
    return _DRUMS[key][0] if key in _DRUMS else f"Percussion {key}"


def drum_place(key: int) -> str:
    """Where a percussion key stands on the staff, as a pitch of the G clef."""
    return _DRUMS[key][1] if key in _DRUMS else "E5"


def has_cross_head(key: int) -> bool:
    """True for keys written with an x."""
    return key in _CROSSED
