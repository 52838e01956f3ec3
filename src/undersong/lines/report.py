"""A line judged without ears: how hard it is, what it is made of, and how it moves the hand.

Everything is read from the notes and the chords written over them, never from the maker's
reasons, so that a line from anywhere can be judged; places on the neck are chosen first where it
has none.

Conventions
-----------
A note's *class* is what it is to the chord that sounds: the chord's bass note, its root, fifth or
an octave of those (`SUPPORT`), another note of the chord (`CHORD`), another note of the scale of
the moment (`PASSING`), or none of these (`CHROMATIC`). A *strong beat* is a bar line or a
chord's arrival. An *approach* is a passing or chromatic note directly before a chord's arrival;
it is *resolved* if the arrival lies a step or half-step away, or, for the first of two, if both
enclose or walk into it; the fifth of the arrival, where it belongs to the scale, resolves too
(trade handbook 7.2, rule 3).

*Difficulty* is points for each beat that is not silent, from `POINTS`: a stroke, a stroke off
the beat, a change of pitch that the chart did not ask for, and the class of the note; common
practice, no source. It knows nothing of levels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import pairwise

from undersong.lines.levels import (
    APPROACHES,
    CHORD_NOTES,
    FILLS,
    HELD,
    LEVELS,
    MELODY,
    STEADY,
)
from undersong.lines.walk import STEP_SEMITONES, scale_over
from undersong.neck.effort import move_time
from undersong.neck.fingering import Fingering, Wishes, finger_part
from undersong.neck.geometry import fret_span_mm
from undersong.neck.instrument import Instrument
from undersong.theory.chord import NumberChord
from undersong.theory.key import Key, MinorHabit, Mode
from undersong.theory.meter import Wholes
from undersong.theory.part import Part, Stroke
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, Pitch

FOUR_STRINGS = Instrument()
STROKES_A_BAR_HELD = 2.2  # up to here, roots alone are held roots
LONGEST_PUSH = Wholes(1, 4)  # a chord that arrives no earlier before a key change is pushed
LONG_RUN = 3  # notes in a row that are neither bass note, fifth nor octave: no mere approach
FOURTH_SEMITONES = 5  # from a note's fifth up to the note
MELODIC_BARS = 0.3  # share of bars with a long run from which a line is melodic


class NoteClass(IntEnum):
    """What a note is to the chord of the moment."""

    SUPPORT = 0
    CHORD = 1
    PASSING = 2
    CHROMATIC = 3


@dataclass(frozen=True, slots=True)
class Points:
    """Points of difficulty, each a setting."""

    stroke: float = 1.0
    off_beat: float = 0.25
    own_move: float = 1.0
    classes: tuple[float, float, float, float] = (0.0, 1.0, 1.5, 2.0)


POINTS = Points()


@dataclass(frozen=True, slots=True)
class LineReport:
    """What a line is made of.

    `density` is strokes for each beat; `difficulty` points for each beat; shares are 0 to 1 and
    1 where there is nothing to count. `level` is the one the line plays like.
    `hardest_shift_bar` is its bar number, None where the hand never moves.
    """

    difficulty: float
    level: int
    asked_level: int | None
    notes: int
    lowest: Pitch | None
    highest: Pitch | None
    density: float
    chord_tone_share: float
    bass_note_share: float
    approaches: int
    approaches_resolved: int
    chromatic: int
    chromatic_resolved: int
    step_share: float
    hardest_shift_mm_s: float
    hardest_shift_bar: int | None

    def lines(self) -> tuple[str, ...]:
        """The report in sentences."""
        if self.lowest is None or self.highest is None:
            return ("There is nothing to play.",)
        said = [
            f"{self.notes} notes, {self.lowest} to {self.highest}, "
            f"{self.density:.1f} for each beat.",
            f"On strong beats {_percent(self.chord_tone_share)} are notes of the chord, "
            f"{_percent(self.bass_note_share)} the chart's own bass note.",
        ]
        if self.approaches:
            said.append(
                f"{self.approaches_resolved} of {self.approaches} approach notes are resolved."
            )
        if self.hardest_shift_bar is not None:
            said.append(
                f"The hardest shift comes in bar {self.hardest_shift_bar}: "
                f"{self.hardest_shift_mm_s:.0f} mm a second."
            )
        return (*said, self._level_words())

    def _level_words(self) -> str:
        plays = f"It plays like level {self.level}, {LEVELS[self.level - 1].name}"
        if self.asked_level is None:
            return f"{plays}."
        if self.level == self.asked_level:
            return f"{plays}, as asked."
        side = "easier" if self.level < self.asked_level else "harder"
        return f"{plays}: {side} than the level {self.asked_level} asked for."


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def line_report(
    part: Part, instrument: Instrument = FOUR_STRINGS, *, level: int | None = None
) -> LineReport:
    """Judge a bass part with its chords marked; `level` is the one that was asked for.

    Raises
    ------
    UnplayableError
        If a note lies nowhere on this instrument.
    """
    has_places = all(note.string is not None for note in part.notes)
    fingering = finger_part(part, instrument, wishes=Wishes(keep_places=has_places))
    return report_on(fingering, instrument, level)


def report_on(fingering: Fingering, instrument: Instrument, level: int | None) -> LineReport:
    """The report on a part already fingered."""
    part = fingering.part
    seen = _looked_at(part)
    shifts = _shifts(fingering, instrument)
    hardest = max(shifts, key=lambda each: each[0], default=(0.0, Wholes(0)))
    pitches = [each.stroke.note.pitch for each in seen]
    approaches = [each for each in seen if each.is_approach]
    chromatic = [each for each in seen if each.note_class is NoteClass.CHROMATIC]
    strong = [each for each in seen if each.is_strong]
    arrivals = [each.is_bass_note for each in strong]
    beats = max(1.0, _beats_played(part))
    return LineReport(
        difficulty=sum(_points(each) for each in seen) / beats,
        level=_plays_like(seen),
        asked_level=level,
        notes=len(seen),
        lowest=min(pitches, default=None),
        highest=max(pitches, default=None),
        density=len(seen) / beats,
        chord_tone_share=_share([each.note_class <= NoteClass.CHORD for each in strong]),
        bass_note_share=_share(arrivals),
        approaches=len(approaches),
        approaches_resolved=sum(each.is_resolved for each in approaches),
        chromatic=len(chromatic),
        chromatic_resolved=sum(each.is_resolved for each in chromatic),
        step_share=_step_share(seen),
        hardest_shift_mm_s=hardest[0],
        hardest_shift_bar=part.place_of(hardest[1])[0] if hardest[0] else None,
    )


def _share(answers: Sequence[bool]) -> float:
    return sum(answers) / len(answers) if answers else 1.0


@dataclass(frozen=True, slots=True)
class _Seen:
    """A stroke and what the ear makes of it."""

    stroke: Stroke
    bar: int
    note_class: NoteClass
    is_strong: bool
    is_off_beat: bool
    is_own_move: bool
    is_bass_note: bool
    is_approach: bool = False
    is_resolved: bool = False


def _looked_at(part: Part) -> list[_Seen]:
    walker = _Walker(part)
    strokes = part.strokes
    seen: list[_Seen] = []
    before: Stroke | None = None
    for stroke in strokes:
        chord, key = walker.moved_to(stroke.at)
        midi = stroke.note.pitch.midi
        is_strong = stroke.at in walker.arrivals or stroke.at in walker.bar_lines
        seen.append(
            _Seen(
                stroke,
                walker.bar_number,
                note_class(midi, chord, key),
                is_strong,
                walker.is_off_beat(stroke.at),
                before is not None and before.note.pitch.midi != midi and not is_strong,
                chord is not None and _is_bass_note(midi, chord, key),
            )
        )
        before = stroke
    return _with_approaches(seen)


def _is_bass_note(midi: int, chord: NumberChord, key: Key) -> bool:
    return midi % SEMITONES_PER_OCTAVE == key.name_of(chord.lowest).pitch_class


def note_class(midi: int, chord: NumberChord | None, key: Key) -> NoteClass:
    """What a MIDI number is to a chord; without a chord, to the key alone."""
    pitch_class = midi % SEMITONES_PER_OCTAVE
    if chord is None:
        in_key = any(name.pitch_class == pitch_class for name in key.names)
        return NoteClass.PASSING if in_key else NoteClass.CHROMATIC
    letters = chord.in_key(key)
    support = {letters.root.pitch_class, letters.lowest.pitch_class}
    support |= {name.pitch_class for role, name in letters.tones if role == "fifth"}
    if pitch_class in support:
        return NoteClass.SUPPORT
    if any(name.pitch_class == pitch_class for _, name in letters.tones):
        return NoteClass.CHORD
    scale = {name.pitch_class for name in scale_over(chord, key)}
    return NoteClass.PASSING if pitch_class in scale else NoteClass.CHROMATIC


class _Walker:
    """The chords, keys and bar lines of a part, asked for in order of place."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.bars = part.bars
        self.bar_lines = {bar.at for bar in self.bars}
        self.arrivals = {mark.at for mark in part.chords}
        habit = _minor_habit(part)
        self._counted = {key: key.number_key(habit) for key in _keys(part)}
        self._chord = self._bar = 0
        self.keys = self._chord_keys() if part.chords else []

    def moved_to(self, at: Wholes) -> tuple[NumberChord | None, Key]:
        """The chord at a place, never before the last one, and the key it is counted in."""
        chords = self.part.chords
        while self._chord < len(chords) and chords[self._chord].at <= at:
            self._chord += 1
        while self._bar + 1 < len(self.bars) and self.bars[self._bar + 1].at <= at:
            self._bar += 1
        if not self._chord:
            return None, self._counted[self.part.key]
        return chords[self._chord - 1].chord, self.keys[self._chord - 1]

    def _chord_keys(self) -> list[Key]:
        """The key of each chord: the one in force where it stands on the chart."""
        chords = self.part.chords
        struck = {note.at: note for note in self.part.notes}
        ends = [*(mark.at for mark in chords[1:]), self.part.length]
        keys = []
        for mark, end in zip(chords, ends, strict=True):
            key = self._counted[self.part.key_at(mark.at)]
            new = self._key_within(mark.at, end)
            note = struck.get(mark.at)
            if new is not None and (
                mark.at not in self.bar_lines
                if note is None
                else note.degree == new.degree_of(note.pitch.name)
            ):
                key = new
            keys.append(key)
        return keys

    def _key_within(self, at: Wholes, end: Wholes) -> Key | None:
        """The key that begins while a chord sounds, soon enough for the chord to be pushed."""
        for mark in self.part.key_marks:
            if at < mark.at < end and mark.at - at <= LONGEST_PUSH:
                return self._counted[mark.key]
        return None

    @property
    def bar_number(self) -> int:
        """Number of the bar last moved to."""
        return self.bars[self._bar].number

    def is_off_beat(self, at: Wholes) -> bool:
        """Whether a place falls between the beats of its bar."""
        bar = self.bars[self._bar]
        end = bar.at + bar.length
        beat = bar.meter.beat
        return ((end - at) / beat).denominator != 1


