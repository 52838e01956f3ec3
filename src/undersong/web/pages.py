"""Templates and what every page shows: who plays, the ground, the way to the other pages."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from contextlib import suppress
from functools import lru_cache
from importlib.resources import files
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote

from jinja2 import Environment, FileSystemBytecodeCache, PackageLoader, StrictUndefined
from jinja2.bccache import Bucket
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse

from undersong.errors import UndersongError
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, Mode
from undersong.theory.pitch import musical_signs
from undersong.theory.tuning import STANDARD, parse_tuning
from undersong.web.style import STYLE

if TYPE_CHECKING:
    from undersong.log.values import Item, Player
    from undersong.web.desk import Desk
    from undersong.web.guests import Guest

GROUNDS = ("paper", "evening", "black")
KEEP_S = 400 * 24 * 3600
SEE_OTHER, FORBIDDEN = 303, 403
PLACES = (
    ("/", "This Sunday"),
    ("/practice", "Practice"),
    ("/neck", "The neck"),
    ("/click", "Click"),
    ("/log", "Log"),
    ("/ready", "Getting set"),
)


_ROOMS = {"practice": "/practice", "takes": "/log", "climb": "/log"}
"""Under which of the places a page lies that is none of them, by the beginning of its path; the
others belong to the day."""


def _above(path: str) -> str:
    """The place a page lies under; "" for a place itself."""
    is_place = path in {place for place, _ in PLACES}
    return "" if is_place else _ROOMS.get(path.split("/")[1], "/")


class Compiled(FileSystemBytecodeCache):
    """Templates kept as Python code beside them, where that may be written."""

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep one, if it can be."""
        with suppress(OSError):
            super().dump_bytecode(bucket)


def _compiled() -> Compiled | None:
    folder = Path(str(files("undersong.web"))) / "templates" / "__pycache__"
    with suppress(OSError):
        folder.mkdir(exist_ok=True)
    return Compiled(str(folder)) if folder.is_dir() else None


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates: everything escaped, and no name that is not there."""
    made = Environment(
        loader=PackageLoader("undersong.web"),
        bytecode_cache=_compiled(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["style"] = Markup(f"<style>{STYLE}</style>")
    made.filters["signs"] = lambda value: musical_signs(str(value))
    made.filters["signed"] = _signed
    made.filters["titled"] = titled
    made.filters["tuned"] = _tuned
    made.filters["begun"] = lambda text: text[:1].upper() + text[1:]
    made.filters["plain"] = lambda value: f"{value:g}"
    return made


_NAMED = re.compile(
    r"\b[A-G](?:##?|bb?(?=$|[^a-z]|m|dim|sus|aug|add))|(?<![\w#])(?:bb?|##?)(?=[1-7])"
)


def _tuned(tuning: str) -> str:
    name = parse_tuning(tuning).name
    return f"{name} tuning" if name == STANDARD.name else name


def _signed(text: str) -> str:
    """A sentence with proper flats and sharps in the notes and numbers it names."""
    return _NAMED.sub(lambda found: musical_signs(found[0]), text)


def titled(item: Item) -> str:
    """What a page calls a piece of work: the key is said once."""
    is_said = not item.key or item.name.endswith(f"of {item.key}")
    name = item.name[:1].upper() + item.name[1:]
    return name if is_said else f"{name} in {musical_signs(item.key)}"


def desk_of(connection: HTTPConnection) -> Desk:
    """The desk this app was made for."""
    desk: Desk = connection.app.state.desk
    return desk


def guest_of(connection: HTTPConnection) -> Guest | None:
    """Who came in from the network; None on this computer itself."""
    guest: Guest | None = connection.scope.get("state", {}).get("guest")
    return guest


def leads(connection: HTTPConnection) -> bool:
    """Whether everything may be seen and changed: on this computer, and by a leader."""
    guest = guest_of(connection)
    return guest is None or guest.is_leader


def player_of(connection: HTTPConnection) -> Player | None:
    """Who is playing in this browser: a guest who is a player is nobody else."""
    desk, guest = desk_of(connection), guest_of(connection)
    if guest is not None and not guest.is_leader:
        return next((each for each in desk.book.players() if each.name == guest.name), None)
    return desk.player(unquote(connection.cookies.get("player", "")))


def someone(connection: HTTPConnection) -> Player:
    """Who is playing in this browser; refused where nobody is."""
    player = player_of(connection)
    if player is None:
        raise UndersongError(
            "Nobody plays yet: open a set with players in it, or add one on the Log page."
        )
    return player


async def sent(request: Request, most_bytes: int, too_much: str) -> bytes:
    """What a request brings, read no further than it may be long."""
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > most_bytes:
            raise UndersongError(too_much)
    return bytes(data)


def own_only(connection: HTTPConnection, player: str) -> None:
    """Refuse a player what is another's."""
    if not leads(connection):
        guest = guest_of(connection)
        if guest is None or guest.name != player:
            raise HTTPException(FORBIDDEN, f"This is {player}'s: a player sees only their own.")


