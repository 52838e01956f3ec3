"""`undersong hear`: judge a recorded take against its part, and say what comes next."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import (
    Commands,
    add_json,
    add_level,
    add_voice,
    bpm,
    milliseconds,
    print_json,
    read_bytes,
    seconds,
)
from undersong.errors import UndersongError

if TYPE_CHECKING:
    from undersong.ear import Hearing
    from undersong.log.values import KeptTake
    from undersong.theory.part import Part


def add(commands: Commands) -> None:
    """Put `hear` on the list of commands."""
    command = commands.add_parser(
        "hear",
        help="judge a recorded take, note by note: clean or not",
        description="Listen to a take of a part: every note right, wrong, missed or extra, early "
        "or late in milliseconds, and whether the pass was clean.",
    )
    command.add_argument(
        "take", type=Path, metavar="TAKE", help="the recording: WAV, FLAC, OGG or MP3"
    )
    command.add_argument(
        "--part", type=Path, required=True, metavar="PART", help="what was asked: .json, .mid ..."
    )
    add_voice(command)
    command.add_argument("--tempo", type=bpm, metavar="BPM", help="the tempo that was asked")
    command.add_argument(
        "--start", type=seconds, metavar="SECONDS", help="where the part begins in the recording"
    )
    add_level(command, "how close the timing must be")
    command.add_argument(
        "--tolerance", type=milliseconds, metavar="MS", help="instead of the level's"
    )
    command.add_argument(
        "--unscripted",
        action="store_true",
        help="a practice session: find the passages of the part in it, bar by bar",
    )
    command.add_argument("--player", metavar="NAME", help="keep the take in this player's log")
    command.add_argument("--log", type=Path, metavar="FILE", help="the log (default: see README)")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the verdict."""
    from undersong.ear import hearing_json
    from undersong.exchange import read_part

    if args.player is not None and not args.player.strip():
        raise UndersongError("A player has a name: write it after --player.")
    if args.log is not None and args.player is None:
        raise UndersongError("Say whose take it is as well: --player NAME.")
    part = read_part(read_bytes(args.part), args.part.name, which=args.voice)
    if args.unscripted:
        return _session(args, part)
    hearing, length_s = listen(
        args.take,
        part,
        tempo_bpm=args.tempo,
        start_s=args.start,
        level=args.level,
        tolerance_ms=args.tolerance,
    )
    kept = None
    if args.player is not None:
        kept = _kept(args, part, hearing, length_s)
    if args.json:
        answer = hearing_json(hearing)
        if kept is not None:
            answer["next_bpm"] = kept.ladder_after.tempo_bpm
        print_json(answer)
        return 0
    print("\n".join(spoken(hearing, part)))
    if kept is not None:
        print(kept.in_words)
    return 0


def _session(args: argparse.Namespace, part: Part) -> int:
    """Print what was practised in a recording of somebody left alone."""
    from undersong.ear.practised import practised
    from undersong.ear.practised_words import practised_json, practised_lines
    from undersong.sound.files import open_sound

    for name in ("start", "tolerance", "player"):
        if getattr(args, name) is not None:
            raise UndersongError(
                f"--{name} belongs to a single pass: leave it out with --unscripted."
            )
    with open_sound(args.take) as recording:
        session = practised(
            recording.blocks(),
            recording.sample_rate_hz,
            part,
            tempo_bpm=args.tempo,
            level=args.level,
        )
    if args.json:
        print_json(practised_json(session, part))
    else:
        print("\n".join(practised_lines(session, part)))
    return 0


def spoken(hearing: Hearing, part: Part) -> list[str]:
    """The verdict for reading; where several notes went wrong, every one of them below it."""
    from undersong.ear import fault_lines, hearing_lines

    faults = fault_lines(hearing, part)
    lines = hearing_lines(hearing, part)
    if len(faults) > 1:
        lines += ["All that was not right:", *(f"  {fault}" for fault in faults)]
    return lines


def listen(
    take: Path,
    part: Part,
    *,
    tempo_bpm: float | None = None,
    start_s: float | None = None,
    level: int = 1,
    tolerance_ms: float | None = None,
) -> tuple[Hearing, float]:
    """Judge one recording; returns the hearing and the recording's length in seconds."""
    from undersong.ear import hear
    from undersong.sound.files import open_sound

    with open_sound(take) as recording:
        hearing = hear(
            recording.blocks(),
            recording.sample_rate_hz,
            part,
            tempo_bpm=tempo_bpm,
            start_s=start_s,
            level=level,
            tolerance_ms=tolerance_ms,
        )
        length_s = recording.frames / recording.sample_rate_hz if recording.frames else 0.0
    return hearing, length_s


def _kept(args: argparse.Namespace, part: Part, hearing: Hearing, length_s: float) -> KeptTake:
    from undersong.cli.keeping import keep_take, usual_log
    from undersong.log.book import Book

    with Book.open(args.log if args.log is not None else usual_log()) as book:
        return keep_take(
            book,
            args.player,
            part,
            hearing,
            asked_bpm=args.tempo,
            length_s=length_s,
            at=datetime.now(UTC),
        )
