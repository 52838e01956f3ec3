"""Who is ready for Sunday, and what each player was given to do: the leader's page."""

from __future__ import annotations

from datetime import date

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from undersong.drills.catalogue import CATALOGUE
from undersong.errors import UndersongError
from undersong.log.standing import ServiceSong, standings
from undersong.log.values import Assignment
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS
from undersong.web.desk import Desk
from undersong.web.pages import back_to, desk_of, field, number, page
from undersong.web.work import kept_item, work_of


def show_standing(request: Request) -> Response:
    """Every player with every song of Sunday, and the work that was given."""
    desk = desk_of(request)
    sunday = desk.sunday()
    songs = [ServiceSong(song.title, str(song.key), song.tempo_bpm) for song in sunday.songs]
    names = {each.name for each in sunday.setlist.players}
    players = [each for each in desk.book.players() if each.name in names]
    return page(
        request,
        "standing.html",
        sunday=sunday,
        standings=standings(desk.book, songs, players, now=desk.clock()),
        songs=songs,
        work=[each for each in desk.book.assignments() if each.done_at is None],
        drills=CATALOGUE,
        keys=(*MAJOR_KEYS, *MINOR_KEYS),
    )


async def give_work(request: Request) -> Response:
    """Give a player a song or a drill to practise."""
    form = await request.form()
    await run_in_threadpool(_give, desk_of(request), form)
    return back_to("/standing")


def _give(desk: Desk, form: FormData) -> None:
    player = desk.book.player(field(form, "player"))
    what = field(form, "what")
    kind, _, name = what.partition(":")
    if kind not in ("song", "drill") or not name:
        raise UndersongError("Choose a song or a drill to give.")
    work = work_of(desk, player, {kind: name, "key": field(form, "key")})
    desk.book.assign(
        player,
        kept_item(desk, work),
        at=desk.clock(),
        due_on=_day(field(form, "due")),
        note=field(form, "note"),
    )


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UndersongError(f"{text} is no day: write year-month-day, as in 2026-11-29.") from None


async def finish_work(request: Request) -> Response:
    """Take a piece of given work off the list."""
    form = await request.form()
    which = int(number(field(form, "number"), "number of a piece of work"))
    await run_in_threadpool(_finish, desk_of(request), which)
    return back_to("/standing")


def _finish(desk: Desk, which: int) -> None:
    desk.book.finish(_work(desk, which), at=desk.clock())


def _work(desk: Desk, which: int) -> Assignment:
    for each in desk.book.assignments():
        if each.id == which:
            return each
    raise UndersongError("That piece of work is not in the log any more.")


ROUTES = (
    Route("/standing", show_standing),
    Route("/standing/give", give_work, methods=["POST"]),
    Route("/standing/finish", finish_work, methods=["POST"]),
)
