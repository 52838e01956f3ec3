"""A Part from a chart: the marks every player of a song shares, whoever plays.

Sections, chords, keys, meters, pick-up and swing are the chart's; a bass line, a drum pattern
and a pad differ in their notes alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from undersong.chart.roadmap import PlayedBar, PlayedChord, chords_of, unrolled
from undersong.chart.song import Song
from undersong.lines.feel import Feel, feel_of, swing_of
from undersong.lines.groove import Groove, groove_for
from undersong.lines.plan import BarPlan, plan_bars
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import (
    ChordMark,
    KeyMark,
    MeterMark,
    Note,
    Part,
    SectionMark,
    Voice,
)
from undersong.theory.tempo import TempoMark

EASY_EIGHTH_S = 0.15  # eighths quicker than this are left to the quieter rhythms
EASY_SIXTEENTH_S = 0.1
FULL_EIGHTHS_ENERGY, CALM_ENERGY = 3, 2


@dataclass(frozen=True)
class Score:
    """A song with its roadmap unrolled and every bar planned, for one feel."""

    song: Song
    feel: Feel

    @cached_property
    def bars(self) -> tuple[PlayedBar, ...]:
        """Every bar as played."""
        return unrolled(self.song)

    @cached_property
    def plans(self) -> tuple[BarPlan, ...]:
        """What each bar is for."""
        return plan_bars(self.bars)

    @cached_property
    def chords(self) -> tuple[PlayedChord, ...]:
        """Every chord as it sounds."""
        return chords_of(self.bars)

    @property
    def length(self) -> Wholes:
        """Length of the whole song."""
        return self.bars[-1].at + self.bars[-1].length if self.bars else Fraction(0)

    @property
    def whole_s(self) -> float:
        """Seconds of one whole note at the song's tempo."""
        return TempoMark(Fraction(0), self.song.tempo_bpm, self.song.meter.beat).whole_s

    def groove(self, plan: BarPlan) -> Groove:
        """The rhythm of a bar, thinned where the tempo leaves no time for its short notes."""
        feel, energy = self.feel, plan.energy
        is_quick = self.whole_s / 16 < EASY_SIXTEENTH_S
        if is_quick and feel in (Feel.SIXTEENTHS, Feel.GOSPEL):
            feel = Feel.STRAIGHT
        if self.whole_s / 8 < EASY_EIGHTH_S and energy >= FULL_EIGHTHS_ENERGY:
            energy = CALM_ENERGY
        return groove_for(feel, energy, plan.played.meter, plan.played.length)

    def part(self, notes: Sequence[Note], voice: Voice) -> Part:
        """A part of the song with these notes, in order, and all the chart's marks."""
        song, bars = self.song, self.bars
        first = bars[0] if bars else None
        is_short = first is not None and first.length < first.meter.bar
        meters = _meter_marks(bars)
        return Part(
            title=song.title,
            key=first.key if first is not None else song.key,
            meter=first.meter if first is not None else song.meter,
            tempo_bpm=self._tempo_bpm(first),
            notes=tuple(notes),
            voice=voice,
            pickup=first.length if first is not None and is_short else Fraction(0),
            length=self.length,
            key_marks=tuple(
                KeyMark(bar.at, bar.key) for before, bar in pairwise(bars) if bar.key != before.key
            ),
            meter_marks=meters,
            tempo_marks=tuple(self._tempo_mark(mark) for mark in meters),
            sections=tuple(
                SectionMark(bar.at, bar.section, bar.visit) for bar in bars if bar.is_first
            ),
            chords=tuple(ChordMark(chord.at, chord.event.chord) for chord in self.chords),
            swing=swing_of(song, self.feel),
        )

    def _tempo_bpm(self, first: PlayedBar | None) -> float:
        # The chart's tempo counts its own meter's beat; a part counts its first bar's.
        if first is None or first.meter.beat == self.song.meter.beat:
            return self.song.tempo_bpm
        return self.song.tempo_bpm * float(self.song.meter.beat / first.meter.beat)

    def _tempo_mark(self, mark: MeterMark) -> TempoMark:
        # A change of meter keeps the note values: the eighth stays the eighth.
        share = float(self.song.meter.beat / mark.meter.beat)
        return TempoMark(mark.at, self.song.tempo_bpm * share, mark.meter.beat)


def score_of(song: Song, feel: Feel | None) -> Score:
    """The song laid out for players; `feel` None is the chart's own."""
    return Score(song, feel_of(song) if feel is None else feel)


def _meter_marks(bars: Sequence[PlayedBar]) -> tuple[MeterMark, ...]:
    """A mark wherever the meter changes from one full bar to the next."""
    marks: list[MeterMark] = []
    meter: Meter | None = None
    for bar in bars:
        if meter is not None and bar.meter != meter:
            marks.append(MeterMark(bar.at, bar.meter))
        meter = bar.meter
    return tuple(marks)
