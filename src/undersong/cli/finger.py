"""`undersong finger`: where on the neck to play a part."""

from __future__ import annotations

import argparse
from pathlib import Path

from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    add_voice,
    instrument_of,
    print_json,
    read_bytes,
    whole,
)
from undersong.cli.outputs import add_outputs, part_lines, write_outputs
from undersong.errors import UndersongError


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
    add_voice(command)
    add_instrument(command)
    command.add_argument("--highest-fret", type=whole, metavar="N", help="stay at or below it")
    command.add_argument("--start-fret", type=whole, metavar="N", help="put the first note there")
    command.add_argument(
        "--open-strings",
        choices=("liked", "allowed", "avoided", "never"),
        default="allowed",
        help="default allowed",
    )
    command.add_argument(
        "--around-chord", action="store_true", help="stay where the chord's root is under the hand"
    )
    command.add_argument("--second-best", action="store_true", help="the next choice")
    add_outputs(command)
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the fingered part."""
    from undersong.exchange import part_to_json, read_part
    from undersong.neck.effort import OpenStrings
    from undersong.neck.fingering import finger_part, second_best
    from undersong.neck.wishes import Wishes

    part = read_part(read_bytes(args.part), args.part.name, which=args.voice)
    wishes = Wishes(
        highest_fret=args.highest_fret,
        start_fret=args.start_fret,
        open_strings=OpenStrings(args.open_strings),
        around_chord=args.around_chord,
    )
    choose = second_best if args.second_best else finger_part
    fingering = choose(part, instrument_of(args), wishes=wishes)
    if fingering is None:
        raise UndersongError("There is no second choice: every note has only one place.")
    written = write_outputs(args, fingering.part)
    if args.json:
        print_json(part_to_json(fingering.part))
        return 0
    for line in (*part_lines(fingering.part), *fingering.words(), fingering.cost_words(), *written):
        print(line)
    return 0
