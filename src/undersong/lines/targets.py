"""The notes a chart asks for, beat by beat, and the octave each is played in.

A target is one stretch of one chord inside one bar: where it is struck, how it is to be played,
and the note the chart wants under it: the root, or the note after the slash (trade handbook 7.2,
rules 1 and 9). Targets and their octaves do not depend on the level, so that all levels share
them. Bars where the bass lays out, and silences, have no target.

The octaves are the cheapest road through all the chart's notes for the stated cost.
State: the MIDI number of one target. Step: the next target. Cost: where the note lies
(register and neck) and the leap to it, from `LineWeights`. A leap's cost depends on its two ends
alone, so the best road to each note goes through the best road to one before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from undersong.chart.roadmap import PlayedChord
from undersong.chart.song import Song
from undersong.errors import UnplayableError
from undersong.lines.plan import FULLEST, BarPlan
from undersong.lines.weights import LineWeights
from undersong.neck.instrument import Instrument
from undersong.theory.chord import NumberChord, number_of
from undersong.theory.key import Key
from undersong.theory.meter import Wholes
from undersong.theory.pitch import PitchName, parse_pitch

LOW_E = parse_pitch("E1").midi
TOP_OF_WEIGHT = parse_pitch("C2").midi  # trade handbook 7.2, rule 8: roots for weight
TOP_OF_VERSE = parse_pitch("G2").midi
EASY_FRET = 7
FIFTH_SEMITONES = 7
OCTAVE = 12


class Touch(StrEnum):
    """How the chart wants a chord played."""

    PLAY = "play"
    HELD = "held"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Target:
    """A stretch of one chord inside one bar.

    `bar` is the index of its written bar; a pushed target begins before that bar does.
    `is_arrival` is False where the chord merely carries on over a bar line. `key` is the key
    numbers are counted in.
    """

    at: Wholes
    until: Wholes
    bar: int
    chord: NumberChord
    key: Key
    touch: Touch
    is_arrival: bool
    push: Wholes
    has_fermata: bool

    @property
    def name(self) -> PitchName:
        """The note the chart asks the bass for."""
        return self.key.name_of(self.chord.lowest)


def targets_of(
    song: Song, plans: Sequence[BarPlan], chords: Sequence[PlayedChord]
) -> tuple[Target, ...]:
    """Every target of a song, in order of place; they never overlap."""
    targets: list[Target] = []
    for played in chords:
        if played.event.chord is not None:
            targets.extend(_of_chord(song, plans, played))
    return tuple(targets)


def _touch(played: PlayedChord) -> Touch:
    if played.event.stopped:
        return Touch.STOPPED
    return Touch.HELD if played.event.held or played.event.fermata else Touch.PLAY


def carried(song: Song, played: PlayedChord, key: Key) -> NumberChord:
    """A chord that carries on into another key, by that key's numbers."""
    chord = played.event.chord
    if chord is None:
        raise ValueError("silence has no number")
    old, new = song.counted_in(played.key), song.counted_in(key)
    return chord if old == new else number_of(chord.in_key(old), new)


def _of_chord(song: Song, plans: Sequence[BarPlan], played: PlayedChord) -> list[Target]:
    """One chord cut at bar lines; a held or stopped chord is one target to its end."""
    touch = _touch(played)
    chord = played.event.chord
    assert chord is not None
    found: list[Target] = []
    for index in range(played.bar, len(plans)):
        bar = plans[index].played
        start = played.at if index == played.bar else bar.at
        if start >= played.until:
            break
        if bar.is_out:
            continue
        is_first = index == played.bar
        if not is_first and touch is not Touch.PLAY:
            if found and touch is Touch.HELD:
                found[-1] = replace(found[-1], until=min(bar.at + bar.length, played.until))
            continue
        until = min(bar.at + bar.length, played.until)
        found.append(
            Target(
                at=start,
                until=until,
                bar=index,
                chord=chord if is_first else carried(song, played, bar.key),
                key=song.counted_in(played.key if is_first else bar.key),
                touch=touch,
                is_arrival=is_first,
                push=played.written_at - played.at if is_first else Wholes(0),
                has_fermata=played.event.fermata,
            )
        )
    return found


def chosen_octaves(
    targets: Sequence[Target],
    plans: Sequence[BarPlan],
    instrument: Instrument,
    weights: LineWeights,
) -> tuple[int, ...]:
    """The MIDI number of each target: the least cost over the whole song.

    Raises
    ------
    UnplayableError
        If the instrument has a chart's note in no octave.
    """
    ways = [_ways(target, plans[target.bar], instrument, weights) for target in targets]
    best: list[dict[int, tuple[float, int | None]]] = []
    for place, options in enumerate(ways):
        row: dict[int, tuple[float, int | None]] = {}
        for midi, here in options:
            if not place:
                row[midi] = here, None
                continue
            starts_section = (
                targets[place].bar != targets[place - 1].bar
                and plans[targets[place].bar].played.is_first
            )
            row[midi] = min(
                (cost + here + _leap(before, midi, weights, starts_section=starts_section), before)
                for before, (cost, _) in best[-1].items()
            )
        best.append(row)
    return _traced(best)


def _traced(best: list[dict[int, tuple[float, int | None]]]) -> tuple[int, ...]:
    if not best:
        return ()
    midi: int | None = min(best[-1], key=lambda each: (best[-1][each][0], each))
    road: list[int] = []
    for row in reversed(best):
        assert midi is not None
        road.append(midi)
        midi = row[midi][1]
    return tuple(reversed(road))


def _ways(
    target: Target, plan: BarPlan, instrument: Instrument, weights: LineWeights
) -> list[tuple[int, float]]:
    """Each octave the instrument has for a target, and the points of playing there."""
    pitch_class = target.name.pitch_class
    wants_weight = plan.energy >= FULLEST - 1 or plan.is_last
    found = []
    for midi in range(instrument.lowest, instrument.highest + 1):
        if midi % OCTAVE != pitch_class:
            continue
        places = instrument.places(midi)
        if not places:
            continue
        points = weights.above_weight * max(midi - TOP_OF_WEIGHT, 0)
        points += weights.above_verse * max(midi - TOP_OF_VERSE, 0)
        if not wants_weight:
            points += weights.below_weight * max(LOW_E - midi, 0)
        lowest_fret = min(fret for _, fret in places)
        points += weights.high_fret * max(lowest_fret - EASY_FRET, 0)
        found.append((midi, points))
    if not found:
        low, high = instrument.lowest, instrument.highest
        raise UnplayableError(
            f"Bar {plan.played.number}: this neck ({instrument.tuning}, {instrument.frets} frets, "
            f"MIDI {low} to {high}) has no {target.name}; give it more frets or strings."
        )
    return found


def _leap(before: int, after: int, weights: LineWeights, *, starts_section: bool) -> float:
    distance = abs(after - before)
    points = weights.leap * max(distance - FIFTH_SEMITONES, 0) + 0.01 * distance
    if distance and distance % OCTAVE == 0 and not starts_section:
        points += weights.octave_change
    return points
