"""`undersong pack`: every player's pages and tracks for a Sunday, in a folder each."""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import Commands, add_json, print_json, write_bytes
from undersong.cli.outputs import today
from undersong.cli.sunday import sunday
from undersong.errors import UndersongError

if TYPE_CHECKING:
    from undersong.chart.setlist import Player, Setlist
    from undersong.chart.song import Song
    from undersong.neck.instrument import Instrument
    from undersong.page.packpages import PackSong

HARD_BARS = "hard-bars"
KINDS = (
    "full",
    "bass-out",
    "slow",
    "two-and-four",
    "half-time",
    "drop-out",
    HARD_BARS,
    "climb",
)
NOT_USUAL = ("half-time", "climb")


def add(commands: Commands) -> None:
    """Put `pack` on the list of commands."""
    command = commands.add_parser(
        "pack",
        help="every player's pages and tracks for a Sunday",
        description="Make a folder for each player of a set: the pages for the music stand as one "
        "PDF, and tracks to play along to. Made again, it makes only the tracks that changed.",
    )
    command.add_argument("set", type=Path, metavar="SET", help="the Sunday, a TOML file")
    command.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="the folder for the packs"
    )
    command.add_argument("--player", metavar="NAME", help="for this player alone")
    command.add_argument("--sheet", choices=("a4", "letter"), default="a4", help="default a4")
    command.add_argument(
        "--look", choices=("print", "large", "black"), default="print", help="default print"
    )
    command.add_argument("--pages-only", action="store_true", help="no tracks")
    command.add_argument(
        "--tracks",
        action="append",
        choices=KINDS,
        metavar="KIND",
        help=f"only this kind of track, once for each; {', '.join(KINDS)} "
        f"(usual: all but {' and '.join(NOT_USUAL)})",
    )
    command.add_argument(
        "--files", choices=("mp3", "flac", "ogg", "wav"), default="mp3", help="default mp3"
    )
    command.add_argument(
        "--soundfont", type=Path, metavar="FILE", help="your own .sf2 instead of our instruments"
    )
    add_json(command)
    command.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class Packed:
    """What was made for one player."""

    player: str
    pages: Path
    tracks: tuple[Path, ...]


def run(args: argparse.Namespace) -> int:
    """Make the packs and say where they are."""
    setlist, songs = sunday(args.set)
    players = _chosen(setlist, args.player)
    packed = []
    for player in players:
        print(f"Making {player.name}'s pack ...", file=sys.stderr, flush=True)
        packed.append(_pack(args, setlist, songs, player))
    if args.json:
        print_json(
            {
                "set": setlist.title,
                "packs": [
                    {
                        "player": each.player,
                        "pages": str(each.pages),
                        "tracks": [str(track) for track in each.tracks],
                    }
                    for each in packed
                ],
            }
        )
        return 0
    for each in packed:
        count = len(each.tracks)
        print(f"{each.player}: {each.pages}" + (f" and {count} tracks beside it" if count else ""))
    return 0


def _chosen(setlist: Setlist, name: str | None) -> tuple[Player, ...]:
    if not setlist.players:
        raise UndersongError(
            "The set names no players: add a [[player]] with a name and a level for each."
        )
    if name is None:
        return setlist.players
    chosen = tuple(each for each in setlist.players if each.name.casefold() == name.casefold())
    if not chosen:
        names = ", ".join(each.name for each in setlist.players)
        raise UndersongError(f"{name} is not on the rota of this set; it has {names}.")
    return chosen


def _pack(
    args: argparse.Namespace, setlist: Setlist, songs: tuple[Song, ...], player: Player
) -> Packed:
    from undersong.exchange import musicxml_bytes
    from undersong.page.pack import pack_pdf
    from undersong.page.packpages import PackPlayer
    from undersong.practice.takehome import PAGES, week_before
    from undersong.sound.tracks import file_name_of

    instrument = instrument_for(player)
    folder = args.out / file_name_of(player.name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UndersongError(f"The folder {folder} cannot be made: {error.strerror}.") from None
    lines = _lines(setlist, songs, player, instrument)
    pdf = pack_pdf(
        setlist.title,
        setlist.date,
        lines,
        PackPlayer(player.name, player.level, instrument, player.notes),
        musicxml=musicxml_bytes,
        edition=today(),
        plan=week_before(songs, setlist.date, today=datetime.now(UTC).astimezone().date()),
        sheet=args.sheet,
        look=args.look,
        set_notes=setlist.notes,
    )
    pages = folder / PAGES
    write_bytes(pages, pdf)
    tracks = () if args.pages_only else _write_tracks(args, setlist, lines, instrument, folder)
    return Packed(player.name, pages, tracks)


def instrument_for(player: Player) -> Instrument:
    """The bass that a set says a player plays."""
    from undersong.neck.instrument import Instrument
    from undersong.theory.tuning import parse_tuning

    return Instrument(
        tuning=parse_tuning(player.tuning),
        frets=player.frets,
        scale_mm=player.scale_mm,
        left_handed=player.hand == "left",
    )


def _lines(
    setlist: Setlist, songs: tuple[Song, ...], player: Player, instrument: Instrument
) -> list[PackSong]:
    from undersong.lines import write_line
    from undersong.page.packpages import PackSong

    return [
        PackSong(
            song,
            write_line(song, level=player.level, instrument=instrument).part,
            singer=asked.singer,
            notes=asked.notes,
        )
        for asked, song in zip(setlist.songs, songs, strict=True)
    ]


def _write_tracks(
    args: argparse.Namespace,
    setlist: Setlist,
    lines: list[PackSong],
    instrument: Instrument,
    folder: Path,
) -> tuple[Path, ...]:
    from undersong.practice.takehome import pack_tracks
    from undersong.sound.soundfont import open_soundfont
    from undersong.sound.tracks import Album, TrackKind, write_tracks

    def progress(done: int, total: int, name: str) -> None:
        print(f"  {done} of {total}: {name}", file=sys.stderr, flush=True)

    album = Album(
        title=setlist.title,
        date=setlist.date.isoformat() if setlist.date else "",
        ending=f".{args.files}",
    )
    kinds = tuple(args.tracks or (kind for kind in KINDS if kind not in NOT_USUAL))
    tracks = pack_tracks(
        lines,
        instrument,
        kinds=[TrackKind[kind.replace("-", "_").upper()] for kind in kinds if kind != HARD_BARS],
        has_hard_bars=HARD_BARS in kinds,
        soundfont=None if args.soundfont is None else open_soundfont(args.soundfont),
    )
    return write_tracks(tuple(tracks), folder, album=album, progress=progress)
