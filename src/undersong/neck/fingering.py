"""The least-effort fingering of a whole part, by dynamic programming.

State: one way to play one note (string, fret, finger and where the hand stands).
Step: the next stroke of the hand; tied notes are one stroke.
Cost: `place_terms` of each way plus `move_terms` and hurry of each move, from effort.py.

The cost of a move depends on nothing but the two ways and the time between them, so the best
road to each way of a note goes through the best road to some way of the note before it
(Bellman's principle): the answer is the optimum of the stated cost, not a good guess. Time grows
with the number of notes and with the square of the ways to play one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from undersong.errors import UnplayableError
from undersong.neck.effort import (
    WEIGHTS,
    Hands,
    Mask,
    MoveTime,
    OpenStrings,
    Weights,
    hands_for,
    move_time,
)
from undersong.neck.instrument import Instrument
from undersong.neck.search import Search, picked
from undersong.theory.part import Articulation, Part, Stroke, Voice
from undersong.theory.pitch import plain_pitch

_ORDINALS = (
    "open",
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
    "thirteenth",
    "fourteenth",
    "fifteenth",
    "sixteenth",
    "seventeenth",
    "eighteenth",
    "nineteenth",
    "twentieth",
)
ON_ONE_STRING = (Articulation.HAMMERED, Articulation.SLIDE)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a fingering has to respect.

    `highest_fret` and `lowest_fret` bound the stopped notes; `start_fret` is the fret of the
    first note (0 for an open string); `keep_places` keeps the string and fret of every note
    that has them and chooses the fingers alone.
    """

    highest_fret: int | None = None
    lowest_fret: int = 1
    open_strings: OpenStrings = OpenStrings.ALLOWED
    start_fret: int | None = None
    keep_places: bool = False


@dataclass(frozen=True, slots=True)
class Fingering:
    """A fingered part, what it costs and why.

    `hands` holds the fret under finger 1 for each stroke of the part; `terms` the points by
    name, which sum to `cost`; `points` what each stroke costs with the move into it;
    `hardest_mm_s` the fastest the hand has to travel.
    """

    part: Part
    cost: float
    hands: tuple[int, ...]
    terms: dict[str, float]
    points: tuple[float, ...]
    hardest_mm_s: float

    def words(self) -> tuple[str, ...]:
        """The fingering told in sentences: where the hand starts, and every shift."""
        strokes = self.part.strokes
        if not strokes:
            return ("Nothing to play.",)
        told = [f"Start in {position_name(self.hands[0])}."]
        for before, stroke, left, hand in zip(
            strokes, strokes[1:], self.hands, self.hands[1:], strict=False
        ):
            if hand != left:
                told.append(self._shift_words(before, stroke, left, hand))
        if len(told) == 1:
            told.append("The hand never shifts.")
        return tuple(told)

    def _shift_words(self, before: Stroke, stroke: Stroke, left: int, hand: int) -> str:
        bar, beat = self.part.place_of(stroke.at)
        way = "up" if hand > left else "down"
        when = f" during the open {before.note.pitch.name}" if before.note.finger == 0 else ""
        return (
            f"Bar {bar}, beat {_beat_words(float(beat))}: shift {way} to {position_name(hand)} "
            f"for the {stroke.note.pitch.name}{when}."
        )


def position_name(hand: int) -> str:
    """``fifth position``: the fret under finger 1."""
    name = _ORDINALS[hand] if hand < len(_ORDINALS) else f"{hand}th"
    return f"{name} position"


def _beat_words(beat: float) -> str:
    return f"{beat:.4g}"


def fingered(
    part: Part,
    instrument: Instrument,
    *,
    wishes: Wishes = Wishes(),
    weights: Weights = WEIGHTS,
) -> Part:
    """The part with string, fret and finger on every note; see `finger_part`."""
    return finger_part(part, instrument, wishes=wishes, weights=weights).part


def finger_part(
    part: Part,
    instrument: Instrument,
    *,
    wishes: Wishes = Wishes(),
    weights: Weights = WEIGHTS,
) -> Fingering:
    """The least-effort fingering of a part.

    Parameters
    ----------
    part
        A bass part, one note at a time.
    instrument
        The neck and the hand.
    wishes
        What to respect; the optimum is taken among what they leave.
    weights
        Points of each kind of effort.

    Raises
    ------
    UnplayableError
        If a note lies nowhere on this neck, or nowhere the wishes leave: the sentence names the
        note, its bar and beat, and the nearest that can be played.
    """
    strokes = _one_at_a_time(part)
    every = {midi: hands_for(midi, instrument) for midi in {s.note.pitch.midi for s in strokes}}
    ways = [
        _ways(part, stroke, every[stroke.note.pitch.midi], instrument, wishes) for stroke in strokes
    ]
    times = _move_times(part, strokes)
    search = Search(instrument, weights, wishes.open_strings)
    on_string = [stroke.note.articulation in ON_ONE_STRING for stroke in strokes]
    road = picked(ways, search.best_road(ways, times, on_string))
    terms, hardest_mm_s = search.account(road, times, on_string)
    totals = {name: float(points.sum()) for name, points in terms.items()}
    return Fingering(
        _written(part, strokes, road, instrument),
        sum(totals.values()),
        tuple(road.hand.tolist()),
        totals,
        tuple(np.sum(list(terms.values()), axis=0).tolist()),
        hardest_mm_s,
    )


