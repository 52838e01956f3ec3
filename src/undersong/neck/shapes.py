"""Closed shapes: one octave of a key under the hand, with no open string, on any tuning.

A shape is found, not looked up: every way of laying the notes on strings, low to high, is tried
from every place where the first note lies, and those within three strings and four frets are
kept. In fourths tunings the major shape found is the movable one with its root under finger 2
(trade handbook 4.6 and 4.7). Where nothing fits anywhere on the neck, as for the shape from
degree 2, the least alternatives come instead: one fret or one string more, then two, and so on.
Each says what it costs.

Fingers are one to a fret from the lowest fret of the hand up; a shape wider than four frets is
given the fewest shifts, and says where they fall.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from undersong.errors import TheoryError
from undersong.neck.instrument import Instrument
from undersong.theory.key import DEGREES, Degree, Key
from undersong.theory.pitch import PitchName

HAND_FRETS = 4
HAND_STRINGS = 3
TONIC = Degree(1)
MOST_EXTRA = 6  # extra frets plus strings before a shape is no shape any more

Place = tuple[int, int]
"""String (1 is the highest) and fret."""

_COUNT_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class ShapeNote:
    """One note of a shape and the finger that stops it."""

    degree: Degree
    midi: int
    string: int
    fret: int
    finger: int


@dataclass(frozen=True, slots=True)
class Shape:
    """An octave of a key upward from `start`; `note` says what an alternative costs."""

    start: Degree
    notes: tuple[ShapeNote, ...]
    note: str | None = None

    @property
    def lowest_fret(self) -> int:
        """The lowest fret any finger stops."""
        return min(each.fret for each in self.notes)

    @property
    def frets(self) -> int:
        """How many frets it covers."""
        return max(each.fret for each in self.notes) - self.lowest_fret + 1

    @property
    def strings(self) -> int:
        """How many strings it covers."""
        used = {each.string for each in self.notes}
        return max(used) - min(used) + 1

    @property
    def place(self) -> Place:
        """String and fret of its first note."""
        return self.notes[0].string, self.notes[0].fret


def degree_in_key(key: Key, degree: Degree) -> Degree:
    """A degree as the key has it: in A minor the plain 3 means its own b3."""
    if degree in key.degrees:
        return degree
    for own in key.degrees:
        if degree.alteration == 0 and own.number == degree.number:
            return own
    own_degrees = " ".join(str(each) for each in key.degrees)
    raise TheoryError(f"The key of {key} has no {degree}: its degrees are {own_degrees}.")


def degrees_upward(key: Key, start: Degree) -> tuple[Degree, ...]:
    """The eight degrees of one octave of a key upward from one of them."""
    degrees = key.degrees
    first = degrees.index(start)
    return tuple(degrees[(first + step) % DEGREES] for step in range(DEGREES + 1))


def semitones_upward(degrees: Sequence[Degree]) -> tuple[int, ...]:
    """Semitones of rising degrees above the first, each above the one before."""
    total, steps = 0, [0]
    for low, high in pairwise(degrees):
        total += (high.interval.semitones - low.interval.semitones - 1) % 12 + 1
        steps.append(total)
    return tuple(steps)


def layouts(
    instrument: Instrument, midis: Sequence[int], first: Place, most_frets: int, most_strings: int
) -> Iterator[tuple[Place, ...]]:
    """Every closed layout of rising notes from a place: strings never fall, nothing open.

    Parameters
    ----------
    instrument
        The neck.
    midis
        MIDI numbers, rising; the first must sound at `first`.
    first
        String and fret of the first note.
    most_frets, most_strings
        Limits of the layout, both ends counted.
    """

    def grow(places: tuple[Place, ...]) -> Iterator[tuple[Place, ...]]:
        if len(places) == len(midis):
            yield places
            return
        low = min(fret for _, fret in places)
        high = max(fret for _, fret in places)
        last_string = max(first[0] - most_strings + 1, 1)
        for string in range(places[-1][0], last_string - 1, -1):
            fret = midis[len(places)] - instrument.open_midi(string)
            width = max(high, fret) - min(low, fret) + 1
            if 1 <= fret <= instrument.frets and width <= most_frets:
                yield from grow((*places, (string, fret)))

    if 1 <= first[1] <= instrument.frets:
        yield from grow((first,))


def starting_places(instrument: Instrument, key: Key, degree: Degree) -> tuple[Place, ...]:
    """Every stopped place of a degree, lowest string first, then up the string."""
    return places_of(instrument, key.name_of(degree))


def places_of(instrument: Instrument, name: PitchName) -> tuple[Place, ...]:
    """Every stopped place of a note name, lowest string first, then up the string."""
    return tuple(
        (string, fret)
        for string in range(instrument.strings, 0, -1)
        for fret in range(1, instrument.frets + 1)
        if (instrument.open_midi(string) + fret) % 12 == name.pitch_class
    )


def closed_shapes(
    instrument: Instrument, key: Key, from_degree: Degree = TONIC
) -> tuple[Shape, ...]:
    """Every place on the neck where the one-octave shape from a degree fits.

    Within three strings and four frets, without open strings: one shape for each place of the
    first note, lowest string first. Where the shape fits nowhere, all the least alternatives
    of every place, each with its `note`; an empty answer means that the neck has no octave.

    Raises
    ------
    TheoryError
        If the key has no such degree.
    """
    start = degree_in_key(key, from_degree)
    degrees = degrees_upward(key, start)
    for extra in range(MOST_EXTRA + 1):
        shapes = list(_shapes_with_extra(instrument, key, degrees, extra))
        if shapes:
            return tuple(shapes)
    return ()


def _shapes_with_extra(
    instrument: Instrument, key: Key, degrees: tuple[Degree, ...], extra: int
) -> Iterator[Shape]:
    steps = semitones_upward(degrees)
    for first in starting_places(instrument, key, degrees[0]):
        root = instrument.midi_at(*first)
        midis = [root + step for step in steps]
        found: dict[tuple[Place, ...], None] = {}
        for frets in range(extra + 1):
            limits = HAND_FRETS + frets, HAND_STRINGS + extra - frets
            found |= dict.fromkeys(layouts(instrument, midis, first, *limits))
        shapes = sorted(
            (_shape(degrees, midis, places, extra=extra) for places in found),
            key=lambda shape: (shape.frets, shape.strings, [n.string for n in shape.notes]),
        )
        yield from shapes if extra else shapes[:1]


def _shape(
    degrees: tuple[Degree, ...], midis: list[int], places: tuple[Place, ...], *, extra: int
) -> Shape:
    hands = hand_frets([fret for _, fret in places])
    notes = tuple(
        ShapeNote(degree, midi, string, fret, fret - hand + 1)
        for degree, midi, (string, fret), hand in zip(degrees, midis, places, hands, strict=True)
    )
    shape = Shape(degrees[0], notes)
    return Shape(degrees[0], notes, cost_words(shape, hands)) if extra else shape


def hand_frets(frets: Sequence[int]) -> tuple[int, ...]:
    """For each fret in turn the fret under finger 1, with the least total shift of the hand.

    State: the fret under finger 1. Step: the next note. Cost: frets moved; among equals the
    hand stays low and moves late.
    """
    low, high = min(frets), max(frets)
    hands = range(low, max(low, high - HAND_FRETS + 1) + 1)
    # best[hand]: least shift so far with the hand there, and how it got there.
    best: dict[int, tuple[int, tuple[int, ...]]] = {
        hand: (0, (hand,)) for hand in hands if 0 <= frets[0] - hand < HAND_FRETS
    }
    for fret in frets[1:]:
        best = {
            hand: min(
                (cost + abs(hand - before), (*path, hand)) for before, (cost, path) in best.items()
            )
            for hand in hands
            if 0 <= fret - hand < HAND_FRETS
        }
    return min(best.values())[1]


def cost_words(shape: Shape, hands: Sequence[int]) -> str:
    """What a shape wider than the hand costs; `hands` is the fret under finger 1 note by note."""
    costs = []
    if shape.frets > HAND_FRETS:
        costs.append(f"{count_word(shape.frets)} frets instead of four")
    for before, after, note in zip(hands, hands[1:], shape.notes[1:], strict=False):
        if before != after:
            way = "up" if after > before else "back"
            size = count_word(abs(after - before))
            costs.append(
                f"shift {way} {size} fret{'s' if size != 'one' else ''} for the {note.degree} "
                f"on string {note.string} (or stretch)"
            )
    if shape.strings > HAND_STRINGS:
        strings = count_word(shape.strings)
        costs.append(f"{strings} strings instead of three, from finger {shape.notes[0].finger}")
    return "costs " + "; ".join(costs)


def count_word(number: int) -> str:
    """``four``; above ten the figure."""
    return _COUNT_WORDS[number] if number < len(_COUNT_WORDS) else str(number)
