"""The second door: parse the words, call one function, print.

Exit status: 0 for an answer, whatever it is; 2 for bad input.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

from undersong.cli.options import Commands
from undersong.errors import UndersongError

BAD_INPUT = 2

_COMMANDS = (
    "demo",
    "chart",
    "neck",
    "drill",
    "line",
    "finger",
    "hear",
    "climb",
    "pack",
    "track",
    "ready",
    "rejudge",
    "open",
)
"""Each is added by the module of its name. Only the one that is asked for is loaded: `open` should
show its first page at once, and has no use for necks and drills."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        sentence = plainly(message)
        print(f"{sentence}. Try: {self.prog} --help", file=sys.stderr)
        sys.exit(BAD_INPUT)


_SAID = (
    (
        r"argument COMMAND: invalid choice: (?P<what>.+?) \(choose from (?P<right>.+)\)",
        "There is no command {what}: there are {right}",
    ),
    (
        r"argument (?P<where>\S+?): invalid choice: (?P<what>.+?) \(choose from (?P<right>.+)\)",
        "{where}: {what} is not one of {right}",
    ),
    (r"argument (?P<where>.+?): expected .*", "{where}: what is asked is missing after it"),
    (
        r"argument (?P<where>.+?): not allowed with argument (?P<what>.+)",
        "{where} and {what} cannot both be asked: leave one out",
    ),
    (r"argument (?P<where>.+?): (?P<what>.+)", "{where}: {what}"),
    (r"unrecognized arguments: (?P<what>.+)", "Nothing here is called {what}"),
    (r"the following arguments are required: (?P<what>.+)", "{what} is missing"),
    (r"ambiguous option: (?P<what>\S+) could match (?P<right>.+)", "{what} may mean {right}"),
)
"""What the parser of options says, and how a musician would be told; tried in order."""


def plainly(message: str) -> str:
    """A complaint about options without a programmer's words."""
    for pattern, words in _SAID:
        match = re.fullmatch(pattern, message, re.DOTALL)
        if match is not None:
            said = {name: text.replace("'", "") for name, text in match.groupdict().items()}
            if "right" not in said and "what" in said:
                said["what"] = match["what"]
            return words.format(**said)
    return message[:1].upper() + message[1:]


class _Version(argparse.Action):
    """Says the version; to look it up takes longer than most commands."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"undersong {version('undersong')}")
        parser.exit()


def parser(asked: Sequence[str] = ()) -> argparse.ArgumentParser:
    """The command that is asked for with its options; all of them where none is."""
    top: argparse.ArgumentParser = _Parser(
        prog="undersong",
        description="For the one who looks after the low end: charts in; numbers, neck, drills "
        "and click out; it hears a take and sets the next tempo.",
    )
    top.add_argument("--version", action=_Version, nargs=0, help="say the version")
    commands: Commands = top.add_subparsers(
        dest="command", required=True, metavar="COMMAND", parser_class=_Parser
    )
    first = asked[0] if asked else None
    for name in [first] if first in _COMMANDS else _COMMANDS:
        import_module(f"undersong.cli.{name}").add(commands)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        # Flats and sharps must print on any terminal, if need be as question marks.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    words = _joined(sys.argv[1:] if argv is None else argv)
    args = parser(words).parse_args(words)
    try:
        status: int = args.run(args)
        sys.stdout.flush()
    except UndersongError as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # The reader of our output has gone (as `head` does): say no more.
        _leave_output()
        return 0
    except OSError as error:
        what = error.filename or "The output"
        print(f"{what} cannot be used: {error.strerror or error}.", file=sys.stderr)
        _leave_output()
        return BAD_INPUT
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    return status


def _joined(words: Sequence[str]) -> list[str]:
    """``--move -m2`` in one word, so that the way down is not taken for another option."""
    joined: list[str] = []
    for word in words:
        if joined and joined[-1] == "--move" and word.startswith("-"):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _leave_output() -> None:
    """Keep Python from flushing into an output that has failed once more as it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
