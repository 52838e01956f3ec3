"""Roads between targets: passing notes, approaches, and the best road from note to note.

A road's notes come from the scale of the moment: the key's, with each note the chord changes
put in the place of the key's note of the same number (over b7 the b7, over a major 2 the #4;
trade handbook 7.2, rule 4, and 2.9). The last note before a target lies a step or a half step
from it, or is its fifth (rule 3).

`best_road` searches all roads of its length. State: one note and the direction it was come from.
Step: the next note. Cost: the interval, the turn and the place in the bar, from `LineWeights`.
A test compares it with the enumeration of every road.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from undersong.lines.weights import LineWeights
from undersong.theory.chord import NumberChord, Role
from undersong.theory.interval import Interval, parse_interval
from undersong.theory.key import Key
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, PitchName, plain_pitch

HALF_STEP_UP, HALF_STEP_DOWN = Interval(1, 1), Interval(-1, -1)
FIFTH_UP = parse_interval("P5")
STEP_SEMITONES = 2
THIRD_SEMITONES = 4
READABLE_ALTERATION = 1
_WHITE_KEYS_ALTERED = ("B#", "E#", "Cb", "Fb")
_ROUNDABOUT_DEGREES = ("b1", "b4", "#3", "#7")  # 7, 3, 4 and 1 to a player
ROADS_IN_WORDS = {
    "above": "from above into",
    "below": "from below into",
    "chromatic above": "chromatic approach from above to",
    "chromatic below": "chromatic approach from below to",
    "double": "double approach to",
    "fifth": "by its fifth into",
    "walk": "two steps into",
}


@lru_cache(maxsize=4096)
def scale_over(chord: NumberChord, key: Key) -> tuple[PitchName, ...]:
    """The seven notes to walk on under a chord, upward from the key's tonic."""
    own = {degree.number: key.name_of(degree) for degree in key.degrees}
    for name in _sounding(chord, key):
        own[key.degree_of(name).number] = name
    return tuple(own[number] for number in sorted(own))


@lru_cache(maxsize=4096)
def chord_names(chord: NumberChord, key: Key) -> dict[Role, PitchName]:
    """A chord's notes by role; extensions left out."""
    letters = chord.in_key(key)
    return {role: name for role, name in letters.tones if role is not Role.EXTENSION}


def _sounding(chord: NumberChord, key: Key) -> tuple[PitchName, ...]:
    letters = chord.in_key(key)
    return (*(name for _, name in letters.tones), letters.lowest)


def readable(name: PitchName, chord: NumberChord, key: Key) -> PitchName:
    """The name as it is printed: no double sign ever, B# E# Cb Fb in key or chord alone."""
    is_plain = abs(name.alteration) <= READABLE_ALTERATION
    if is_plain and (str(name) not in _WHITE_KEYS_ALTERED or name in _at_home(chord, key)):
        return name
    return plain_pitch(name.pitch_class + 60, prefer_flats=name.alteration < 0).name


def plain_degree_name(name: PitchName, chord: NumberChord, key: Key) -> PitchName:
    """The name by which a note is numbered: 6 and 3 where its own name would give bb7 or b4."""
    degree = key.degree_of(name)
    is_plain = abs(degree.alteration) <= READABLE_ALTERATION
    if name in _at_home(chord, key) or (is_plain and str(degree) not in _ROUNDABOUT_DEGREES):
        return name
    return key.spell(name.pitch_class + 60).name


@lru_cache(maxsize=4096)
def _at_home(chord: NumberChord, key: Key) -> frozenset[PitchName]:
    return frozenset((*key.names, *_sounding(chord, key)))


@dataclass(frozen=True, slots=True)
class Approach:
    """One or two notes that lead into a target; `road` names the kind for variety's sake.

    `moves` are semitones from the target, `names` their spelling, `whys` a reason each.
    """

    road: str
    moves: tuple[int, ...]
    names: tuple[PitchName, ...]
    whys: tuple[str, ...]


