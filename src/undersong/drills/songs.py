"""From the set's own songs: their changes with the hardest moves weighted, and weak spots."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from undersong.drills.chordwork import FOUR_ROOTS
from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.writing import (
    Tone,
    chord_on,
    held,
    in_bars,
    lowest_tonic,
    pulse,
    pulses,
    semitones_of,
    sheet,
    tone_of,
    write_part,
)
from undersong.errors import UndersongError
from undersong.neck.fingering import Wishes, finger_part, fingered
from undersong.neck.instrument import Instrument
from undersong.theory.chord import NumberChord
from undersong.theory.key import DEGREES
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import KeyMark, MeterMark, Note, Part, SectionMark, Stroke

HARDEST_MOVES = 2
MOVE_BARS = (4, 2)
"""Bars given to the hardest move, and to the next."""
ROUNDS = 2
LOW_WISH = 0.3


def make_changes(setting: Setting) -> DrillSheet:
    """The changes, then their two hardest moves alone, then the changes again."""
    chords = setting.progression or tuple(chord_on(setting.key, root) for root in FOUR_ROOTS)
    tones = _near(setting, [tone_of(setting.key, chord.lowest) for chord in chords])
    name = " ".join(str(chord) for chord in chords[:8]) + (" ..." if len(chords) > 8 else "")
    events = []
    for at, (chord, tone) in enumerate(zip(chords, tones, strict=True)):
        section = f"Changes: {name}" if at == 0 else None
        events += pulses(tone, setting.meter, chord=chord, section=section)
    changes = list(events)
    for rank, place in enumerate(_hardest(setting, chords, tones)):
        pair, chord = [tones[place], tones[place + 1]], chords[place]
        label = f"Move: {chord} to {chords[place + 1]}"
        for bar in range(MOVE_BARS[rank]):
            section = label if bar == 0 else None
            events += in_bars(pair * 2, setting.meter, chord=chord, section=section)
    changes[0] = replace(changes[0], section="Changes again")
    events += changes
    events.append(held(tones[0], setting.meter, chord=chords[0], section="Home"))
    return sheet(setting, f"Changes in {setting.key}", events)


def _near(setting: Setting, tones: Sequence[Tone]) -> list[Tone]:
    """Each tone in the octave near the one before it, the lower of two that are about as near."""
    placed = [tones[0]]
    for tone in tones[1:]:
        here = semitones_of(setting.key, placed[-1])
        choices = [replace(tone, step=tone.step + DEGREES * octave) for octave in (0, 1)]
        ways = [_way(semitones_of(setting.key, each), here) for each in choices]
        placed.append(choices[ways.index(min(ways))])
    return placed


def _way(semitones: int, here: int) -> float:
    """What a note costs: the leap to it, and a little for every half step above the tonic."""
    return abs(semitones - here) + LOW_WISH * semitones


def _hardest(setting: Setting, chords: Sequence[NumberChord], tones: Sequence[Tone]) -> list[int]:
    """Places of the moves that cost the hand most, hardest first, each pair of roots once."""
    events = [held(tone, setting.meter) for tone in tones]
    tonic, _ = lowest_tonic(setting, tones)
    points = finger_part(write_part(setting, "", events, tonic), setting.instrument).points
    order = sorted(range(len(tones) - 1), key=lambda at: -points[at + 1])
    chosen: list[int] = []
    for at in order:
        pair = chords[at].lowest, chords[at + 1].lowest
        known = [(chords[other].lowest, chords[other + 1].lowest) for other in chosen]
        if pair[0] != pair[1] and pair not in known:
            chosen.append(at)
    return chosen[:HARDEST_MOVES]


CHANGES_OF_A_SONG = Drill(
    name="changes",
    title="Changes of a song",
    level=2,
    purpose="The roots of a song in order, and its two hardest moves more often than the rest.",
    listen_for="The hard move as easy as its neighbours.",
    common_mistakes="Practising the easy moves; slowing down before the hard one.",
    make=make_changes,
)


@dataclass(frozen=True, slots=True)
class _Spot:
    """Neighbouring strokes to be worked on, the one before them first."""

    strokes: tuple[Stroke, ...]
    bar_at: Wholes
    label: str

    @property
    def music(self) -> tuple[tuple[Wholes, Wholes, int], ...]:
        """What makes two spots the same: places in the bar, lengths, pitches."""
        return tuple(
            (stroke.at - self.bar_at, stroke.length, stroke.note.pitch.midi)
            for stroke in self.strokes
        )


def weakness_drill(
    part: Part,
    instrument: Instrument,
    *,
    missed: Iterable[int] = (),
    bars: Iterable[int] = (),
    tempo_bpm: float | None = None,
) -> DrillSheet:
    """The smallest exercise that isolates the hard places of a part.

    Each place comes with the note before it, because the move is what goes wrong: first its
    notes slowly, one to a pulse, then as written, on its own beats, each twice. A place that
    comes several times in the part is worked on once.

    Parameters
    ----------
    part
        The part that was played. Its fingering is kept; without one, or with one for another
        tuning, it is fingered first.
    instrument
        The neck.
    missed
        Places in `part.notes` of the notes that went wrong.
    bars
        Numbers of bars that are hard as a whole.
    tempo_bpm
        Tempo of the exercise; None keeps the part's own.

    Raises
    ------
    UndersongError
        If nothing is named, or a bar or note is named that the part does not have.
    """
    same_strings = part.tuning in (None, instrument.tuning.midis)
    played = fingered(part, instrument, wishes=Wishes(keep_places=same_strings))
    weak = _weak_strokes(played, tuple(missed), tuple(bars))
    spots: dict[tuple[tuple[Wholes, Wholes, int], ...], list[_Spot]] = {}
    for run in _runs(played.strokes, weak):
        spot = _spot(played, run)
        spots.setdefault(spot.music, []).append(spot)
    whole = _assembled(played, [same[0] for same in spots.values()])
    remarks = tuple(
        f"{same[0].label}: this place comes {len(same)} times in the part."
        for same in spots.values()
        if len(same) > 1
    )
    exercise = fingered(whole, instrument, wishes=Wishes(keep_places=True))
    return DrillSheet(exercise if tempo_bpm is None else exercise.at_tempo(tempo_bpm), remarks)


def _weak_strokes(part: Part, missed: tuple[int, ...], bars: tuple[int, ...]) -> list[int]:
    if not missed and not bars:
        raise UndersongError("Name at least one hard bar or one missed note.")
    by_number = {bar.number: bar for bar in part.bars}
    for number in bars:
        if number not in by_number:
            raise UndersongError(f"There is no bar {number}: {_it_has(max(by_number), 'bar')}.")
    for index in missed:
        if not 0 <= index < len(part.notes):
            raise UndersongError(f"There is no note {index}: {_it_has(len(part.notes), 'note')}.")
    weak = set()
    for place, stroke in enumerate(part.strokes):
        in_bar = any(
            by_number[number].at <= stroke.at < by_number[number].at + by_number[number].length
            for number in bars
        )
        was_missed = any(stroke.at <= part.notes[index].at < stroke.end for index in missed)
        if in_bar or was_missed:
            weak.add(place)
    if not weak:
        raise UndersongError("The bars that are named hold no notes.")
    return sorted(weak)


def _it_has(count: int, thing: str) -> str:
    return f"the part has {count} {thing}{'' if count == 1 else 's'}"


def _runs(strokes: Sequence[Stroke], weak: Sequence[int]) -> list[tuple[Stroke, ...]]:
    """Neighbouring weak strokes together, each run with the stroke before it."""
    runs: list[list[int]] = []
    for place in weak:
        if runs and runs[-1][-1] == place - 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    return [
        tuple(strokes[place] for place in range(max(run[0] - 1, 0), run[-1] + 1)) for run in runs
    ]


def _spot(part: Part, run: tuple[Stroke, ...]) -> _Spot:
    bar = max((bar for bar in part.bars if bar.at <= run[0].at), key=lambda bar: bar.at)
    # The pick-up bar is the end of a full one: count its places from where that would begin.
    bar_at = bar.at + bar.length - bar.meter.bar if bar.number == 0 else bar.at
    weak = run[1] if len(run) > 1 else run[0]
    words = part.place_words(weak.at)
    return _Spot(run, bar_at, words[:1].upper() + words[1:])


def _meter_at(part: Part, at: Wholes) -> Meter:
    return max((bar for bar in part.bars if bar.at <= at), key=lambda bar: bar.at).meter


def _assembled(part: Part, spots: Sequence[_Spot]) -> Part:
    notes: list[Note] = []
    sections: list[SectionMark] = []
    meters: list[MeterMark] = []
    keys: list[KeyMark] = []
    at = Fraction(0)
    for spot in spots:
        meter = _meter_at(part, spot.strokes[0].at)
        meters.append(MeterMark(at, meter))
        keys.append(KeyMark(at, part.key_at(spot.strokes[0].at)))
        for name, places in (("slowly", _slow(spot, meter)), ("as written", _as_written(spot))):
            sections.append(SectionMark(at, f"{spot.label}, {name}"))
            for _ in range(ROUNDS):
                end = at
                for stroke, (place, length) in zip(spot.strokes, places, strict=True):
                    notes += _split(stroke.note, at + place, length, meter)
                    end = at + place + length
                at = end + (at - end) % meter.bar
    return Part(
        f"Hard places of {part.title}",
        keys[0].key,
        meters[0].meter,
        part.tempo_bpm,
        tuple(notes),
        length=at,
        sections=tuple(sections),
        meter_marks=tuple(_changes(meters)),
        key_marks=tuple(_key_changes(keys)),
        swing=part.swing,
        tuning=part.tuning,
    )


def _changes(marks: Sequence[MeterMark]) -> list[MeterMark]:
    return [b for a, b in pairwise(marks) if a.meter != b.meter]


def _key_changes(marks: Sequence[KeyMark]) -> list[KeyMark]:
    return [b for a, b in pairwise(marks) if a.key != b.key]


def _slow(spot: _Spot, meter: Meter) -> list[tuple[Wholes, Wholes]]:
    """One note to a pulse, the last held to the end of its bar."""
    unit = pulse(meter)
    last = unit * (len(spot.strokes) - 1)
    return [
        *((unit * place, unit) for place in range(len(spot.strokes) - 1)),
        (last, meter.bar - last % meter.bar),
    ]


def _as_written(spot: _Spot) -> list[tuple[Wholes, Wholes]]:
    return [(stroke.at - spot.bar_at, stroke.length) for stroke in spot.strokes]


def _split(note: Note, at: Wholes, length: Wholes, meter: Meter) -> list[Note]:
    """A note at a new place, tied over the bar lines it crosses."""
    pieces: list[Note] = []
    end = at + length
    while at < end:
        stop = min(end, at + (-at % meter.bar or meter.bar))
        pieces.append(replace(note, at=at, length=stop - at, tied=stop < end))
        at = stop
    return pieces
