"""The hardest bars of a fingered part, and how a teacher would have them practised.

The question: which bars would stop this player, and why. Each bar gets points for the way of the
hand along the neck and its haste, for many notes in little time, for jumps over strings, and for
notes that fall between the beats. The points are a ranking, not a measurement; what to do follows
from whichever kind gave most. Weights: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from undersong.neck.geometry import fret_distance_mm
from undersong.neck.instrument import Instrument
from undersong.theory.meter import Wholes
from undersong.theory.part import Bar, Part, Stroke

MOST_BARS = 3
START_BPM = 70.0  # where the practice rule begins (trade handbook 5.1)
UP_BPM, DOWN_BPM, IN_A_ROW = 5, 10, "two"
_SHIFT_FROM_MM = 25.0  # less is the reach of a finger, not a move of the hand
_MM_A_POINT = 60.0
_MM_S_A_POINT = 250.0
_NOTES_S_A_POINT = 1.2
_EASY_NOTES_S = 2.0


@dataclass(frozen=True, slots=True)
class HardBar:
    """One hard bar: its place in `part.bars`, its number, its points and what to do about it."""

    index: int
    number: int
    points: float
    reason: str
    advice: str


@dataclass(frozen=True, slots=True)
class _Move:
    """From one stroke to the next: where on the neck, and in how much time."""

    before: Stroke
    after: Stroke
    shift_mm: float
    gap_s: float
    strings: int


def hardest_bars(part: Part, instrument: Instrument, *, most: int = MOST_BARS) -> list[HardBar]:
    """The hardest bars in order of the song, no two with the same notes; fewer if there are fewer.

    A part that is not fingered has none.
    """
    moves = _moves(part, instrument)
    seen: set[object] = set()
    ranked = sorted(
        (
            _judged(part, index, bar, moves)
            for index, bar in enumerate(part.bars)
            if _strokes_in(part, bar)
        ),
        key=lambda hard: -hard.points,
    )
    kept: list[HardBar] = []
    for hard in ranked:
        content = _content(part, part.bars[hard.index])
        if content not in seen and len(kept) < most:
            seen.add(content)
            kept.append(hard)
    return sorted(kept, key=lambda hard: hard.index)


def _content(part: Part, bar: Bar) -> object:
    return tuple(
        (note.at - bar.at, note.length, note.string, note.fret)
        for note in part.notes
        if bar.at <= note.at < bar.at + bar.length
    )


def _strokes_in(part: Part, bar: Bar) -> list[Stroke]:
    return [
        stroke
        for stroke in part.strokes
        if bar.at <= stroke.at < bar.at + bar.length and stroke.note.string is not None
    ]


def _moves(part: Part, instrument: Instrument) -> list[_Move]:
    seconds = part.tempo_map.seconds_at
    strokes = [stroke for stroke in part.strokes if stroke.note.string and stroke.note.finger]
    return [
        _Move(
            a,
            b,
            abs(_hand_mm(b, instrument) - _hand_mm(a, instrument)),
            max(seconds(b.at) - seconds(a.at), 0.03),
            abs((a.note.string or 0) - (b.note.string or 0)),
        )
        for a, b in pairwise(strokes)
    ]


def _hand_mm(stroke: Stroke, instrument: Instrument) -> float:
    """Where the first finger stands."""
    fret = (stroke.note.fret or 0) - (stroke.note.finger or 1) + 1
    return fret_distance_mm(max(fret, 0), instrument.scale_mm)


def _judged(part: Part, index: int, bar: Bar, moves: list[_Move]) -> HardBar:
    strokes = _strokes_in(part, bar)
    own = [move for move in moves if bar.at <= move.after.at < bar.at + bar.length]
    shifts = [move for move in own if move.shift_mm > _SHIFT_FROM_MM]
    seconds = part.tempo_map.seconds_at
    length_s = seconds(bar.at + bar.length) - seconds(bar.at)
    speed = len(strokes) / length_s
    kinds = {
        "shift": sum(_shift_points(move) for move in shifts),
        "speed": max(speed - _EASY_NOTES_S, 0.0) / _NOTES_S_A_POINT + 0.05 * len(strokes),
        "crossing": 0.5 * sum(max(move.strings - 1, 0) for move in own),
        "between": 0.6 * sum(_is_between(part, stroke.at) for stroke in strokes),
    }
    worst = max(kinds, key=lambda kind: kinds[kind])
    reason, advice = _words(part, bar, worst, strokes, own)
    return HardBar(index, bar.number, sum(kinds.values()), reason, advice)


def _shift_points(move: _Move) -> float:
    speed_mm_s = move.shift_mm / move.gap_s
    return move.shift_mm / _MM_A_POINT + speed_mm_s / _MM_S_A_POINT


def _is_between(part: Part, at: Wholes) -> bool:
    """True where a stroke falls on no half of a beat, or starts off the beat and hangs over."""
    _, beat = part.place_of(at)
    if (beat * 2).denominator > 1:
        return True
    if beat.denominator == 1:
        return False
    return not any(stroke.at == _next_beat(part, at) for stroke in part.strokes)


def _next_beat(part: Part, at: Wholes) -> Wholes:
    _, beat = part.place_of(at)
    unit = part.meter.beat
    for mark in part.meter_marks:
        unit = mark.meter.beat if mark.at <= at else unit
    return at + (1 - beat % 1) * unit


def _words(
    part: Part, bar: Bar, kind: str, strokes: list[Stroke], moves: list[_Move]
) -> tuple[str, str]:
    if kind == "shift":
        move = max(moves, key=_shift_points)
        return _shift_words(part, move)
    if kind == "crossing":
        move = max(moves, key=lambda each: each.strings)
        a, b = move.before.note.string, move.after.note.string
        return (
            f"From string {a} to string {b} on {_beat_words(part, move.after.at)}.",
            "Play those two notes as a loop. The string you leave is silent before the next "
            "one sounds; the plucking hand aims without looking.",
        )
    if kind == "between":
        places = [_beat_words(part, each.at) for each in strokes if _is_between(part, each.at)]
        return (
            f"Notes between the beats: {_listed(places[:4])}.",
            "Count the bar aloud and clap the notes. Then play them all on one pitch, still "
            "counting. The real notes come last.",
        )
    count = len(strokes)
    if count < 3:
        return (
            "Nothing in it is hard by itself.",
            "Give every note its whole length, and arrive at the next one on time.",
        )
    return (
        f"{count} notes in one bar.",
        "First only the notes on the beats, then add the others. The lightest touch that sounds "
        "clean, close to the fret.",
    )


def _shift_words(part: Part, move: _Move) -> tuple[str, str]:
    a, b = move.before.note, move.after.note
    where = _beat_words(part, move.after.at)
    return (
        f"The hand moves from fret {a.fret} (string {a.string}) to fret {b.fret} "
        f"(string {b.string}) for {where}, {move.shift_mm:.0f} mm in {move.gap_s:.1f} s.",
        "Loop just the note before the move and the note after it, slowly, looking at where you "
        "land. Then without looking. Then the whole bar.",
    )


def _beat_words(part: Part, at: Wholes) -> str:
    _, beat = part.place_of(at)
    whole = int(beat)
    rest = beat - whole
    if rest == 0:
        return f"beat {whole}"
    half = "the and of " if rest * 2 == 1 else ""
    return f"{half}{whole}" if half else f"beat {float(beat):.2f}".rstrip("0")


def _listed(words: list[str]) -> str:
    unique = list(dict.fromkeys(words))
    return unique[0] if len(unique) == 1 else f"{', '.join(unique[:-1])} and {unique[-1]}"


def climb_words(song_bpm: float) -> str:
    """How to raise the tempo of a loop, by the practice rule's usual numbers."""
    start = min(START_BPM, song_bpm)
    if start == song_bpm:
        return (
            f"Loop it at {song_bpm:g}, the song's own tempo, until {IN_A_ROW} passes in a row "
            f"are clean. If it does not come, start {DOWN_BPM} slower."
        )
    return (
        f"Loop it at {start:g}. {IN_A_ROW.capitalize()} clean passes in a row: {UP_BPM} up. One "
        f"that is not clean: {DOWN_BPM} down. The song is at {song_bpm:g}."
    )


def numbers_of(bars: list[HardBar]) -> Iterator[int]:
    """Their bar numbers."""
    yield from (bar.number for bar in bars)
