"""A Part from a chart: the marks every player of a song shares, whoever plays.

Sections, chords, keys, meters, pick-up and swing are the chart's; a bass line, a drum pattern
and a pad differ in their notes alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from undersong.chart.roadmap import PlayedBar, PlayedChord, chords_of, unrolled
from undersong.chart.song import Song
from undersong.lines.feel import Feel, feel_of, swing_of
from undersong.lines.groove import Groove, groove_for
from undersong.lines.plan import BarPlan, plan_bars
from undersong.lines.targets import carried
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
        has_chords = any(bar.events for bar in self.bars)
        return chords_of(self.bars) if has_chords else ()

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
        meter = song.meter
        pickup = Fraction(0)
        if bars and bars[0].length < bars[0].meter.bar:
            pickup = bars[0].length
            if pickup >= meter.bar:  # a long pick-up before a song of shorter bars
                meter = bars[0].meter
        return Part(
            title=song.title,
            key=bars[0].key if bars else song.key,
            meter=meter,
            tempo_bpm=song.tempo_bpm * float(song.meter.beat / meter.beat),
            notes=tuple(notes),
            voice=voice,
            pickup=pickup,
            length=self.length,
            key_marks=tuple(
                KeyMark(bar.at, bar.key) for before, bar in pairwise(bars) if bar.key != before.key
            ),
            meter_marks=_meter_marks(bars, meter),
            sections=tuple(_section_marks(bars)),
            chords=self._chord_marks(),
            swing=swing_of(song, self.feel),
            minor_habit=song.minor_habit,
        )

    def _chord_marks(self) -> tuple[ChordMark, ...]:
        """Every chord where it sounds, named anew where it carries on into another key."""
        marks: list[ChordMark] = []
        for chord in self.chords:
            marks.append(ChordMark(chord.at, chord.event.chord))
            key = chord.key
            for index in range(chord.bar + 1, len(self.bars)):
                bar = self.bars[index]
                if bar.at >= chord.until:
                    break
                if bar.key != key and chord.event.chord is not None:
                    marks.append(ChordMark(bar.at, carried(self.song, chord, bar.key)))
                key = bar.key
        return tuple(marks)


def score_of(song: Song, feel: Feel | None) -> Score:
    """The song laid out for players; `feel` None is the chart's own."""
    return Score(song, feel_of(song) if feel is None else feel)


def feel_remarks(score: Score) -> tuple[str, ...]:
    """What to say of a feel that the song's meter leaves no room for."""
    meter, feel = score.song.meter, score.feel
    if not meter.is_compound or feel is Feel.BALLAD_68:
        return ()
    return (
        f"The feel {feel.value} changes nothing here: the beat of {meter} divides in three as it "
        "is, and the 6/8 rhythm is played.",
    )


def _section_marks(bars: Sequence[PlayedBar]) -> Iterator[SectionMark]:
    """A mark at every section by the name it is called there, and its time round by that name."""
    visits: dict[str, int] = {}
    for bar in bars:
        if bar.is_first:
            visits[bar.called] = visits.get(bar.called, 0) + 1
            yield SectionMark(bar.at, bar.called, visits[bar.called])


def _meter_marks(bars: Sequence[PlayedBar], meter: Meter) -> tuple[MeterMark, ...]:
    """A mark at every full bar whose meter is not that of the bar before.

    A change of meter keeps the note values, an eighth staying an eighth, so that no mark of
    tempo is needed: a part's tempo counts the beat of its first meter throughout.
    """
    marks: list[MeterMark] = []
    for bar in bars:
        if bar.length == bar.meter.bar and bar.meter != meter:
            marks.append(MeterMark(bar.at, bar.meter))
            meter = bar.meter
    return tuple(marks)
