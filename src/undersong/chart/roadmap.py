"""The roadmap unrolled: every bar as it is played, in order, and the chord at any beat.

Conventions
-----------
Places are whole notes from the start of the song (the start of its pick-up, if it has one). A
pick-up in the middle of the song plays over the end of the bar before it; only the first one
makes a bar of its own. A push is applied in `timeline`; in `unrolled` chords stand as written.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from undersong.chart.song import Bar, ChordEvent, KeyChange, Section, Song
from undersong.errors import ChartMeaningError
from undersong.theory.key import Key
from undersong.theory.meter import Meter, Wholes

MAX_PLAYED_BARS = 10_000
_KEPT_SONGS = 32  # a set's songs are asked after many times for one page
_OUT = ("out", "bass out", "lay out", "tacet", "bass tacet")
_PLAYS_AGAIN = ("in", "bass in", "all in", "full", "build", "all", "band in")


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """One bar as it is played.

    `number` counts full bars from 1; a pick-up at the start is 0. `visit` is 1 the first time a
    section is played, `called` what it is called there (Verse 2 may play the bars of Verse),
    `key` the key in force, `bar` the written bar with the chords it holds this time. `is_first`
    marks the first bar of a visit, `is_out` where the bass lays out.
    """

    number: int
    section: str
    visit: int
    at: Wholes
    length: Wholes
    meter: Meter
    key: Key
    bar: Bar
    is_out: bool
    is_first: bool
    section_index: int
    bar_index: int
    called: str

    @property
    def events(self) -> tuple[ChordEvent, ...]:
        """The chords of the bar, places from its bar line."""
        return self.bar.events


@dataclass(frozen=True, slots=True)
class PlayedChord:
    """A chord as it sounds: pushed chords come early and cut off the one before.

    `written_at` is its place without the push, `bar` the index in `unrolled` of its written bar.
    """

    at: Wholes
    until: Wholes
    written_at: Wholes
    event: ChordEvent
    key: Key
    bar: int

    @property
    def length(self) -> Wholes:
        """How long it sounds."""
        return self.until - self.at


@lru_cache(maxsize=_KEPT_SONGS)
def unrolled(song: Song) -> tuple[PlayedBar, ...]:
    """Every bar of the song in playing order.

    Raises
    ------
    ChartMeaningError
        If the order names a section the song has not, or never ends.
    """
    return tuple(_Walk(song).bars())


class _Walk:
    def __init__(self, song: Song) -> None:
        self.song = song
        self.key = song.key
        self.at = Fraction(0)
        self.number = 0
        self.visits: dict[str, int] = {}
        self.played: list[PlayedBar] = []
        self.lifted: set[int] = set()  # bars of the section at hand
        self.section = ""
        self.index = {section.name: place for place, section in enumerate(song.sections)}

    def bars(self) -> list[PlayedBar]:
        for item in self.song.playing_order:
            section = self.song.section(item.name)
            self._change(item.lift)
            for _ in range(item.times * section.times):
                self._visit(section, item.title)
        return self.played

    def _change(self, change: KeyChange | None) -> None:
        if change is not None:
            self.key = change.from_key(self.key)

    def _written_change(self, index: int, change: KeyChange | None) -> None:
        """A change of a bar; `up 2` lifts once, until another section has come between."""
        if change is None or index in self.lifted:
            return
        if change.key is None:
            self.lifted.add(index)
        self._change(change)

    def _visit(self, section: Section, called: str) -> None:
        self.visits[section.name] = self.visits.get(section.name, 0) + 1
        if section.name != self.section:
            self.section, self.lifted = section.name, set()
        is_first, is_out = True, False
        for index in passes(section.bars):
            if len(self.played) >= MAX_PLAYED_BARS:
                raise ChartMeaningError(
                    f"{self.song.title} unrolls to more than {MAX_PLAYED_BARS} bars."
                )
            bar = section.bars[index]
            self._written_change(index, bar.key_change)
            for words in bar.directions:
                word = words.casefold().strip(" .!")
                is_out = word in _OUT or (is_out and word not in _PLAYS_AGAIN)
            if bar.is_pickup and self.played:
                self._overlay(bar)
                continue
            self.number += 0 if bar.is_pickup else 1
            self.played.append(
                PlayedBar(
                    self.number,
                    section.name,
                    self.visits[section.name],
                    self.at,
                    bar.length,
                    bar.meter,
                    self.key,
                    bar,
                    is_out,
                    is_first,
                    self.index[section.name],
                    index,
                    called,
                )
            )
            self.at += bar.length
            is_first = False

    def _overlay(self, pickup: Bar) -> None:
        """A pick-up inside the song takes the last beats of the bar before it."""
        last = self.played[-1]
        start = max(last.length - pickup.length, Fraction(0))
        kept = tuple(event for event in last.bar.events if event.at < start)
        late = pickup.length - (last.length - start)
        added = tuple(
            replace(event, at=event.at - late + start)
            for event in pickup.events
            if event.at >= late
        )
        bar = replace(last.bar, events=kept + added)
        self.played[-1] = replace(last, bar=bar)


def passes(bars: tuple[Bar, ...]) -> Iterator[int]:
    """The indices of a section's bars in playing order, repeats and endings taken."""
    at = 0
    while at < len(bars):
        if not bars[at].opens_repeat:
            yield at
            at += 1
            continue
        body_end = next(
            (i for i in range(at, len(bars)) if bars[i].closes_repeat or bars[i].endings), None
        )
        if body_end is None:
            yield at
            at += 1
        elif bars[body_end].closes_repeat:
            for _ in range(bars[body_end].closes_repeat):
                yield from range(at, body_end + 1)
            at = body_end + 1
        else:
            after = body_end
            while after < len(bars) and bars[after].endings:
                after += 1
            endings = range(body_end, after)
            for time in range(1, max(max(bars[i].endings) for i in endings) + 1):
                yield from range(at, body_end)
                yield from (i for i in endings if time in bars[i].endings)
            at = after


