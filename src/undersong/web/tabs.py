"""A part as tablature for a screen: one drawing a bar, so that lines break where the screen ends.

Conventions
-----------
Drawing units are CSS pixels. The highest string is on top. `s` is seconds from place 0 of the
part, at the part's own tempo. A left-hander reads the same tablature.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction

from undersong.theory.part import Articulation, Bar, Note, Part
from undersong.theory.pitch import musical_signs

LEFT, NOTE_WIDTH, LEAST_WIDTH = 16.0, 34.0, 92.0
CHORD_LEFT = 9.0  # a chord's number begins where the first note's figure does
STRINGS_TOP, STRING_GAP = 50.0, 20.0
DEGREE_DROP, BELOW = 27.0, 36.0
STRINGS_UNKNOWN = 4
_SIGNS = {
    Articulation.GHOST: "x",
    Articulation.SLIDE: "/",
    Articulation.HAMMERED: "h",
}


@dataclass(frozen=True, slots=True)
class TabNote:
    """One written note: its place in the drawing, what stands there, and what is said of it."""

    index: int
    x: float
    y: float
    figure: str
    degree: str
    s: float
    length_s: float
    said: str
    is_tied_to: bool


@dataclass(frozen=True, slots=True)
class TabChord:
    """A chord number over the strings; `x` is where it begins."""

    x: float
    number: str


@dataclass(frozen=True, slots=True)
class TabBar:
    """One bar: its drawing's size, its strings' heights, its notes, and when it is played."""

    number: int
    section: str
    width: float
    height: float
    strings: tuple[float, ...]
    notes: tuple[TabNote, ...]
    chords: tuple[TabChord, ...]
    s: float
    end_s: float
    is_last: bool

    @property
    def bottom(self) -> float:
        """The lowest string's height."""
        return self.strings[-1]

    @property
    def degree_y(self) -> float:
        """Where the degrees stand."""
        return self.bottom + DEGREE_DROP

    def x_of(self, s: float) -> float:
        """Where a moment falls in the drawing."""
        share = (s - self.s) / (self.end_s - self.s)
        return LEFT + min(max(share, 0.0), 1.0) * (self.width - LEFT)


def tab_bars(part: Part) -> tuple[TabBar, ...]:
    """The part bar by bar."""
    strings = len(part.tuning) if part.tuning else STRINGS_UNKNOWN
    ys = tuple(STRINGS_TOP + STRING_GAP * place for place in range(strings))
    bars = part.bars
    tied_to = {
        stroke_end
        for note in part.notes
        if note.tied
        for stroke_end in [(note.end, note.pitch.midi)]
    }
    made = []
    for place, bar in enumerate(bars):
        notes = [
            (index, note)
            for index, note in enumerate(part.notes)
            if bar.at <= note.at < bar.at + bar.length
        ]
        made.append(_bar(part, bar, notes, ys, tied_to, is_last=place == len(bars) - 1))
    return tuple(made)


def bar_at(bars: tuple[TabBar, ...], s: float) -> TabBar:
    """The bar in which a moment falls; the first or last where it falls outside."""
    return bars[max(0, bisect_right([bar.s for bar in bars], s) - 1)]


def _bar(
    part: Part,
    bar: Bar,
    notes: list[tuple[int, Note]],
    ys: tuple[float, ...],
    tied_to: set[tuple[Fraction, int]],
    *,
    is_last: bool,
) -> TabBar:
    tempo = part.tempo_map
    shortest = min([note.length for _, note in notes], default=bar.length)
    places = max(len(notes), min(16, int(bar.length / shortest)), bar.meter.beats)
    width = max(LEAST_WIDTH, LEFT + NOTE_WIDTH * places)
    made = []
    for index, note in notes:
        share = float((note.at - bar.at) / bar.length)
        string = note.string or len(ys)
        s = tempo.seconds_at(note.at)
        number, beat = part.place_of(note.at)
        made.append(
            TabNote(
                index=index,
                x=round(LEFT + share * (width - LEFT), 1),
                y=ys[string - 1],
                figure=_figure(note),
                degree=musical_signs(str(note.degree)) if note.degree else "",
                s=s,
                length_s=tempo.seconds_at(note.end) - s,
                said=f"bar {number}, beat {float(beat):g}: {musical_signs(str(note.pitch))}",
                is_tied_to=(note.at, note.pitch.midi) in tied_to,
            )
        )
    return TabBar(
        number=bar.number,
        section=next((m.name for m in part.sections if m.at == bar.at), ""),
        width=round(width, 1),
        height=ys[-1] + BELOW,
        strings=ys,
        notes=tuple(made),
        chords=tuple(_chords(part, bar, width)),
        s=tempo.seconds_at(bar.at),
        end_s=tempo.seconds_at(bar.at + bar.length),
        is_last=is_last,
    )


def _figure(note: Note) -> str:
    sign = _SIGNS.get(note.articulation, "")
    if note.articulation is Articulation.GHOST:
        return sign
    return f"{sign}{note.fret}" if note.fret is not None else str(note.pitch.name)


def _chords(part: Part, bar: Bar, width: float) -> list[TabChord]:
    return [
        TabChord(
            round(CHORD_LEFT + float((mark.at - bar.at) / bar.length) * (width - LEFT), 1),
            "–" if mark.chord is None else musical_signs(str(mark.chord)),
        )
        for mark in part.chords
        if bar.at <= mark.at < bar.at + bar.length
    ]