def ground_of(connection: HTTPConnection) -> str:
    """The ground this browser chose."""
    chosen = connection.cookies.get("ground", GROUNDS[0])
    return chosen if chosen in GROUNDS else GROUNDS[0]


# What every page needs is asked for with its first byte, not when the browser has read so far.
_SOON = ", ".join(
    [
        "</fonts/UndersongText-Regular.ttf>; rel=preload; as=font; crossorigin",
        "</fonts/UndersongText-Bold.ttf>; rel=preload; as=font; crossorigin",
    ]
)


def page(request: Request, name: str, *, status: int = 200, **values: object) -> HTMLResponse:
    """One whole page."""
    text = environment().get_template(name).render(values | _everywhere(request))
    return HTMLResponse(text, status, {"Link": _SOON})


def page_in_two(request: Request, name: str, **values: object) -> StreamingResponse:
    """One whole page; the browser gets ready by its head while the rest is being worked out."""
    pieces = environment().get_template(name).generate(values | _everywhere(request))

    async def sent() -> AsyncIterator[str]:
        head = [next(pieces)]
        while "<main" not in head[-1]:
            head.append(next(pieces))
        yield "".join(head)
        yield await run_in_threadpool("".join, pieces)

    return StreamingResponse(sent(), 200, {"Link": _SOON}, "text/html")


def _everywhere(request: Request) -> dict[str, object]:
    """What the frame of every page shows."""
    return {
        "ground": ground_of(request),
        "grounds": GROUNDS,
        "places": PLACES,
        "path": request.url.path,
        "above": _above(request.url.path),
        "here": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        "player": player_of(request),
        "players": desk_of(request).book.players() if leads(request) else (),
        "leads": leads(request),
        "guest": guest_of(request),
    }


def door_page(
    request: Request, *, text: str, token: str = "", guest: Guest | None = None, status: int = 200
) -> HTMLResponse:
    """The page of whoever is not in yet: nothing of the log is on it."""
    template = environment().get_template("door.html")
    values = {"text": text, "token": token, "guest": guest, "ground": ground_of(request)}
    return HTMLResponse(template.render(values), status)


def fragment(name: str, **values: object) -> Markup:
    """A piece of a page, to be put into one."""
    return Markup(environment().get_template(name).render(values))  # autoescaped


def back_to(place: str) -> RedirectResponse:
    """After a change: look at the page again, so that reloading repeats nothing."""
    return RedirectResponse(place, SEE_OTHER)


def remember(answer: Response, name: str, value: str, *, secure: bool) -> None:
    """Keep a choice in this browser."""
    answer.set_cookie(
        name,
        quote(value, safe=""),
        max_age=KEEP_S,
        httponly=True,
        samesite="strict",
        secure=secure,
    )


def field(form: FormData, name: str, default: str = "") -> str:
    """A field of a form as text; a file in its place is nothing."""
    value = form.get(name, default)
    return value if isinstance(value, str) else default


def own_path(text: str) -> str:
    """A page of ours to go back to; anything else is the first page."""
    return text if text.startswith("/") and not text.startswith(("//", "/\\")) else "/"


def number(text: str, what: str) -> float:
    """A number from a form or an address."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if not isfinite(value):
        raise UndersongError(f"{text!r} is no {what}: write a number.")
    return value


def keys_of(mode: Mode) -> tuple[Key, ...]:
    """The keys to choose from, in order of their letters."""
    keys = MAJOR_KEYS if mode is Mode.MAJOR else MINOR_KEYS
    return tuple(sorted(keys, key=lambda key: (key.tonic.letter, key.tonic.alteration)))
