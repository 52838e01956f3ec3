"""What a set is made of: its keys, its root moves, and the bars that want practice, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from undersong.chart.roadmap import PlayedBar, chords_of, unrolled
from undersong.chart.song import Song
from undersong.theory.chord import NumberChord
from undersong.theory.key import Degree, Key, Mode

MANY_CHORDS = 3  # a chord a beat, near enough


@dataclass(frozen=True, slots=True)
class HardBar:
    """A written bar that wants practice: where it is first played, and each reason in words."""

    title: str
    section: str
    number: int
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetCounts:
    """Over a whole set as played.

    `moves` counts each step of the bass from degree to degree of the key (slash basses count,
    as that is what the bass plays), `keys` the bars in each key, `hard` the hardest bars first.
    """

    moves: Counter[tuple[Degree, Degree]]
    keys: Counter[Key]
    hard: tuple[HardBar, ...]


def set_counts(songs: Sequence[Song]) -> SetCounts:
    """Count moves, keys and hard bars over the songs as they are played."""
    moves: Counter[tuple[Degree, Degree]] = Counter()
    keys: Counter[Key] = Counter()
    hard: list[HardBar] = []
    for song in songs:
        bars = unrolled(song)
        keys.update(bar.key for bar in bars)
        moves.update(_moves(bars))
        hard += _hard_bars(song, bars)
    hard.sort(key=lambda each: -len(each.reasons))
    return SetCounts(moves, keys, tuple(hard))


def changes_of(song: Song) -> tuple[NumberChord, ...]:
    """The chords of a song in order, each section once and no bass note twice running.

    A section with the changes of an earlier one is left out. Numbers count in `song.number_key`.
    """
    changes: list[NumberChord] = []
    known: set[tuple[NumberChord, ...]] = set()
    for section in song.sections:
        chords = tuple(
            event.chord for bar in section.bars for event in bar.events if event.chord is not None
        )
        if chords not in known:
            known.add(chords)
            for chord in chords:
                if not changes or changes[-1].lowest != chord.lowest:
                    changes.append(chord)
    return tuple(changes)


def _moves(bars: Sequence[PlayedBar]) -> Counter[tuple[Degree, Degree]]:
    chords = [
        (played.event.chord.lowest, played.key)
        for played in chords_of(tuple(bars))
        if played.event.chord is not None
    ]
    return Counter(
        (before, after)
        for (before, key), (after, next_key) in pairwise(chords)
        if before != after and key == next_key
    )


def _hard_bars(song: Song, bars: Sequence[PlayedBar]) -> list[HardBar]:
    seen: set[tuple[int, int]] = set()
    found = []
    for place, bar in enumerate(bars):
        where = (bar.section_index, bar.bar_index)
        if where in seen:
            continue
        seen.add(where)
        before = bars[place - 1] if place else None
        reasons = tuple(_reasons(song, bar, before))
        if reasons:
            found.append(HardBar(song.title, bar.called, bar.number, reasons))
    return found


def _reasons(song: Song, bar: PlayedBar, before: PlayedBar | None) -> list[str]:
    reasons = []
    chords = [event.chord for event in bar.events if event.chord is not None]
    if len(chords) >= MANY_CHORDS:
        reasons.append(f"{len(chords)} chords in one bar")
    if any(event.pushed for event in bar.events):
        reasons.append("a push")
    if any(event.stopped for event in bar.events):
        reasons.append("a stop")
    if before is not None and bar.key != before.key:
        reasons.append(f"the key changes to {bar.key}")
    if before is not None and bar.meter != before.meter:
        reasons.append(f"the meter changes to {bar.meter}")
    outside = [chord for chord in chords if _is_outside(chord, song)]
    if outside:
        reasons.append(f"{', '.join(str(chord) for chord in outside)} outside the key")
    return reasons


def _is_outside(chord: NumberChord, song: Song) -> bool:
    """True where the bass note is no note of the key as it is counted."""
    key = song.number_key
    if key.mode is Mode.MAJOR:
        return chord.lowest.alteration != 0
    return chord.lowest not in key.degrees
