"""The door to the network: who is let in, and what a player may reach.

On this computer itself everybody is the leader, as ever. From the network nobody is let in without
a session, and a player reaches only what is listed here: what is not listed is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from undersong.errors import UndersongError
from undersong.web.guests import WITHDRAWN, Guest, Guests
from undersong.web.pages import desk_of, door_page, field

SESSION = "__Host-undersong"  # browsers keep such a name to this host, path / and TLS
KEEP_SESSION_S = 120 * 24 * 3600
_UNAUTHORIZED, _FORBIDDEN, _BAD, _SEE_OTHER, _NO_ENTRY = 401, 403, 400, 303, 1008
NO_LINK = "You need an invitation to come in: ask the leader of the band for your link."
LEADERS_ONLY = "This is the leader's: a player sees and records their own practice alone."


@dataclass(frozen=True, slots=True)
class Door:
    """How the app is reached from the network.

    Attributes
    ----------
    address
        Scheme, host and port, without a path.
    hosts
        Every name it answers to.
    fingerprint, authority
        Of the certificate (see `certificate`); empty where a proxy has its own.
    """

    address: str
    hosts: frozenset[str]
    fingerprint: str = ""
    authority: bytes = b""


_OPEN = re.compile(r"/enter|/enter/[^/]+|/certificate\.crt|/static/.*|/fonts/.*")
_PLAYER_READS = re.compile(
    r"/|/song|/song/.*|/sound/.*|/neck|/neck/.*|/click|/ready|/practice|/practice/.*|/log"
    r"|/log/undersong-log\.(json|csv)|/takes/[^/]+|/takes/[^/]+/sound|/pack\.pdf|/pack(/.*)?"
)
_PLAYER_WRITES = re.compile(
    r"/me|/leave|/practice/(pain|agree|alone)|/takes|/takes/[^/]+/(overrule|delete)|/ready/delay"
    r"|/log/recordings|/song/bar|/pack(/.*)?"
)
_READS = frozenset({"GET", "HEAD", "OPTIONS"})


class Doorkeeper:
    """Middleware: puts the guest into the scope, or says why there is none."""

    def __init__(self, app: ASGIApp, guests: Guests) -> None:
        self.app = app
        self.guests = guests

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one WebSocket."""
        if scope["type"] == "lifespan" or _OPEN.fullmatch(scope["path"]):
            await self.app(scope, receive, send)
            return
        secret = HTTPConnection(scope).cookies.get(SESSION, "")
        guest = await run_in_threadpool(self.guests.guest, secret) if secret else None
        refusal = NO_LINK if guest is None else _refusal(guest, scope)
        if not refusal:
            scope.setdefault("state", {})["guest"] = guest
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": _NO_ENTRY, "reason": refusal})
        else:
            status = _UNAUTHORIZED if guest is None else _FORBIDDEN
            await _said(Request(scope), refusal, status)(scope, receive, send)


def _refusal(guest: Guest, scope: Scope) -> str:
    if guest.is_leader:
        return ""
    if scope["type"] == "websocket":
        return "" if scope["path"] in ("/listen", "/tune") else LEADERS_ONLY
    allowed = _PLAYER_READS if scope["method"] in _READS else _PLAYER_WRITES
    return "" if allowed.fullmatch(scope["path"]) else LEADERS_ONLY


def _said(request: Request, text: str, status: int) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"message": text, "line": 0, "column": 0}, status)
    return door_page(request, text=text, status=status)


def show_entry(request: Request) -> Response:
    """What a link opens: a page with one button, so that no preview of a link comes in by it."""
    token = str(request.path_params.get("token", ""))
    guest = Guests(desk_of(request).book).invited(token) if token else None
    if guest is None:
        return door_page(request, text=WITHDRAWN if token else NO_LINK, status=_UNAUTHORIZED)
    return door_page(request, text="", token=token, guest=guest)


async def enter(request: Request) -> Response:
    """Change the link for a session."""
    form = await request.form()
    guests = Guests(desk_of(request).book)
    try:
        secret = await run_in_threadpool(guests.enter, field(form, "token"))
    except UndersongError as error:
        return door_page(request, text=str(error), status=_UNAUTHORIZED)
    answer = RedirectResponse("/", _SEE_OTHER)
    answer.set_cookie(
        SESSION, secret, max_age=KEEP_SESSION_S, secure=True, httponly=True, samesite="strict"
    )
    return answer


async def leave(request: Request) -> Response:
    """End this browser's session."""
    secret = request.cookies.get(SESSION, "")
    await run_in_threadpool(Guests(desk_of(request).book).leave, secret)
    answer = RedirectResponse("/enter", _SEE_OTHER)
    answer.delete_cookie(SESSION, secure=True, httponly=True, samesite="strict")
    return answer


def certificate(request: Request) -> Response:
    """Who vouches for this app's certificate, for a phone to trust."""
    door: Door | None = request.app.state.door
    if door is None or not door.authority:
        return PlainTextResponse("This app has no certificate of its own.", 404)
    return Response(door.authority, media_type="application/x-x509-ca-cert")


ROUTES = (
    Route("/enter", show_entry),
    Route("/enter", enter, methods=["POST"]),
    Route("/enter/{token}", show_entry),
    Route("/leave", leave, methods=["POST"]),
    Route("/certificate.crt", certificate),
)
