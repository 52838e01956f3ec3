"""The Part: the written notes one player is to play. The narrow waist of the program.

Everything that makes music makes a Part; everything that shows, sounds or judges music takes
one. Repeats are already unrolled; marks say where sections begin and which time round it is.

Conventions
-----------
All places and lengths are exact fractions of a whole note, counted from the start of the part
(the start of its pick-up bar, if it has one). Pitches sound as written here; only pages and
exchange files add the octave of bass notation. Strings are numbered as players do: 1 is highest.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction

from undersong.errors import TheoryError
from undersong.theory.chord import NumberChord
from undersong.theory.key import Degree, Key, MinorHabit
from undersong.theory.meter import Meter, Wholes, beat_words
from undersong.theory.pitch import Pitch
from undersong.theory.tempo import Swing, TempoMap, TempoMark, checked_tempo


class Voice(StrEnum):
    """Who plays the part. Drum pitches are General MIDI percussion keys."""

    BASS = "bass"
    DRUMS = "drums"
    PAD = "pad"


class Articulation(StrEnum):
    """How a note is struck or ended; `PLAIN` is neither."""

    PLAIN = "plain"
    HELD = "held"  # struck once and left to ring its whole length
    SHORT = "short"  # struck and damped
    MUTED = "muted"  # palm or cloth: pitched, dull
    GHOST = "ghost"  # a pitchless stroke
    SLIDE = "slide"  # slid into from the note before
    HAMMERED = "hammered"  # sounded by the fretting hand, no new pluck


class Dynamic(StrEnum):
    """Written loudness."""

    PP = "pp"
    P = "p"
    MP = "mp"
    MF = "mf"
    F = "f"
    FF = "ff"


@dataclass(frozen=True, slots=True)
class Note:
    """One written note.

    `tied` joins it to the next note of the same pitch: no new stroke there. `why` is the
    maker's reason in a musician's words, or None.
    """

    at: Wholes
    length: Wholes
    pitch: Pitch
    degree: Degree | None = None
    chord: NumberChord | None = None
    string: int | None = None
    fret: int | None = None
    finger: int | None = None
    articulation: Articulation = Articulation.PLAIN
    dynamic: Dynamic = Dynamic.MF
    accented: bool = False
    tied: bool = False
    why: str | None = None

    def __post_init__(self) -> None:
        if self.at < 0 or self.length <= 0:
            raise TheoryError(f"A note at {self.at} lasting {self.length} cannot be played.")

    @property
    def end(self) -> Wholes:
        """Where the written length ends."""
        return self.at + self.length


@dataclass(frozen=True, slots=True)
class KeyMark:
    """From `at` on, the key."""

    at: Wholes
    key: Key


@dataclass(frozen=True, slots=True)
class MeterMark:
    """From `at` on (a bar line), the meter."""

    at: Wholes
    meter: Meter


@dataclass(frozen=True, slots=True)
class SectionMark:
    """A section begins; `visit` is 1 the first time it is played, 2 the second."""

    at: Wholes
    name: str
    visit: int = 1


@dataclass(frozen=True, slots=True)
class ChordMark:
    """From `at` on, the chord; None where nobody plays one."""

    at: Wholes
    chord: NumberChord | None


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a part; a pick-up bar has number 0, the first full bar 1."""

    number: int
    at: Wholes
    length: Wholes
    meter: Meter


