"""Letters to numbers and back, exactly, in any key and either habit of minor.

Spelling goes by degree, never by pitch class: in F the flat 7 is Eb, in E a major 3 is G#
(trade handbook 3.4, rule 4). `plain_chord` is for eyes only: it shows B for a Cb of a far key
where the exact name would need a double sign.
"""

from __future__ import annotations

from dataclasses import replace

from undersong.chart.song import Song
from undersong.theory.chord import Chord, NumberChord, number_of
from undersong.theory.key import Degree, Key, MinorHabit
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


def with_habit(song: Song, habit: MinorHabit) -> Song:
    """The same song with its minor numbered the other way; a major song is returned as it is.

    Every chord keeps its letters. Key changes stay as they are, since they name keys or steps.
    """
    if habit is song.minor_habit:
        return song
    old, new = song.number_key, song.key.number_key(habit)
    if old == new:
        return replace(song, minor_habit=habit)
    sections = tuple(
        replace(
            section,
            bars=tuple(
                replace(
                    bar,
                    events=tuple(
                        replace(event, chord=_recounted(event.chord, old, new))
                        for event in bar.events
                    ),
                )
                for bar in section.bars
            ),
        )
        for section in song.sections
    )
    return replace(song, sections=sections, minor_habit=habit)


def _recounted(chord: NumberChord | None, old: Key, new: Key) -> NumberChord | None:
    return None if chord is None else number_of(chord.in_key(old), new)


def degree_in(degree: Degree, old: Key, new: Key) -> Degree:
    """A degree of one key counted in another: the 5 of the new key in old numbers, say."""
    return new.degree_of(old.name_of(degree))
