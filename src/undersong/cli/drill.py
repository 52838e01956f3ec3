"""`undersong drill`: an exercise in any key, on any tuning, written out and sounded."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    bpm,
    instrument_of,
    print_json,
    reads,
)
from undersong.cli.outputs import add_outputs, part_lines, today, write_outputs
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter

if TYPE_CHECKING:
    from undersong.drills.catalogue import DrillSheet


def add(commands: Commands) -> None:
    """Put `drill` on the list of commands."""
    command = commands.add_parser(
        "drill",
        help="an exercise in a key, as notes, sound, MIDI or MusicXML",
        description="Make one exercise of the catalogue: fingered for your instrument, with a "
        "count-in and click in its sound.",
    )
    command.add_argument("name", nargs="?", metavar="NAME", help="which one; see --list")
    command.add_argument("--list", action="store_true", help="name every drill and what it is for")
    command.add_argument(
        "--key", type=reads(parse_key), metavar="K", help="G, Bb, F#m ... (needed to make a drill)"
    )
    command.add_argument("--tempo", type=bpm, default=70.0, metavar="BPM", help="default 70")
    command.add_argument("--meter", type=reads(parse_meter), metavar="M", help="4/4, 6/8 ...")
    command.add_argument("--seed", type=int, default=1, help="for drills that choose at random")
    add_instrument(command)
    add_outputs(command)
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the drill, and write the files that were asked for."""
    from undersong.drills.catalogue import CATALOGUE, make_drill
    from undersong.errors import UndersongError
    from undersong.exchange import part_to_json

    if args.list:
        return _list(args)
    if args.name is None or args.key is None:
        raise UndersongError(
            "Say which drill and which key, as in: undersong drill scale --key G. "
            f"`undersong drill --list` names all {len(CATALOGUE)}."
        )
    sheet = make_drill(
        args.name,
        args.key,
        instrument_of(args),
        tempo_bpm=args.tempo,
        meter=args.meter,
        seed=args.seed,
    )
    written = write_outputs(args, sheet.part, lambda: _pages(args, sheet))
    if args.json:
        print_json(part_to_json(sheet.part) | {"remarks": list(sheet.remarks)})
        return 0
    for line in (*part_lines(sheet.part), *sheet.remarks, *written):
        print(line)
    return 0


def _pages(args: argparse.Namespace, sheet: DrillSheet) -> bytes:
    from undersong.drills.catalogue import drill_named
    from undersong.exchange import musicxml_bytes
    from undersong.page.pack import drill_pdf

    drill = drill_named(args.name)
    return drill_pdf(
        sheet.part,
        instrument_of(args),
        musicxml=musicxml_bytes,
        edition=today(),
        purpose=drill.purpose,
        listen_for=drill.listen_for,
        mistakes=drill.common_mistakes,
        remarks=sheet.remarks,
    )


def _list(args: argparse.Namespace) -> int:
    from undersong.drills.catalogue import CATALOGUE

    if args.json:
        fields = ("name", "title", "level", "purpose", "listen_for", "common_mistakes")
        print_json([{field: getattr(each, field) for field in fields} for each in CATALOGUE])
        return 0
    width = max(len(each.name) for each in CATALOGUE)
    for each in CATALOGUE:
        print(f"{each.name:<{width}}  level {each.level}  {each.purpose}")
    return 0
