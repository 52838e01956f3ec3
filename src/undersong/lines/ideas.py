"""Figures of levels 1 to 4: held and steady roots, root-fifth-octave, approaches.

Each function gives every figure of its kind that a slot allows, with its points; `figures_for`
puts them together for the slot's level. Nothing here chooses: search.py does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from undersong.lines.figures import (
    Figure,
    Kind,
    Slot,
    Tone,
    arrival_why,
    cell_onsets,
    chord_note,
    into_goal,
    is_on_beat,
    role_words,
    tones_of,
    wideness,
)
from undersong.lines.flights import fills, melodies
from undersong.lines.groove import EIGHTH, QUARTER
from undersong.lines.levels import APPROACHES, CHORD_NOTES, FILLS, HELD, MELODY
from undersong.lines.plan import FULLEST
from undersong.lines.targets import OCTAVE, Touch
from undersong.lines.walk import ROADS_IN_WORDS, STEP_SEMITONES, Approach, approaches
from undersong.lines.weights import LineWeights
from undersong.theory.chord import Role
from undersong.theory.meter import Wholes
from undersong.theory.part import Articulation
from undersong.theory.pitch import PitchName

FULL_ENERGY = FULLEST - 1
BASES_FOR_ROADS = 3
STEADY = ("steady roots", "roots in another rhythm")
_Change = tuple[int, PitchName, str]


def figures_for(slot: Slot, weights: LineWeights) -> tuple[Figure, ...]:
    """Every figure the slot's level allows, at least one; equal sounds once, at their least."""
    if slot.touch is not Touch.PLAY or slot.is_last or slot.level == HELD:
        return _held(slot, weights)
    steady = _steady(slot, weights)
    if slot.level < CHORD_NOTES:
        return _heard_once(steady)
    found = _patterns(slot, steady, weights)
    found += [replace(each, points=each.points + weights.plain) for each in steady]
    if slot.level >= APPROACHES and slot.allows_road:
        halfway = [replace(each, points=each.points + weights.plain / 2) for each in steady]
        bases = sorted([*found, *halfway], key=lambda each: each.points)
        found += _led(slot, bases[:BASES_FOR_ROADS], weights)
        if slot.level >= FILLS and slot.allows_fill:
            found += fills(slot, steady[0], weights)
        if slot.level >= MELODY:
            found += melodies(slot, weights)
    return _heard_once(found)


def lateness(figures: Sequence[Figure], turn: int, weights: LineWeights) -> dict[str, float]:
    """Points each idea pays because it is not its turn: how the seed chooses among near equals.

    The ideas of one kind take turns; steady roots, the ground of them all, stand outside.
    """
    late: dict[str, float] = {}
    for kind in Kind:
        ideas = list(
            dict.fromkeys(f.idea for f in figures if f.kind is kind and f.idea not in STEADY)
        )
        for place, idea in enumerate(ideas):
            late[idea] = weights.turn * ((place - turn) % len(ideas)) / len(ideas)
    return late


