"""Charts and packs for the pages' tests: the demo Sunday, and odd songs that try the layout."""

from __future__ import annotations

import datetime
from dataclasses import replace
from functools import cache
from pathlib import Path

import undersong
from undersong.chart.setlist import Player, Setlist, parse_set, set_songs
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.exchange import musicxml_bytes
from undersong.lines import write_line
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.page.pack import Edition, PackPlayer, PackSong, PlanDay, PlanTurn, pack_pdf
from undersong.practice.plan import PlanSong, week_plan

DEMO = Path(undersong.__file__).parent / "demo"
EDITION = Edition(datetime.date(2026, 11, 24), "3")
LONG_TITLE = (
    "A Very Long Title for a Very Short Song That Somebody Wrote on the Way Home in the Rain"
)
FOUR_BARS = "| 1 | 5/7 | 6- | 4 |\n"

ODD_CHARTS = {
    "long": "Title: The Long Road\nKey: D\nMeter: 4/4\nTempo: 80\n\nVerse\n"
    + "".join(f"| 1 | 5/7 | 6-(7) 4 | {n % 7 + 1} |\n" for n in range(30)),
    "one bar": "Title: Amber\nKey: C\nMeter: 4/4\nTempo: 60\n\nAll\n| 1 |\n",
    "title": f"Title: {LONG_TITLE} Tonight\nKey: A\nMeter: 4/4\nTempo: 76\n\nVerse\n{FOUR_BARS}",
    "seven": "Title: Seven Rooms\nKey: Gb\nMeter: 4/4\nTempo: 90\n\n"
    + "".join(
        f"{name}\n{FOUR_BARS}{FOUR_BARS}\n"
        for name in (
            "Introduction", "First Verse", "Pre-Chorus", "Chorus", "Instrumental Bridge",
            "Last Chorus", "Outro",
        )
    ),
    "sharps": "Title: Five Sharps\nKey: B\nMeter: 4/4\nTempo: 104\n\nVerse\n"
    "| 1 | 2(7) | #4m7b5 | b7 |\n| 3- 6-(7) 2-(7) 5(7sus) | b6(maj7#11) | 1/3 #1dim7 | 5/b7 |\n"
    "Chorus\n-- up 1\n| <1> | <<4@4.75 | 5!. 0... | 1(hold) |\n",
    "twelve": "Title: Twelve Small Bells\nKey: F#m\nMinor: 1-\nMeter: 12/8\nTempo: 54\n\nVerse\n"
    "| pickup 5. | 1- | 4- | b6 b7 | 1- . . 5 |\n|: b3 | b7/2 | 4- 5(7) | 1- :| x4\n",
}  # fmt: skip


def demo_set() -> Setlist:
    """The invented Sunday that is shipped."""
    return parse_set((DEMO / "sunday.toml").read_text("utf-8"), source="sunday.toml")


@cache
def demo_songs() -> tuple[Song, ...]:
    """Its songs, in their keys for the day."""
    setlist = demo_set()
    charts = {each.file: (DEMO / each.file).read_text("utf-8") for each in setlist.songs}
    return set_songs(setlist, charts)


def instrument_of(player: Player) -> Instrument:
    """The bass a player's entry describes."""
    return Instrument(
        parse_tuning(player.tuning),
        frets=player.frets,
        scale_mm=player.scale_mm,
        left_handed=player.hand == "left",
    )


def packed(songs: tuple[Song, ...], level: int, instrument: Instrument) -> tuple[PackSong, ...]:
    """Songs with a line each."""
    return tuple(
        PackSong(song, write_line(song, level=level, instrument=instrument).part) for song in songs
    )


def week(songs: tuple[Song, ...]) -> tuple[PlanDay, ...]:
    """Six days of practice as the door hands them over."""
    names = [
        PlanSong(song.title, song.title, song.tempo_bpm, tuple(s.name for s in song.sections))
        for song in songs
    ]
    days = week_plan(names, (), first_day=datetime.date(2026, 11, 23))
    return tuple(
        PlanDay(day.day, tuple(PlanTurn(turn.minutes, turn.text, turn.why) for turn in day.items))
        for day in days
    )


def made_demo_pack(place: int, sheet: str, look: str) -> bytes:
    """The pack of one of the demo's players, made anew."""
    setlist, songs = demo_set(), demo_songs()
    player = setlist.players[place]
    instrument = instrument_of(player)
    parts = tuple(
        replace(each, singer=entry.singer, notes=entry.notes)
        for each, entry in zip(packed(songs, player.level, instrument), setlist.songs, strict=True)
    )
    return pack_pdf(
        setlist.title,
        setlist.date,
        parts,
        PackPlayer(player.name, player.level, instrument, player.notes),
        musicxml=musicxml_bytes,
        edition=EDITION,
        plan=week(songs),
        sheet=sheet,
        look=look,
        set_notes=setlist.notes,
    )


_demo_pack = cache(made_demo_pack)


def demo_pack(place: int, sheet: str = "a4", look: str = "print") -> bytes:
    """The same, made once."""
    return _demo_pack(place, sheet, look)


def odd_song(name: str) -> Song:
    """One of the odd charts."""
    return parse_song(ODD_CHARTS[name])


def odd_pack(name: str, sheet: str = "a4", look: str = "print") -> bytes:
    """A pack of one odd song, for a five-string at level 3, made once."""
    return _odd_pack(name, sheet, look)


@cache
def _odd_pack(name: str, sheet: str, look: str) -> bytes:
    instrument = Instrument(parse_tuning("five"), left_handed=name == "twelve")
    songs = (odd_song(name),)
    return pack_pdf(
        "Odd Songs",
        datetime.date(2026, 11, 29),
        packed(songs, 3, instrument),
        PackPlayer("Lea", 3, instrument),
        musicxml=musicxml_bytes,
        edition=EDITION,
        sheet=sheet,
        look=look,
        with_letters=True,
    )