@lru_cache(maxsize=8192)
def approaches(
    target: PitchName, goal: str, start: int, chord: NumberChord, key: Key
) -> tuple[Approach, ...]:
    """Every approach to a target under a chord.

    Parameters
    ----------
    target
        The note approached.
    goal
        What it is called in the reasons, such as ``the 6``.
    start
        Semitones from the target up to the note the road starts on (negative: from below), for
        the two-note walks.
    chord, key
        What sounds while the approach is played.
    """
    scale = scale_over(chord, key)
    chromatic = _chromatic(target, goal, scale)
    found = [_inside(target, goal, scale, above=up) for up in (False, True)]
    found.extend(chromatic)
    found.extend(_doubles(target, goal, scale))
    found.append(_fifth(target, goal, scale))
    found.extend(_walks(target, goal, scale, start))
    return tuple(each for each in found if each is not None)


def _semitones(low: PitchName, high: PitchName) -> int:
    return (high.pitch_class - low.pitch_class) % SEMITONES_PER_OCTAVE


def _neighbour(target: PitchName, scale: Sequence[PitchName], *, above: bool) -> int | None:
    """Semitones to the nearest note of the scale a step or half step away."""
    for distance in (1, STEP_SEMITONES):
        for name in scale:
            gap = _semitones(target, name) if above else _semitones(name, target)
            if gap == distance:
                return distance if above else -distance
    return None


def _name_at(target: PitchName, move: int, scale: Sequence[PitchName]) -> PitchName:
    """The spelling of a note so many semitones from a target: the scale's, else by half step."""
    wanted = (target.pitch_class + move) % SEMITONES_PER_OCTAVE
    for name in scale:
        if name.pitch_class == wanted:
            return name
    half = HALF_STEP_UP if move > 0 else HALF_STEP_DOWN
    if abs(move) == 1:
        return half.above_name(target)
    return Interval(1 if move > 0 else -1, move).above_name(target)


def _inside(
    target: PitchName, goal: str, scale: Sequence[PitchName], *, above: bool
) -> Approach | None:
    move = _neighbour(target, scale, above=above)
    if move is None:
        return None
    side = "above" if above else "below"
    size = "step" if abs(move) == STEP_SEMITONES else "half step"
    why = f"{size} inside the key into {goal} from {side}"
    return Approach(side, (move,), (_name_at(target, move, scale),), (why,))


def _chromatic(target: PitchName, goal: str, scale: Sequence[PitchName]) -> list[Approach]:
    classes = {name.pitch_class for name in scale}
    found = []
    for move, side in ((-1, "below"), (1, "above")):
        if (target.pitch_class + move) % SEMITONES_PER_OCTAVE in classes:
            continue  # inside the key already, and called so
        name = _name_at(target, move, scale)
        why = f"chromatic approach to {goal} from {side}"
        found.append(Approach(f"chromatic {side}", (move,), (name,), (why,)))
    return found


def _doubles(target: PitchName, goal: str, scale: Sequence[PitchName]) -> list[Approach]:
    found = []
    above = _neighbour(target, scale, above=True) or 1
    for order in ("above, then below", "below, then above"):
        moves = (above, -1) if order.startswith("above") else (-1, above)
        names = tuple(_name_at(target, move, scale) for move in moves)
        whys = (
            f"double approach to {goal}: first from {order.split(',')[0]}",
            f"double approach to {goal}: then from {order.rsplit(' ', 1)[1]}",
        )
        found.append(Approach("double", moves, names, whys))
    return found


def _fifth(target: PitchName, goal: str, scale: Sequence[PitchName]) -> Approach | None:
    name = FIFTH_UP.above_name(target)
    if name not in scale:
        return None
    why = f"the fifth of {goal}, a strong step to it"
    return Approach("fifth", (FIFTH_UP.semitones - SEMITONES_PER_OCTAVE,), (name,), (why,))