def _keys(part: Part) -> set[Key]:
    return {part.key, *(mark.key for mark in part.key_marks)}


def _minor_habit(part: Part) -> MinorHabit:
    """How a part's degrees are counted in minor keys: what most of its notes bear out."""
    votes = 0
    for note in part.notes:
        key = part.key_at(note.at)
        if note.degree is not None and key.mode is Mode.MINOR:
            relative, own = (k.degree_of(note.pitch.name) for k in (key.relative, key))
            votes += (note.degree == relative) - (note.degree == own)
    return MinorHabit.RELATIVE if votes >= 0 else MinorHabit.TONIC


def _with_approaches(seen: list[_Seen]) -> list[_Seen]:
    """Mark what leads into an arrival, and whether every passing note is resolved."""
    marked = list(seen)
    for place in range(len(seen) - 1, -1, -1):
        each = seen[place]
        if each.note_class < NoteClass.PASSING:
            continue
        following = seen[place + 1 : place + 3]
        leads = bool(following) and (following[0].is_strong or marked[place + 1].is_approach)
        marked[place] = replace(
            each,
            is_approach=leads and not each.is_strong,
            is_resolved=_is_resolved(each, following),
        )
    return marked


def _is_resolved(each: _Seen, following: Sequence[_Seen]) -> bool:
    """By step into the next note, as its fifth, or as the first of two around an arrival."""
    midis = [other.stroke.note.pitch.midi - each.stroke.note.pitch.midi for other in following]
    if not midis:
        return False
    if 0 < abs(midis[0]) <= STEP_SEMITONES:
        return True
    is_fifth = midis[0] % SEMITONES_PER_OCTAVE == FOURTH_SEMITONES
    if is_fifth and following[0].is_strong and each.note_class < NoteClass.CHROMATIC:
        return True
    if len(midis) < 2 or not following[1].is_strong:
        return False
    last = midis[1] - midis[0]
    return abs(midis[1]) <= STEP_SEMITONES and abs(last) <= STEP_SEMITONES


