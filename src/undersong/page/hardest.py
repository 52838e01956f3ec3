"""The hardest bars of a fingered part, and how a teacher would have them practised.

The question: which bars would stop this player, and why. Each bar gets points for the way of the
hand along the neck and its haste, for many notes in little time, for jumps over strings, and for
notes that fall between the beats. The points are a ranking, not a measurement; what to do follows
from whichever kind gave most. Weights: common practice, no source.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import floor

from undersong.neck.geometry import fret_distance_mm
from undersong.neck.instrument import Instrument
from undersong.theory.meter import Wholes, beat_words
from undersong.theory.part import Bar, Part, Stroke
from undersong.theory.tempo import TEMPO_MIN_BPM

MOST_BARS = 3
START_BPM = 70.0  # where the practice rule begins (trade handbook 5.1)
UP_BPM, DOWN_BPM, IN_A_ROW = 5, 10, "two"
SLOW_SHARE = 0.75  # of a slow song's tempo: hard bars are never first met at full speed
_SHIFT_FROM_MM = 25.0  # less is the reach of a finger, not a move of the hand
_MM_A_POINT = 60.0
_MM_S_A_POINT = 250.0
_NOTES_S_A_POINT = 1.2
_EASY_NOTES_S = 2.0
_SHORTEST_S = 0.03
_WORTH_A_LOOP = 0.5  # points under which a bar is not worth one, unless no bar is


@dataclass(frozen=True, slots=True)
class HardBar:
    """One hard bar: its place in `part.bars`, its number, its points and what to do about it."""

    index: int
    number: int
    points: float
    reason: str
    advice: str


def hardest_bars(part: Part, instrument: Instrument, *, most: int = MOST_BARS) -> list[HardBar]:
    """The hardest bars in order of the song, no two alike; fewer if fewer are hard.

    A part that is not fingered has none.
    """
    return _Reading(part, instrument).hardest(most)


@dataclass(frozen=True, slots=True)
class _Move:
    """From one stroke to the next: how far along the neck, in how much time, over what strings."""

    before: Stroke
    after: Stroke
    shift_mm: float
    gap_s: float

    @property
    def strings(self) -> int:
        return abs((self.before.note.string or 0) - (self.after.note.string or 0))

    @property
    def points(self) -> float:
        return self.shift_mm / _MM_A_POINT + self.shift_mm / self.gap_s / _MM_S_A_POINT


class _Reading:
    """A part read once: its bars, the strokes of each, and the moves between them."""

    def __init__(self, part: Part, instrument: Instrument) -> None:
        self.part, self.bars, self.scale_mm = part, part.bars, instrument.scale_mm
        self.starts = [bar.at for bar in self.bars]
        self.seconds = part.tempo_map.seconds_at
        strokes = [each for each in part.strokes if each.note.string is not None]
        self.places = {stroke.at for stroke in strokes}
        self.strokes: dict[int, list[Stroke]] = {}
        for stroke in strokes:
            self.strokes.setdefault(self._bar_of(stroke.at), []).append(stroke)
        self.moves: dict[int, list[_Move]] = {}
        for a, b in pairwise([each for each in strokes if each.note.finger]):
            gap_s = max(self.seconds(b.at) - self.seconds(a.at), _SHORTEST_S)
            shift_mm = abs(self._hand_mm(b) - self._hand_mm(a))
            self.moves.setdefault(self._bar_of(b.at), []).append(_Move(a, b, shift_mm, gap_s))

    def _bar_of(self, at: Wholes) -> int:
        return bisect_right(self.starts, at) - 1

    def _beat(self, at: Wholes) -> Fraction:
        """The beat a place falls on; 1 is the bar line, a pick-up ends its bar."""
        bar = self.bars[self._bar_of(at)]
        late = bar.meter.bar - bar.length if bar.number == 0 else Fraction(0)
        return (at - bar.at + late) / bar.meter.beat + 1

    def _hand_mm(self, stroke: Stroke) -> float:
        """Where the first finger stands."""
        fret = (stroke.note.fret or 0) - (stroke.note.finger or 1) + 1
        return fret_distance_mm(max(fret, 0), self.scale_mm)

    def hardest(self, most: int) -> list[HardBar]:
        ranked = sorted(
            (self._judged(index, self.bars[index]) for index in self.strokes),
            key=lambda hard: (-hard.points, hard.index),
        )
        seen: set[object] = set()
        kept: list[HardBar] = []
        for hard in ranked:
            content = self._content(hard.index)
            is_worth = hard.points >= _WORTH_A_LOOP or not kept
            if content not in seen and len(kept) < most and is_worth:
                seen.add(content)
                kept.append(hard)
        return sorted(kept, key=lambda hard: hard.index)

    def _content(self, index: int) -> object:
        at = self.bars[index].at
        return tuple(
            (each.at - at, each.length, each.note.string, each.note.fret)
            for each in self.strokes[index]
        )

    def _judged(self, index: int, bar: Bar) -> HardBar:
        strokes, moves = self.strokes[index], self.moves.get(index, [])
        length_s = self.seconds(bar.at + bar.length) - self.seconds(bar.at)
        speed = len(strokes) / length_s
        between = [each for each in strokes if self._is_between(each.at)]
        kinds = {
            "shift": sum(move.points for move in moves if move.shift_mm > _SHIFT_FROM_MM),
            "speed": max(speed - _EASY_NOTES_S, 0.0) / _NOTES_S_A_POINT + 0.05 * len(strokes),
            "crossing": 0.5 * sum(max(move.strings - 1, 0) for move in moves),
            "between": 0.6 * len(between),
        }
        worst = max(kinds, key=lambda kind: kinds[kind])
        if worst == "shift":
            words = self._shift_words(max(moves, key=lambda move: move.points))
        elif worst == "crossing":
            words = self._crossing_words(max(moves, key=lambda move: move.strings))
        elif worst == "between":
            words = self._between_words(between)
        else:
            words = _speed_words(len(strokes))
        return HardBar(index, bar.number, sum(kinds.values()), *words)

    def _is_between(self, at: Wholes) -> bool:
        """True for a stroke on no half of a beat, and for one off the beat that hangs over it."""
        beat = self._beat(at)
        halves = 3 if self.bars[self._bar_of(at)].meter.is_compound else 2
        if (beat * halves).denominator > 1:
            return True
        if beat.denominator == 1:
            return False
        bar = self.bars[self._bar_of(at)]
        return at + (1 - beat % 1) * bar.meter.beat not in self.places

    def _shift_words(self, move: _Move) -> tuple[str, str]:
        a, b = move.before.note, move.after.note
        return (
            f"For {self._beat_words(move.after.at)} the hand moves {move.shift_mm:.0f} mm along "
            f"the neck in {move.gap_s:.1f} s: from string {a.string}, fret {a.fret}, finger "
            f"{a.finger} to string {b.string}, fret {b.fret}, finger {b.finger}.",
            "Loop just the note before the move and the note after it, slowly, looking at where "
            "you land. Then without looking. Then the whole bar.",
        )

    def _crossing_words(self, move: _Move) -> tuple[str, str]:
        a, b = move.before.note.string, move.after.note.string
        return (
            f"From string {a} to string {b} on {self._beat_words(move.after.at)}.",
            "Play those two notes as a loop. The string you leave is silent before the next "
            "one sounds; the plucking hand aims without looking.",
        )

    def _between_words(self, strokes: list[Stroke]) -> tuple[str, str]:
        places = list(dict.fromkeys(self._beat_words(each.at) for each in strokes))[:4]
        listed = " and ".join(filter(None, (", ".join(places[:-1]), places[-1])))
        return (
            f"Notes between the beats: {listed}.",
            "Count the bar aloud and clap the notes. Then play them all on one pitch, still "
            "counting. The real notes come last.",
        )

    def _beat_words(self, at: Wholes) -> str:
        return beat_words(self._beat(at), self.bars[self._bar_of(at)].meter)


def _speed_words(count: int) -> tuple[str, str]:
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


def climb_words(song_bpm: float) -> str:
    """How to raise the tempo of a loop, by the practice rule's usual numbers."""
    slow_bpm = max(TEMPO_MIN_BPM, min(START_BPM, floor(song_bpm * SLOW_SHARE)))
    return (
        f"Loop it at {slow_bpm:g}. {IN_A_ROW.capitalize()} clean passes in a row: {UP_BPM} up. "
        f"One that is not clean: {DOWN_BPM} down. The song is at {song_bpm:g}."
    )
