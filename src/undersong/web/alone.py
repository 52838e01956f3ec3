"""Practising freely: no click, no script; listened to for some minutes, and told bar by bar."""

from __future__ import annotations

import json
import threading
from datetime import timedelta

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from undersong.ear.practised import practised
from undersong.ear.practised_words import practised_lines
from undersong.log.values import KeptTake, Player
from undersong.practice.care import CautionKind, cautions
from undersong.practice.ladder import Outcome
from undersong.practice.passes import Pass
from undersong.web.asks import before_playing
from undersong.web.desk import Desk
from undersong.web.incoming import LONGEST_S
from undersong.web.pages import desk_of, page, someone
from undersong.web.sessionview import kept_session
from undersong.web.tabs import tab_bars
from undersong.web.takes import (
    Played,
    already_kept,
    holes,
    played_elsewhere,
    recorded,
    verdict_json,
)
from undersong.web.work import Work, climb_of, kept_item, level_of, work_of

MOST_MIN = int(LONGEST_S / 60)
BLOCK_S = 4.0
_RESTS = (CautionKind.REST, CautionKind.BREAK)
# A session takes some seconds of processor: one at a time, and no pass waits for it.
_LISTENING = threading.Lock()


def show_alone(request: Request) -> Response:
    """The page that listens for as long as somebody practises."""
    desk, player = desk_of(request), someone(request)
    work = work_of(desk, player, request.query_params)
    tempo_bpm = climb_of(desk, player, work).ladder.tempo_bpm
    return page(
        request,
        "alone.html",
        work=work,
        tempo=f"{tempo_bpm:g}",
        bars=tab_bars(work.part.at_tempo(tempo_bpm)),
        minutes=MOST_MIN,
        rests=json.dumps(rests_ahead(desk, player, work)),
        **before_playing(desk, player),
    )


def rests_ahead(desk: Desk, player: Player, work: Work) -> list[dict[str, object]]:
    """When to rest if the player begins now and goes on: seconds from now, and what is said.

    The rule of the cautions is asked minute by minute, as if the pass were as long already.
    """
    history, now = desk.book.history(player), desk.clock()
    label = kept_item(desk, work).label
    found: dict[CautionKind, dict[str, object]] = {}
    for minutes in range(1, MOST_MIN + 1):
        so_far = Pass(label, now, work.part.tempo_bpm, Outcome.UNSURE, length_s=60.0 * minutes)
        for each in cautions([*history, so_far], now=now + timedelta(minutes=minutes)):
            if each.kind in _RESTS and each.kind not in found:
                found[each.kind] = {"after_s": 60 * minutes, "text": each.text}
    return list(found.values())


def keep_session(desk: Desk, player: Player, work: Work, played: Played) -> KeptTake:
    """Find what was practised, and keep it; it is no pass and moves no climb."""
    kept = already_kept(desk, desk.book.takes_of(player), played.uid)
    if kept is not None:
        return kept
    part = work.part.at_tempo(played.tempo_bpm)
    step = round(BLOCK_S * played.sample_rate_hz)
    blocks = (played.samples[at : at + step] for at in range(0, len(played.samples), step))
    with _LISTENING:
        session = practised(blocks, played.sample_rate_hz, part, level=level_of(player))
    length_s = len(played.samples) / played.sample_rate_hz if played.is_live else 0.0
    with recorded(desk, player, played) as audio:
        return desk.book.keep_take(
            player,
            kept_item(desk, work),
            outcome=Outcome.UNSURE,
            tempo_bpm=played.tempo_bpm,
            at=desk.clock() - timedelta(seconds=length_s),
            hearing=kept_session(session, part) | holes(played),
            length_s=length_s,
            audio=audio,
            note=practised_lines(session, part)[0],
            on_ladder=False,
            uid=played.uid,
        )


async def session_from_elsewhere(request: Request) -> Response:
    """A long recording the browser decoded, as samples."""
    played = await played_elsewhere(request)
    return JSONResponse(await run_in_threadpool(_from_elsewhere, request, played))


def _from_elsewhere(request: Request, played: Played) -> dict[str, object]:
    desk, player = desk_of(request), someone(request)
    work = work_of(desk, player, request.query_params)
    return verdict_json(desk, keep_session(desk, player, work, played))


ROUTES = (
    Route("/practice/alone", show_alone),
    Route("/practice/alone", session_from_elsewhere, methods=["POST"]),
)
