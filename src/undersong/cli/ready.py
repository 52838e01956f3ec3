"""`undersong ready`: who is ready for a Sunday, by what the log holds."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import Commands, add_json, print_json
from undersong.cli.sunday import sunday
from undersong.errors import UndersongError

if TYPE_CHECKING:
    from undersong.log.standing import PlayerStanding


def add(commands: Commands) -> None:
    """Put `ready` on the list of commands."""
    command = commands.add_parser(
        "ready",
        help="who is ready for a Sunday",
        description="Say of every player of a set and every song whether the first pass of the "
        "day, whole and at Sunday's tempo, was good on two days of the last four weeks.",
    )
    command.add_argument("set", type=Path, metavar="SET", help="the Sunday, a TOML file")
    command.add_argument("--player", metavar="NAME", help="this player alone")
    command.add_argument("--log", type=Path, metavar="FILE", help="another log than the usual one")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print where everybody stands."""
    found = _standings(args)
    if args.json:
        print_json([_json(each) for each in found])
        return 0
    for each in found:
        print(f"{each.player.name}, level {each.player.level}")
        for one in each.songs:
            print(f"  {one.song.title} in {one.song.key} at {one.song.service_bpm:g}")
            print(f"    {one.in_words}")
        if each.keys:
            counts = (f"{key.key} {key.clean} of {key.clean + key.not_clean}" for key in each.keys)
            print(f"  Clean passes by key, the least first: {', '.join(counts)}.")
    return 0


def _standings(args: argparse.Namespace) -> tuple[PlayerStanding, ...]:
    from undersong.cli.keeping import kept_log
    from undersong.log.book import Book
    from undersong.log.standing import ServiceSong, standings

    setlist, songs = sunday(args.set)
    wanted = [ServiceSong(song.title, str(song.key), song.tempo_bpm) for song in songs]
    on_rota = {each.name.casefold() for each in setlist.players}
    with Book.open(kept_log(args.log)) as book:
        players = [each for each in book.players() if each.name.casefold() in on_rota]
        if args.player is not None:
            players = [book.player(args.player)]
        if not players:
            raise UndersongError("Nobody on the rota of this set has played into the log yet.")
        return standings(book, wanted, players, now=datetime.now(UTC).astimezone())


def _json(each: PlayerStanding) -> dict[str, object]:
    return {
        "player": each.player.name,
        "level": each.player.level,
        "ready": each.ready,
        "songs": [
            {
                "title": one.song.title,
                "key": one.song.key,
                "service_bpm": one.song.service_bpm,
                "ready": one.readiness.ready,
                "good_days": [day.isoformat() for day in one.readiness.good_days],
                "ladder_bpm": one.ladder_bpm,
                "passes": one.passes,
                "words": one.in_words,
            }
            for one in each.songs
        ],
        "keys": [
            {"key": key.key, "clean": key.clean, "not_clean": key.not_clean} for key in each.keys
        ],
    }
