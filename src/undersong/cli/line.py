"""`undersong line`: a bass line for a chart, at a player's level."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.chart import song_in
from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    add_level,
    bar_number,
    instrument_of,
    print_json,
    reads,
    whole,
)
from undersong.cli.outputs import add_outputs, part_lines, write_outputs
from undersong.theory.key import parse_key

if TYPE_CHECKING:
    from undersong.chart.song import Song


def add(commands: Commands) -> None:
    """Put `line` on the list of commands."""
    command = commands.add_parser(
        "line",
        help="a bass line for a chart, at a level from 1 to 6",
        description="Write a bass line for a chart: 1 held roots, 2 steady roots, 3 root, fifth "
        "and octave, 4 passing notes and approaches, 5 fills and pick-ups, 6 melodic lines.",
    )
    command.add_argument(
        "chart",
        type=Path,
        metavar="CHART",
        help="a chart, or a sheet that `undersong chart` can read",
    )
    add_level(command, "how much to play")
    command.add_argument("--key", type=reads(parse_key), metavar="K", help="put it in this key")
    command.add_argument("--feel", metavar="WORDS", help="straight eighths, half-time, shuffle ...")
    command.add_argument(
        "--section",
        action="append",
        default=[],
        type=section_level,
        metavar="NAME=N",
        help="another level for one section, as in --section Verse=2",
    )
    command.add_argument(
        "--another",
        action="append",
        default=[],
        type=bar_number,
        metavar="BAR",
        help="another idea for it",
    )
    command.add_argument(
        "--simplify",
        action="append",
        default=[],
        type=bar_number,
        metavar="BAR",
        help="a level lower there",
    )
    command.add_argument("--seed", type=whole, default=1, metavar="N", help="another line for each")
    add_instrument(command)
    add_outputs(command)
    add_json(command)
    command.set_defaults(run=run)


def section_level(text: str) -> tuple[str, int]:
    """Read ``Verse=2``."""
    name, sign, level = text.rpartition("=")
    if not sign or not name.strip() or not level.strip().isdecimal():
        raise argparse.ArgumentTypeError(
            f"{text!r} does not say a section and its level: write it as Verse=2"
        )
    return name.strip(), int(level)


def run(args: argparse.Namespace) -> int:
    """Print the line, and write the files that were asked for."""
    from undersong.exchange import part_to_json
    from undersong.lines import (
        another_idea,
        parse_feel,
        report_json,
        simplify_bar,
        write_line,
    )

    song = song_in(args.chart, args.key)
    sheet = write_line(
        song,
        level=args.level,
        instrument=instrument_of(args),
        seed=args.seed,
        feel=None if args.feel is None else parse_feel(args.feel),
        section_levels=_section_levels(song, args.section),
    )
    for bar in args.another:
        sheet = another_idea(song, sheet, bar)
    for bar in args.simplify:
        sheet = simplify_bar(song, sheet, bar)
    written = write_outputs(args, sheet.part)
    if args.json:
        extra = {"report": report_json(sheet.report), "remarks": list(sheet.remarks)}
        print_json(part_to_json(sheet.part) | extra)
        return 0
    for line in (*part_lines(sheet.part), *sheet.report.lines(), *sheet.remarks, *written):
        print(line)
    return 0


def _section_levels(song: Song, asked: list[tuple[str, int]]) -> dict[str, int]:
    """Levels by section; a name without its number means all of that name: Verse 1, Verse 2."""
    from undersong.chart.headers import bare_name

    names = [section.name for section in song.sections]
    names += [item.called for item in song.playing_order if item.called]
    levels: dict[str, int] = {}
    for name, level in asked:
        bare = bare_name(name)
        whole = [each for each in names if bare_name(each) == bare]
        same = whole or [each for each in names if bare_name(each).rstrip("0123456789") == bare]
        levels |= dict.fromkeys(same or [name], level)
    return levels