def _beats_played(part: Part) -> float:
    """Beats of the bars in which something is struck."""
    struck = {stroke.at for stroke in part.strokes}
    places = sorted(struck)
    beats, index = 0.0, 0
    for bar in part.bars:
        begin = index
        while index < len(places) and places[index] < bar.at + bar.length:
            index += 1
        if index > begin:
            beats += float(bar.length / bar.meter.beat)
    return beats


def _points(each: _Seen) -> float:
    return (
        POINTS.stroke
        + POINTS.off_beat * each.is_off_beat
        + POINTS.own_move * each.is_own_move
        + POINTS.classes[each.note_class]
    )


def _step_share(seen: Sequence[_Seen]) -> float:
    """Of all moves to another pitch, how many go by step."""
    moves = [abs(b.stroke.note.pitch.midi - a.stroke.note.pitch.midi) for a, b in pairwise(seen)]
    moved = [move for move in moves if move]
    return sum(move <= STEP_SEMITONES for move in moved) / len(moved) if moved else 0.0


def _plays_like(seen: Sequence[_Seen]) -> int:
    """The lowest level whose material covers the line."""
    bars = {each.bar for each in seen}
    if all(each.is_bass_note and not each.is_own_move for each in seen):
        return HELD if len(seen) <= STROKES_A_BAR_HELD * max(1, len(bars)) else STEADY
    if all(each.note_class is NoteClass.SUPPORT for each in seen):
        return CHORD_NOTES
    runs = _bars_with_runs(seen)
    if not runs:
        return APPROACHES
    return MELODY if len(runs) >= MELODIC_BARS * len(bars) else FILLS


