"""`undersong line`: a bass line for a chart, at a player's level."""

from __future__ import annotations

import argparse
from pathlib import Path

from undersong.cli.chart import song_in
from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    add_level,
    instrument_of,
    print_json,
    reads,
)
from undersong.cli.outputs import add_outputs, part_lines, write_outputs
from undersong.theory.key import parse_key


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
    command.add_argument("--seed", type=int, default=1, metavar="N", help="another line for each")
    add_instrument(command)
    add_outputs(command)
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the line, and write the files that were asked for."""
    from undersong.exchange import part_to_json
    from undersong.lines import report_json, write_line

    song = song_in(args.chart, args.key)
    sheet = write_line(song, level=args.level, instrument=instrument_of(args), seed=args.seed)
    written = write_outputs(args, sheet.part)
    if args.json:
        extra = {"report": report_json(sheet.report), "remarks": list(sheet.remarks)}
        print_json(part_to_json(sheet.part) | extra)
        return 0
    for line in (*part_lines(sheet.part), *sheet.report.lines(), *sheet.remarks, *written):
        print(line)
    return 0
