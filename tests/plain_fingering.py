"""The cost of a fingering restated in plain Python, and every fingering of a short part tried.

Written from docs/neck.md, not from the code under test: it shares with it only the weights and
the values of theory and instrument. Small and slow on purpose.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from undersong.neck.effort import OpenStrings, Weights
from undersong.neck.instrument import FingerSystem, Instrument, parse_tuning
from undersong.theory.key import Key, parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Articulation, Note, Part
from undersong.theory.pitch import plain_pitch

FIVE_TUNINGS = tuple(
    parse_tuning(name)
    for name in ("standard", "five-string, low B", "six-string", "drop D", "C1,G1,D2,A2")
)
LENGTHS = (Fraction(1, 16), Fraction(1, 8), Fraction(1, 4))
RESTS = (Fraction(0), Fraction(0), Fraction(0), Fraction(0), Fraction(1, 8), Fraction(3, 4))


@dataclass(frozen=True)
class Way:
    string: int
    fret: int
    finger: int
    hand: int
    stretch_mm: float = 0.0
    extended: bool = False
    squeezed: bool = False


def mm(fret: int, bass: Instrument) -> float:
    return float(bass.scale_mm - bass.scale_mm / 2 ** (fret / 12))


@cache
def ways_to_play(midi: int, bass: Instrument) -> tuple[Way, ...]:
    ways: list[Way] = []
    for string in range(1, bass.strings + 1):
        fret = midi - bass.open_midi(string)
        if fret == 0:
            ways += [Way(string, 0, 0, hand) for hand in range(1, bass.frets + 1)]
        elif 0 < fret <= bass.frets:
            ways += [
                way
                for hand in range(1, bass.frets + 1)
                for way in _fingers(string, fret, hand, bass)
                if way.stretch_mm <= 30
            ]
    return tuple(ways)


def _fingers(string: int, fret: int, hand: int, bass: Instrument) -> list[Way]:
    span = bass.hand_span_mm
    four_frets = mm(hand + 3, bass) - mm(hand, bass)
    narrow = bass.finger_system is FingerSystem.ONE_TWO_FOUR and four_frets > span
    above = fret - hand
    reach = mm(fret, bass) - mm(hand, bass)

    def beyond(share: float) -> float:
        return max(0.0, reach - share * span)

    if above == -1:
        top = hand + (2 if narrow else 3)
        spread = max(0.0, mm(top, bass) - mm(fret, bass) - span)
        return [Way(string, fret, 1, hand, spread, extended=True)]
    if above == 0:
        return [Way(string, fret, 1, hand)]
    if above == 1:
        return [Way(string, fret, 2, hand, beyond(0.5))]
    if above == 2 and narrow:
        return [Way(string, fret, 4, hand, beyond(1))]
    if above == 2:
        return [
            Way(string, fret, 3, hand, beyond(0.75)),
            Way(string, fret, 4, hand, beyond(1), squeezed=True),
        ]
    if above == 3:
        return [Way(string, fret, 4, hand, beyond(1), extended=narrow)]
    if above == 4 and not narrow:
        return [Way(string, fret, 4, hand, beyond(1), extended=True)]
    return []


def way_cost(way: Way, midi: int, bass: Instrument, weights: Weights, liking: OpenStrings) -> float:
    cost = weights.stretch_10mm * way.stretch_mm / 10
    cost += weights.extension * way.extended + weights.squeeze * way.squeezed
    cost += weights.high * max(0, way.fret - 12) + weights.up_the_neck * way.fret
    cost += weights.little_finger * (way.finger == 4)
    if way.fret == 0:
        if liking is OpenStrings.ALLOWED:
            cost += weights.open_allowed
        elif liking is OpenStrings.AVOIDED:
            cost += weights.open_avoided
    elif liking is OpenStrings.LIKED and midi in bass.tuning.midis:
        cost += weights.open_missed
    return cost


def move_cost(
    a: Way,
    b: Way,
    gap_s: float,
    length_s: float,
    bass: Instrument,
    weights: Weights,
    *,
    slid: bool,
    rung: bool,
    again: bool,
) -> float:
    cost = 0.0
    distance = abs(mm(a.hand, bass) - mm(b.hand, bass))
    if a.hand != b.hand:
        free_s = gap_s if a.fret == 0 else gap_s - 0.75 * min(length_s, gap_s)
        speed_m_s = distance / 1000 / max(free_s, 0.03)
        cost += weights.shift + weights.shift_100mm * distance / 100 + weights.hurry * speed_m_s**2
    if rung and (a.string == b.string or (a.fret > 0 and a.hand != b.hand)):
        cost += weights.cut
    strings = abs(a.string - b.string)
    if strings:
        cost += weights.crossing + weights.skipped * (strings - 1)
        cost += weights.damp * (a.fret == 0) + weights.articulation * slid
        cost += weights.elsewhere * again
    if a.string == b.string and a.fret == b.fret > 0 and a.finger != b.finger:
        cost += weights.substitute
    if a.finger == b.finger != 0:
        if a.fret != b.fret:
            cost += weights.jump
        elif strings:
            cost += weights.roll
    return cost


def every_cost(
    part: Part, bass: Instrument, weights: Weights, liking: OpenStrings
) -> NDArray[np.float64]:
    """The cost of every fingering of a part: one axis for each note, one place for each way."""
    notes = part.notes
    total = _column(_ways(part, 0, bass), notes[0].pitch.midi, bass, weights, liking)
    for place in range(1, len(notes)):
        column = _column(_ways(part, place, bass), notes[place].pitch.midi, bass, weights, liking)
        # One more axis: nothing is thrown away, so this is the sum of every single road.
        total = total[..., None] + _moves_between(part, place - 1, place, bass, weights) + column
    return total


def least_cost(part: Part, bass: Instrument, weights: Weights, liking: OpenStrings) -> float:
    """The least cost over every fingering of a part."""
    return float(every_cost(part, bass, weights, liking).min())


def second_least_cost(
    part: Part,
    bass: Instrument,
    weights: Weights,
    liking: OpenStrings,
    best: list[tuple[int | None, int | None]],
) -> float:
    """The least cost over every fingering that has a note in another place than `best`."""
    total = every_cost(part, bass, weights, liking)
    same = np.ones((), dtype=np.bool_)
    for place, (string, fret) in enumerate(best):
        ways = _ways(part, place, bass)
        here = np.array([(way.string, way.fret) == (string, fret) for way in ways])
        same = same[..., None] & here
    return float(np.where(same, np.inf, total).min())


def least_cost_alike(
    bar: Part, count: int, bass: Instrument, weights: Weights, liking: OpenStrings
) -> float:
    """The least cost of a one-bar part played `count` times, every time the same way."""
    once = every_cost(bar, bass, weights, liking)
    first, last = bar.notes[0], bar.notes[-1]
    again = replace(first, at=first.at + bar.length)
    join = _moves_between(
        replace(bar, notes=(last, again), length=Fraction(0)), 0, 1, bass, weights
    )
    if len(bar.notes) == 1:
        return float((count * once + (count - 1) * np.diag(join)).min())
    inside = (1,) * (len(bar.notes) - 2)
    back = join.T.reshape(join.shape[1], *inside, join.shape[0])
    return float((count * once + (count - 1) * back).min())


def least_cost_in_pairs(
    part: Part, bass: Instrument, weights: Weights, liking: OpenStrings
) -> float | None:
    """The least cost of a part of pairs of notes, every hold of every pair tried.

    None where some pair cannot be held by one hand. Notes 0 and 1 start together, then 2 and 3.
    """
    whole_s = 60 / part.tempo_bpm / float(part.meter.beat)
    total, before = np.zeros(()), None
    for place in range(0, len(part.notes), 2):
        low, high = part.notes[place], part.notes[place + 1]
        holds = [
            (a, b)
            for a in ways_to_play(low.pitch.midi, bass)
            for b in ways_to_play(high.pitch.midi, bass)
            if _one_hand(a, b)
        ]
        if not holds:
            return None
        points = np.array(
            [
                way_cost(a, low.pitch.midi, bass, weights, liking)
                + way_cost(b, high.pitch.midi, bass, weights, liking)
                for a, b in holds
            ]
        )
        leads = tuple(a for a, _ in holds)
        if before is None:
            total = points
        else:
            note, ways = before
            gap_s = round(float(low.at - note.at) * whole_s, 12)
            length_s = round(float(note.length) * whole_s, 12)
            again = low.pitch.midi == note.pitch.midi
            moves = _moves(
                ways, leads, gap_s, length_s, bass, weights, slid=False, rung=False, again=again
            )
            total = total[..., None] + moves + points
        before = low, leads
    return float(total.min())


def _one_hand(a: Way, b: Way) -> bool:
    if a.string == b.string or a.hand != b.hand:
        return False
    if a.fret == 0 or b.fret == 0 or a.fret == b.fret:
        return True
    return a.finger != b.finger and (a.fret < b.fret) == (a.finger < b.finger)


def _ways(part: Part, place: int, bass: Instrument) -> tuple[Way, ...]:
    return ways_to_play(part.notes[place].pitch.midi, bass)


def _moves_between(
    part: Part, place: int, after: int, bass: Instrument, weights: Weights
) -> NDArray[np.float64]:
    whole_s = 60 / part.tempo_bpm / float(part.meter.beat)
    before, note = part.notes[place], part.notes[after]
    return _moves(
        _ways(part, place, bass),
        _ways(part, after, bass),
        round(float(note.at - before.at) * whole_s, 12),
        round(float(before.length) * whole_s, 12),
        bass,
        weights,
        slid=note.articulation in (Articulation.SLIDE, Articulation.HAMMERED),
        rung=before.end - note.at >= Fraction(1, 16),
        again=note.pitch.midi == before.pitch.midi and note.at < before.end + Fraction(3, 4),
    )


def roads(part: Part, bass: Instrument) -> int:
    """How many fingerings a part has."""
    count = 1
    for note in part.notes:
        count *= len(ways_to_play(note.pitch.midi, bass))
    return count


@lru_cache(maxsize=4096)
def _column(
    ways: tuple[Way, ...], midi: int, bass: Instrument, weights: Weights, liking: OpenStrings
) -> NDArray[np.float64]:
    return np.array([way_cost(way, midi, bass, weights, liking) for way in ways])


@lru_cache(maxsize=4096)
def _moves(
    before: tuple[Way, ...],
    after: tuple[Way, ...],
    gap_s: float,
    length_s: float,
    bass: Instrument,
    weights: Weights,
    *,
    slid: bool,
    rung: bool,
    again: bool,
) -> NDArray[np.float64]:
    return np.array(
        [
            [
                move_cost(a, b, gap_s, length_s, bass, weights, slid=slid, rung=rung, again=again)
                for b in after
            ]
            for a in before
        ]
    )


def random_bass(rng: random.Random, tuning_index: int, system: FingerSystem) -> Instrument:
    return Instrument(
        tuning=FIVE_TUNINGS[tuning_index],
        frets=rng.choice((9, 12)),
        scale_mm=rng.choice((762.0, 863.6)),
        hand_span_mm=rng.choice((90.0, 105.0)),
        finger_system=system,
    )


def random_part(rng: random.Random, bass: Instrument, most_roads: int) -> Part:
    """A few random notes, some struck again, as many as `most_roads` leaves room for."""
    key: Key = parse_key("C")
    low = rng.randint(bass.lowest, max(bass.lowest, bass.highest - 24))
    notes: list[Note] = []
    at = Fraction(0)
    wanted = rng.randint(2, 6)
    while len(notes) < wanted:
        length = rng.choice(LENGTHS)
        midi = rng.randint(low, min(low + 20, bass.highest))
        if notes and rng.random() < 0.3:
            midi = notes[-1].pitch.midi
        slid = rng.random() < 0.1
        shape = Articulation.SLIDE if slid else Articulation.PLAIN
        notes.append(Note(at, length, key.spell(midi), articulation=shape))
        at += length + rng.choice(RESTS)
        if rng.random() < 0.1:
            notes[-1] = replace(notes[-1], length=length + Fraction(1, 8))
        part = Part("random", key, FOUR_FOUR, rng.choice((60.0, 120.0)), tuple(notes))
        if len(notes) > 2 and roads(part, bass) > most_roads:
            return Part("random", key, FOUR_FOUR, part.tempo_bpm, tuple(notes[:-1]))
    return part


def random_bar(rng: random.Random, bass: Instrument, most_roads: int) -> Part:
    """One 4/4 bar of random notes."""
    while True:
        part = random_part(rng, bass, most_roads)
        if part.length == part.meter.bar:
            return part


def repeated(bar: Part, count: int) -> Part:
    """A one-bar part several times over."""
    notes = tuple(
        replace(note, at=note.at + number * bar.length)
        for number in range(count)
        for note in bar.notes
    )
    return replace(bar, notes=notes, length=bar.length * count)


def random_pairs(rng: random.Random, bass: Instrument) -> Part:
    """Three pairs of notes struck together, from a third to a twelfth apart."""
    notes: list[Note] = []
    for place in range(3):
        if not notes or rng.random() < 0.7:
            low = rng.randint(bass.lowest, bass.highest - 20)
        for midi in (low, low + rng.randint(3, 19)):
            pitch = plain_pitch(midi)
            notes.append(Note(Fraction(place, 4), Fraction(1, 4), pitch))
    return Part("pairs", parse_key("C"), FOUR_FOUR, 90.0, tuple(notes))