def _walks(target: PitchName, goal: str, scale: Sequence[PitchName], start: int) -> list[Approach]:
    """Two steps inside the key, on the side the road comes from."""
    found = []
    for above in (False, True):
        if start == 0 or (start > 0) is not above:
            continue
        near = _neighbour(target, scale, above=above)
        if near is None:
            continue
        sign = 1 if above else -1
        further = _neighbour(_name_at(target, near, scale), scale, above=above)
        if further is None or (near + further - start) * sign > 0:
            continue
        moves = (near + further, near)
        names = tuple(_name_at(target, move, scale) for move in moves)
        side = "down" if above else "up"
        whys = (f"passing note on the way {side} to {goal}", f"passing note, a step from {goal}")
        found.append(Approach("walk", moves, names, whys))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Every note a road may use: MIDI number, spelling, and whether it is a note of the chord.

    `lattice` gives the same object for the same question, so it is compared by identity.
    """

    notes: tuple[tuple[int, PitchName, bool], ...]


@lru_cache(maxsize=4096)
def lattice(chord: NumberChord, key: Key, low: int, high: int, *, pentatonic: bool) -> Lattice:
    """The scale of the moment between two MIDI numbers.

    Where `pentatonic`, the chord's notes and the steps 2 and 6 above its root alone: no note
    that rubs against the chord.
    """
    tones = {name.pitch_class for name in _sounding(chord, key)}
    scale = scale_over(chord, key)
    if pentatonic:
        root = key.name_of(chord.root)
        kept = {parse_interval(text).above_name(root).pitch_class for text in ("M2", "M6")} | tones
        scale = tuple(name for name in scale if name.pitch_class in kept)
    rows = [
        (midi, name, name.pitch_class in tones)
        for name in scale
        for midi in range(low, high + 1)
        if midi % SEMITONES_PER_OCTAVE == name.pitch_class
    ]
    return Lattice(tuple(sorted(rows, key=lambda row: row[0])))


def step_points(before: int, midi: int, direction: int, weights: LineWeights) -> float | None:
    """Points of one move inside a road; None where it is wider than an octave.

    `direction` is the sign of the move before it, 0 where there was none.
    """
    distance = abs(midi - before)
    if distance > SEMITONES_PER_OCTAVE:
        return None
    points = 0.0
    if distance == 0:
        points += weights.repeat
    elif distance > THIRD_SEMITONES:
        points += weights.jump
    elif distance > STEP_SEMITONES:
        points += weights.skip
    turned = direction and midi != before and (midi > before) is not (direction > 0)
    return points + (weights.turning if turned else 0.0)


def arrives(last: int, goal: int | None, *, is_tone: bool) -> bool:
    """A road ends a step or half step from its goal; without a goal, on a note of the chord."""
    return is_tone if goal is None else 0 < abs(goal - last) <= STEP_SEMITONES


@lru_cache(maxsize=8192)
def best_road(
    start: int,
    goal: int | None,
    strong: tuple[bool, ...],
    notes: Lattice,
    weights: LineWeights,
) -> tuple[tuple[int, PitchName], ...] | None:
    """The cheapest road of ``len(strong)`` notes; None where there is none.

    Parameters
    ----------
    start
        MIDI number of the note before the road.
    goal
        MIDI number of the note after it; None where the road ends in itself.
    strong
        Whether each note of the road falls on a beat.
    notes
        What the road may use.

    Returns
    -------
    tuple or None
        MIDI number and spelling of each note. Equal roads are told apart by their notes, lowest
        first, so that the answer is always the same one.
    """
    best: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {(start, 0): (0.0, ())}
    for is_strong in strong:
        best = _row(best, notes, weights, is_strong=is_strong)
    tones = {midi: is_tone for midi, _, is_tone in notes.notes}
    ends = [
        found
        for (last, _), found in best.items()
        if strong and arrives(last, goal, is_tone=tones[last])
    ]
    if not ends:
        return None
    names = {midi: name for midi, name, _ in notes.notes}
    return tuple((midi, names[midi]) for midi in min(ends)[1])


_Row = dict[tuple[int, int], tuple[float, tuple[int, ...]]]


def _row(best: _Row, notes: Lattice, weights: LineWeights, *, is_strong: bool) -> _Row:
    """The best road to each (note, direction) one note further."""
    row: _Row = {}
    for midi, _, is_tone in notes.notes:
        here = weights.weak_chord_note if is_strong and not is_tone else 0.0
        for (before, direction), (points, road) in best.items():
            step = step_points(before, midi, direction, weights)
            if step is None:
                continue
            state = midi, (midi > before) - (midi < before)
            total = points + step + here
            known = row.get(state)
            if known is None or total < known[0] or (total == known[0] and road < known[1][:-1]):
                row[state] = total, (*road, midi)
    return row
