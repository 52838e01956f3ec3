"""The app: its pages put together behind the guard."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from undersong.errors import UndersongError
from undersong.web import listening, necks, practice, songs, sunday, takes
from undersong.web.desk import Desk, sentences
from undersong.web.guard import Guard
from undersong.web.pages import GROUNDS, KEEP_S, back_to, field, own_path, page
from undersong.web.sounds import SoundShelf

_BAD = 400
_SAID = {
    404: "There is no such page here.",
    405: "That cannot be done with this page.",
    413: "This is too large.",
}


def make_app(desk: Desk) -> Starlette:
    """The app over one desk."""
    app = Starlette(
        routes=[
            *sunday.ROUTES,
            *songs.ROUTES,
            *necks.ROUTES,
            *practice.ROUTES,
            *takes.ROUTES,
            *listening.ROUTES,
            Route("/me", choose, methods=["POST"]),
            Mount("/static", StaticFiles(directory=_folder("undersong.web", "static"))),
            Mount("/fonts", StaticFiles(directory=_folder("undersong.page", "fonts"))),
        ],
        middleware=[Middleware(Guard)],
        exception_handlers={UndersongError: _said, HTTPException: _refused},
        lifespan=_lifespan,
    )
    app.state.desk = desk
    app.state.sounds = SoundShelf()
    return app


@asynccontextmanager
async def _lifespan(app: Starlette) -> AsyncIterator[None]:
    yield
    app.state.sounds.close()


def _folder(package: str, name: str) -> Path:
    return Path(str(files(package))) / name


async def choose(request: Request) -> Response:
    """Who plays in this browser, and on which ground it is shown."""
    form = await request.form()
    answer = back_to(own_path(field(form, "back", "/")))
    for name in ("player", "ground"):
        value = field(form, name)
        if value and (name != "ground" or value in GROUNDS):
            answer.set_cookie(
                name, _cookie_text(value), max_age=KEEP_S, httponly=True, samesite="strict"
            )
    return answer


def _cookie_text(value: str) -> str:
    return quote(value, safe="")


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
