"""`undersong neck`: a key on the neck, its shapes and its root moves."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    instrument_of,
    print_json,
    reads,
    write_bytes,
)
from undersong.neck.patterns import pattern_named
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import Degree, parse_degree, parse_key

if TYPE_CHECKING:
    from undersong.neck.instrument import Instrument
    from undersong.neck.patterns import Pattern
    from undersong.theory.chord import NumberChord
    from undersong.theory.key import Key


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
    what = command.add_mutually_exclusive_group()
    what.add_argument(
        "--pattern",
        type=reads(pattern_named),
        metavar="NAME",
        help="instead, every place of a scale or chord: minor pentatonic, dorian",
    )
    what.add_argument(
        "--over",
        type=reads(parse_number_chord),
        metavar="CHORD",
        help="instead, the key as it lies around a chord's root, as in --over 4",
    )
    what.add_argument(
        "--positions", action="store_true", help="instead, the key's positions and how they join"
    )
    add_instrument(command)
    command.add_argument("--svg", type=Path, metavar="FILE", help="write a drawing")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the key on this neck."""
    from undersong.neck.neckmap import neck_json, neck_lines

    instrument = instrument_of(args)
    data = neck_json(instrument, args.key, args.degree)
    if args.pattern is not None:
        lines, data["pattern"] = _pattern(instrument, args.key, args.pattern)
    elif args.over is not None:
        lines, data["views"] = _views(instrument, args.key, args.over)
    elif args.positions:
        lines, data["positions"] = _positions(instrument, args.key)
    else:
        lines = neck_lines(instrument, args.key, args.degree)
    if args.svg is not None:
        from undersong.page.diagram import neck_svg

        write_bytes(args.svg, neck_svg(instrument, args.key, args.degree).encode())
        lines.append(f"\nWrote {args.svg}.")
    if args.json:
        print_json(data)
    else:
        print("\n".join(lines))
    return 0


def _pattern(instrument: Instrument, key: Key, pattern: Pattern) -> tuple[list[str], list[object]]:
    from undersong.neck.neckmap import shape_json, shape_words
    from undersong.neck.patterns import pattern_shapes

    shapes = pattern_shapes(instrument, key.tonic, pattern)
    degrees = " ".join(str(degree) for degree in pattern.degrees)
    title = f"{key.tonic} {pattern.name}: {degrees}"
    if not shapes:
        return [title, "It lies nowhere under the hand on this neck."], []
    if shapes[0].note is not None:
        title += "; no place within three strings and four frets, so the nearest:"
    lines = [title, *(f"  {line}" for shape in shapes for line in shape_words(instrument, shape))]
    return lines, [shape_json(shape) for shape in shapes]


def _views(instrument: Instrument, key: Key, chord: NumberChord) -> tuple[list[str], list[object]]:
    from undersong.neck.maps import chord_views
    from undersong.neck.neckmap import string_name

    views = chord_views(instrument, key, chord)
    lines = [
        f"The key of {key} around the {chord} ({chord.in_key(key)})",
        "fret:degree, the chord's own notes in brackets",
    ]
    data: list[object] = []
    for view in views:
        root = f"{string_name(instrument, view.root.string)}, fret {view.root.fret}"
        lines += ["", f"Root on the {root}; hand from fret {view.lowest_fret}"]
        for string in range(1, instrument.strings + 1):
            notes = [each for each in view.notes if each.note.string == string]
            cells = [
                f"{each.note.fret}:"
                + (f"({each.note.degree})" if each.role else f"{each.note.degree}")
                for each in sorted(notes, key=lambda each: each.note.fret)
            ]
            lines.append(f"  {string_name(instrument, string):<10}  {'  '.join(cells)}".rstrip())
        data.append(
            {
                "root": {"string": view.root.string, "fret": view.root.fret},
                "lowest_fret": view.lowest_fret,
                "notes": [
                    {
                        "string": each.note.string,
                        "fret": each.note.fret,
                        "degree": str(each.note.degree),
                        "finger": each.finger,
                        "role": None if each.role is None else str(each.role),
                    }
                    for each in view.notes
                ],
            }
        )
    return lines, data


def _positions(instrument: Instrument, key: Key) -> tuple[list[str], list[object]]:
    from undersong.neck.maps import key_positions, stitched

    whole = [each.lowest_fret for each in key_positions(instrument, key) if each.is_gapless]
    frets = ", ".join(str(fret) for fret in whole)
    joints = stitched(instrument, key)
    lines = [f"Positions of {key} that hold every note in four frets: hand from fret {frets}"]
    lines += [
        f"  {each.before.lowest_fret} to {each.after.lowest_fret}: {each.words}" for each in joints
    ]
    if not whole:
        lines = [f"No position of {key} holds every note in four frets on this tuning."]
    return lines, [
        {"from": each.before.lowest_fret, "to": each.after.lowest_fret, "words": each.words}
        for each in joints
    ]
