"""The song: its number chart in any key, the line at a level, and both sounding."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

import verovio
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from undersong.chart.song import Song
from undersong.errors import UndersongError
from undersong.exchange import musicxml_bytes
from undersong.lines import LEVELS, LineSheet, drum_part, pad_part, write_line
from undersong.neck.instrument import Instrument
from undersong.page.pack import Edition, chart_pdf, part_pdf
from undersong.sound.schedule import ClickKind, ClickPlan, schedule
from undersong.theory.key import parse_key
from undersong.theory.part import Part
from undersong.web.chartview import chart_view, played_bars
from undersong.web.pages import desk_of, keys_of, number, page, player_of
from undersong.web.sounds import SoundShelf, Wanted
from undersong.web.tabs import tab_bars

SHOWN = ("numbers", "letters", "both")
SLOWER = (100, 90, 80, 70, 60, 50)


@dataclass(frozen=True, slots=True)
class Asked:
    """A song as this page was asked for."""

    song: Song
    level: int
    instrument: Instrument

    @property
    def sheet(self) -> LineSheet:
        """The line."""
        return line_of(self.song, self.level, self.instrument)


@lru_cache(maxsize=32)
def line_of(song: Song, level: int, instrument: Instrument) -> LineSheet:
    """The line of a song at a level; asked for again it is not written again."""
    return write_line(song, level=level, instrument=instrument)


def _asked(request: Request) -> Asked:
    desk, player = desk_of(request), player_of(request)
    query = request.query_params
    key = parse_key(query["key"]) if query.get("key") else None
    song = desk.song(query.get("title", ""), key)
    usual = player.level if player else 1
    level = int(number(query.get("level") or str(usual), "level"))
    return Asked(song, level, desk.instrument(player))


def show_song(request: Request) -> Response:
    """The chart, large, and the line under it."""
    asked = _asked(request)
    shown = request.query_params.get("show", "both")
    return page(
        request,
        "song.html",
        title=request.query_params["title"],
        song=asked.song,
        chart=chart_view(asked.song),
        keys=keys_of(asked.song.key.mode),
        shown=shown if shown in SHOWN else "both",
        shows=SHOWN,
        level=asked.level,
        levels=LEVELS,
        slower=[(share, round(asked.song.tempo_bpm * share / 100)) for share in SLOWER],
        sheet=asked.sheet,
        bars=tab_bars(asked.sheet.part),
        remarks=(*asked.sheet.report.lines(), *asked.sheet.remarks),
    )


def _tempo(query: QueryParams, part: Part) -> float:
    return number(query["tempo"], "tempo") if query.get("tempo") else part.tempo_bpm


def song_times(request: Request) -> Response:
    """When each bar and note of the song's sound begins, in seconds of it."""
    asked = _asked(request)
    part = asked.sheet.part.at_tempo(_tempo(request.query_params, asked.sheet.part))
    timed = schedule(part, click=ClickPlan())
    tempo = part.tempo_map
    bars = [
        {"name": name, "s": timed.start_s + tempo.seconds_at(at)}
        for name, at in played_bars(asked.song)
    ]
    return JSONResponse({"start_s": timed.start_s, "end_s": timed.end_s, "bars": bars})


def song_sound(request: Request) -> Response:
    """The song's sound: count-in, click, bass or not, band or not."""
    asked = _asked(request)
    query = request.query_params
    band = (drum_part(asked.song), pad_part(asked.song)) if query.get("band") == "1" else ()
    wanted = Wanted(
        asked.sheet.part,
        band,
        _tempo(query, asked.sheet.part),
        has_bass=query.get("bass", "1") == "1",
        has_click=query.get("click", "1") == "1",
    )
    return FileResponse(shelf_of(request).sound(wanted), media_type="audio/flac")


def shelf_of(request: Request) -> SoundShelf:
    """The sounds made so far."""
    state = request.app.state
    with _MAKING:  # a page asks for several sounds at once
        if not hasattr(state, "sounds"):
            state.sounds = SoundShelf()
        shelf: SoundShelf = state.sounds
    return shelf


_MAKING = threading.Lock()


def click(request: Request) -> Response:
    """One click of a kind."""
    try:
        kind = ClickKind(request.path_params["kind"])
    except ValueError:
        raise UndersongError("There is no such click.") from None
    return FileResponse(shelf_of(request).click(kind), media_type="audio/wav")


def print_song(request: Request) -> Response:
    """The chart or the line as a PDF."""
    asked = _asked(request)
    edition = Edition(desk_of(request).today())
    if request.path_params["what"] == "chart":
        data = chart_pdf(asked.song, edition=edition, with_letters=True)
    else:
        part = replace(asked.sheet.part, title=asked.song.title)
        # The engraver looks for its fonts where this very thread was told to.
        verovio.setDefaultResourcePath(str(files("verovio") / "data"))
        data = part_pdf(part, musicxml=musicxml_bytes, edition=edition)
    return Response(data, media_type="application/pdf")


ROUTES = (
    Route("/song", show_song),
    Route("/song/times", song_times),
    Route("/song/sound", song_sound),
    Route("/song/{what:str}.pdf", print_song),
    Route("/sound/click/{kind}.wav", click),
)
