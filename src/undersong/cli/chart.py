"""`undersong chart`: read a chart, in any key, as numbers or letters."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.folder import save_new, show_folder
from undersong.cli.options import (
    Commands,
    add_json,
    note_range,
    print_json,
    read_bytes,
    reads,
    whole,
)
from undersong.cli.sunday import low_json, show_week
from undersong.errors import UndersongError
from undersong.theory.interval import parse_interval
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter

if TYPE_CHECKING:
    from undersong.chart.sheet import SheetSettings
    from undersong.chart.song import Song
    from undersong.theory.key import Key


def add(commands: Commands) -> None:
    """Put `chart` on the list of commands."""
    command = commands.add_parser(
        "chart",
        help="read a chart; show it in numbers or letters, in any key",
        description="Read a chart and show it; a mistake is named with its line and column.",
    )
    command.add_argument(
        "file",
        type=Path,
        metavar="FILE",
        help="a chart, or a sheet: text, PDF, .docx, MusicXML, MIDI; a set (.toml): its week; "
        "or a folder of sheets",
    )
    where = command.add_mutually_exclusive_group()
    where.add_argument("--key", type=reads(parse_key), metavar="K", help="put it in this key")
    where.add_argument(
        "--move",
        type=reads(parse_interval),
        metavar="INTERVAL",
        help="or move it: M2 is up a whole step, m3 up three half steps (--move=-m3: down)",
    )
    command.add_argument(
        "--as",
        dest="style",
        choices=("numbers", "letters", "both"),
        help="default: as it is written",
    )
    command.add_argument(
        "--keys", action="store_true", help="every key, and what it asks of the low strings"
    )
    command.add_argument(
        "--singer",
        type=note_range,
        metavar="LOW-HIGH",
        help="the same for a voice, the best key first: A3-D5",
    )
    command.add_argument(
        "--save",
        type=Path,
        metavar="FILE",
        help="write it as a chart of ours; of a folder: a folder for its charts and a set",
    )
    sheet = command.add_argument_group("where a sheet does not say it itself")
    sheet.add_argument("--capo", type=whole, choices=range(12), metavar="FRET", help="0 to 11")
    sheet.add_argument("--meter", type=reads(parse_meter), metavar="M", help="4/4, 6/8 ...")
    sheet.add_argument(
        "--names", choices=("german", "solfege"), help="H for B and B for B flat; or Do Re Mi"
    )
    sheet.add_argument("--keep-words", action="store_true", help="keep the words as notes")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the chart, or the week of a set."""
    from undersong.chart.ranges import by_interval

    if args.file.suffix.casefold() == ".toml":
        return show_week(args)
    if args.file.is_dir():
        return show_folder(args, _settings(args))
    song = song_in(args.file, args.key, _settings(args))
    if args.move is not None:
        song = by_interval(song, args.move)
    lines = () if args.json else tuple(_lines(song, args))
    saved = None if args.save is None else _save(song, args)
    if args.json:
        print_json(_json(song, args))
        return 0
    for line in lines:
        print(line)
    if saved is not None:
        print(f"\n{saved}")
    return 0


def _save(song: Song, args: argparse.Namespace) -> str:
    from undersong.chart.song import Style
    from undersong.chart.write import song_text

    is_asked = args.style in ("numbers", "letters")
    written = replace(song, style=Style(args.style)) if is_asked else song
    return save_new(args.save, song_text(written))


def _json(song: Song, args: argparse.Namespace) -> dict[str, object]:
    from undersong.chart.lownotes import low_note_table
    from undersong.chart.ranges import keys_for_singer
    from undersong.chart.show import chart_json

    answer = chart_json(song)
    if args.singer is not None:
        answer["keys"] = [
            low_json(fit.bass)
            | {
                "semitones": fit.semitones,
                "melody": [str(fit.low), str(fit.high)],
                "spare_low": fit.spare_low,
                "spare_high": fit.spare_high,
                "fits": fit.fits,
            }
            for fit in keys_for_singer(song, *args.singer)
        ]
    elif args.keys:
        answer["keys"] = [low_json(row) for row in low_note_table(song)]
    return answer


def _lines(song: Song, args: argparse.Namespace) -> Iterator[str]:
    from undersong.chart.lownotes import low_note_table, low_notes
    from undersong.chart.ranges import keys_for_singer
    from undersong.chart.show import chart_lines
    from undersong.chart.song import Style
    from undersong.chart.words import key_table, low_words

    is_both = args.style == "both"
    style = None if args.style is None or is_both else Style(args.style)
    # Asked first: a chart without a range is told so before anything is printed.
    fits = () if args.singer is None else keys_for_singer(song, *args.singer)
    yield from chart_lines(song, style=style, both=is_both)
    for remark in song.report:
        where = f"Line {remark.line}, {remark.kind}" if remark.line else remark.kind.capitalize()
        yield f"{where}: {remark.text}"
    yield ""
    if fits or args.keys:
        yield from key_table(() if fits else low_note_table(song), fits)
    else:
        yield low_words(low_notes(song))


def _settings(args: argparse.Namespace) -> SheetSettings:
    from undersong.chart.names import Naming
    from undersong.chart.sheet import SheetSettings

    naming = Naming(german=args.names == "german", solfege=args.names == "solfege")
    return SheetSettings(
        naming=naming, capo=args.capo, meter=args.meter, keep_words=args.keep_words
    )


def song_in(path: Path, key: Key | None, settings: SheetSettings | None = None) -> Song:
    """The song on a chart or sheet of any kind, in another key if one is asked for."""
    from undersong.chart.arrive import read_sheet
    from undersong.chart.song import in_key

    if path.suffix.casefold() == ".toml":
        raise UndersongError(f"{path} is a set: name the chart of one of its songs.")
    song = read_sheet(read_bytes(path), path.name, settings)
    return song if key is None else in_key(song, key)
