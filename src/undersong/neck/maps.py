"""The key under the hand: positions and how they join, and the key seen from a chord.

A position is four neighbouring frets over all strings. On strings in fourths only three of them
hold the scale without a gap (trade handbook 4.6); every other one loses a note and needs a shift.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from undersong.neck.instrument import Instrument
from undersong.neck.neckmap import NeckNote, key_on_neck
from undersong.neck.shapes import HAND_FRETS
from undersong.theory.chord import NumberChord, Role
from undersong.theory.key import Key

WIDEST_STEP = 3  # frets between neighbouring notes of any scale we map


@dataclass(frozen=True, slots=True)
class Position:
    """The notes of a key in four frets from `lowest_fret` up, lowest first.

    `is_gapless` is true where every note of the key between its lowest and its highest is there.
    """

    lowest_fret: int
    notes: tuple[NeckNote, ...]
    is_gapless: bool

    def finger(self, note: NeckNote) -> int:
        """The finger over a note's fret, one to a fret."""
        return note.fret - self.lowest_fret + 1


@dataclass(frozen=True, slots=True)
class Joint:
    """How one position leads to the next, on one string.

    Where both hold a note, the hand moves while it sounds: `leave` and `arrive` are that note.
    Where they do not overlap, it moves from a note to the next of the key. `shared` holds the
    places that lie in both.
    """

    before: Position
    after: Position
    shared: tuple[NeckNote, ...]
    leave: NeckNote
    arrive: NeckNote

    @property
    def frets(self) -> int:
        """How many frets the hand moves."""
        return self.after.lowest_fret - self.before.lowest_fret

    @property
    def words(self) -> str:
        """``on string 1: the 6 at fret 9 with finger 3, then with finger 1``."""
        before, after = self.before.finger(self.leave), self.after.finger(self.arrive)
        start = f"on string {self.leave.string}: the {self.leave.degree} at fret {self.leave.fret}"
        if self.leave == self.arrive:
            return f"{start} with finger {before}, then with finger {after}"
        end = f"the {self.arrive.degree} at fret {self.arrive.fret} with finger {after}"
        return f"{start} with finger {before}, then {end}"


def key_positions(instrument: Instrument, key: Key) -> tuple[Position, ...]:
    """Every position of a key up the neck, without open strings."""
    stopped = [note for note in key_on_neck(instrument, key) if note.fret > 0]
    return tuple(_position(low, stopped) for low in range(1, instrument.frets - HAND_FRETS + 2))


def _position(low: int, stopped: list[NeckNote]) -> Position:
    inside = sorted(
        (note for note in stopped if low <= note.fret < low + HAND_FRETS),
        key=lambda note: (note.pitch.midi, -note.string),
    )
    pitches = {note.pitch.midi for note in inside}
    every = {note.pitch.midi for note in stopped}
    between = {midi for midi in every if min(pitches) <= midi <= max(pitches)} if pitches else set()
    return Position(low, tuple(inside), bool(pitches) and pitches == between)


def stitched(instrument: Instrument, key: Key) -> tuple[Joint, ...]:
    """The gapless positions of a key up the neck, each joined to the next.

    A tuning with fewer than two gapless positions has no joints, and neighbours that no string
    joins are left out.
    """
    gapless = [position for position in key_positions(instrument, key) if position.is_gapless]
    joints = (_joint(before, after) for before, after in pairwise(gapless))
    return tuple(joint for joint in joints if joint is not None)


def _joint(before: Position, after: Position) -> Joint | None:
    held = set(before.notes)
    shared = tuple(note for note in after.notes if note in held)
    if shared:
        # On the highest string most of the old position has been played; the nearer the new
        # finger is to finger 1, the more of the new one lies open above it.
        best = min(shared, key=lambda note: (note.string, after.finger(note)))
        return Joint(before, after, shared, best, best)
    steps = [
        (leave, arrive)
        for leave in before.notes
        for arrive in after.notes
        if leave.string == arrive.string and 0 < arrive.fret - leave.fret <= WIDEST_STEP
    ]
    if not steps:
        return None
    leave, arrive = min(steps, key=lambda step: (step[1].fret - step[0].fret, step[0].string))
    return Joint(before, after, (), leave, arrive)


@dataclass(frozen=True, slots=True)
class ViewNote:
    """A note of the key as it looks from a chord: its part in the chord, or None."""

    note: NeckNote
    finger: int
    role: Role | None


@dataclass(frozen=True, slots=True)
class ChordView:
    """The key around one root of a chord: four frets, every string."""

    root: NeckNote
    lowest_fret: int
    notes: tuple[ViewNote, ...]


def chord_views(instrument: Instrument, key: Key, chord: NumberChord) -> tuple[ChordView, ...]:
    """The notes of a key around every place of a chord's root, up the neck.

    For each root the four frets that hold most chord tones from the root up (its own octave);
    among equals the one with the root under the lower finger number. Chord tones outside the key
    (as over a b7) are shown too.
    """
    by_letters = chord.in_key(key)
    roles = {name.pitch_class: role for role, name in reversed(by_letters.tones)}
    names = {name.pitch_class: name for _, name in by_letters.tones}
    stopped = [note for note in key_on_neck(instrument, key) if note.fret > 0]
    known = {(note.string, note.fret) for note in stopped}
    for string in range(instrument.strings, 0, -1):
        for fret in range(1, instrument.frets + 1):
            midi = instrument.midi_at(string, fret)
            if midi % 12 in roles and (string, fret) not in known:
                pitch = names[midi % 12].with_midi(midi)
                stopped.append(NeckNote(string, fret, pitch, key.degree_of(pitch.name)))
    roots = [note for note in stopped if note.pitch.name == by_letters.root]
    views = [_view(root, stopped, roles, instrument) for root in roots]
    return tuple(sorted(views, key=lambda view: (view.root.fret, -view.root.string)))


def _view(
    root: NeckNote, stopped: list[NeckNote], roles: dict[int, Role], instrument: Instrument
) -> ChordView:
    def inside(low: int) -> list[NeckNote]:
        return [note for note in stopped if low <= note.fret < low + HAND_FRETS]

    def tones_above(low: int) -> int:
        return len(
            {
                note.pitch.midi
                for note in inside(low)
                if 0 <= note.pitch.midi - root.pitch.midi <= 12 and note.pitch.midi % 12 in roles
            }
        )

    highest = instrument.frets - HAND_FRETS + 1
    lows = [low for low in range(root.fret - HAND_FRETS + 1, root.fret + 1) if 1 <= low <= highest]
    low = max(lows, key=lambda each: (tones_above(each), each))
    notes = tuple(
        ViewNote(note, note.fret - low + 1, roles.get(note.pitch.midi % 12))
        for note in sorted(inside(low), key=lambda note: (note.pitch.midi, -note.string))
    )
    return ChordView(root, low, notes)
