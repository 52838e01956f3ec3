"""The log: what was practised, carried elsewhere, kept safe and put back."""

from __future__ import annotations

import json
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from undersong.errors import UndersongError
from undersong.log.values import Player, Take
from undersong.practice.estimate import estimate
from undersong.theory.tuning import TUNINGS, parse_tuning
from undersong.web.climbview import ClimbView, climb_view
from undersong.web.desk import OPEN_SET, Desk
from undersong.web.judged import weak_in
from undersong.web.pages import (
    back_to,
    desk_of,
    field,
    guest_of,
    leads,
    number,
    own_only,
    page,
    player_of,
    remember,
    titled,
)

LARGEST_UPLOAD_BYTES = 250 * 2**20
KEEP_DAYS = "keep recordings days"
MOST_SHOWN = 60
WEAK_FROM_PASSES = 8  # the latest passes of an item in which weak bars are looked for


@dataclass(frozen=True, slots=True)
class ItemView:
    """One thing practised: where its climb stands, what can be held, which bars are weak."""

    item_id: int
    label: str
    climb: ClimbView
    holds: str
    weak: tuple[str, ...]


def show_log(request: Request) -> Response:
    """What was practised."""
    desk, player = desk_of(request), player_of(request)
    takes = desk.book.takes_of(player) if player else ()
    return page(
        request,
        "log.html",
        takes=takes[::-1][:MOST_SHOWN],
        count=len(takes),
        items=_items(desk, player, takes) if player else (),
        keep_days=desk.book.setting(KEEP_DAYS, 0),
        tunings=TUNINGS,
        recordings=sum(take.audio is not None for take in takes),
    )


def _items(desk: Desk, player: Player, takes: tuple[Take, ...]) -> list[ItemView]:
    by_item = defaultdict(list)
    for take in takes:
        by_item[take.item.id].append(take)
    latest = sorted(by_item.values(), key=lambda each: each[-1].at, reverse=True)
    views = []
    for each in latest:
        item = each[-1].item
        known = estimate([take.as_pass for take in each], now=desk.clock())
        views.append(
            ItemView(
                item_id=item.id,
                label=titled(item),
                climb=climb_view(each, desk.book.ladder_of(player, item)),
                holds=known.in_words,
                weak=tuple(bar.in_words for bar in weak_in(each[-WEAK_FROM_PASSES:])),
            )
        )
    return views


def log_csv(request: Request) -> Response:
    """All takes as a table."""
    desk = desk_of(request)
    player = None if leads(request) else player_of(request)
    return _download(
        desk.book.export_csv(player).encode("utf-8-sig"), "text/csv", "undersong-log.csv"
    )


def log_json(request: Request) -> Response:
    """All of the log, or what concerns one player: work for them, or their results."""
    desk = desk_of(request)
    name = request.query_params.get("player")
    if name:
        own_only(request, name)
    elif not leads(request):
        raise UndersongError("Say whose: a player takes away their own practice.")
    document = desk.book.export_json(desk.book.player(name) if name else None)
    data = json.dumps(document, ensure_ascii=False, indent=1).encode()
    return _download(data, "application/json", "undersong-log.json")


def backup(request: Request) -> Response:
    """The whole log as one file."""
    with tempfile.TemporaryDirectory(prefix="undersong-") as folder:
        copy = desk_of(request).book.backup(Path(folder) / "undersong-log.sqlite")
        return _download(copy.read_bytes(), "application/vnd.sqlite3", copy.name)


def _download(data: bytes, kind: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type=kind, headers=headers)


async def restore(request: Request) -> Response:
    """Put a copy back in the place of all that is in the log."""
    data = await _uploaded(request)
    await run_in_threadpool(_restore, desk_of(request), data)
    return back_to("/log")


def _restore(desk: Desk, data: bytes) -> None:
    with tempfile.TemporaryDirectory(prefix="undersong-") as folder:
        copy = Path(folder) / "the copy"
        copy.write_bytes(data)
        desk.book.restore(copy)


async def bring_in(request: Request) -> Response:
    """Add what another log sent: a volunteer's results, or the work for them."""
    data = await _uploaded(request)
    try:
        document = json.loads(data)
    except ValueError:
        raise UndersongError("This is no file of results: choose one Undersong wrote.") from None
    whose = await run_in_threadpool(_bring_in, desk_of(request), document)
    answer = back_to("/log")
    if whose:
        remember(answer, "player", whose, secure=guest_of(request) is not None)
    return answer


def _bring_in(desk: Desk, document: object) -> str:
    """A set that is new here came to be practised: it is opened for the one it came for."""
    known = {each.name for each in desk.book.sets()}
    desk.book.bring_in(document)
    new = [each for each in desk.book.sets() if each.name not in known]
    if not new:
        return ""
    desk.book.keep_setting(OPEN_SET, max(new, key=lambda each: each.held_on).name)
    people = document["players"] if isinstance(document, dict) else []
    return str(people[0]["name"]) if len(people) == 1 else ""


async def _uploaded(request: Request) -> bytes:
    limit = LARGEST_UPLOAD_BYTES
    async with request.form(max_files=1, max_fields=4) as form:
        file = form.get("file")
        if not isinstance(file, UploadFile) or not file.filename:
            raise UndersongError("Choose a file first.")
        data = await file.read(limit + 1)
    if len(data) > limit:
        raise UndersongError("This file is too large: 250 MB is the most.")
    return data


async def change_log(request: Request) -> Response:
    """Players added, recordings deleted, how long they are kept."""
    form = await request.form()
    action = request.path_params["action"]
    await run_in_threadpool(_change, desk_of(request), player_of(request), action, form)
    return back_to("/log")


def _change(desk: Desk, player: Player | None, action: str, form: FormData) -> None:
    if action == "player":
        tuning = parse_tuning(field(form, "tuning") or "standard")
        name = field(form, "name").strip()
        level = int(number(field(form, "level", "1"), "level"))
        hand = field(form, "hand", "right")
        desk.book.add_player(name, at=desk.clock(), level=level, tuning=str(tuning), hand=hand)
    elif action == "keep":
        days = int(number(field(form, "days").strip() or "0", "number of days"))
        if days < 0:
            raise UndersongError("Recordings are kept for some days, or 0 for ever.")
        desk.book.keep_setting(KEEP_DAYS, days)
        forget_old(desk)
    elif action == "recordings" and player is not None:
        desk.book.delete_recordings(player)
    elif action == "forget" and player is not None:
        if field(form, "name").strip() != player.name:
            raise UndersongError(f"Write {player.name} to delete {player.name}'s log.")
        desk.book.delete_player(player)
    else:
        raise UndersongError("There is nothing of that name to do with the log.")


def forget_old(desk: Desk) -> int:
    """Delete recordings older than the setting says; how many there were."""
    days = desk.book.setting(KEEP_DAYS, 0)
    if not isinstance(days, int) or days <= 0:
        return 0
    return desk.book.delete_recordings(before=desk.clock() - timedelta(days=days))


def health(request: Request) -> Response:
    """Whether the log is whole."""
    faults = desk_of(request).book.faults()
    return JSONResponse({"faults": list(faults)})


ROUTES = (
    Route("/log", show_log),
    Route("/log/health", health),
    Route("/log/restore", restore, methods=["POST"]),
    Route("/log/bring", bring_in, methods=["POST"]),
    Route("/log/undersong-log.csv", log_csv),
    Route("/log/undersong-log.json", log_json),
    Route("/log/undersong-log.sqlite", backup),
    Route("/log/{action}", change_log, methods=["POST"]),
)