def _bars_with_runs(seen: Sequence[_Seen]) -> set[int]:
    """Numbers of the bars with a run: moves in a row, most of them more than root and fifth."""
    found: set[int] = set()
    run: list[_Seen] = []
    for each in seen:
        run = [*run, each] if each.is_own_move else []
        colours = sum(other.note_class is not NoteClass.SUPPORT for other in run)
        if len(run) >= LONG_RUN and colours >= LONG_RUN - 1:
            found.add(each.bar)
    return found


def _shifts(fingering: Fingering, instrument: Instrument) -> list[tuple[float, Wholes]]:
    """Speed of every hand shift in mm/s, and the place it leads to."""
    strokes, hands = fingering.part.strokes, fingering.hands
    tempo_map = fingering.part.tempo_map
    starts = [tempo_map.seconds_at(stroke.at) for stroke in strokes]
    found = []
    for place in range(1, len(strokes)):
        if hands[place] == hands[place - 1]:
            continue
        before = strokes[place - 1]
        length_s = tempo_map.seconds_at(before.end) - starts[place - 1]
        time = move_time(starts[place] - starts[place - 1], length_s)
        time_s = time.open_s if before.note.finger == 0 else time.stopped_s
        distance = fret_span_mm(hands[place - 1], hands[place], instrument.scale_mm)
        found.append((distance / float(time_s), strokes[place].at))
    return found


def fast_shifts(
    fingering: Fingering, instrument: Instrument, *, over_mm_s: float
) -> tuple[tuple[Wholes, Wholes], ...]:
    """Places of the notes left and reached by every shift faster than a limit, in order."""
    strokes = fingering.part.strokes
    before = {later.at: earlier.at for earlier, later in pairwise(strokes)}
    shifts = _shifts(fingering, instrument)
    return tuple((before[place], place) for speed, place in shifts if speed > over_mm_s)


def report_json(report: LineReport) -> dict[str, object]:
    """The report with stable keys, ready for `json.dumps`; pitches by name."""
    row = {name: getattr(report, name) for name in report.__slots__}
    row["lowest"] = None if report.lowest is None else str(report.lowest)
    row["highest"] = None if report.highest is None else str(report.highest)
    return row
