"""The figures of a climb: where it starts, how it goes up and down, and between which tempos."""

from __future__ import annotations

from dataclasses import replace

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from undersong.errors import UndersongError
from undersong.log.values import Player
from undersong.web.desk import Desk
from undersong.web.pages import back_to, desk_of, field, number, page, someone

FIGURES = (
    ("start_bpm", "start at", "Where the climb begins, and begins again when started over."),
    ("in_a_row", "clean passes in a row", "So many before it goes up."),
    ("up_bpm", "up by", "After so many clean passes in a row."),
    ("down_bpm", "down by", "After one pass that was not clean."),
    ("floor_bpm", "floor", "Never slower."),
    ("ceiling_bpm", "ceiling", "Never faster."),
)


def show_rule(request: Request) -> Response:
    """The figures of one player's climb of one item."""
    desk, player = desk_of(request), someone(request)
    item = desk.item(request.query_params.get("item", ""))
    state = desk.book.ladder_of(player, item)
    figures = [
        {"name": name, "label": label, "said": said, "value": f"{getattr(state.rule, name):g}"}
        for name, label, said in FIGURES
    ]
    return page(request, "rule.html", item=item, state=state, figures=figures)


async def change_rule(request: Request) -> Response:
    """Keep other figures."""
    form = await request.form()
    await run_in_threadpool(_change, desk_of(request), someone(request), form)
    return back_to("/log")


def _change(desk: Desk, player: Player, form: FormData) -> None:
    item = desk.item(field(form, "item"))
    rule = desk.book.ladder_of(player, item).rule
    figures = {name: number(field(form, name), label) for name, label, _ in FIGURES}
    in_a_row = figures.pop("in_a_row")
    if in_a_row != int(in_a_row):
        raise UndersongError("The clean passes in a row are a whole number from 1.")
    changed = replace(rule, in_a_row=int(in_a_row), **figures)
    desk.book.set_rule(player, item, changed, start_over=bool(field(form, "over")))


ROUTES = (
    Route("/climb", show_rule),
    Route("/climb", change_rule, methods=["POST"]),
)
