"""A player's pack for Sunday as one PDF."""

from __future__ import annotations

from importlib.resources import files

import verovio
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from undersong.exchange import musicxml_bytes
from undersong.log.values import Player
from undersong.page.pack import Edition, PackPlayer, PackSong, pack_pdf
from undersong.web.desk import Desk
from undersong.web.lines import line_for
from undersong.web.pages import desk_of, own_only


def player_pack(request: Request) -> Response:
    """The pack of one player, in their tuning and hand, at their level."""
    desk = desk_of(request)
    player = desk.book.player(request.query_params.get("player", ""))
    own_only(request, player.name)
    data = pack_of(desk, player)
    headers = {"Content-Disposition": 'inline; filename="pack.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


def pack_of(desk: Desk, player: Player) -> bytes:
    """The set in hand as this player plays it."""
    # The engraver looks for its fonts where this very thread was told to.
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    sunday, instrument = desk.sunday(), desk.instrument(player)
    songs = [
        PackSong(
            song=song,
            part=line_for(desk, player, song).part,
            singer=entry.singer,
            notes=entry.notes,
        )
        for entry, song in zip(sunday.setlist.songs, sunday.songs, strict=True)
    ]
    return pack_pdf(
        sunday.name,
        sunday.setlist.date,
        songs,
        PackPlayer(player.name, player.level, instrument),
        musicxml=musicxml_bytes,
        edition=Edition(desk.today()),
        set_notes=sunday.setlist.notes,
    )


ROUTES = (Route("/pack.pdf", player_pack),)
