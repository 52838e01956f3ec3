"""A set from its file: its songs for the day, and what the week asks of a bass player."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import print_json, read_bytes
from undersong.errors import UndersongError

if TYPE_CHECKING:
    from undersong.chart.lownotes import LowNotes
    from undersong.chart.setlist import Setlist
    from undersong.chart.song import Song

HARDEST_SHOWN = 8


def sunday(path: Path) -> tuple[Setlist, tuple[Song, ...]]:
    """A set file and its songs, each read from its place beside the set, in its key and tempo."""
    from undersong.chart.arrive import decoded, read_sheet
    from undersong.chart.setlist import parse_set, set_songs
    from undersong.chart.write import song_text

    setlist = parse_set(decoded(read_bytes(path), path.name), source=path.name)
    charts = {}
    for song in setlist.songs:
        beside = path.parent / song.file
        if beside.exists():  # what is missing, the set itself reports, all at once
            charts[song.file] = song_text(read_sheet(read_bytes(beside), beside.name))
    return setlist, set_songs(setlist, charts)


def show_week(args: argparse.Namespace) -> int:
    """Print what a set asks: songs, the way from each to the next, root moves, hard bars."""
    asked = ("key", "move", "style", "singer", "capo", "meter", "names", "save")
    if any(getattr(args, name) is not None for name in asked) or args.keys or args.keep_words:
        raise UndersongError(
            f"{args.file.name} is a set, and its songs have their keys there: name one song's "
            "chart to see it in another key."
        )
    setlist, songs = sunday(args.file)
    if args.json:
        print_json(_week_json(setlist, songs))
        return 0
    for line in _week_lines(setlist, songs):
        print(line)
    return 0


def low_json(low: LowNotes) -> dict[str, object]:
    """A key's low notes in plain values."""
    return {
        "key": str(low.key),
        "lowest_1": str(low.tonic),
        "bars": low.bars,
        "bars_below": low.below,
        "ends_low": low.ends_low,
    }


def _week_json(setlist: Setlist, songs: tuple[Song, ...]) -> dict[str, object]:
    from undersong.chart.counts import set_counts
    from undersong.chart.lownotes import low_notes
    from undersong.chart.transitions import transitions

    counts = set_counts(songs)
    return {
        "title": setlist.title,
        "date": None if setlist.date is None else setlist.date.isoformat(),
        "songs": [
            {
                "title": song.title,
                "meter": str(song.meter),
                "tempo_bpm": song.tempo_bpm,
                "singer": entry.singer,
            }
            | low_json(low_notes(song))
            for entry, song in zip(setlist.songs, songs, strict=True)
        ],
        "transitions": [
            {
                "last": str(step.last),
                "first": str(step.first),
                "shared": [str(name) for name in step.shared],
                "bass_semitones": step.bass_semitones,
                "signs_apart": step.signs_apart,
                "link": [[str(chord) for chord in bar] for bar in step.link_letters],
            }
            for step in transitions(songs)
        ],
        "moves": [
            {"from": str(before), "to": str(after), "times": times}
            for (before, after), times in counts.moves.most_common()
        ],
        "keys": {str(key): bars for key, bars in counts.keys.most_common()},
        "hard": [
            {
                "title": bar.title,
                "section": bar.section,
                "bar": bar.number,
                "reasons": list(bar.reasons),
            }
            for bar in counts.hard
        ],
        "report": [
            {"title": song.title, "kind": each.kind, "text": each.text}
            for song in songs
            for each in song.report
        ],
    }


def _week_lines(setlist: Setlist, songs: tuple[Song, ...]) -> Iterator[str]:
    from undersong.chart.counts import set_counts
    from undersong.chart.transitions import transitions
    from undersong.chart.words import count_words, hard_words, transition_words

    yield setlist.title or "The set"
    if setlist.date is not None:
        yield f"{setlist.date:%A} {setlist.date.day} {setlist.date:%B %Y}"
    yield ""
    width = max(len(song.title) for song in songs)
    for entry, song in zip(setlist.songs, songs, strict=True):
        facts = f"{song.key!s:<4}{song.meter!s:>5}{song.tempo_bpm:>6g}"
        yield f"{song.title:<{width}}  {facts}  {entry.singer}".rstrip()
        yield from (f"    {each.kind.capitalize()}: {each.text}" for each in song.report)
    steps = transitions(songs)
    if steps:
        yield "\nFrom song to song"
        yield from (f"  {transition_words(step)}" for step in steps)
    counts = set_counts(songs)
    yield "\nOver the set"
    yield from (f"  {line}" for line in count_words(counts))
    if counts.hard:
        yield "\nBars that want practice"
        yield from (f"  {hard_words(bar)}" for bar in counts.hard[:HARDEST_SHOWN])
