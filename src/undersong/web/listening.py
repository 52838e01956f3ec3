"""The microphone's stream: blocks with their places over a WebSocket, judged when the pass ends.

The page sends, in this order: one text message that begins the take, binary blocks (the number of
the first frame and its time on the click's clock in seconds as 64-bit floats, then 32-bit float
samples, all little-endian), one text message that ends it. It is answered by the verdict, or by
one sentence of what went wrong. A page that loses the connection sends its whole take again under
the same name: nothing is kept twice.
"""

from __future__ import annotations

import json

from starlette.concurrency import run_in_threadpool
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from undersong.errors import UndersongError
from undersong.web.desk import Desk
from undersong.web.incoming import Incoming
from undersong.web.pages import desk_of, player_of
from undersong.web.takes import (
    Played,
    as_query,
    checked_rate,
    checked_tempo,
    checked_uid,
    judge,
    verdict_json,
)
from undersong.web.work import work_of


async def listen(socket: WebSocket) -> None:
    """One page listening; one take after another."""
    await socket.accept()
    try:
        while True:
            await _one_take(socket)
    except WebSocketDisconnect:
        return


async def _one_take(socket: WebSocket) -> None:
    try:
        begin = _told(await socket.receive_text(), "begin")
        incoming = Incoming(checked_rate(begin.get("sample_rate")))
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                raise WebSocketDisconnect(message.get("code", 1000))
            if message.get("bytes") is not None:
                incoming.add(message["bytes"])
                continue
            if _told(message.get("text") or "", "end", "drop")["type"] == "drop":
                return
            break
        answer = await run_in_threadpool(_judged, socket, begin, incoming)
    except UndersongError as error:
        await socket.send_text(json.dumps({"type": "error", "message": str(error)}))
    except KeyError:  # sound where text was due: the rest of a take that was refused
        await socket.send_text(json.dumps({"type": "error", "message": MUDDLED}))
    else:
        await socket.send_text(json.dumps(answer))
        return
    await socket.close()
    raise WebSocketDisconnect


MUDDLED = "The page and the app do not understand each other: reload the page."


def _told(text: str, *kinds: str) -> dict[str, object]:
    try:
        told = json.loads(text)
    except ValueError:
        told = None
    if not isinstance(told, dict) or told.get("type") not in kinds:
        raise UndersongError(MUDDLED)
    return told


def _judged(socket: WebSocket, begin: dict[str, object], incoming: Incoming) -> dict[str, object]:
    desk: Desk = desk_of(socket)
    player = player_of(socket)
    if player is None:
        raise UndersongError("Say first who is playing.")
    query = begin.get("query")
    asked = as_query(
        {str(name): str(value) for name, value in query.items()} if isinstance(query, dict) else {}
    )
    arrived = incoming.whole()
    start_time = begin.get("start_time")
    played = Played(
        uid=checked_uid(str(begin.get("uid"))),
        samples=arrived.samples,
        sample_rate_hz=incoming.sample_rate_hz,
        tempo_bpm=checked_tempo(begin.get("tempo")),
        start_s=start_time - arrived.zero_s if isinstance(start_time, int | float) else None,
        lost_ms=arrived.lost_ms,
        refusal=arrived.refusal,
    )
    return verdict_json(desk, judge(desk, player, work_of(desk, player, asked), played))


ROUTES = (WebSocketRoute("/listen", listen),)
