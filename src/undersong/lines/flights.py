"""Figures of levels 5 and 6: fills, pick-ups into sections, tenths and a second melody.

Their notes are `best_road`s over the scale of the moment; here is only where they may begin,
in what rhythm, and within which range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from undersong.lines.figures import (
    Figure,
    Goal,
    Kind,
    Slot,
    Tone,
    arrival_why,
    chord_note,
    into_goal,
    is_on_beat,
    role_words,
    tones_of,
    wideness,
)
from undersong.lines.groove import EIGHTH, SIXTEENTH
from undersong.lines.targets import OCTAVE
from undersong.lines.walk import best_road, lattice
from undersong.lines.weights import LineWeights
from undersong.theory.chord import Role
from undersong.theory.meter import Wholes
from undersong.theory.pitch import PitchName

REACH_BELOW, REACH_ABOVE = 7, 12  # semitones a fill may leave its ends by
QUICK_S = 0.11  # a sixteenth shorter than this is no place for a fill
TOP_OF_MELODY = 55  # G3, the twelfth fret of the highest string of four
ROOM_FOR_MELODY = 2  # beats: shorter slots have no room for one
UNEVEN_UNIT = 8  # 5/8, 7/8: their beats are too few for a melody
LONG_MELODY = Fraction(3, 4)  # of a bar: shorter slots move in half beats at once


@dataclass(frozen=True, slots=True)
class _Run:
    """A fill's shape: where its notes fall (back from the slot's end), in what scale."""

    idea: str
    onsets: tuple[Wholes, ...]
    pentatonic: bool
    stops_at: Wholes | None = None  # the fill ends here and leaves the rest of the bar open


def fills(slot: Slot, base: Figure, weights: LineWeights) -> list[Figure]:
    """Every fill for the end of a phrase, and every pick-up for the end of a section."""
    if slot.goal is None or not slot.ends_bar or slot.length < 2 * slot.beat:
        return []
    found = []
    for run in _runs(slot):
        tones = _run_tones(slot, base, run, weights)
        if tones is None:
            continue
        wish = weights.fill if slot.leads_to is None else weights.pickup
        points = wish + wideness(slot, tones, weights)
        found.append(Figure(_fill_words(slot, run), Kind.FILL, "fill", tones, points))
    return found


def _fill_words(slot: Slot, run: _Run) -> str:
    return run.idea if slot.leads_to is None else f"pick-up into the {slot.leads_to}: {run.idea}"


def _runs(slot: Slot) -> list[_Run]:
    end, beat = slot.end, slot.beat
    two_beats = _grid(end - 2 * beat, end, EIGHTH)
    one_beat = _grid(end - beat, end, EIGHTH)
    has_room = end - 2 * beat > max(slot.start, Fraction(0))
    runs = []
    if has_room:
        runs.append(_Run("a run through the key", two_beats, pentatonic=False))
        runs.append(_Run("a run close to the chord", two_beats, pentatonic=True))
        late = tuple(at for at in two_beats if at != end - 2 * beat)
        runs.append(_Run("a run that starts off the beat", late, pentatonic=False))
        if slot.leads_to is None:
            stop = end - beat
            first = tuple(at for at in two_beats if at < stop)
            runs.append(
                _Run("a short run, the last beat left open", first, pentatonic=True, stops_at=stop)
            )
    if not slot.meter.is_compound and float(SIXTEENTH) * slot.whole_s >= QUICK_S:
        quick = _grid(end - beat, end, SIXTEENTH)
        runs.append(_Run("a quick run on the last beat", quick, pentatonic=False))
    if slot.meter.is_compound or not has_room:
        runs.append(_Run("a run on the last beat", one_beat, pentatonic=False))
    return runs


def _grid(start: Wholes, end: Wholes, unit: Wholes) -> tuple[Wholes, ...]:
    return tuple(start + place * unit for place in range(int((end - start) / unit)))


def _run_tones(
    slot: Slot, base: Figure, run: _Run, weights: LineWeights
) -> tuple[Tone, ...] | None:
    assert slot.goal is not None
    begin = run.onsets[0]
    kept = [tone for tone in base.tones if tone.at < begin]
    if not kept or begin <= max(slot.start, Fraction(0)):
        return None
    kept[-1] = replace(kept[-1], length=min(kept[-1].length, begin - kept[-1].at))
    target = slot.goal.midi
    low = max(slot.low, min(slot.midi, target) - REACH_BELOW)
    high = min(slot.high, max(slot.midi, target) + REACH_ABOVE)
    notes = lattice(slot.chord, slot.key, low, high, pentatonic=run.pentatonic)
    strong = tuple(is_on_beat(slot, at) for at in run.onsets)
    goal = slot.goal if run.stops_at is None else None
    end_at = None if goal is None else goal.midi
    road = best_road(kept[-1].midi, end_at, strong, notes, weights)
    if road is None:
        return None
    whys = _road_whys("fill", slot, road, goal)
    end = slot.end if run.stops_at is None else run.stops_at
    return (*kept, *_laid(run.onsets, end, road, whys))


def _laid(
    onsets: Sequence[Wholes],
    end: Wholes,
    road: Sequence[tuple[int, PitchName]],
    whys: Sequence[str],
) -> tuple[Tone, ...]:
    return tuple(
        Tone(at, following - at, midi, name, why)
        for at, following, (midi, name), why in zip(
            onsets, [*onsets[1:], end], road, whys, strict=True
        )
    )


def _road_whys(
    what: str, slot: Slot, road: Sequence[tuple[int, PitchName]], goal: Goal | None
) -> list[str]:
    whys = [f"{what}: {role_words(slot, name)}" for _, name in road]
    if goal is not None and road:
        side = "below" if road[-1][0] < goal.midi else "above"
        size = "half step" if abs(road[-1][0] - goal.midi) % OCTAVE in (1, OCTAVE - 1) else "step"
        whys[-1] = f"{what}: {size} into {goal.words} from {side}"
    return whys


def melodies(slot: Slot, weights: LineWeights) -> list[Figure]:
    """Tenths, a melody through the bar, and a counter-melody an octave up."""
    if slot.goal is None or slot.length < ROOM_FOR_MELODY * slot.beat or slot.push:
        return []
    high = min(TOP_OF_MELODY, slot.high + OCTAVE)
    roomy = replace(slot, high=high)
    found = []
    for onsets in _melody_rhythms(slot):
        found.extend(_tenths(roomy, onsets, weights))
        found.extend(_walks(roomy, onsets, weights))
        found.extend(_counters(roomy, onsets, weights))
    return found


def _melody_rhythms(slot: Slot) -> list[tuple[Wholes, ...]]:
    """Onsets after the arrival: beats when calm, beats and their halves when full."""
    is_long = slot.length >= LONG_MELODY * slot.meter.bar
    if slot.meter.is_compound:
        eighths = _grid(slot.start, slot.end, EIGHTH)[1:]
        calm = tuple(at for at in eighths if (at / EIGHTH) % 3 in (0, 2))
        return [calm] if slot.energy <= 1 and is_long else [calm, eighths]
    beats = _grid(slot.start, slot.end, slot.beat)[1:]
    halves = _grid(slot.start, slot.end, slot.beat / 2)[1:]
    if not is_long or slot.meter.unit >= UNEVEN_UNIT:
        return [halves]
    second_half = tuple(at for at in halves if at in beats or at > slot.middle)
    return [beats] if slot.energy <= 1 else [second_half, beats]


def _melody(
    idea: str,
    slot: Slot,
    onsets: tuple[Wholes, ...],
    road: Sequence[tuple[int, PitchName]],
    whys: Sequence[str],
    weights: LineWeights,
) -> Figure:
    first = (slot.midi, slot.name, arrival_why(slot))
    notes = [first, *((midi, name, why) for (midi, name), why in zip(road, whys, strict=True))]
    tones = tones_of(slot, (slot.start, *onsets), notes)
    points = weights.melody + wideness(slot, tones[1:], weights)
    points += into_goal(slot, tones, weights)
    return Figure(idea, Kind.MELODY, idea, tones, points)


def _tenths(slot: Slot, onsets: tuple[Wholes, ...], weights: LineWeights) -> list[Figure]:
    """The bass note, the chord's third over its octave, and down by step to the next chord."""
    assert slot.goal is not None
    role = Role.THIRD if slot.chord.bass is None else Role.ROOT
    tenth = chord_note(slot, role, above=slot.midi + OCTAVE)
    if tenth is None or tenth[0] > slot.high or tenth[0] % OCTAVE == slot.midi % OCTAVE:
        return []
    notes = lattice(slot.chord, slot.key, slot.midi, slot.high, pentatonic=False)
    rest = onsets[1:]
    strong = tuple(is_on_beat(slot, at) for at in rest)
    for goal in (slot.goal, None):
        road = best_road(tenth[0], goal.midi if goal else None, strong, notes, weights)
        if road is None:
            continue
        interval = "tenth" if role is Role.THIRD else "chord's root"
        whys = [f"{interval}: {role_words(slot, tenth[1])}, over the octave"]
        whys += _road_whys("melody", slot, road, goal)
        idea = "a tenth over the root"
        return [_melody(idea, slot, onsets, (tenth, *road), whys, weights)]
    return []