@lru_cache(maxsize=_KEPT_SONGS)
def timeline(song: Song) -> tuple[PlayedChord, ...]:
    """Every chord as it sounds, in order; a chord carries on until the next one."""
    return chords_of(unrolled(song))


def chords_of(bars: tuple[PlayedBar, ...]) -> tuple[PlayedChord, ...]:
    """The chords of unrolled bars as they sound."""
    end = bars[-1].at + bars[-1].length if bars else Fraction(0)
    found: list[tuple[Wholes, Wholes, ChordEvent, Key, int]] = []
    for index, played in enumerate(bars):
        for event in played.events:
            written = played.at + event.at
            earliest = found[-1][0] if found else Fraction(0)
            found.append((max(written - event.push, earliest), written, event, played.key, index))
    ends = [row[0] for row in found[1:]] + [end] * bool(found)
    return tuple(
        PlayedChord(at, until, written, event, key, index)
        for (at, written, event, key, index), until in zip(found, ends, strict=True)
        if until > at
    )


def chord_at(song: Song, at: Wholes) -> PlayedChord | None:
    """The chord that sounds at a place; None before the first and after the end."""
    chords = timeline(song)
    place = bisect_right([chord.at for chord in chords], at) - 1
    if place < 0 or at >= chords[place].until:
        return None
    return chords[place]


def total_bars(song: Song) -> int:
    """Bars played in all, a pick-up at the start not counted."""
    bars = unrolled(song)
    return bars[-1].number if bars else 0


def length(song: Song) -> Wholes:
    """Length of the whole song in whole notes, pick-up included."""
    return sum((played.length for played in unrolled(song)), Fraction(0))


def duration_s(song: Song, tempo_bpm: float | None = None) -> float:
    """Seconds the song lasts at a tempo (its own, unless told), counted in its meter's beat."""
    beats = length(song) / song.meter.beat
    return float(beats) * 60.0 / (song.tempo_bpm if tempo_bpm is None else tempo_bpm)
