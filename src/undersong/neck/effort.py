"""What a hand pays to play: the costs of a place, of a finger and of a move.

The question: given where the hand is and where the next note could be stopped, how much trouble
is it? Every cost has a name, a weight in `Weights` and a reason; docs/neck.md explains them to a
teacher who may disagree and change one. One point is about one unhurried small shift.

Conventions
-----------
A `Hands` value holds every way to play one pitch, as parallel arrays. `hand` is the fret that
finger 1 stands over, `finger` is 0 for an open string, whose `hand` may be anywhere: that is
what makes an open string a free moment to shift. Distances are in mm on this neck, from
`fret_distance_mm`; times in seconds.

Sources
-------
Finger systems and the comfortable span: trade handbook 4.5 [source named there: Friedland 2008;
Simandl's frame of a whole step from finger 1 to 4]. Every weight is common practice, no source:
settings, with these as defaults.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from undersong.neck.geometry import fret_distance_mm, fret_span_mm, is_four_finger_frame
from undersong.neck.instrument import FingerSystem, Instrument
from undersong.theory.pitch import SEMITONES_PER_OCTAVE

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Share of the span each finger reaches from finger 1 at ease: fingers 1 and 2 spread widest.
FINGER_SHARE = {1: 0.0, 2: 0.5, 3: 0.75, 4: 1.0}
UNREACHABLE_MM = 30.0  # beyond the comfortable reach by this much a finger does not get there
HELD_SHARE = 0.75  # a stopped note keeps the hand for this much of its length
ROW = 7  # numbers that describe one way to stop a string
SHORTEST_MOVE_S = 0.03  # no less time than this is reckoned for a move
REFERENCE_SPEED_MM_S = 1000.0


class OpenStrings(StrEnum):
    """What the player thinks of open strings."""

    LIKED = "liked"
    ALLOWED = "allowed"
    AVOIDED = "avoided"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Weights:
    """Points for each kind of trouble; all at least 0.

    shift
        Any move of the hand along the neck: the eye and the thumb have to go too.
    shift_100mm
        Each 100 mm of that move.
    hurry
        The square of the hand's speed in m/s: a shift is hard when there is no time for it.
    stretch_10mm
        Each 10 mm a finger lies beyond its comfortable reach.
    extension
        A finger outside the frame of the system: one fret beyond finger 4 or behind finger 1.
    squeeze
        Finger 4 drawn in to the fret of finger 3.
    crossing, skipped
        Changing string; each string jumped over on the way (the plucking hand has to aim).
    jump
        The same finger stopping another fret next: the note breaks off early.
    roll
        The same finger on the same fret of another string: it has to lie flat and roll.
    substitute
        Another finger on the very fret and string that was just stopped.
    damp
        An open string left for another string: it rings on until something mutes it.
    open_allowed, open_avoided, open_missed
        An open string when allowed, when avoided; a stopped note that could have been open when
        open strings are liked.
    high
        Each fret above the twelfth: short notes, far from the face of the neck.
    up_the_neck
        Each fret above the nut; so small that it only settles what nothing else settles.
    little_finger
        Each use of finger 4, the weakest; small, likewise.
    articulation
        A hammered or slid note that is not on the string of the note before it.
    elsewhere
        A note struck directly again, on another string: nobody plays one note in two places, the
        tone changes in the middle of the run. Twice what an easier shift or the open strings
        saved would pay for in ordinary runs.
    cut
        A note meant to ring on under the next, cut off because its string or its hand is wanted.
    away
        Each fret between the hand and the nearest root of the chord, when asked to stay around it.
    fretless
        Factor on shifts and jumps where no fret helps the finger to land; at least 1.
    """

    shift: float = 1.0
    shift_100mm: float = 1.0
    hurry: float = 1.5
    stretch_10mm: float = 0.2
    extension: float = 2.0
    squeeze: float = 0.35
    crossing: float = 0.2
    skipped: float = 0.35
    jump: float = 0.8
    roll: float = 0.5
    substitute: float = 0.8
    damp: float = 0.2
    open_allowed: float = 0.3
    open_avoided: float = 3.0
    open_missed: float = 1.0
    high: float = 0.005
    up_the_neck: float = 0.002
    little_finger: float = 0.03
    articulation: float = 8.0
    elsewhere: float = 8.0
    cut: float = 3.0
    away: float = 0.5
    fretless: float = 1.3

    def __post_init__(self) -> None:
        for name in self.__slots__:
            if not getattr(self, name) >= 0:
                raise ValueError(f"the weight {name} must not be negative")

    def on(self, instrument: Instrument) -> Weights:
        """The weights as they are on an instrument: without frets, shifts and jumps cost more."""
        if not instrument.fretless:
            return self
        return replace(
            self,
            shift=self.shift * self.fretless,
            shift_100mm=self.shift_100mm * self.fretless,
            hurry=self.hurry * self.fretless,
            jump=self.jump * self.fretless,
        )


WEIGHTS = Weights()


@dataclass(frozen=True, slots=True)
class Hands:
    """Every way to play one pitch: parallel arrays of shape (n_ways,).

    `stretch_mm` is how far the finger lies beyond its comfortable reach; `extended` and
    `squeezed` are 0 or 1; `could_be_open` is 1 where the pitch is also an open string; `away`
    counts frets from the hand to the root it was asked to stay around; `also` holds the points
    of a second note struck with this one.
    """

    string: Ints
    fret: Ints
    finger: Ints
    hand: Ints
    stretch_mm: Floats
    extended: Floats
    squeezed: Floats
    could_be_open: Floats
    away: Floats
    also: Floats

    def __len__(self) -> int:
        return len(self.string)

    def taken(self, index: Mask | Ints) -> Hands:
        """Some of the ways, by index or mask."""
        return Hands(*(getattr(self, name)[index] for name in self.__slots__))

    def column(self) -> Hands:
        """The same ways as a column, to be broadcast against a row of later ways."""
        return Hands(*(getattr(self, name)[:, None] for name in self.__slots__))


@lru_cache(maxsize=1024)
def hands_for(midi: int, instrument: Instrument) -> Hands:
    """Every way to play a MIDI number on an instrument, in a fixed order; may be empty.

    The answer is shared between callers: nothing writes into its arrays.
    """
    places = instrument.places(midi)
    rows: list[tuple[float, ...]] = []
    for string, fret in places:
        if fret == 0:
            rows.extend((string, 0, 0, hand, 0, 0, 0) for hand in range(1, instrument.frets + 1))
        else:
            rows.extend((string, fret, *way) for way in _stopped(fret, instrument))
    has_open = any(fret == 0 for _, fret in places)
    table = np.array(rows, dtype=np.float64).reshape(-1, ROW)
    string, fret, finger, hand = table[:, :4].astype(np.int64).T.copy()
    stretch_mm, extended, squeezed = table[:, 4:7].T.copy()
    could_be_open = np.full(len(table), float(has_open))
    return Hands(
        string,
        fret,
        finger,
        hand,
        stretch_mm,
        extended,
        squeezed,
        could_be_open,
        away=np.zeros(len(table)),
        also=np.zeros(len(table)),
    )


def _stopped(fret: int, instrument: Instrument) -> Iterator[tuple[float, ...]]:
    """Finger, hand, stretch_mm, extended, squeezed for each way to stop a fret."""
    for hand in range(max(fret - 4, 1), min(fret + 1, instrument.frets) + 1):
        for finger, offset, extended, squeezed in _frame(hand, instrument):
            if hand + offset != fret:
                continue
            stretch = _stretch_mm(hand, finger, offset, instrument)
            if stretch <= UNREACHABLE_MM:
                yield finger, hand, stretch, float(extended), float(squeezed)


def has_three_fret_frame(hand: int, instrument: Instrument) -> bool:
    """Whether the hand over this fret plays 1-2-4 on three frets."""
    return instrument.finger_system is FingerSystem.ONE_TWO_FOUR and not is_four_finger_frame(
        hand, instrument
    )


def _frame(hand: int, instrument: Instrument) -> tuple[tuple[int, int, bool, bool], ...]:
    """Finger, frets above the hand, extended?, squeezed? of each finger of a hand position."""
    if has_three_fret_frame(hand, instrument):
        return (
            (1, 0, False, False),
            (2, 1, False, False),
            (4, 2, False, False),
            (1, -1, True, False),
            (4, 3, True, False),
        )
    return (
        (1, 0, False, False),
        (2, 1, False, False),
        (3, 2, False, False),
        (4, 3, False, False),
        (4, 2, False, True),
        (1, -1, True, False),
        (4, 4, True, False),
    )


def _stretch_mm(hand: int, finger: int, offset: int, instrument: Instrument) -> float:
    if offset < 0:
        # Finger 1 reaches back while finger 4 stays over its fret: the whole hand is spread.
        top = hand + (2 if has_three_fret_frame(hand, instrument) else 3)
        reach, ease = fret_span_mm(hand + offset, min(top, 36), instrument.scale_mm), 1.0
    else:
        reach = fret_span_mm(hand, hand + offset, instrument.scale_mm)
        ease = FINGER_SHARE[finger]
    return max(0.0, reach - ease * instrument.hand_span_mm)


def place_terms(hands: Hands, weights: Weights, liking: OpenStrings) -> dict[str, Floats]:
    """Points of stopping each note where it is, by name; arrays of shape (n_ways,)."""
    is_open = (hands.finger == 0).astype(np.float64)
    open_points = {
        OpenStrings.LIKED: 0.0,
        OpenStrings.ALLOWED: weights.open_allowed,
        OpenStrings.AVOIDED: weights.open_avoided,
        OpenStrings.NEVER: weights.open_avoided,
    }[liking]
    missed = hands.could_be_open * (1 - is_open) * (liking is OpenStrings.LIKED)
    return {
        "stretch": weights.stretch_10mm * hands.stretch_mm / 10.0,
        "extension": weights.extension * hands.extended,
        "squeeze": weights.squeeze * hands.squeezed,
        "open string": open_points * is_open + weights.open_missed * missed,
        "high on the neck": weights.high * np.maximum(hands.fret - SEMITONES_PER_OCTAVE, 0)
        + weights.up_the_neck * hands.fret,
        "little finger": weights.little_finger * (hands.finger == 4),
        "away from the chord": weights.away * hands.away,
        "second note": hands.also,
    }


def fret_places_mm(instrument: Instrument) -> Floats:
    """Distance of every fret from the nut, mm: shape (frets + 1,)."""
    return np.array(
        [fret_distance_mm(fret, instrument.scale_mm) for fret in range(instrument.frets + 1)]
    )


def hand_distance_mm(before: Hands, after: Hands, places_mm: Floats) -> Floats:
    """How far the hand moves along the neck, mm; ways are broadcast against each other."""
    distance: Floats = np.abs(places_mm[before.hand] - places_mm[after.hand])
    return distance


def move_terms(
    before: Hands, after: Hands, distance_mm: Floats, weights: Weights
) -> dict[str, Floats]:
    """Points of each move apart from its hurry, by name; ways are broadcast against each other."""
    strings = np.abs(before.string - after.string)
    crossed = strings > 0
    same_finger = (before.finger == after.finger) & (after.finger > 0)
    same_fret = before.fret == after.fret
    same_place = same_fret & ~crossed & (after.fret > 0)
    rings = (before.finger == 0) & crossed
    return {
        "shift": weights.shift * (before.hand != after.hand)
        + weights.shift_100mm * distance_mm / 100.0,
        "crossing": weights.crossing * crossed + weights.skipped * np.maximum(strings - 1, 0),
        "same finger": weights.jump * (same_finger & ~same_fret)
        + weights.roll * (same_finger & same_fret & crossed),
        "changed finger": weights.substitute * (same_place & (before.finger != after.finger)),
        "damping": weights.damp * rings,
    }


def articulation_points(before: Hands, after: Hands, weights: Weights) -> Floats:
    """Points of a slid or hammered note that is not on the string of the note before it."""
    points: Floats = weights.articulation * (before.string != after.string)
    return points


def elsewhere_points(before: Hands, after: Hands, weights: Weights) -> Floats:
    """Points of a note struck directly again on another string."""
    points: Floats = weights.elsewhere * (before.string != after.string)
    return points


def ringing_points(before: Hands, after: Hands, weights: Weights) -> Floats:
    """Points of cutting off a note that should ring on under the next one."""
    same_string = before.string == after.string
    hand_leaves = (before.finger > 0) & (before.hand != after.hand)
    points: Floats = weights.cut * (same_string | hand_leaves)
    return points


@dataclass(frozen=True, slots=True)
class MoveTime:
    """Seconds a hand has to move in, leaving a stopped note and leaving an open string."""

    stopped_s: float
    open_s: float


def move_time(gap_s: float, length_s: float) -> MoveTime:
    """Time to move between two notes.

    Parameters
    ----------
    gap_s
        From onset to onset, seconds.
    length_s
        Written length of the first note, seconds; a rest after it is time to move in.
    """
    held = HELD_SHARE * min(length_s, gap_s)
    return MoveTime(max(gap_s - held, SHORTEST_MOVE_S), max(gap_s, SHORTEST_MOVE_S))


def seconds_to_move(before: Hands, time: MoveTime) -> Floats:
    """Seconds for a move out of each way: shape (n_before,)."""
    return np.where(before.finger == 0, time.open_s, time.stopped_s)


def hurry_factor(seconds: Floats, weights: Weights) -> Floats:
    """Points for each mm squared that the hand moves in so many seconds."""
    factor: Floats = weights.hurry / (REFERENCE_SPEED_MM_S * seconds) ** 2
    return factor
