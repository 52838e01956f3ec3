"""A chart as a page shows it: sections of bars of chords, each with its place in the bar."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from undersong.chart.degrees import plain_chord
from undersong.chart.roadmap import unrolled
from undersong.chart.show import bar_keys
from undersong.chart.song import Bar, ChordEvent, Song
from undersong.chart.write import change_words, order_words
from undersong.theory.key import Key
from undersong.theory.meter import Wholes
from undersong.theory.pitch import musical_signs

COLUMNS = 24  # of a bar: eighths, triplets and the beats of every usual meter fall on one
SIGNS_A_BAR = 8  # that a bar has room for on a phone
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}


@dataclass(frozen=True, slots=True)
class ChordView:
    """One chord: its figures, its letters, its column (1 is the bar line) and how it is played."""

    number: str
    letters: str
    column: int
    how: str
    said: str


@dataclass(frozen=True, slots=True)
class BarView:
    """One written bar; `name` is its own within the page, `words` stand above it.

    `is_even` where every chord has room to stand exactly on its beat.
    """

    name: str
    chords: tuple[ChordView, ...]
    words: str
    ending: str
    opens: bool
    closes: str
    begins_line: bool
    is_even: bool


@dataclass(frozen=True, slots=True)
class SectionView:
    """A section: its name in the margin and its bars."""

    name: str
    notes: tuple[str, ...]
    bars: tuple[BarView, ...]


@dataclass(frozen=True, slots=True)
class ChartView:
    """The whole chart; `home` is how the home chord of a minor song is numbered."""

    title: str
    key: str
    meter: str
    tempo: str
    feel: str
    notes: tuple[str, ...]
    sections: tuple[SectionView, ...]
    order: str


def chart_view(song: Song) -> ChartView:
    """The chart in its own key."""
    keys = bar_keys(song)
    return ChartView(
        title=song.title,
        key=musical_signs(str(song.key)),
        meter=str(song.meter),
        tempo=f"{song.tempo_bpm:g}",
        feel=song.feel,
        notes=song.notes,
        sections=tuple(
            SectionView(
                section.name + (f" ×{section.times}" if section.times > 1 else ""),
                section.notes,
                tuple(
                    _bar(bar, bar_name(place, index), song.counted_in(keys[place, index]))
                    for index, bar in enumerate(section.bars)
                ),
            )
            for place, section in enumerate(song.sections)
        ),
        order=order_words(song.playing_order),
    )


def bar_name(section: int, bar: int) -> str:
    """The name of a written bar within its page."""
    return f"s{section}b{bar}"


def _bar(bar: Bar, name: str, key: Key) -> BarView:
    words = [change_words(bar.key_change)] if bar.key_change else []
    words += bar.directions
    closes = ""
    if bar.closes_repeat:
        closes = "" if bar.closes_repeat == 2 else f"×{bar.closes_repeat}"
        closes = f"repeat {closes}".strip()
    ending = " and ".join(_ORDINALS.get(each, f"{each}th") for each in bar.endings)
    chords = tuple(_chord(event, bar.length, key) for event in bar.events)
    return BarView(
        name=name,
        chords=chords,
        words=", ".join(words),
        ending=ending,
        opens=bar.opens_repeat,
        closes=closes,
        begins_line=bool(words or bar.opens_repeat or ending),
        is_even=_have_room(chords),
    )


def _have_room(chords: tuple[ChordView, ...]) -> bool:
    """Whether each chord ends before the next begins, on the narrowest screen."""
    ends = [*(chord.column for chord in chords[1:]), COLUMNS + 1]
    return all(
        max(len(chord.number), len(chord.letters)) <= SIGNS_A_BAR * (end - chord.column) / COLUMNS
        for chord, end in zip(chords, ends, strict=False)
    )


def _chord(event: ChordEvent, length: Wholes, key: Key) -> ChordView:
    column = int(Fraction(event.at, length) * COLUMNS) + 1
    how = [
        word
        for word, is_so in (
            ("held", event.held),
            ("pushed", event.pushed),
            ("stopped", event.stopped),
            ("fermata", event.fermata),
        )
        if is_so
    ]
    if event.chord is None:
        return ChordView("–", "–", column, "silent", "silence")
    number = musical_signs(str(event.chord))
    letters = musical_signs(str(plain_chord(event.chord.in_key(key))))
    return ChordView(number, letters, column, " ".join(how), ", ".join([number, letters, *how]))


def played_bars(song: Song) -> list[tuple[str, Wholes]]:
    """Each bar as it is played: the name of its written bar, and where it begins."""
    return [(bar_name(bar.section_index, bar.bar_index), bar.at) for bar in unrolled(song)]
