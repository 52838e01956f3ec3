"""Letters to numbers and back, exactly, in any key and either habit of minor.

Spelling goes by degree, never by pitch class: in F the flat 7 is Eb, in E a major 3 is G#
(trade handbook 3.4, rule 4). `plain_chord` is for eyes only: it shows B for a Cb of a far key
where the exact name would need a double sign.
"""

from __future__ import annotations

from dataclasses import replace

from undersong.theory.chord import Chord, NumberChord, number_of
from undersong.theory.key import Key, MinorHabit
from undersong.theory.pitch import PitchName, plain_pitch

_MIDDLE_OCTAVE = 60


def letters(chord: NumberChord, key: Key, habit: MinorHabit = MinorHabit.RELATIVE) -> Chord:
    """A number of a key as a letter chord, spelled by degree."""
    return chord.in_key(key.number_key(habit))


def numbers(chord: Chord, key: Key, habit: MinorHabit = MinorHabit.RELATIVE) -> NumberChord:
    """A letter chord as a number of a key; the inverse of `letters`."""
    return number_of(chord, key.number_key(habit))


def plain_chord(chord: Chord) -> Chord:
    """The chord with double sharps and flats shown as the plain neighbour: ``Bbb`` as ``A``."""
    bass = None if chord.bass is None else plain_name(chord.bass)
    return replace(chord, root=plain_name(chord.root), bass=bass)


def plain_name(name: PitchName) -> PitchName:
    """The note name, or its plain neighbour by sound where it has a double sign."""
    if abs(name.alteration) <= 1:
        return name
    prefer_flats = name.alteration < 0
    return plain_pitch(_MIDDLE_OCTAVE + name.pitch_class, prefer_flats=prefer_flats).name