def _one_at_a_time(part: Part) -> tuple[Stroke, ...]:
    if part.voice is not Voice.BASS:
        raise UnplayableError(f"A {part.voice} part has no strings to finger: give a bass part.")
    strokes = part.strokes
    for before, stroke in pairwise(strokes):
        if before.at == stroke.at:
            raise UnplayableError(
                f"{_where(part, stroke)}: {before.note.pitch} and {stroke.note.pitch} start "
                "together; we finger one note at a time: leave one of them out."
            )
    return strokes


def _where(part: Part, stroke: Stroke) -> str:
    bar, beat = part.place_of(stroke.at)
    return f"Bar {bar}, beat {_beat_words(float(beat))}"


def _move_times(part: Part, strokes: Sequence[Stroke]) -> list[MoveTime]:
    tempo_map = part.tempo_map
    starts = [tempo_map.seconds_at(stroke.at) for stroke in strokes]
    ends = [tempo_map.seconds_at(stroke.end) for stroke in strokes]
    return [
        move_time(following - start, end - start)
        for start, end, following in zip(starts, ends, starts[1:], strict=False)
    ]


def _ways(
    part: Part, stroke: Stroke, every: Hands, instrument: Instrument, wishes: Wishes
) -> Hands:
    midi = stroke.note.pitch.midi
    if not len(every):
        raise _not_on_neck(part, stroke, instrument)
    if wishes.keep_places and stroke.note.string is not None and stroke.note.fret is not None:
        at_place = (every.string == stroke.note.string) & (every.fret == stroke.note.fret)
        kept = every.taken(at_place)
        wanted = f"on string {stroke.note.string} at fret {stroke.note.fret}"
    else:
        allowed = _allowed(every, stroke, wishes)
        kept = every if allowed.all() else every.taken(allowed)
        wanted = "with what is asked for"
    if not len(kept):
        choices = ", ".join(
            f"string {string} fret {fret}" if fret else f"open string {string}"
            for string, fret in instrument.places(midi)
        )
        raise UnplayableError(
            f"{_where(part, stroke)}: {stroke.note.pitch} cannot be played {wanted}; "
            f"it lies at {choices}.",
            midi=midi,
            nearest_midi=midi,
            index=stroke.index,
        )
    return kept


def _allowed(every: Hands, stroke: Stroke, wishes: Wishes) -> Mask:
    is_open = every.finger == 0
    allowed: Mask = is_open | (every.fret >= wishes.lowest_fret)
    if wishes.highest_fret is not None:
        allowed &= every.fret <= wishes.highest_fret
    if wishes.open_strings is OpenStrings.NEVER:
        allowed &= ~is_open
    if wishes.start_fret is not None and stroke.index == 0:
        allowed &= every.fret == wishes.start_fret
    return allowed


def _not_on_neck(part: Part, stroke: Stroke, instrument: Instrument) -> UnplayableError:
    pitch = stroke.note.pitch
    octaves = [m for m in range(pitch.midi % 12, 128, 12) if instrument.places(m)]
    some = octaves or list(range(instrument.lowest, instrument.highest + 1))
    nearest = min((m for m in some if instrument.places(m)), key=lambda m: abs(m - pitch.midi))
    name = pitch.name.with_midi(nearest) if octaves else plain_pitch(nearest)
    return UnplayableError(
        f"{_where(part, stroke)}: {pitch} is not on this neck ({instrument.tuning}, "
        f"{instrument.frets} frets); the nearest {'octave' if octaves else 'note'} that is "
        f"there is {name}.",
        midi=pitch.midi,
        nearest_midi=nearest,
        index=stroke.index,
    )


def _written(part: Part, strokes: Sequence[Stroke], road: Hands, instrument: Instrument) -> Part:
    """The part with every written note, tied ones too, given the place of its stroke."""
    notes = list(part.notes)
    places = zip(road.string.tolist(), road.fret.tolist(), road.finger.tolist(), strict=True)
    for stroke, (string, fret, finger) in zip(strokes, places, strict=True):
        for index in range(stroke.index, len(notes)):
            note = notes[index]
            if note.at >= stroke.end:
                break
            if note.pitch.midi == stroke.note.pitch.midi:
                notes[index] = replace(note, string=string, fret=fret, finger=finger)
    return replace(part, notes=tuple(notes), tuning=instrument.tuning.midis)
