"""A player's pack for Sunday: the pages as one PDF, and on request its tracks beside them.

Both are made while their progress is shown. The tracks are those of the pages last made: the same
songs in the same keys, and the same lines.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from importlib.resources import files

import verovio
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response, StreamingResponse
from starlette.routing import Route

from undersong.errors import UndersongError
from undersong.exchange import musicxml_bytes
from undersong.log.values import Player
from undersong.neck.instrument import Instrument
from undersong.page.carepage import AFTERWARDS, START_LOW
from undersong.page.pack import Edition, PackPlayer, PackSong, pack_pdf
from undersong.practice.takehome import pack_tracks, week_before
from undersong.sound.tracks import USUAL_TRACKS, Album, file_name_of
from undersong.web.desk import Desk
from undersong.web.lines import line_for
from undersong.web.packing import Packing
from undersong.web.packtracks import Telling, TrackShelf, making
from undersong.web.pages import desk_of, own_only, page

MOST_KEPT = 8
TRACKS_A_SONG = len(USUAL_TRACKS) + 1  # the hard bars; fewer where the click has no 2 and 4
_KEEPING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Pack:
    """What a player has in hand: the pages, and what they are of."""

    player: str
    title: str
    date: date | None
    songs: tuple[PackSong, ...]
    instrument: Instrument
    pdf: bytes

    def packing(self) -> Packing:
        """The same pages, and their tracks."""
        return Packing(
            file_name_of(self.player),
            self.pdf,
            tuple(pack_tracks(self.songs, self.instrument)),
            Album(self.title, date=self.date.isoformat() if self.date else ""),
        )


@dataclass(frozen=True, slots=True)
class Progress:
    """One step of making a pack; the last has the pack."""

    done: int
    of: int
    words: str
    pack: Pack | None = None


def _player(request: Request) -> Player:
    player = desk_of(request).book.player(request.query_params.get("player", ""))
    own_only(request, player.name)
    return player


def show_pack(request: Request) -> Response:
    """The page that makes a pack and says how far it is."""
    player, sunday = _player(request), desk_of(request).sunday()
    about = 1 + len(sunday.songs) * TRACKS_A_SONG
    return page(
        request, "pack.html", whose=player, sunday=sunday, about=about, ears=(START_LOW, AFTERWARDS)
    )


def make_pack(request: Request) -> Response:
    """Each step of the making as a line of JSON; at the end the pack is there to be fetched."""
    player = _player(request)
    return StreamingResponse(_told(request, player), media_type="application/x-ndjson")


def _told(request: Request, player: Player) -> Iterator[str]:
    try:
        for step in steps(desk_of(request), player):
            if step.pack is not None:
                _keep(request, step.pack)
            yield json.dumps({"done": step.done, "of": step.of, "words": step.words}) + "\n"
    except UndersongError as error:
        yield json.dumps({"error": str(error)}) + "\n"


def _kept(request: Request) -> dict[str, Pack]:
    state = request.app.state
    with _KEEPING:
        if not hasattr(state, "packs"):
            state.packs = {}
        packs: dict[str, Pack] = state.packs
    return packs


def _keep(request: Request, pack: Pack) -> None:
    packs = _kept(request)
    with _KEEPING:
        packs.pop(pack.player, None)
        packs[pack.player] = pack
        while len(packs) > MOST_KEPT:
            packs.pop(next(iter(packs)))


def player_pack(request: Request) -> Response:
    """The pack of one player, in their tuning and hand, at their level.

    With ``made`` the one just made, where it is still there; else it is made now.
    """
    player = _player(request)
    pack = _in_hand(request, player) if request.query_params.get("made") else None
    data = (pack or pack_of(desk_of(request), player)).pdf
    headers = {"Content-Disposition": 'inline; filename="pack.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


def _in_hand(request: Request, player: Player) -> Pack | None:
    return _kept(request).get(player.name)


def pack_of(desk: Desk, player: Player) -> Pack:
    """The set in hand as this player plays it."""
    return next(step.pack for step in steps(desk, player) if step.pack is not None)


async def make_tracks(request: Request) -> Response:
    """Tracks beside the pages last made: each step as a line of JSON, as for the pages."""
    packing, player = await run_in_threadpool(_asked, request)
    return Telling(making(_shelf(request), player.name, packing))


def _asked(request: Request) -> tuple[Packing, Player]:
    player = _player(request)
    pack = _in_hand(request, player) or pack_of(desk_of(request), player)
    return pack.packing(), player


def packed_tracks(request: Request) -> Response:
    """Pages and tracks in one file, where they were made."""
    player = _player(request)
    parcel = _shelf(request).parcel(player.name)
    if parcel is None:
        raise UndersongError(
            f"There are no tracks for {player.name} here any more: make them again on the page "
            "of the pack."
        )
    name = f"{file_name_of(player.name)}.zip"
    return FileResponse(parcel, media_type="application/zip", filename=name)


def _shelf(request: Request) -> TrackShelf:
    state = request.app.state
    with _KEEPING:
        if not hasattr(state, "tracks"):
            state.tracks = TrackShelf()
        shelf: TrackShelf = state.tracks
    return shelf


def steps(desk: Desk, player: Player) -> Iterator[Progress]:
    """Make a pack, song by song, and say each step before it is taken."""
    sunday, instrument = desk.sunday(), desk.instrument(player)
    of = len(sunday.songs) + 1
    songs = []
    for done, (entry, song) in enumerate(zip(sunday.setlist.songs, sunday.songs, strict=True)):
        yield Progress(done, of, f"Writing the line of {song.title}.")
        part = line_for(desk, player, song).part
        songs.append(PackSong(song=song, part=part, singer=entry.singer, notes=entry.notes))
    yield Progress(of - 1, of, "Engraving and setting the pages.")
    # The engraver looks for its fonts where this very thread was told to.
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    notes = {each.name: each.notes for each in sunday.setlist.players}.get(player.name, "")
    pdf = pack_pdf(
        sunday.name,
        sunday.setlist.date,
        songs,
        PackPlayer(player.name, player.level, instrument, notes),
        musicxml=musicxml_bytes,
        edition=Edition(desk.today()),
        plan=week_before(sunday.songs, sunday.setlist.date, today=desk.today()),
        set_notes=sunday.setlist.notes,
    )
    pack = Pack(player.name, sunday.name, sunday.setlist.date, tuple(songs), instrument, pdf)
    yield Progress(of, of, "The pack is ready.", pack)


ROUTES = (
    Route("/pack", show_pack),
    Route("/pack/making", make_pack),
    Route("/pack.pdf", player_pack),
    Route("/pack/tracks", make_tracks, methods=["POST"]),
    Route("/pack/tracks.zip", packed_tracks),
)
