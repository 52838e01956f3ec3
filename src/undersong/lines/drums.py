"""The drum pattern a line locks to, as a Part.

Pitches are General MIDI percussion keys [General MIDI 1]. The kick is the one the bass cells
hold; pushed chords move it along (trade handbook 7.2, rule 10), stops and diamonds silence the
pattern, a section's end gets a short fill where the energy allows. Common practice, no source.
"""

from __future__ import annotations

from bisect import bisect_right

from undersong.chart.roadmap import PlayedChord
from undersong.chart.song import Song
from undersong.lines.feel import Feel
from undersong.lines.groove import EIGHTH, QUARTER, SIXTEENTH
from undersong.lines.plan import BarPlan
from undersong.lines.score import FULL_EIGHTHS_ENERGY, Score, score_of
from undersong.theory.meter import Wholes
from undersong.theory.part import Note, Part, Voice, in_order
from undersong.theory.pitch import plain_pitch

KICK, SIDE_STICK, SNARE, CLOSED_HAT = 36, 37, 38, 42
LOW_TOM, MID_TOM, HIGH_TOM, CRASH, RIDE = 45, 47, 50, 49, 51
CALM_ENERGY = 1
_Strokes = set[tuple[Wholes, int]]


def drum_part(song: Song, *, feel: Feel | None = None) -> Part:
    """Kick, snare and hi-hat for a whole song; `feel` overrides the chart's own."""
    score = score_of(song, feel)
    strokes: _Strokes = set()
    for plan in score.plans:
        strokes |= _bar(score, plan)
    strokes = _with_chords(score, strokes)
    notes = [
        Note(
            at=at,
            length=min(SIXTEENTH, score.length - at),
            pitch=plain_pitch(key),
            dynamic=_plan_at(score, at).dynamic,
            accented=key == CRASH,
        )
        for at, key in strokes
    ]
    return score.part(in_order(notes), Voice.DRUMS)


def _plan_at(score: Score, at: Wholes) -> BarPlan:
    low, high = 0, len(score.plans) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if score.plans[middle].played.at <= at:
            low = middle
        else:
            high = middle - 1
    return score.plans[low]


def _bar(score: Score, plan: BarPlan) -> _Strokes:
    """One bar of the pattern; the last bar of the song is one stroke, let ring."""
    at, groove = plan.played.at, score.groove(plan)
    if plan.is_last:
        return {(at, KICK), (at, CRASH)}
    snare = SIDE_STICK if plan.energy <= CALM_ENERGY else SNARE
    top = RIDE if plan.energy > FULL_EIGHTHS_ENERGY else CLOSED_HAT
    strokes = {(at + place, KICK) for place in groove.kick}
    strokes |= {(at + place, snare) for place in groove.snare}
    strokes |= {(at + place, top) for place in groove.hat}
    if plan.played.is_first and plan.energy >= FULL_EIGHTHS_ENERGY:
        strokes.discard((at, top))
        strokes.add((at, CRASH))
    if plan.leads_to is not None and plan.energy > CALM_ENERGY:
        strokes = _filled(plan, strokes)
    return strokes


def _filled(plan: BarPlan, strokes: _Strokes) -> _Strokes:
    """The last beat of a section on snare and toms, the kick left as it is."""
    bar = plan.played
    span = 3 * EIGHTH if bar.meter.is_compound else QUARTER
    begin = bar.at + bar.length - span
    if begin <= bar.at:
        return strokes
    kept = {(at, key) for at, key in strokes if at < begin or key == KICK}
    drums = (
        (SNARE, HIGH_TOM, LOW_TOM) if bar.meter.is_compound else (SNARE, SNARE, MID_TOM, LOW_TOM)
    )
    step = span / len(drums)
    return kept | {(begin + place * step, drum) for place, drum in enumerate(drums)}


def _with_chords(score: Score, strokes: _Strokes) -> _Strokes:
    """The pattern made to follow the chart: silences, stops, diamonds, pushes."""
    quiet = [chord for chord in score.chords if _is_quiet(chord)]
    starts = [chord.at for chord in quiet]
    pushed = [chord for chord in score.chords if chord.at < chord.written_at]
    moved = {(chord.written_at, KICK) for chord in pushed}

    def is_kept(at: Wholes) -> bool:
        place = bisect_right(starts, at) - 1
        return place < 0 or at >= quiet[place].until

    kept = {stroke for stroke in strokes - moved if is_kept(stroke[0])}
    kept |= {(chord.at, KICK) for chord in pushed if chord.event.chord is not None}
    for chord in quiet:
        if chord.event.chord is not None:
            kept |= {(chord.at, KICK), (chord.at, CRASH if chord.event.stopped else RIDE)}
    return kept


def _is_quiet(chord: PlayedChord) -> bool:
    """Whether the pattern rests under a chord, struck once or not at all."""
    event = chord.event
    return event.chord is None or event.stopped or event.held or event.fermata
