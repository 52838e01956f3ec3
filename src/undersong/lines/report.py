"""A line judged without ears: how hard it is, what it is made of, and how it moves the hand.

Everything is read from the notes and the chords written over them, never from the maker's
reasons, so that a line from anywhere can be judged; places on the neck are chosen first where it
has none.

Conventions
-----------
The words for notes (class, strong beat, approach, resolved) are those of strokes.py.

*Difficulty* is points for each beat that is not silent, from `POINTS`: a stroke, a stroke off
the beat, a change of pitch that the chart did not ask for, and the class of the note; common
practice, no source. It knows nothing of levels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
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
from undersong.lines.strokes import NoteClass, Seen, looked_at
from undersong.lines.walk import STEP_SEMITONES, THIRD_SEMITONES
from undersong.neck.effort import move_time
from undersong.neck.fingering import Fingering, Wishes, finger_part
from undersong.neck.geometry import fret_span_mm
from undersong.neck.instrument import Instrument
from undersong.neck.shapes import count_word
from undersong.theory.meter import Wholes
from undersong.theory.part import Part
from undersong.theory.pitch import Pitch

FOUR_STRINGS = Instrument()
STROKES_A_BAR_HELD = 2.2  # up to here, roots alone are held roots
RUN_MOVES, RUN_COLOURS = 3, 2  # moves of a run, and how many of its notes are not root or fifth
MELODIC_BARS = 0.3  # share of bars with a long run from which a line is melodic


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
    Of the fastest move of the hand, `hardest_shift_bar` is the bar it leads into (None where the
    hand never moves), `hardest_shift_frets` how far and `hardest_shift_s` the time it has.
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
    hardest_shift_frets: int
    hardest_shift_s: float

    def _beginnings(self) -> str:
        """What stands where a bar or a chord begins."""
        if self.bass_note_share == 1:
            return "Every bar and every chord begins on the chart's own bass note."
        own = f"{_percent(self.bass_note_share)} the chart's own bass note"
        if self.chord_tone_share == 1:
            return f"Every bar and every chord begins on a note of the chord, {own}."
        return (
            f"Where a bar or a chord begins, {_percent(self.chord_tone_share)} are notes of the "
            f"chord, {own}."
        )

    def lines(self) -> tuple[str, ...]:
        """The report in sentences."""
        if self.lowest is None or self.highest is None:
            return ("There is nothing to play.",)
        said = [
            f"{_counted(self.notes, 'note')}, {self.lowest} to {self.highest}.",
            self._beginnings(),
        ]
        if self.approaches:
            said.append(
                f"Approach notes resolved: {self.approaches_resolved} of {self.approaches}."
            )
        if self.hardest_shift_bar is not None:
            said.append(
                f"The hardest move is in bar {self.hardest_shift_bar}: "
                f"{_counted(self.hardest_shift_frets, 'fret', count_word)} in "
                f"{self.hardest_shift_s:.2g} s."
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


def _counted(count: int, thing: str, written: Callable[[int], str] = str) -> str:
    return f"{written(count)} {thing}{'' if count == 1 else 's'}"


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
    seen = looked_at(part)
    shifts = _shifts(fingering, instrument)
    hardest = max(shifts, key=lambda each: each.speed_mm_s, default=None)
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
        hardest_shift_mm_s=hardest.speed_mm_s if hardest else 0.0,
        hardest_shift_bar=part.place_of(hardest.at)[0] if hardest else None,
        hardest_shift_frets=hardest.frets if hardest else 0,
        hardest_shift_s=hardest.time_s if hardest else 0.0,
    )


def _share(answers: Sequence[bool]) -> float:
    return sum(answers) / len(answers) if answers else 1.0


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


def _points(each: Seen) -> float:
    return (
        POINTS.stroke
        + POINTS.off_beat * each.is_off_beat
        + POINTS.own_move * each.is_own_move
        + POINTS.classes[each.note_class]
    )


def _step_share(seen: Sequence[Seen]) -> float:
    """Of all moves to another pitch, how many go by step."""
    moves = [abs(b.stroke.note.pitch.midi - a.stroke.note.pitch.midi) for a, b in pairwise(seen)]
    moved = [move for move in moves if move]
    return sum(move <= STEP_SEMITONES for move in moved) / len(moved) if moved else 0.0


def _plays_like(seen: Sequence[Seen]) -> int:
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


def _bars_with_runs(seen: Sequence[Seen]) -> set[int]:
    """Numbers of the bars with a run: three moves in a row by no more than a third.

    A fifth or octave and a double approach make two such moves; a leap begins the count anew.
    """
    found: set[int] = set()
    run: list[Seen] = []
    for before, each in pairwise(seen):
        distance = abs(each.stroke.note.pitch.midi - before.stroke.note.pitch.midi)
        run = [*run, each] if each.is_own_move and distance <= THIRD_SEMITONES else []
        colours = sum(other.note_class is not NoteClass.SUPPORT for other in run)
        if len(run) >= RUN_MOVES and colours >= RUN_COLOURS:
            found.add(each.bar)
    return found


@dataclass(frozen=True, slots=True)
class _Shift:
    """A move of the hand along the neck: the place it leads to, its frets and its time."""

    at: Wholes
    frets: int
    time_s: float
    distance_mm: float

    @property
    def speed_mm_s(self) -> float:
        return self.distance_mm / self.time_s


def _shifts(fingering: Fingering, instrument: Instrument) -> list[_Shift]:
    """Every hand shift, in order."""
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
        distance_mm = fret_span_mm(hands[place - 1], hands[place], instrument.scale_mm)
        frets = abs(hands[place] - hands[place - 1])
        found.append(_Shift(strokes[place].at, frets, float(time_s), distance_mm))
    return found


def fast_shifts(
    fingering: Fingering, instrument: Instrument, *, over_mm_s: float
) -> tuple[tuple[Wholes, Wholes], ...]:
    """Places of the notes left and reached by every shift faster than a limit, in order."""
    strokes = fingering.part.strokes
    before = {later.at: earlier.at for earlier, later in pairwise(strokes)}
    shifts = _shifts(fingering, instrument)
    return tuple((before[each.at], each.at) for each in shifts if each.speed_mm_s > over_mm_s)


def report_json(report: LineReport) -> dict[str, object]:
    """The report with stable keys, ready for `json.dumps`; pitches by name."""
    row = {name: getattr(report, name) for name in report.__slots__}
    row["lowest"] = None if report.lowest is None else str(report.lowest)
    row["highest"] = None if report.highest is None else str(report.highest)
    return row
