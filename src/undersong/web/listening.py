"""The microphone's stream: blocks with their places over a WebSocket, judged when the pass ends.

The page sends, in this order: one text message that begins the take, binary blocks (the number of
the first frame and its time on the click's clock in seconds as 64-bit floats, then 32-bit float
samples, all little-endian), one text message that ends it. It is answered by the verdict, or by
one sentence of what went wrong; if it asks for it, also by what can be said while it goes on
(`live`). A page that loses the connection sends its whole take again under
the same name: nothing is kept twice.
"""

from __future__ import annotations

import asyncio
import json
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from math import isfinite
from weakref import WeakSet

from starlette.concurrency import run_in_threadpool
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from undersong.ear import window_ms
from undersong.errors import UndersongError
from undersong.log.values import Player
from undersong.web.alone import keep_session
from undersong.web.desk import Desk
from undersong.web.incoming import Incoming, Samples, read_block
from undersong.web.live import Alongside
from undersong.web.pages import desk_of, player_of
from undersong.web.takes import (
    Played,
    as_query,
    checked_rate,
    checked_tempo,
    checked_uid,
    is_judging,
    judge,
    verdict_json,
)
from undersong.web.work import Work, level_of, work_of


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
        along = await run_in_threadpool(_alongside, socket, begin, incoming.sample_rate_hz)
        hearing = None if along is None else HearingAlong(socket, along)
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                raise WebSocketDisconnect(message.get("code", 1000))
            if message.get("bytes") is not None:
                if incoming.add(message["bytes"]) and hearing is not None:
                    hearing.add(incoming.blocks[-1], incoming.times_s[-1])
                continue
            if _told(message.get("text") or "", "end", "drop")["type"] == "drop":
                return
            break
        if hearing is not None:
            await hearing.end()
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


# All that is heard along is heard by one thread, in turn: several would only wait for one another.
# Whoever has to wait finds more blocks come in meanwhile, and has them heard at one go.
_EARS = ThreadPoolExecutor(max_workers=1, thread_name_prefix="hearing along")


async def _after_verdicts() -> None:
    """Let a verdict go first, for a moment: who waits for one has stopped playing."""
    until_s = time.monotonic() + MOST_WAIT_S
    while is_judging() and time.monotonic() < until_s:
        await asyncio.sleep(SHORT_S)


MOST_WAIT_S, SHORT_S = 0.3, 0.03
MOST_TUNED = 4  # who joins more players than that has no tuner beside the notes


class HearingAlong:
    """Blocks heard beside the loop that takes them in; it never waits for them."""

    def __init__(self, socket: WebSocket, along: Alongside) -> None:
        self._socket, self._along = socket, along
        self._waiting: list[tuple[Samples, float]] = []
        self._task: asyncio.Task[None] | None = None
        _ALONG.add(self)

    def add(self, samples: Samples, time_s: float) -> None:
        """The next block."""
        self._waiting.append((samples, time_s))
        if self._task is None:
            self._task = asyncio.create_task(self._hear())

    async def _hear(self) -> None:
        loop = asyncio.get_running_loop()
        while self._waiting:
            await _after_verdicts()
            blocks, self._waiting = self._waiting, []
            said = await loop.run_in_executor(_EARS, self._along.hear_all, blocks)
            if said:
                with suppress(RuntimeError, WebSocketDisconnect):  # the page has gone meanwhile
                    await self._socket.send_text(json.dumps({"type": "live", "said": said}))
        self._task = None

    async def end(self) -> None:
        """Nothing more is to be said: the verdict waits for nothing that comes too late to help."""
        self._waiting = []
        if self._task is not None:
            await self._task


async def tune(socket: WebSocket) -> None:
    """Tuner and level alone: blocks in, readings out; nothing is kept."""
    await socket.accept()
    try:
        begin = _told(await socket.receive_text(), "begin")
        rate = checked_rate(begin.get("sample_rate"))
        hearing = HearingAlong(socket, Alongside(rate, None, 0.0, None))
        while True:
            _, time_s, samples = read_block(await socket.receive_bytes())
            hearing.add(samples, time_s)
    except UndersongError as error:
        await socket.send_text(json.dumps({"type": "error", "message": str(error)}))
        await socket.close()
    except (WebSocketDisconnect, KeyError):  # gone, or text where sound was due
        return


_ALONG: WeakSet[HearingAlong] = WeakSet()  # those who are heard along now
MUDDLED = "The page and the app do not understand each other: reload the page."


def _told(text: str, *kinds: str) -> dict[str, object]:
    try:
        told = json.loads(text)
    except ValueError:
        told = None
    if not isinstance(told, dict) or told.get("type") not in kinds:
        raise UndersongError(MUDDLED)
    return told


def _asked(socket: WebSocket, begin: dict[str, object]) -> tuple[Desk, Player, Work]:
    """Who plays what."""
    desk, player = desk_of(socket), player_of(socket)
    if player is None:
        raise UndersongError("Say first who is playing.")
    query = begin.get("query")
    asked = (
        {str(name): str(value) for name, value in query.items()} if isinstance(query, dict) else {}
    )
    return desk, player, work_of(desk, player, as_query(asked))


def _alongside(
    socket: WebSocket, begin: dict[str, object], sample_rate_hz: int
) -> Alongside | None:
    """The ear for the time of the pass, where the page asks for one."""
    if begin.get("live") is not True:
        return None
    _, player, work = _asked(socket, begin)
    part = work.part.at_tempo(checked_tempo(begin.get("tempo")))
    tolerance_ms = window_ms(part, level=level_of(player))
    start_time, about_time = (_time(begin, name) for name in ("start_time", "about_time"))
    has_tuner = len(_ALONG) < MOST_TUNED
    return Alongside(
        sample_rate_hz, part, tolerance_ms, start_time, about_time, has_tuner=has_tuner
    )


def _time(begin: dict[str, object], name: str) -> float | None:
    time_s = begin.get(name)
    if not isinstance(time_s, int | float) or not isfinite(time_s):
        return None
    return float(time_s)


def _judged(socket: WebSocket, begin: dict[str, object], incoming: Incoming) -> dict[str, object]:
    desk, player, work = _asked(socket, begin)
    arrived = incoming.whole()
    start_time = _time(begin, "start_time")
    played = Played(
        uid=checked_uid(str(begin.get("uid"))),
        samples=arrived.samples,
        sample_rate_hz=incoming.sample_rate_hz,
        tempo_bpm=checked_tempo(begin.get("tempo")),
        start_s=None if start_time is None else start_time - arrived.zero_s,
        lost_ms=arrived.lost_ms,
        stumbled_ms=arrived.stumbled_ms,
        refusal=arrived.refusal,
    )
    keep = keep_session if begin.get("session") is True else judge
    return verdict_json(desk, keep(desk, player, work, played))


ROUTES = (WebSocketRoute("/listen", listen), WebSocketRoute("/tune", tune))
