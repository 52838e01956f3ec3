"""The song: its number chart in any key, the line at a level, and both sounding."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any
from urllib.parse import urlencode

import verovio
from lxml import etree
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from undersong.chart.song import Song
from undersong.errors import UndersongError
from undersong.exchange import musicxml_bytes
from undersong.lines import LEVELS, LineSheet, drum_part, pad_part
from undersong.page.ground import ground_named
from undersong.page.notation import engraved
from undersong.page.pack import Edition, chart_pdf, part_pdf
from undersong.sound.schedule import ClickKind, ClickPlan, schedule
from undersong.theory.key import parse_key
from undersong.theory.part import Part
from undersong.web.chartview import chart_view, played_bars
from undersong.web.lines import Step, change_bar, line_for, steps_of
from undersong.web.pages import (
    back_to,
    desk_of,
    field,
    ground_of,
    keys_of,
    number,
    page,
    player_of,
)
from undersong.web.sounds import SoundShelf, Wanted
from undersong.web.tabs import tab_bars

SHOWN = ("numbers", "letters", "both")
STAFF, LARGE = "staff and tab", "large staff and tab"
SCREEN_MM = {STAFF: 200.0, LARGE: 95.0}
"""How long a line of staff and tab is before the screen scales it; the large one fits a phone, and
is read from further off."""
PHONE = "Mobi"
"""What the browsers of phones have in their name for themselves."""
DRAWINGS = ("tab", *SCREEN_MM)
SLOWER = (100, 90, 80, 70, 60, 50)


@dataclass(frozen=True, slots=True)
class Asked:
    """A song as this page was asked for."""

    song: Song
    level: int
    sheet: LineSheet


def _asked(request: Request, query: Mapping[str, str] | None = None) -> Asked:
    desk, player = desk_of(request), player_of(request)
    query = request.query_params if query is None else query
    key = parse_key(query["key"]) if query.get("key") else None
    song = desk.song(query.get("title", ""), key)
    usual = player.level if player else 1
    level = int(number(query.get("level") or str(usual), "level"))
    return Asked(song, level, line_for(desk, player, song, level))


def show_song(request: Request) -> Response:
    """The chart, large, and the line under it."""
    asked = _asked(request)
    query = request.query_params
    return page(
        request,
        "song.html",
        title=query["title"],
        song=asked.song,
        chart=chart_view(asked.song),
        keys=keys_of(asked.song.key.mode),
        shown=_chosen(query.get("show"), SHOWN, "both"),
        shows=SHOWN,
        level=asked.level,
        levels=LEVELS,
        slower=[(share, round(asked.song.tempo_bpm * share / 100)) for share in SLOWER],
        **_line_view(request, asked),
    )


def _chosen(asked: str | None, choices: tuple[str, ...], usual: str) -> str:
    return asked if asked in choices else usual


def _line_view(request: Request, asked: Asked) -> dict[str, Any]:
    """The line: as tab or engraved, and each bar's number, idea and whether it was changed."""
    sheet, query = asked.sheet, request.query_params
    drawn = _chosen(query.get("drawn"), DRAWINGS, DRAWINGS[0])
    if drawn == STAFF and PHONE in request.headers.get("user-agent", ""):
        drawn = LARGE  # the other would be cut at the edge of the screen
    steps = steps_of(desk_of(request), player_of(request), asked.song.title)
    numbers = [bar.number for bar in sheet.part.bars]
    return {
        "drawn": drawn,
        "drawings": DRAWINGS,
        "systems": _systems(sheet.part, ground_of(request), drawn) if drawn in SCREEN_MM else (),
        "bars": tab_bars(sheet.part),
        "numbers": numbers,
        "bar": query.get("bar", ""),
        "ideas": dict(zip(numbers, sheet.ideas, strict=False)),
        "changed": {bar for _, bar in steps},
        "remarks": (*sheet.report.lines(), *sheet.remarks),
    }


@dataclass(frozen=True, slots=True)
class Engraved:
    """One line of staff and tab: its drawing, and what is said of it."""

    svg: Markup
    words: str


@lru_cache(maxsize=32)
def _systems(part: Part, ground: str, drawn: str) -> tuple[Engraved, ...]:
    """The line as engraved; made once for a part, a ground and a size."""
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    systems = engraved(musicxml_bytes(part), width_mm=SCREEN_MM[drawn], ground=ground_named(ground))
    return tuple(
        Engraved(_for_screen(each.svg, f"system{place}"), f"Line {place}: {each.in_words}")
        for place, each in enumerate(systems, start=1)
    )


def _for_screen(svg: str, name: str) -> Markup:
    """A drawing of our own engraver to stand in a page, whose policy allows no style in it."""
    root = etree.fromstring(svg.encode())
    own = root.get("id", "")
    for style in root.findall("{http://www.w3.org/2000/svg}style"):
        root.remove(style)  # the page's own style sheet has what matters of it
    for each in root.iter():
        if "style" in each.attrib:
            del each.attrib["style"]
    text = etree.tostring(root, encoding="unicode")
    return Markup(text.replace(own, name) if own else text)  # drawn by us, from our own values


async def change_line(request: Request) -> Response:
    """Another idea for a bar, a simpler one, this one kept, or all wishes for it taken back."""
    form = await request.form()
    query = {name: field(form, name) for name in ("title", "key", "level", "show", "drawn")}
    step = (field(form, "what"), int(number(field(form, "bar"), "bar")))
    await run_in_threadpool(_change, request, query, step)
    return back_to("/song?" + urlencode(query | {"bar": str(step[1])}) + "#line")


def _change(request: Request, query: dict[str, str], step: Step) -> None:
    asked = _asked(request, query)
    change_bar(desk_of(request), player_of(request), asked.song, asked.level, step)


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
    Route("/song/bar", change_line, methods=["POST"]),
    Route("/song/times", song_times),
    Route("/song/sound", song_sound),
    Route("/song/{what:str}.pdf", print_song),
    Route("/sound/click/{kind}.wav", click),
)
