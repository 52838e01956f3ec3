"""`undersong chart`: read a chart, in any key, as numbers or letters."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import Commands, add_json, print_json, read_bytes, reads
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter

if TYPE_CHECKING:
    from undersong.chart.lownotes import LowNotes
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
        help="a chart, or a sheet: text, PDF, .docx, MusicXML, MIDI",
    )
    command.add_argument("--key", type=reads(parse_key), metavar="K", help="put it in this key")
    command.add_argument(
        "--as", dest="style", choices=("numbers", "letters"), help="default: as it is written"
    )
    sheet = command.add_argument_group("where a sheet does not say it itself")
    sheet.add_argument("--capo", type=int, choices=range(12), metavar="FRET", help="0 to 11")
    sheet.add_argument("--meter", type=reads(parse_meter), metavar="M", help="4/4, 6/8 ...")
    sheet.add_argument(
        "--names", choices=("german", "solfege"), help="H for B and B for B flat; or Do Re Mi"
    )
    sheet.add_argument("--keep-words", action="store_true", help="keep the words as notes")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the chart."""
    from undersong.chart.lownotes import low_notes
    from undersong.chart.show import chart_json, chart_lines
    from undersong.chart.song import Style

    song = song_in(args.file, args.key, _settings(args))
    if args.json:
        print_json(chart_json(song))
        return 0
    style = None if args.style is None else Style(args.style)
    print("\n".join(chart_lines(song, style=style)))
    for remark in song.report:
        where = f"Line {remark.line}, {remark.kind}" if remark.line else remark.kind.capitalize()
        print(f"{where}: {remark.text}")
    print()
    print(low_words(low_notes(song)))
    return 0


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

    song = read_sheet(read_bytes(path), path.name, settings)
    return song if key is None else in_key(song, key)


def low_words(low: LowNotes) -> str:
    """What the key asks of the bottom of the instrument, in one sentence."""
    if not low.tonic_is_low:
        return f"The lowest 1 is {low.tonic} on a four-string and on a five-string alike."
    ending = ", and the song ends there" if low.ends_low else ""
    return (
        f"The lowest 1 is {low.tonic} on a four-string; a five-string has it an octave "
        f"lower{ending}."
    )