def _walks(slot: Slot, onsets: tuple[Wholes, ...], weights: LineWeights) -> list[Figure]:
    """By step and third from the root into the next chord's note."""
    assert slot.goal is not None
    found = []
    for idea, lowest in (
        ("a melody over the root", slot.midi),
        ("a melody round the root", slot.low),
    ):
        notes = lattice(
            slot.chord,
            slot.key,
            max(lowest, slot.midi - OCTAVE),
            min(slot.high, slot.midi + OCTAVE + REACH_BELOW),
            pentatonic=False,
        )
        strong = tuple(is_on_beat(slot, at) for at in onsets)
        road = best_road(slot.midi, slot.goal.midi, strong, notes, weights)
        if road is not None:
            whys = _road_whys("melody", slot, road, slot.goal)
            found.append(_melody(idea, slot, onsets, road, whys, weights))
    return found


def _counters(slot: Slot, onsets: tuple[Wholes, ...], weights: LineWeights) -> list[Figure]:
    """An octave above the roots, moving against them."""
    assert slot.goal is not None
    rises = slot.goal.midi >= slot.midi
    start = slot.midi + OCTAVE
    low, high = (start - REACH_BELOW, start + 4) if rises else (start, start + REACH_BELOW + 4)
    notes = lattice(slot.chord, slot.key, low, min(high, slot.high), pentatonic=False)
    strong = tuple(is_on_beat(slot, at) for at in onsets)
    road = best_road(start, None, strong, notes, weights)
    if road is None or len({midi for midi, _ in road}) < 2:
        return []
    whys = _road_whys("counter-melody", slot, road, None)
    return [_melody("a counter-melody", slot, onsets, road, whys, weights)]
