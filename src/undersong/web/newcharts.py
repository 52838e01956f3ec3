"""Chord sheets that arrive: pasted or dropped, shown as understood, kept and put in the set."""

from __future__ import annotations

from dataclasses import replace

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from undersong.chart.arrive import read_sheet
from undersong.chart.lownotes import low_notes
from undersong.chart.setlist import Setlist, SetSong
from undersong.chart.sheet import SheetSettings
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.chart.words import low_words
from undersong.chart.write import song_text
from undersong.errors import ChartErrors, LogError, UndersongError
from undersong.theory.key import parse_key
from undersong.web.chartview import chart_view
from undersong.web.desk import Desk, Sunday, sentences
from undersong.web.pages import back_to, desk_of, field, page

LARGEST_SHEET_BYTES = 8 * 2**20
_BAD = 400


def new_chart(request: Request) -> Response:
    """Where a chord sheet is pasted or dropped."""
    title = request.query_params.get("title")
    text = desk_of(request).book.chart(title).text if title else ""
    return page(request, "newchart.html", text=text, errors=[])


async def read_chart(request: Request) -> Response:
    """Show what was understood of a sheet; nothing is kept yet."""
    limit = LARGEST_SHEET_BYTES
    async with request.form(max_files=1, max_fields=20, max_part_size=limit) as form:
        text, key, name = field(form, "text"), field(form, "key"), ""
        data, sheet = text.encode(), form.get("file")
        if isinstance(sheet, UploadFile) and sheet.filename:
            data, name = await sheet.read(limit + 1), sheet.filename
    try:
        song = await run_in_threadpool(_understood, data, name, key)
    except UndersongError as error:
        said = sentences(error)
        return page(request, "newchart.html", text=text, errors=said, status=_BAD)
    return await run_in_threadpool(_show_understood, request, song)


def _understood(data: bytes, name: str, key: str) -> Song:
    if len(data) > LARGEST_SHEET_BYTES:
        raise UndersongError("A sheet may have 8 MB at most: this file is larger.")
    if not data.strip():
        raise UndersongError("There is nothing to read yet: paste a chord sheet, or choose a file.")
    settings = SheetSettings(key=parse_key(key)) if key else SheetSettings()
    return read_sheet(data, name, settings)


def _show_understood(request: Request, song: Song) -> Response:
    known = {each.title for each in desk_of(request).book.charts()}
    # Our own chart text is kept as it was written, with its comments.
    text = song.text if song.text is not None and _reads_alike(song) else song_text(song)
    return page(
        request,
        "understood.html",
        chart=chart_view(song),
        report=song.report,
        text=text,
        low=low_words(low_notes(song)),
        replaces=song.title in known,
    )


def _reads_alike(song: Song) -> bool:
    try:
        return parse_song(song.text or "") == song
    except UndersongError:
        return False


async def keep_chart(request: Request) -> Response:
    """Keep the chart, and put it in the set."""
    form = await request.form()
    text = field(form, "text")
    try:
        await run_in_threadpool(_keep_chart, desk_of(request), text)
    except ChartErrors as error:
        return page(request, "newchart.html", text=text, errors=sentences(error), status=_BAD)
    return back_to("/")


def _keep_chart(desk: Desk, text: str) -> None:
    song = parse_song(text)
    desk.book.keep_chart(song.title, text, at=desk.clock())
    try:
        sunday = desk.sunday()
    except LogError:
        sunday = Sunday("Sunday", Setlist(songs=(), title="Sunday"), ())
    if sunday.entry(song.title) is None:
        songs = (*sunday.setlist.songs, SetSong(song.title))
        desk.keep(sunday.name, replace(sunday.setlist, songs=songs))


ROUTES = (
    Route("/charts/new", new_chart),
    Route("/charts/read", read_chart, methods=["POST"]),
    Route("/charts/keep", keep_chart, methods=["POST"]),
)
