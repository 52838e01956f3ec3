"""The app: its pages put together behind the guard."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route, Router
from starlette.staticfiles import StaticFiles
from starlette.types import Receive, Scope, Send

from undersong.errors import UndersongError
from undersong.web import sunday
from undersong.web.desk import Desk, sentences
from undersong.web.guard import Guard
from undersong.web.pages import GROUNDS, back_to, field, guest_of, own_path, page, remember

if TYPE_CHECKING:
    from undersong.web.door import Door

_BAD = 400
FIRST_PAGE_S = 1.0
_SAID = {
    404: "There is no such page here.",
    405: "That cannot be done with this page.",
    413: "This is too large.",
}


def make_app(desk: Desk, *, door: Door | None = None, outside: bool = False) -> Starlette:
    """The app over one desk.

    Parameters
    ----------
    door
        How the network reaches it, where it is open to the network.
    outside
        True for the app as the network sees it: nobody gets in without an invitation.
    """
    guard = Middleware(Guard)
    if outside and door is not None:
        guard = Middleware(Guard, hosts=door.hosts, origin=door.address)
    keeper = []
    if outside:
        from undersong.web.door import Doorkeeper
        from undersong.web.guests import Guests

        keeper = [Middleware(Doorkeeper, guests=Guests(desk.book))]
    app = Starlette(
        routes=[
            *sunday.ROUTES,
            Route("/me", choose, methods=["POST"]),
            Mount("/static", StaticFiles(directory=_folder("undersong.web", "static"))),
            Mount("/fonts", StaticFiles(directory=_folder("undersong.page", "fonts"))),
            Mount("", _Rest()),
        ],
        middleware=[guard, *keeper],
        exception_handlers={UndersongError: _said, HTTPException: _refused},
        lifespan=_lifespan,
    )
    app.state.desk = desk
    app.state.door = door
    return app


class _Rest:
    """All pages but the first: sound and listening take a second to load, the first page must not.

    They are loaded soon after it, or by whoever asks first.
    """

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one WebSocket."""
        rest = await run_in_threadpool(_rest)
        await rest(scope, receive, send)


@cache
def _rest() -> Router:
    from undersong.web import (
        alone,
        door,
        listening,
        logpage,
        necks,
        newcharts,
        packs,
        people,
        practice,
        ready,
        rule,
        songs,
        standing,
        takes,
    )

    rooms = (
        door,
        newcharts,
        songs,
        packs,
        necks,
        practice,
        alone,
        takes,
        listening,
        logpage,
        people,
        standing,
        rule,
        ready,
    )
    return Router([route for room in rooms for route in room.ROUTES])


def _warm(app: Starlette) -> None:
    from undersong.web.logpage import forget_old

    _rest()
    forget_old(app.state.desk)


async def _warm_later(app: Starlette, closing: asyncio.Event) -> None:
    # Whoever opens the app waits for its first page alone; loading more beside it would slow both.
    with suppress(TimeoutError):
        await asyncio.wait_for(closing.wait(), FIRST_PAGE_S)
    await run_in_threadpool(_warm, app)


@asynccontextmanager
async def _lifespan(app: Starlette) -> AsyncIterator[None]:
    """Load the rest once the first page is shown; let sounds and tracks go at the end."""
    closing = asyncio.Event()
    warming = asyncio.create_task(_warm_later(app, closing))
    yield
    closing.set()
    await warming
    for name in ("sounds", "tracks"):
        shelf = getattr(app.state, name, None)
        if shelf is not None:
            shelf.close()


def put_down(app: Starlette) -> None:
    """Break off work that goes on for minutes: the app is about to close."""
    shelf = getattr(app.state, "tracks", None)
    if shelf is not None:
        shelf.stop()


def _folder(package: str, name: str) -> Path:
    return Path(str(files(package))) / name


async def choose(request: Request) -> Response:
    """Who plays in this browser, and on which ground it is shown."""
    form = await request.form()
    answer = back_to(own_path(field(form, "back", "/")))
    for name in ("player", "ground"):
        value = field(form, name)
        if value and (name != "ground" or value in GROUNDS):
            remember(answer, name, value, secure=guest_of(request) is not None)
    return answer


def _wants_json(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


async def _said(request: Request, error: Exception) -> Response:
    """What a musician can put right, in a sentence."""
    if not isinstance(error, UndersongError):
        raise error
    said = sentences(error)
    if _wants_json(request):
        return JSONResponse(said[0] | {"errors": said}, _BAD)
    return page(request, "trouble.html", errors=said, status=_BAD)


async def _refused(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    text = _SAID.get(error.status_code, str(error.detail))
    if _wants_json(request):
        return JSONResponse({"message": text, "line": 0, "column": 0}, error.status_code)
    said = [{"message": text, "line": 0, "column": 0, "text": ""}]
    return page(request, "trouble.html", errors=said, status=error.status_code)
