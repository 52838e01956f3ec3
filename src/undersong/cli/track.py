"""`undersong track`: one sound file to play along to, as a player asks for it."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.chart import song_in
from undersong.cli.options import (
    Commands,
    add_instrument,
    add_json,
    add_level,
    bpm,
    instrument_of,
    print_json,
    reads,
    whole,
)
from undersong.theory.key import parse_key

if TYPE_CHECKING:
    from undersong.neck.instrument import Instrument
    from undersong.sound.mix import Levels
    from undersong.sound.schedule import ClickPlan
    from undersong.sound.tracks import Track
    from undersong.theory.part import Part

CLICKS = {
    "every-beat": "EVERY_BEAT",
    "half-time": "HALF_TIME",
    "two-and-four": "TWO_AND_FOUR",
    "one": "ONE",
    "second-bars": "EVERY_SECOND_BAR",
    "off-beats": "OFF_BEAT",
}
PLAYERS = ("bass", "drums", "pad", "click", "calls")
LOUDEST_DB, SOFTEST_DB = 12.0, -60.0
LOOP_TIMES = 4


def add(commands: Commands) -> None:
    """Put `track` on the list of commands."""
    command = commands.add_parser(
        "track",
        help="one track to play along to: bass out, slow, a loop, a climb ...",
        description="Play a chart with bass, drums, pad and click into one sound file: the whole "
        "song, a section or some bars again and again, at one tempo or climbing.",
    )
    command.add_argument(
        "chart", type=Path, metavar="CHART", help="a chart, or a sheet `undersong chart` can read"
    )
    command.add_argument(
        "--out", type=Path, required=True, metavar="FILE", help=".wav, .flac, .ogg or .mp3"
    )
    command.add_argument("--key", type=reads(parse_key), metavar="K", help="put it in this key")
    add_level(command, "how much the bass plays")
    command.add_argument("--seed", type=whole, default=1, metavar="N", help="another line for each")
    what = command.add_argument_group(
        "what is played, and how often"
    ).add_mutually_exclusive_group()
    what.add_argument("--section", metavar="NAME", help="only this section, the first time round")
    what.add_argument("--bars", type=bar_range, metavar="A-B", help="only these bars; 0 a pick-up")
    what.add_argument("--hard-bars", action="store_true", help="only the hardest bar and the next")
    command.add_argument(
        "--times", type=whole, metavar="N", help=f"a loop: so often (default {LOOP_TIMES})"
    )
    tempo = command.add_argument_group("tempo").add_mutually_exclusive_group()
    tempo.add_argument("--tempo", type=bpm, metavar="BPM", help="default the chart's own")
    tempo.add_argument(
        "--climb",
        action="store_true",
        help="from slow to the song's tempo by the practice rule, two passes at each, in one file",
    )
    _add_click(command)
    _add_sound(command)
    add_instrument(command)
    add_json(command)
    command.set_defaults(run=run)


def _add_click(command: argparse.ArgumentParser) -> None:
    click = command.add_argument_group("the click")
    click.add_argument(
        "--click", choices=(*CLICKS, "none"), default="every-beat", help="default every-beat"
    )
    click.add_argument(
        "--drop-out",
        type=on_and_off,
        metavar="ON,OFF",
        help="bars with click, then without, as in 4,4",
    )
    click.add_argument("--no-count-in", action="store_true", help="no counting before bar 1")


def _add_sound(command: argparse.ArgumentParser) -> None:
    sound = command.add_argument_group("the players")
    sound.add_argument(
        "--balance",
        action="append",
        default=[],
        type=balance,
        metavar="WHO=DB",
        help=f"louder or softer, or out, as in bass=out or pad=-6; {', '.join(PLAYERS)} "
        "(calls: a few tones before each section, out unless asked for)",
    )
    sound.add_argument("--pick", action="store_true", help="the bass is played with a pick")
    sound.add_argument(
        "--soundfont", type=Path, metavar="FILE", help="your own .sf2 instead of our instruments"
    )
    sound.add_argument(
        "--stems", type=Path, metavar="DIR", help="each player alone, too, in this folder"
    )


def bar_range(text: str) -> tuple[int, int]:
    """Read ``5-8`` or ``5``."""
    first, sign, last = text.partition("-")
    if not first.isdecimal() or (sign and not last.isdecimal()):
        raise argparse.ArgumentTypeError(f"{text!r} names no bars: write 5-8")
    bars = int(first), int(last or first)
    if bars[0] > bars[1]:
        raise argparse.ArgumentTypeError(f"{text!r} goes backwards: write the lower bar first")
    return bars


def on_and_off(text: str) -> tuple[int, int]:
    """Read ``4,4``."""
    on, sign, off = text.partition(",")
    if not (sign and on.isdecimal() and off.isdecimal() and int(on) > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not bars on and bars off: write 4,4")
    return int(on), int(off)


def balance(text: str) -> tuple[str, float | None]:
    """Read ``bass=out`` or ``pad=-6``."""
    who, sign, level = text.partition("=")
    who, level = who.strip().casefold(), level.strip().casefold()
    if not sign or who not in PLAYERS:
        raise argparse.ArgumentTypeError(
            f"{text!r} names no player: write one of {', '.join(PLAYERS)}, as in bass=out"
        )
    if level == "out":
        return who, None
    try:
        level_db = float(level)
    except ValueError:
        level_db = float("nan")
    if not SOFTEST_DB <= level_db <= LOUDEST_DB:
        raise argparse.ArgumentTypeError(
            f"{text!r}: write out, or decibels from {SOFTEST_DB:g} to {LOUDEST_DB:g}"
        )
    return who, level_db


def run(args: argparse.Namespace) -> int:
    """Write the track, and say what it is."""
    from undersong.lines import drum_part, pad_part, write_line
    from undersong.sound.tracks import Album, write_track

    instrument = instrument_of(args)
    song = song_in(args.chart, args.key)
    part = write_line(song, level=args.level, instrument=instrument, seed=args.seed).part
    track = _asked(args, part, (drum_part(song), pad_part(song)), instrument)
    album = Album(title=song.title, ending=args.out.suffix)
    write_track(track, args.out.parent, album=album)
    stems = _write_stems(args.stems, track)
    tempos = track.tempos_bpm or (track.part.tempo_bpm,)
    if args.json:
        print_json(
            {"track": str(args.out), "tempos": list(tempos), "stems": [str(path) for path in stems]}
        )
        return 0
    print(f"Wrote {args.out}: {track.title}, at {', '.join(f'{each:g}' for each in tempos)}.")
    for path in stems:
        print(f"Wrote {path}.")
    return 0


def _asked(
    args: argparse.Namespace, part: Part, band: tuple[Part, ...], instrument: Instrument
) -> Track:
    from undersong.practice.ladder import clean_climb
    from undersong.practice.takehome import CLIMB_TIMES, hard_pair
    from undersong.sound.soundfont import open_soundfont
    from undersong.sound.strings import FINGERS, PICK
    from undersong.sound.tracks import Track, loop_track
    from undersong.theory.excerpt import section_bars

    track = Track(
        args.out.stem,
        part.title,
        part,
        band,
        click=_click(args),
        count_in=not args.no_count_in,
        levels=levels_of(args.balance),
        sound=PICK if args.pick else FINGERS,
        soundfont=None if args.soundfont is None else open_soundfont(args.soundfont),
    )
    bars = args.bars
    if args.section is not None:
        bars = section_bars(part, args.section)
    elif args.hard_bars:
        bars = hard_pair(part, instrument)
    elif args.times is not None and bars is None:
        bars = part.bars[0].number, part.bars[-1].number
    if bars is not None:
        usual = CLIMB_TIMES if args.climb else LOOP_TIMES
        track = loop_track(track, bars, times=usual if args.times is None else args.times)
    if args.climb:
        return replace(track, name=args.out.stem, tempos_bpm=clean_climb(part.tempo_bpm))
    tempos_bpm = () if args.tempo is None else (args.tempo,)
    return replace(track, name=args.out.stem, tempos_bpm=tempos_bpm)


def _click(args: argparse.Namespace) -> ClickPlan | None:
    from undersong.sound.schedule import ClickPattern, ClickPlan

    if args.click == "none":
        return None
    on, off = args.drop_out or (4, 0)
    return ClickPlan(ClickPattern[CLICKS[args.click]], bars_on=on, bars_off=off)


def levels_of(asked: list[tuple[str, float | None]]) -> Levels:
    """The band's levels with what was asked changed; the later word wins."""
    from undersong.sound.mix import Levels

    usual: dict[str, float | None] = dict.fromkeys(PLAYERS, 0.0) | {"calls": None}
    bass, drums, pad, click, calls = (usual | dict(asked)).values()
    return Levels(bass=bass, drums=drums, pad=pad, click=click, cue=calls)


def _write_stems(folder: Path | None, track: Track) -> tuple[Path, ...]:
    """Each player of the (first) pass alone."""
    from undersong.sound.tracks import write_stems

    if folder is None:
        return ()
    return write_stems(next(iter(track.passes())), folder, name=track.name)
