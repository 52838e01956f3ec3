"""Degrees of a major key as spelled pitches, and places on a neck: the little the takes need.

Kept apart from the package under test on purpose, so that a mistake there cannot hide here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

LETTERS = "CDEFGAB"
NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
MAJOR_STEPS = (0, 2, 4, 5, 7, 9, 11)
ACCIDENTALS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
MAJOR_KEYS = ("C", "G", "D", "A", "E", "B", "F", "Bb", "Eb", "Ab", "Db", "Gb")

FOUR_STRING = (28, 33, 38, 43)
FIVE_STRING = (23, 28, 33, 38, 43)
SIX_STRING = (23, 28, 33, 38, 43, 48)
DROP_TUNINGS = ((26, 33, 38, 43), (26, 31, 36, 41))
"""Drop D, and D standard: all four a whole step down."""
HIGHEST_FRET = 12


def tonic_class(key: str) -> int:
    """Pitch class of a key's tonic, 0 for C."""
    return (NATURAL[key[0]] + key.count("#") - key.count("b")) % 12


@dataclass(frozen=True, slots=True)
class Spelled:
    """A pitch with its spelling and its degree in the key (`#4`, `b7`)."""

    midi: int
    pitch: str
    degree: str


def spelled(key: str, tonic_midi: int, step: int, raised: int = 0) -> Spelled:
    """The scale step `step` above the tonic (1 the tonic, 8 its octave, 0 the 7 below).

    `raised` is a chromatic alteration in semitones.
    """
    octave, place = divmod(step - 1, 7)
    midi = tonic_midi + 12 * octave + MAJOR_STEPS[place] + raised
    letter = LETTERS[(LETTERS.index(key[0]) + place) % 7]
    accidental = (midi - NATURAL[letter] + 6) % 12 - 6
    name = f"{letter}{ACCIDENTALS[accidental]}{(midi - accidental) // 12 - 1}"
    return Spelled(midi, name, f"{ACCIDENTALS[raised]}{place + 1}")


def lowest_tonic(key: str, lowest_midi: int) -> int:
    """The lowest tonic of a key at or above a note."""
    return lowest_midi + (tonic_class(key) - lowest_midi) % 12


def neck_places(midis: Sequence[int], open_strings: Sequence[int]) -> list[tuple[int, int]]:
    """A plausible (string, fret) for each note, string 1 the highest: nearest to the last fret."""
    places: list[tuple[int, int]] = []
    hand = 3
    for midi in midis:
        options = [
            (abs(midi - open_midi - hand) + 2 * (midi == open_midi), midi - open_midi, place)
            for place, open_midi in enumerate(open_strings)
            if 0 <= midi - open_midi <= HIGHEST_FRET + 8
        ]
        _, fret, place = min(options)
        places.append((len(open_strings) - place, fret))
        hand = round(0.5 * hand + 0.5 * fret) if fret else hand
    return places
