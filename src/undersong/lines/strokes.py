"""Every stroke of a bass line, and what it is to the chord it sounds under.

Read from the notes, the chords and the key marks of a Part alone, so that a line from anywhere
can be looked at.

Conventions
-----------
A note's *class* is what it is to the chord that sounds: the chord's bass note, its root, fifth or
an octave of those (`SUPPORT`), another note of the chord (`CHORD`), another note of the scale of
the moment (`PASSING`), or none of these (`CHROMATIC`). A *strong beat* is a bar line or a
chord's arrival. An *approach* is a passing or chromatic note directly before a chord's arrival;
it is *resolved* if the arrival lies a step or half step away, or, for the first of two, if both
enclose or walk into it; the fifth of the arrival, where it belongs to the scale, resolves too
(trade handbook 7.2, rule 3).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from undersong.lines.walk import STEP_SEMITONES, scale_over
from undersong.theory.chord import NumberChord
from undersong.theory.key import Key
from undersong.theory.meter import Wholes
from undersong.theory.part import Note, Part, Stroke
from undersong.theory.pitch import SEMITONES_PER_OCTAVE

LONGEST_PUSH = Wholes(1, 4)  # a chord that arrives no earlier before a key change is pushed
FOURTH_SEMITONES = 5  # from a note's fifth up to the note


class NoteClass(IntEnum):
    """What a note is to the chord of the moment."""

    SUPPORT = 0
    CHORD = 1
    PASSING = 2
    CHROMATIC = 3


@dataclass(frozen=True, slots=True)
class Seen:
    """A stroke and what the ear makes of it."""

    stroke: Stroke
    bar: int
    note_class: NoteClass
    is_strong: bool
    is_off_beat: bool
    is_own_move: bool
    is_bass_note: bool
    is_approach: bool = False
    is_resolved: bool = False


def looked_at(part: Part) -> list[Seen]:
    """Every stroke of a bass part with its chord, in order."""
    walker = _Walker(part)
    strokes = part.strokes
    seen: list[Seen] = []
    before: Stroke | None = None
    for stroke in strokes:
        chord, key = walker.moved_to(stroke.at)
        midi = stroke.note.pitch.midi
        is_strong = stroke.at in walker.arrivals or stroke.at in walker.bar_lines
        seen.append(
            Seen(
                stroke,
                walker.bar_number,
                note_class(midi, chord, key),
                is_strong,
                walker.is_off_beat(stroke.at),
                before is not None and before.note.pitch.midi != midi and not is_strong,
                chord is not None and _is_bass_note(midi, chord, key),
            )
        )
        before = stroke
    return _with_approaches(seen)


def _is_bass_note(midi: int, chord: NumberChord, key: Key) -> bool:
    return midi % SEMITONES_PER_OCTAVE == key.name_of(chord.lowest).pitch_class


def note_class(midi: int, chord: NumberChord | None, key: Key) -> NoteClass:
    """What a MIDI number is to a chord; without a chord, to the key alone."""
    pitch_class = midi % SEMITONES_PER_OCTAVE
    if chord is None:
        in_key = any(name.pitch_class == pitch_class for name in key.names)
        return NoteClass.PASSING if in_key else NoteClass.CHROMATIC
    letters = chord.in_key(key)
    support = {letters.root.pitch_class, letters.lowest.pitch_class}
    support |= {name.pitch_class for role, name in letters.tones if role == "fifth"}
    if pitch_class in support:
        return NoteClass.SUPPORT
    if any(name.pitch_class == pitch_class for _, name in letters.tones):
        return NoteClass.CHORD
    scale = {name.pitch_class for name in scale_over(chord, key)}
    return NoteClass.PASSING if pitch_class in scale else NoteClass.CHROMATIC


class _Walker:
    """The chords, keys and bar lines of a part, asked for in order of place."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.bars = part.bars
        self.bar_lines = {bar.at for bar in self.bars}
        self.arrivals = {mark.at for mark in part.chords}
        habit = part.minor_habit
        self._counted = {key: key.number_key(habit) for key in _keys(part)}
        self._chord = self._bar = 0
        self.keys = self._chord_keys() if part.chords else []

    def moved_to(self, at: Wholes) -> tuple[NumberChord | None, Key]:
        """The chord at a place, never before the last one, and the key it is counted in."""
        chords = self.part.chords
        while self._chord < len(chords) and chords[self._chord].at <= at:
            self._chord += 1
        while self._bar + 1 < len(self.bars) and self.bars[self._bar + 1].at <= at:
            self._bar += 1
        if not self._chord:
            return None, self._counted[self.part.key]
        return chords[self._chord - 1].chord, self.keys[self._chord - 1]

    def _chord_keys(self) -> list[Key]:
        """The key of each chord: the one in force where it stands on the chart."""
        chords = self.part.chords
        struck = {note.at: note for note in self.part.notes}
        ends = [*(mark.at for mark in chords[1:]), self.part.length]
        keys = []
        for mark, end in zip(chords, ends, strict=True):
            key = self._counted[self.part.key_at(mark.at)]
            soon = self._keys_soon(mark.at)
            note = struck.get(mark.at)
            # The degree of a note tells the key even of a chord that gives way to the next, pushed
            # too, at or before the place where the key begins.
            if note is not None:
                key = next((new for _, new in soon if _is_counted_in(new, note)), key)
            elif soon and soon[0][0] < end and mark.at not in self.bar_lines:
                key = soon[0][1]
            keys.append(key)
        return keys

    def _keys_soon(self, at: Wholes) -> list[tuple[Wholes, Key]]:
        """The keys that begin soon enough after a place for a chord there to be theirs, pushed."""
        return [
            (mark.at, self._counted[mark.key])
            for mark in self.part.key_marks
            if at < mark.at <= at + LONGEST_PUSH
        ]

    @property
    def bar_number(self) -> int:
        """Number of the bar last moved to."""
        return self.bars[self._bar].number

    def is_off_beat(self, at: Wholes) -> bool:
        """Whether a place falls between the beats of its bar."""
        bar = self.bars[self._bar]
        end = bar.at + bar.length
        beat = bar.meter.beat
        return ((end - at) / beat).denominator != 1


