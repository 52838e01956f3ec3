"""`undersong drill`: an exercise in any key, on any tuning, written out and sounded."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.chart.counts import changes_of
from undersong.cli.chart import song_in
from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    bpm,
    instrument_of,
    note_range,
    print_json,
    read_bytes,
    reads,
    whole,
)
from undersong.cli.outputs import add_outputs, part_lines, today, write_outputs
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter

if TYPE_CHECKING:
    from undersong.drills.catalogue import DrillSheet

SLOW_BPM = 70.0
CHANGES = "changes"
"""The drill that is made from a song."""


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
        "--key",
        type=reads(parse_key),
        metavar="K",
        help="G, Bb, F#m ... (needed, unless a song gives it)",
    )
    command.add_argument(
        "--tempo",
        type=bpm,
        metavar="BPM",
        help="default 70, or the song's own where it is slower; for hard places of a slow part "
        "three quarters of its own",
    )
    command.add_argument("--meter", type=reads(parse_meter), metavar="M", help="4/4, 6/8 ...")
    command.add_argument("--seed", type=whole, default=1, help="for drills that choose at random")
    command.add_argument(
        "--range",
        type=note_range,
        metavar="LOW-HIGH",
        help="stay between these notes, as in E1-C3",
    )
    command.add_argument(
        "--song",
        type=Path,
        metavar="CHART",
        help="take key and changes from a song, as in: drill changes --song CHART",
    )
    weak = command.add_argument_group("instead of a name: work on the hard places of a part")
    weak.add_argument("--part", type=Path, metavar="PART", help=".mid, .musicxml or .json")
    weak.add_argument("--bars", type=numbers, default=(), metavar="N,N", help="its hard bars")
    weak.add_argument(
        "--missed",
        type=numbers,
        default=(),
        metavar="N,N",
        help="notes that went wrong, by the index that hear --json gives them",
    )
    add_instrument(command)
    add_outputs(command)
    add_json(command)
    command.set_defaults(run=run)


def numbers(text: str) -> tuple[int, ...]:
    """Whole numbers with commas between them."""
    try:
        return tuple(int(word) for word in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} are no numbers: write them with commas between them, as in 3,7"
        ) from None


def run(args: argparse.Namespace) -> int:
    """Print the drill, and write the files that were asked for."""
    from undersong.exchange import part_to_json

    if args.list:
        return _list(args)
    sheet = _sheet(args)
    is_named = args.part is None
    pages = (lambda: _pages(args, sheet)) if is_named else None
    written = write_outputs(args, sheet.part, pages)
    if args.json:
        print_json(part_to_json(sheet.part) | {"remarks": list(sheet.remarks)})
        return 0
    for line in (*part_lines(sheet.part), *sheet.remarks, *written):
        print(line)
    return 0


def _sheet(args: argparse.Namespace) -> DrillSheet:
    from undersong.drills.catalogue import CATALOGUE, make_drill
    from undersong.errors import UndersongError

    if args.part is not None:
        return _weak_places(args)
    song = None if args.song is None else song_in(args.song, args.key)
    key = args.key if song is None else song.number_key
    if args.name is None or key is None:
        raise UndersongError(
            "Say which drill and which key, as in: undersong drill scale --key G. "
            f"`undersong drill --list` names all {len(CATALOGUE)}."
        )
    if song is not None and args.name != CHANGES:
        raise UndersongError(
            f"Only the drill called {CHANGES} is made from a song: leave --song out of {args.name}."
        )
    lowest, highest = args.range or (None, None)
    return make_drill(
        args.name,
        key,
        instrument_of(args),
        tempo_bpm=args.tempo or min(SLOW_BPM, SLOW_BPM if song is None else song.tempo_bpm),
        meter=args.meter or (None if song is None else song.meter),
        seed=args.seed,
        lowest=lowest,
        highest=highest,
        progression=() if song is None else changes_of(song),
    )


def _weak_places(args: argparse.Namespace) -> DrillSheet:
    from undersong.drills.catalogue import weakness_drill
    from undersong.errors import UndersongError
    from undersong.exchange import read_part
    from undersong.practice.ladder import slow_bpm

    if args.name is not None or args.song is not None:
        raise UndersongError("Give the name of a drill or a part to work on, not both.")
    part = read_part(read_bytes(args.part), args.part.name)
    return weakness_drill(
        part,
        instrument_of(args),
        missed=args.missed,
        bars=args.bars,
        tempo_bpm=args.tempo or slow_bpm(part.tempo_bpm),
    )


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
