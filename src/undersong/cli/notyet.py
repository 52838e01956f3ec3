"""Commands whose room is still to be built: they say so and exit with status 3."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from undersong.cli.options import Commands

NOT_BUILT = 3


@dataclass(frozen=True, slots=True)
class NotYet:
    """One command to come: its name, what it will do, what it takes, and what serves meanwhile."""

    name: str
    help: str
    takes: tuple[str, ...]
    meanwhile: str

    def add(self, commands: Commands) -> None:
        """Put the command on the list, marked as not there yet."""
        command = commands.add_parser(
            self.name,
            help=f"{self.help} (not built yet)",
            description=f"{self.help}. Not built yet.",
        )
        for word in self.takes:
            command.add_argument(word)
        command.add_argument("--json", action="store_true", help="say so as JSON")
        command.set_defaults(run=self.run)

    def run(self, args: argparse.Namespace) -> int:
        """Say that it is not there, and what is."""
        sentence = f"`undersong {self.name}` is not built yet. {self.meanwhile}"
        if args.json:
            print(json.dumps({"command": self.name, "built": False, "message": sentence}))
        print(sentence, file=sys.stderr)
        return NOT_BUILT


open_ = NotYet(
    "open",
    "Open the app in the browser",
    (),
    "`undersong hear` listens to a recorded take meanwhile.",
)