def _is_counted_in(key: Key, note: Note) -> bool:
    """Whether a note's degree is one of this key: by sound, for its name may be spelt plainly."""
    if note.degree is None:
        return False
    return key.name_of(note.degree).pitch_class == note.pitch.midi % SEMITONES_PER_OCTAVE


def _keys(part: Part) -> set[Key]:
    return {part.key, *(mark.key for mark in part.key_marks)}


def _with_approaches(seen: list[Seen]) -> list[Seen]:
    """Mark what leads into an arrival, and whether every passing note is resolved."""
    marked = list(seen)
    for place in range(len(seen) - 1, -1, -1):
        each = seen[place]
        if each.note_class < NoteClass.PASSING:
            continue
        following = seen[place + 1 : place + 3]
        leads = bool(following) and (following[0].is_strong or marked[place + 1].is_approach)
        marked[place] = replace(
            each,
            is_approach=leads and not each.is_strong,
            is_resolved=_is_resolved(each, following),
        )
    return marked


def _is_resolved(each: Seen, following: Sequence[Seen]) -> bool:
    """By step into the next note, as its fifth, or as the first of two around an arrival."""
    midis = [other.stroke.note.pitch.midi - each.stroke.note.pitch.midi for other in following]
    if not midis:
        return False
    if 0 < abs(midis[0]) <= STEP_SEMITONES:
        return True
    is_fifth = midis[0] % SEMITONES_PER_OCTAVE == FOURTH_SEMITONES
    if is_fifth and following[0].is_strong and each.note_class < NoteClass.CHROMATIC:
        return True
    if len(midis) < 2 or not following[1].is_strong:
        return False
    last = midis[1] - midis[0]
    return abs(midis[1]) <= STEP_SEMITONES and abs(last) <= STEP_SEMITONES
