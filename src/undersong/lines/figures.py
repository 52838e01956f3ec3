"""The pieces a line is put together from: a slot of one chord in one bar, and figures that fill it.

Places inside a slot are counted from the bar line of its written bar; a pushed chord begins
before it, at a negative place. Slots are values: two that ask the same thing are equal, so what
was worked out for the first chorus serves the second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

from undersong.lines.groove import EIGHTH, QUARTER, Groove
from undersong.lines.targets import OCTAVE, Touch
from undersong.lines.walk import chord_names
from undersong.lines.weights import LineWeights
from undersong.theory.chord import NumberChord, Role
from undersong.theory.key import Key
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import Articulation
from undersong.theory.pitch import PitchName

FIFTH_SEMITONES = 7
HURRIED_S = 0.125  # eight notes a second: faster than this nobody should have to be


class Kind(StrEnum):
    """What a figure adds to the plain rhythm; how often each may come is limited."""

    PLAIN = "plain"
    APPROACH = "approach"
    FILL = "fill"
    MELODY = "melody"


@dataclass(frozen=True, slots=True)
class Goal:
    """The next target, where it follows at once: its note, and what the reasons call it."""

    midi: int
    name: PitchName
    words: str


@dataclass(frozen=True, slots=True)
class Slot:
    """What one target asks for, without saying where in the song it is.

    `low` and `high` bound the notes between targets, MIDI. `rhythm` is the index of the bass
    rhythm of the whole song, `rhythm_turn` how many further the phrase's last bar may go.
    """

    start: Wholes
    end: Wholes
    bar_length: Wholes
    meter: Meter
    groove: Groove
    chord: NumberChord
    key: Key
    midi: int
    name: PitchName
    touch: Touch
    is_arrival: bool
    push: Wholes
    has_fermata: bool
    goal: Goal | None
    level: int
    energy: int
    rhythm: int
    rhythm_turn: int
    is_phrase_end: bool
    leads_to: str | None
    allows_road: bool
    allows_fill: bool
    is_last: bool
    low: int
    high: int
    whole_s: float

    @property
    def length(self) -> Wholes:
        """How long the slot lasts."""
        return self.end - self.start

    @property
    def middle(self) -> Wholes:
        """Halfway, as an exact place."""
        return self.start + self.length / 2

    @property
    def beat(self) -> Wholes:
        """A beat as the hand feels it: a quarter, or three eighths in compound meters."""
        return self.meter.beat if self.meter.is_compound else min(QUARTER, 2 * self.meter.beat)

    @property
    def ends_bar(self) -> bool:
        """Whether the slot reaches the bar line."""
        return self.end == self.bar_length


@dataclass(frozen=True, slots=True)
class Tone:
    """One note of a figure; `at` from the bar line."""

    at: Wholes
    length: Wholes
    midi: int
    name: PitchName
    why: str
    articulation: Articulation = Articulation.PLAIN


@dataclass(frozen=True, slots=True)
class Figure:
    """One way to fill a slot: its idea in words, its notes and its points.

    `road` tells ways into the next chord apart, so that they can take turns.
    """

    idea: str
    kind: Kind
    road: str
    tones: tuple[Tone, ...]
    points: float

    @property
    def signature(self) -> tuple[tuple[Wholes, int], ...]:
        """What is heard: places and pitches."""
        return tuple((tone.at, tone.midi) for tone in self.tones)


def arrival_why(slot: Slot) -> str:
    """The reason for the note on a chord's arrival."""
    if slot.chord.bass is not None:
        why = f"the {slot.chord.bass}, written after the slash in {slot.chord}"
    else:
        why = f"root of the {slot.chord}"
    if not slot.is_arrival:
        why += ", again at the bar line"
    if slot.push:
        early = "an eighth" if slot.push == EIGHTH else f"{slot.push} of a whole note"
        why += f", pushed {early} early"
    if slot.touch is Touch.STOPPED:
        return why + ", struck and stopped"
    if slot.has_fermata:
        return why + ", held until the cue"
    if slot.touch is Touch.HELD:
        return why + ", held as the diamond asks"
    return why + ", the last note: end it together" if slot.is_last else why


def cell_onsets(slot: Slot, cell: Sequence[Wholes]) -> tuple[Wholes, ...]:
    """Where a rhythm strikes inside a slot: the arrival, and the cell's strokes after it.

    After a push nothing is struck on the bar line: the pushed note sounds through it.
    """
    after = max(slot.start, Fraction(0)) if slot.push else slot.start
    return (slot.start, *(place for place in cell if after < place < slot.end))


def lengths(slot: Slot, onsets: Sequence[Wholes]) -> list[Wholes]:
    """How long each stroke lasts: to the next, or to the snare where the groove is tight."""
    found = []
    for onset, following in zip(onsets, [*onsets[1:], slot.end], strict=True):
        end = following
        if slot.groove.is_tight:
            snares = [place for place in slot.groove.snare if onset < place < following]
            end = min(snares, default=following)
        found.append(end - onset)
    return found


def tones_of(
    slot: Slot, onsets: Sequence[Wholes], notes: Sequence[tuple[int, PitchName, str]]
) -> tuple[Tone, ...]:
    """Notes on onsets, each as long as `lengths` says."""
    return tuple(
        Tone(at, length, midi, name, why)
        for at, length, (midi, name, why) in zip(onsets, lengths(slot, onsets), notes, strict=True)
    )


def is_on_beat(slot: Slot, place: Wholes) -> bool:
    """Whether a place falls on a beat of the bar."""
    return (place / slot.beat).denominator == 1


def chord_note(slot: Slot, role: Role, *, above: int) -> tuple[int, PitchName] | None:
    """A chord note by role: the first one above a MIDI number; None where the chord lacks it."""
    name = chord_names(slot.chord, slot.key).get(role)
    if name is None:
        return None
    return above + 1 + (name.pitch_class - above - 1) % OCTAVE, name


def role_words(slot: Slot, name: PitchName) -> str:
    """What a note is to the chord of the moment."""
    for role, own in chord_names(slot.chord, slot.key).items():
        if own.pitch_class == name.pitch_class:
            return f"{role.value} of the {slot.chord}"
    if name.pitch_class == slot.name.pitch_class:
        return f"the {slot.chord.lowest} again"
    return "passing note"


def wideness(slot: Slot, tones: Sequence[Tone], weights: LineWeights) -> float:
    """Points of the leaps in a figure, of notes above the ceiling, and of hurry."""
    points = 0.0
    for before, tone in pairwise(tones):
        distance = abs(tone.midi - before.midi)
        if distance % OCTAVE:
            points += weights.wide * max(distance - FIFTH_SEMITONES, 0)
        if float(tone.at - before.at) * slot.whole_s < HURRIED_S:
            points += weights.hurried
    points += sum(weights.out_of_range * max(tone.midi - slot.high, 0) for tone in tones)
    return points


def into_goal(slot: Slot, tones: Sequence[Tone], weights: LineWeights) -> float:
    """Points of the leap from the last note of a figure that left its root to the next target."""
    if slot.goal is None or len(tones) < 2 or tones[-1].midi == slot.midi:
        return 0.0
    return weights.into_target * max(abs(slot.goal.midi - tones[-1].midi) - 2, 0)
