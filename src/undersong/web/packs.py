"""A player's pack for Sunday as one PDF, made while its progress is shown."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files

import verovio
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from undersong.errors import UndersongError
from undersong.exchange import musicxml_bytes
from undersong.log.values import Player
from undersong.page.pack import Edition, PackPlayer, PackSong, pack_pdf
from undersong.web.desk import Desk
from undersong.web.lines import line_for
from undersong.web.pages import desk_of, own_only, page

MOST_KEPT = 8
_KEEPING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Progress:
    """One step of making a pack; the last has the pack."""

    done: int
    of: int
    words: str
    pdf: bytes = b""


def _player(request: Request) -> Player:
    player = desk_of(request).book.player(request.query_params.get("player", ""))
    own_only(request, player.name)
    return player


def show_pack(request: Request) -> Response:
    """The page that makes a pack and says how far it is."""
    player = _player(request)
    return page(request, "pack.html", whose=player, sunday=desk_of(request).sunday())


def make_pack(request: Request) -> Response:
    """Each step of the making as a line of JSON; at the end the pack is there to be fetched."""
    player = _player(request)
    return StreamingResponse(_told(request, player), media_type="application/x-ndjson")


def _told(request: Request, player: Player) -> Iterator[str]:
    try:
        for step in steps(desk_of(request), player):
            if step.pdf:
                _keep(request, player, step.pdf)
            yield json.dumps({"done": step.done, "of": step.of, "words": step.words}) + "\n"
    except UndersongError as error:
        yield json.dumps({"error": str(error)}) + "\n"


def _kept(request: Request) -> dict[str, bytes]:
    state = request.app.state
    with _KEEPING:
        if not hasattr(state, "packs"):
            state.packs = {}
        packs: dict[str, bytes] = state.packs
    return packs


def _keep(request: Request, player: Player, pdf: bytes) -> None:
    packs = _kept(request)
    with _KEEPING:
        packs.pop(player.name, None)
        packs[player.name] = pdf
        while len(packs) > MOST_KEPT:
            packs.pop(next(iter(packs)))


def player_pack(request: Request) -> Response:
    """The pack of one player, in their tuning and hand, at their level.

    With ``made`` the one just made, where it is still there; else it is made now.
    """
    player = _player(request)
    data = _kept(request).get(player.name) if request.query_params.get("made") else None
    if data is None:
        data = pack_of(desk_of(request), player)
    headers = {"Content-Disposition": 'inline; filename="pack.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


def pack_of(desk: Desk, player: Player) -> bytes:
    """The set in hand as this player plays it."""
    *_, last = steps(desk, player)
    return last.pdf


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
    pdf = pack_pdf(
        sunday.name,
        sunday.setlist.date,
        songs,
        PackPlayer(player.name, player.level, instrument),
        musicxml=musicxml_bytes,
        edition=Edition(desk.today()),
        set_notes=sunday.setlist.notes,
    )
    yield Progress(of, of, "The pack is ready.", pdf)


ROUTES = (
    Route("/pack", show_pack),
    Route("/pack/making", make_pack),
    Route("/pack.pdf", player_pack),
)
