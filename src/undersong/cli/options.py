"""Options that several commands share, read once and in one way."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias, TypeVar

from undersong.errors import UndersongError

if TYPE_CHECKING:
    from undersong.neck.instrument import Instrument
    from undersong.theory.pitch import Pitch

# argparse names no public type for what add_subparsers returns.
Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"
Given = TypeVar("Given")
Value = TypeVar("Value")

HIGHEST_LEVEL = 6


def reads(parse: Callable[[Given], Value]) -> Callable[[Given], Value]:
    """Turn one of our readers into an argparse type that keeps its sentence."""

    def read(given: Given) -> Value:
        try:
            return parse(given)
        except UndersongError as error:
            raise argparse.ArgumentTypeError(str(error).rstrip(".")) from error

    return read


def whole(text: str) -> int:
    """A whole number."""
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number") from None


def number(text: str) -> float:
    """Any number; what it may be is said where it is used."""
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None


def bar_number(text: str) -> int:
    """One bar, as it is numbered in what is printed."""
    if not text.strip().isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is not a bar: write its number, as in 5")
    return int(text)


def level(text: str) -> int:
    """A player's level."""
    from undersong.lines.levels import checked_level

    return reads(checked_level)(whole(text))


def bpm(text: str) -> float:
    """A tempo in beats a minute."""
    from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM

    return _number(text, "a tempo: write beats a minute", TEMPO_MIN_BPM, TEMPO_MAX_BPM)


def note_range(text: str) -> tuple[Pitch, Pitch]:
    """A lowest and a highest note."""
    from undersong.chart.headers import read_range
    from undersong.chart.signs import SignError

    try:
        return read_range(text, 0)
    except SignError as error:
        raise argparse.ArgumentTypeError(str(error).rstrip(".")) from error


def add_json(command: argparse.ArgumentParser) -> None:
    """`--json`: the answer as JSON on standard output."""
    command.add_argument("--json", action="store_true", help="print the answer as JSON")


def add_instrument(command: argparse.ArgumentParser) -> None:
    """The bass and the hand on it: `--tuning`, `--frets` and the rest."""
    from undersong.neck.instrument import (
        ADULT_SPAN_MM,
        parse_finger_system,
        parse_scale_length,
        parse_tuning,
    )

    bass = command.add_argument_group("the bass and the hand")
    bass.add_argument(
        "--tuning",
        type=reads(parse_tuning),
        metavar="T",
        help="a tuning by name (standard, five, drop d ...) or its strings from low to high: "
        "E1,A1,D2,G2",
    )
    bass.add_argument("--frets", type=whole, default=20, metavar="N", help="default 20")
    bass.add_argument(
        "--scale-length",
        type=reads(parse_scale_length),
        default=parse_scale_length("long"),
        metavar="L",
        help="short, medium, long (default), extra long, 863.6mm or 34in",
    )
    bass.add_argument(
        "--fingers",
        type=reads(parse_finger_system),
        default=parse_finger_system("1-2-3-4"),
        metavar="SYSTEM",
        help="1-2-3-4 (default), or 1-2-4 low on the neck",
    )
    bass.add_argument(
        "--span",
        type=number,
        default=ADULT_SPAN_MM,
        metavar="MM",
        help=f"finger 1 to finger 4, relaxed (default {ADULT_SPAN_MM:g})",
    )
    bass.add_argument("--left-handed", action="store_true", help="pictures the other way round")
    bass.add_argument("--fretless", action="store_true", help="no frets to stop the string")


def _number(text: str, what: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"{text!r} is not {what}, {low:g} to {high:g}")
    return value


def seconds(text: str) -> float:
    """A place in a recording."""
    return _number(text, "a place in a recording: write seconds", -60.0, 7200.0)


def milliseconds(text: str) -> float:
    """A timing window."""
    return _number(text, "a timing window: write milliseconds", 1.0, 500.0)


def add_voice(command: argparse.ArgumentParser) -> None:
    """`--voice`: which of several parts in one file."""
    command.add_argument(
        "--voice", metavar="NAME", help="where the file holds several parts: its name or number"
    )


def add_level(command: argparse.ArgumentParser, what: str) -> None:
    """`--level`: the player's level, 1 to 6."""
    command.add_argument(
        "--level",
        type=level,
        default=1,
        metavar="N",
        help=f"the player's level, 1 to {HIGHEST_LEVEL} (default 1): {what}",
    )


def instrument_of(args: argparse.Namespace) -> Instrument:
    """The instrument that the options of `add_instrument` describe."""
    from undersong.neck.instrument import STANDARD, Instrument

    return Instrument(
        tuning=args.tuning or STANDARD,
        frets=args.frets,
        scale_mm=args.scale_length,
        left_handed=args.left_handed,
        fretless=args.fretless,
        hand_span_mm=args.span,
        finger_system=args.fingers,
    )


def print_json(value: object) -> None:
    """One JSON value on standard output, readable as it stands."""
    print(json.dumps(value, ensure_ascii=False, indent=2))


def read_bytes(path: Path) -> bytes:
    """A whole file, or one sentence why not."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise UndersongError(f"There is no file {path}.") from None
    except IsADirectoryError:
        raise UndersongError(f"{path} is a folder: name a file in it.") from None
    except OSError as error:
        raise UndersongError(f"{path} cannot be read: {error.strerror}.") from None


def write_bytes(path: Path, data: bytes) -> None:
    """A whole file or none: written beside its place, then moved there."""
    if not path.name or path.is_dir():
        raise UndersongError(f"{path} is a folder: name a file in it.")
    if path.exists() and not path.is_file():
        raise UndersongError(f"{path} is no ordinary file, and is left as it is: name another.")
    part = path.with_name(".undersong.part")  # short, so that a long name still fits
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise UndersongError(f"{path} cannot be written: {error.strerror}.") from None
