"""What a player takes home: which tracks, of which bars, at what tempos, and what on which day.

A track here is a recipe (see `sound.tracks`): nothing is rendered and no file is touched.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from undersong.chart.song import Song
from undersong.errors import UndersongError
from undersong.lines import drum_part, pad_part
from undersong.neck.instrument import Instrument
from undersong.page.hardest import hardest_bars
from undersong.practice.ladder import clean_climb
from undersong.practice.plan import PlanSong, week_plan
from undersong.sound.soundfont import SoundFont
from undersong.sound.tracks import (
    USUAL_TRACKS,
    Track,
    TrackKind,
    file_name_of,
    loop_track,
    practice_tracks,
    tuning_track,
)
from undersong.theory.part import Part

if TYPE_CHECKING:
    from undersong.page.packpages import PackSong, PlanDay  # the page room takes a second to load

PAGES = "pack.pdf"  # the name of the pages beside the tracks
PLAN_DAYS = 6
CLIMB_TIMES = 2  # so often a loop is played at each tempo of its climb


def pack_tracks(
    songs: Sequence[PackSong],
    instrument: Instrument,
    *,
    kinds: Sequence[TrackKind] = USUAL_TRACKS,
    has_hard_bars: bool = True,
    soundfont: SoundFont | None = None,
) -> Iterator[Track]:
    """The tracks of a pack: the tuning notes, then those of each song in its place.

    Parameters
    ----------
    songs
        In the order of the day, each with the line that this player plays.
    instrument
        Whose open strings are the tuning notes, and whose neck makes a bar hard.
    kinds
        Which tracks of each whole song.
    has_hard_bars
        Whether each song has its hardest bars too, climbing; a song without a note has none.
    soundfont
        Whose instruments play; None for our own.
    """
    yield tuning_track(instrument.tuning.midis)
    for number, each in enumerate(songs, 1):
        name = f"{number:02} {each.song.title}"
        band = (drum_part(each.song), pad_part(each.song))
        yield from practice_tracks(
            name,
            each.part,
            band,
            kinds=kinds,
            climb_bpm=clean_climb(each.part.tempo_bpm),
            soundfont=soundfont,
        )
        if has_hard_bars and each.part.notes:
            song = Track(file_name_of(name), each.part.title, each.part, band, soundfont=soundfont)
            yield _hard_bars(song, instrument)


def hard_pair(part: Part, instrument: Instrument) -> tuple[int, int]:
    """Numbers of the hardest bar of a line and of the one it leads to.

    Raises
    ------
    UndersongError
        If the bass plays nothing in it.
    """
    found = hardest_bars(part, instrument)
    if not found:
        raise UndersongError(f"{part.title} has no hard bars: the bass plays nothing in it.")
    bars = part.bars
    bar = max(found, key=lambda each: each.points)
    first = min(bar.index, max(0, len(bars) - 2))
    return bars[first].number, bars[min(first + 1, len(bars) - 1)].number


def _hard_bars(song: Track, instrument: Instrument) -> Track:
    """The hardest bar and the next, looped, from slow to the song's tempo by the practice rule."""
    loop = loop_track(song, hard_pair(song.part, instrument), times=CLIMB_TIMES)
    return replace(
        loop,
        name=f"{song.name} - hard bars, climbing",
        title=f"{loop.title}, climbing",
        tempos_bpm=clean_climb(loop.part.tempo_bpm),
    )


def week_before(songs: Sequence[Song], held_on: date | None, *, today: date) -> tuple[PlanDay, ...]:
    """What to practise on each of the days before a Sunday, for the pack's page of the week.

    Where the set has no date, the week begins today.
    """
    from undersong.page.packpages import PlanDay, PlanTurn

    first_day = today if held_on is None else held_on - timedelta(days=PLAN_DAYS)
    planned = week_plan(
        [
            PlanSong(
                f"song {song.title} in {song.key}",
                song.title,
                song.tempo_bpm,
                tuple(section.name for section in song.sections),
            )
            for song in songs
        ],
        (),
        first_day=first_day,
        days=PLAN_DAYS,
    )
    return tuple(
        PlanDay(day.day, tuple(PlanTurn(turn.minutes, turn.text, turn.why) for turn in day.items))
        for day in planned
    )
