"""Let others in: a link for each person, shown once, withdrawn at any time."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from undersong.errors import UndersongError
from undersong.web.desk import Desk
from undersong.web.door import Door
from undersong.web.guests import Guests, Role
from undersong.web.pages import back_to, desk_of, field, number, page


def show_people(request: Request) -> Response:
    """Who may come in."""
    return _people(request)


def _people(request: Request, *, link: str = "", invited: str = "") -> Response:
    desk = desk_of(request)
    door: Door | None = request.app.state.door
    return page(
        request,
        "people.html",
        door=door,
        invitations=Guests(desk.book).all(),
        names=[each.name for each in desk.book.players()],
        link=link,
        invited=invited,
    )


async def invite(request: Request) -> Response:
    """Make a link; it is on the answer's page and nowhere else."""
    form = await request.form()
    door: Door | None = request.app.state.door
    if door is None:
        raise UndersongError(
            "The app is open on this computer alone: start it with --network to let others in."
        )
    role = Role.LEADER if field(form, "role") == "leader" else Role.PLAYER
    name = field(form, "name") if role is Role.PLAYER else field(form, "leader")
    token = await run_in_threadpool(_invited, desk_of(request), name, role)
    return await run_in_threadpool(_shown, request, f"{door.address}/enter/{token}", name.strip())


def _invited(desk: Desk, name: str, role: Role) -> str:
    return Guests(desk.book).invite(name, role, made_on=desk.today().isoformat())


def _shown(request: Request, link: str, name: str) -> Response:
    return _people(request, link=link, invited=name)


async def withdraw(request: Request) -> Response:
    """Let one person in no more."""
    form = await request.form()
    which = int(number(field(form, "number"), "number of an invitation"))
    await run_in_threadpool(Guests(desk_of(request).book).withdraw, which)
    return back_to("/people")


ROUTES = (
    Route("/people", show_people),
    Route("/people/invite", invite, methods=["POST"]),
    Route("/people/withdraw", withdraw, methods=["POST"]),
)