def _heard_once(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    best: dict[tuple[tuple[Wholes, int], ...], Figure] = {}
    for each in figures:
        known = best.get(each.signature)
        if known is None or each.points < known.points:
            best[each.signature] = each
    return tuple(best.values())


def _held(slot: Slot, weights: LineWeights) -> tuple[Figure, ...]:
    """One long note, or two halves where the section is full; a stop is short."""
    why = arrival_why(slot)
    if slot.touch is Touch.STOPPED:
        length = min(slot.length, EIGHTH)
        tone = Tone(slot.start, length, slot.midi, slot.name, why, Articulation.SHORT)
        return (Figure("a stop", Kind.PLAIN, "", (tone,), 0.0),)
    marked = slot.touch is Touch.HELD or slot.has_fermata or slot.is_last
    touch = Articulation.HELD if marked else Articulation.PLAIN
    whole = Tone(slot.start, slot.length, slot.midi, slot.name, why, touch)
    held = Figure("one held note", Kind.PLAIN, "", (whole,), 0.0)
    middle = slot.bar_length / 2
    is_divisible = slot.meter.beats % 2 == 0 and slot.start < middle < slot.end
    if marked or not is_divisible or slot.length < slot.bar_length:
        return (held,)
    halves = tones_of(
        slot,
        (slot.start, middle),
        [(slot.midi, slot.name, why), (slot.midi, slot.name, "the root again, halfway")],
    )
    wish = -weights.other_rhythm if slot.energy >= FULL_ENERGY else weights.other_rhythm
    return held, Figure("two halves", Kind.PLAIN, "", halves, wish / 2)


def _steady(slot: Slot, weights: LineWeights) -> list[Figure]:
    """Roots in each of the bar's rhythms, the section's own first."""
    cells = slot.groove.cells
    own = slot.rhythm % len(cells)
    at_phrase = (own + slot.rhythm_turn) % len(cells)
    found = []
    for place in sorted(range(len(cells)), key=lambda each: (each - own) % len(cells)):
        onsets = cell_onsets(slot, cells[place])
        notes = [(slot.midi, slot.name, _again(slot, at)) for at in onsets]
        tones = tones_of(slot, onsets, notes)
        points = weights.other_rhythm * (place != own) + wideness(slot, tones, weights)
        if slot.is_phrase_end and place == at_phrase != own:
            points += weights.phrase_rhythm
        idea = STEADY[0] if place == own else STEADY[1]
        found.append(Figure(idea, Kind.PLAIN, "", tones, points))
    return found


def _again(slot: Slot, at: Wholes) -> str:
    if at == slot.start:
        return arrival_why(slot)
    what = f"the {slot.chord.lowest}" if slot.chord.bass is not None else "the root"
    return f"{what} again, with the kick" if at in slot.groove.kick else f"{what} again"


def _patterns(slot: Slot, steady: Sequence[Figure], weights: LineWeights) -> list[Figure]:
    """Root, fifth and octave laid over each rhythm."""
    found: list[Figure] = []
    last_quarter = slot.start + slot.length * 3 / 4
    fifth, low_fifth = _fifth(slot, below=False), _fifth(slot, below=True)
    octave = _in_range(slot, (slot.midi + OCTAVE, slot.name, "octave of the bass note"))

    def second_half(change: _Change | None) -> Callable[[Wholes], _Change | None]:
        return lambda at: change if at >= slot.middle else None

    shapes: list[tuple[str, Callable[[Wholes], _Change | None]]] = [
        ("root and fifth", second_half(fifth)),
        (
            "root, fifth, octave",
            lambda at: octave if at >= last_quarter else second_half(fifth)(at),
        ),
        ("root and octave", second_half(octave)),
        ("root and the fifth below", second_half(low_fifth)),
        ("octave at the end", lambda at: octave if at >= last_quarter else None),
    ]
    if slot.energy >= FULL_ENERGY:
        shapes.append(("octaves off the beat", lambda at: None if is_on_beat(slot, at) else octave))
    for rhythm in steady:
        for idea, shape in shapes:
            changed = _changed(slot, rhythm, shape)
            if changed is None:
                continue
            tones, count = changed
            points = rhythm.points + wideness(slot, tones, weights)
            points += into_goal(slot, tones, weights)
            points += weights.busy * count * (slot.energy <= 1)
            found.append(Figure(idea, Kind.PLAIN, "", tones, points))
    return found


def _changed(
    slot: Slot, rhythm: Figure, shape: Callable[[Wholes], _Change | None]
) -> tuple[tuple[Tone, ...], int] | None:
    tones: list[Tone] = []
    count = 0
    for tone in rhythm.tones:
        change = None if tone.at == slot.start else shape(tone.at)
        if change is None:
            tones.append(tone)
        else:
            midi, name, why = change
            tones.append(replace(tone, midi=midi, name=name, why=why))
            count += 1
    return (tuple(tones), count) if count else None


def _in_range(slot: Slot, change: _Change) -> _Change | None:
    return change if slot.low <= change[0] <= slot.high else None


def _fifth(slot: Slot, *, below: bool) -> _Change | None:
    """The chord's fifth next to the bass note; over a slash bass, the chord's root."""
    role = Role.FIFTH if slot.chord.bass is None else Role.ROOT
    found = chord_note(slot, role, above=slot.midi)
    if found is None or found[0] % OCTAVE == slot.midi % OCTAVE:
        return None
    midi, name = found
    midi -= OCTAVE if below else 0
    side = "below" if below else "above"
    return _in_range(slot, (midi, name, f"{role_words(slot, name)}, {side}"))


def _led(slot: Slot, bases: Sequence[Figure], weights: LineWeights) -> list[Figure]:
    """The best few plain figures with every approach at their end."""
    if slot.goal is None:
        return []
    found: list[Figure] = []
    start = slot.midi - slot.goal.midi
    ways = approaches(slot.goal.name, slot.goal.words, start, slot.chord, slot.key)
    is_static = slot.goal.midi == slot.midi
    for way in ways:
        for unit in _units(slot, way):
            for base in bases:
                tones = _with_tail(slot, base, way, unit)
                if tones is None:
                    continue
                points = base.points + wideness(slot, tones, weights) + weights.approach
                points += weights.static_target * is_static + _reach(tones, way, weights)
                points += weights.approach / 2 * slot.is_phrase_end
                idea = f"{ROADS_IN_WORDS[way.road]} {slot.goal.words}"
                found.append(Figure(idea, Kind.APPROACH, way.road, tones, points))
    return found


def _reach(tones: Sequence[Tone], way: Approach, weights: LineWeights) -> float:
    """Points of the leap from the plain figure to the first note of an approach."""
    first = len(tones) - len(way.moves)
    return weights.reach * max(abs(tones[first].midi - tones[first - 1].midi) - STEP_SEMITONES, 0)


def _units(slot: Slot, way: Approach) -> tuple[Wholes, ...]:
    """Note values an approach may have: eighths, or one quarter where the bar is calm."""
    eighths = len(way.moves) * EIGHTH <= slot.length / 2
    calm = len(way.moves) == 1 and slot.energy <= 2 and slot.length >= 2 * QUARTER
    whole_beat = calm and not slot.meter.is_compound
    return (EIGHTH,) * eighths + (QUARTER,) * whole_beat


def _with_tail(slot: Slot, base: Figure, way: Approach, unit: Wholes) -> tuple[Tone, ...] | None:
    """A plain figure cut short by the notes of an approach; None out of range or out of reach."""
    assert slot.goal is not None
    begin = slot.end - len(way.moves) * unit
    kept = [tone for tone in base.tones if tone.at < begin]
    if not kept or begin <= max(slot.start, Wholes(0)):
        return None
    kept[-1] = replace(kept[-1], length=min(kept[-1].length, begin - kept[-1].at))
    tail = [
        Tone(begin + place * unit, unit, slot.goal.midi + move, name, why)
        for place, (move, name, why) in enumerate(zip(way.moves, way.names, way.whys, strict=True))
    ]
    tones = (*kept, *tail)
    in_range = all(slot.low <= tone.midi <= slot.high for tone in tail)
    moves = any(tone.midi != kept[-1].midi for tone in tail)
    in_reach = all(abs(b.midi - a.midi) <= OCTAVE for a, b in pairwise(tones))
    return tones if in_range and in_reach and moves else None