@dataclass(frozen=True, slots=True)
class Part:
    """Notes in order of place, and all that is written above them.

    Parameters
    ----------
    title, key, meter, tempo_bpm
        As the part begins; `tempo_bpm` counts the meter's own beat.
    notes
        Sorted by place, then by height. Drum and pad parts may hold several at one place.
    pickup
        Length of the incomplete bar before bar 1; 0 where there is none.
    length
        Whole length of the part, rests at its end included; 0 means to the end of the last bar
        that holds a note.
    key_marks, meter_marks, tempo_marks
        Changes after the start.
    tuning
        MIDI numbers of the open strings, low to high, once the neck has chosen.
    minor_habit
        How degrees and chord numbers are counted where the key is minor.
    """

    title: str
    key: Key
    meter: Meter
    tempo_bpm: float
    notes: tuple[Note, ...]
    voice: Voice = Voice.BASS
    pickup: Wholes = Fraction(0)
    length: Wholes = Fraction(0)
    key_marks: tuple[KeyMark, ...] = ()
    meter_marks: tuple[MeterMark, ...] = ()
    tempo_marks: tuple[TempoMark, ...] = ()
    sections: tuple[SectionMark, ...] = ()
    chords: tuple[ChordMark, ...] = ()
    swing: Swing | None = None
    tuning: tuple[int, ...] | None = None
    minor_habit: MinorHabit = MinorHabit.TONIC

    def __post_init__(self) -> None:
        TempoMark(Fraction(0), self.tempo_bpm, self.meter.beat)
        if any(a.at > b.at for a, b in zip(self.notes, self.notes[1:], strict=False)):
            raise TheoryError("The notes of a part must be in order of their places.")
        if not 0 <= self.pickup < self.meter.bar:
            raise TheoryError("A pick-up must be shorter than a bar.")
        end = max((note.end for note in self.notes), default=Fraction(0))
        full = self.length if self.length else self._bar_end(end)
        if full < end:
            raise TheoryError("A part cannot end before its last note.")
        object.__setattr__(self, "length", full)

    def _bar_end(self, place: Wholes) -> Wholes:
        at, meter = self.pickup, self.meter
        changes = {mark.at: mark.meter for mark in self.meter_marks}
        while at < place:
            meter = changes.get(at, meter)
            at += meter.bar
        return at

    @property
    def bars(self) -> tuple[Bar, ...]:
        """All bars from the pick-up (number 0) on; the last may be cut short by `length`."""
        bars = []
        if self.pickup:
            bars.append(Bar(0, Fraction(0), self.pickup, self.meter))
        changes = {mark.at: mark.meter for mark in self.meter_marks}
        at, meter, number = self.pickup, self.meter, 1
        while at < self.length:
            meter = changes.get(at, meter)
            bars.append(Bar(number, at, min(meter.bar, self.length - at), meter))
            at += meter.bar
            number += 1
        return tuple(bars)

    def place_of(self, at: Wholes) -> tuple[int, Fraction]:
        """Bar number and beat (1 is the bar line, counted in the meter's beat) of a place."""
        found = Bar(0, Fraction(0), self.length, self.meter)
        for bar in self.bars:
            if bar.at > at:
                break
            found = bar
        inside = at - found.at
        if found.number == 0 and self.pickup:
            inside += found.meter.bar - found.length
        return found.number, inside / found.meter.beat + 1

    def meter_at(self, at: Wholes) -> Meter:
        """The meter in force at a place."""
        meters = [mark.meter for mark in self.meter_marks if mark.at <= at]
        return meters[-1] if meters else self.meter

    def place_words(self, at: Wholes) -> str:
        """A place as it is said: ``bar 3, beat 4``; ``bar 3, the and of 4``."""
        bar, beat = self.place_of(at)
        return f"bar {bar}, {beat_words(beat, self.meter_at(at))}"

    def key_at(self, at: Wholes) -> Key:
        """The key in force at a place."""
        keys = [mark.key for mark in self.key_marks if mark.at <= at]
        return keys[-1] if keys else self.key

    def counted_from(self, at: Wholes) -> Key:
        """The key whose tonic is the 1 of degrees and chord numbers at a place."""
        return self.key_at(at).number_key(self.minor_habit)

    def chord_at(self, at: Wholes) -> NumberChord | None:
        """The chord sounding at a place; None before the first or where nobody plays."""
        chords = [mark.chord for mark in self.chords if mark.at <= at]
        return chords[-1] if chords else None

    @property
    def tempo_map(self) -> TempoMap:
        """Seconds for every place, at the written tempo."""
        start = TempoMark(Fraction(0), self.tempo_bpm, self.meter.beat)
        later = tuple(mark for mark in self.tempo_marks if mark.at > 0)
        return TempoMap((start, *later), self.swing, self.pickup)

    def at_tempo(self, tempo_bpm: float) -> Part:
        """The same part slower or faster; later tempo changes keep their proportion."""
        share = checked_tempo(tempo_bpm) / self.tempo_bpm
        return replace(
            self,
            tempo_bpm=tempo_bpm,
            tempo_marks=tuple(
                replace(mark, tempo_bpm=mark.tempo_bpm * share) for mark in self.tempo_marks
            ),
        )

    @property
    def strokes(self) -> tuple[Stroke, ...]:
        """What the hand does: tied notes joined into one stroke each, in order."""
        strokes: list[Stroke] = []
        open_ties: dict[int, int] = {}
        for index, note in enumerate(self.notes):
            joined = open_ties.pop(note.pitch.midi, None)
            if joined is not None and strokes[joined].end == note.at:
                strokes[joined] = replace(strokes[joined], length=note.end - strokes[joined].at)
                place = joined
            else:
                strokes.append(Stroke(index, note, note.at, note.length))
                place = len(strokes) - 1
            if note.tied:
                open_ties[note.pitch.midi] = place
        return tuple(strokes)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke of the hand: the first written note it plays (and its index), joined length."""

    index: int
    note: Note
    at: Wholes
    length: Wholes = field(default=Fraction(0))

    @property
    def end(self) -> Wholes:
        """Where the stroke's written length ends."""
        return self.at + self.length


def in_order(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Notes sorted as a Part wants them."""
    return tuple(sorted(notes, key=lambda note: (note.at, note.pitch.midi)))


def joined(parts: Iterable[Part], title: str) -> Part:
    """Parts of one meter, key and tempo played one after another, each from a bar line."""
    notes: list[Note] = []
    sections: list[SectionMark] = []
    chords: list[ChordMark] = []
    pieces = list(parts)
    if not pieces:
        raise ValueError("there is nothing to join")
    at = Fraction(0)
    for piece in pieces:
        notes.extend(replace(note, at=note.at + at) for note in piece.notes)
        sections.append(SectionMark(at, piece.title))
        chords.extend(replace(mark, at=mark.at + at) for mark in piece.chords)
        at += piece.length
    return replace(
        pieces[0],
        title=title,
        notes=tuple(notes),
        length=at,
        sections=tuple(sections),
        chords=tuple(chords),
    )
