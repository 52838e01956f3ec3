"""`undersong neck`: a key on the neck, its shapes and its root moves."""

from __future__ import annotations

import argparse
from pathlib import Path

from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    instrument_of,
    print_json,
    reads,
    write_bytes,
)
from undersong.theory.key import Degree, parse_degree, parse_key


def add(commands: Commands) -> None:
    """Put `neck` on the list of commands."""
    command = commands.add_parser(
        "neck",
        help="a key on the neck: its notes, shapes and root moves",
        description="Every note of a key on the neck, the closed one-octave shapes from a degree, "
        "and how the hand goes from each root to each other.",
    )
    command.add_argument(
        "--key", type=reads(parse_key), default="C", metavar="K", help="G, Bb, F#m ... (default C)"
    )
    command.add_argument(
        "--from",
        dest="degree",
        type=reads(parse_degree),
        default=Degree(1),
        metavar="DEGREE",
        help="the degree the shapes start on (default 1)",
    )
    add_instrument(command)
    command.add_argument("--svg", type=Path, metavar="FILE", help="write a drawing")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the key on this neck."""
    from undersong.neck.neckmap import neck_json, neck_lines

    instrument = instrument_of(args)
    if args.svg is not None:
        from undersong.page.diagram import neck_svg

        write_bytes(args.svg, neck_svg(instrument, args.key, args.degree).encode())
    if args.json:
        print_json(neck_json(instrument, args.key, args.degree))
    else:
        print("\n".join(neck_lines(instrument, args.key, args.degree)))
        if args.svg is not None:
            print(f"\nWrote {args.svg}.")
    return 0
