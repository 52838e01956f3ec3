"""`undersong finger`: where on the neck to play a part."""

from __future__ import annotations

import argparse
from pathlib import Path

from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    instrument_of,
    print_json,
    read_bytes,
)
from undersong.cli.outputs import add_outputs, part_lines, write_outputs


def add(commands: Commands) -> None:
    """Put `finger` on the list of commands."""
    command = commands.add_parser(
        "finger",
        help="string, fret and finger for every note of a part",
        description="Choose where to play a part with the least work for the hand.",
    )
    command.add_argument(
        "part", type=Path, metavar="PART", help="a part: .mid, .musicxml, .mxl or .json"
    )
    add_instrument(command)
    add_outputs(command)
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the fingered part."""
    from undersong.exchange import part_to_json, read_part
    from undersong.neck.fingering import finger_part

    part = read_part(read_bytes(args.part), args.part.name)
    fingering = finger_part(part, instrument_of(args))
    written = write_outputs(args, fingering.part)
    if args.json:
        print_json(part_to_json(fingering.part))
        return 0
    for line in (*part_lines(fingering.part), *fingering.words(), *written):
        print(line)
    return 0
