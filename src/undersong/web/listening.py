"""The microphone's stream: blocks with frame numbers over a WebSocket, judged when the pass ends.

The page sends, in this order: one text message that begins the take, binary blocks (the number of
the first frame as a 64-bit float, then 32-bit float samples, all little-endian), one text message
that ends it. It is answered by the verdict, or by one sentence of what went wrong. A page that
loses the connection sends its whole take again under the same name: nothing is kept twice.
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field
from math import isfinite

import numpy as np
from numpy.typing import NDArray
from starlette.concurrency import run_in_threadpool
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from undersong.errors import UndersongError
from undersong.web.desk import Desk
from undersong.web.pages import desk_of, player_of
from undersong.web.takes import (
    LONGEST_S,
    Played,
    as_query,
    checked_rate,
    checked_tempo,
    checked_uid,
    judge,
    verdict_json,
)
from undersong.web.work import work_of

_HEAD = struct.Struct("<d")
LARGEST_BLOCK_BYTES = _HEAD.size + 4 * 65_536


@dataclass
class Incoming:
    """A take as its blocks arrive, in order; what is missing is silence, and is counted."""

    sample_rate_hz: int
    first_frame: int | None = None
    next_frame: int = 0
    lost_frames: int = 0
    blocks: list[NDArray[np.float32]] = field(default_factory=list)

    def add(self, message: bytes) -> None:
        """One binary message."""
        if not _HEAD.size < len(message) <= LARGEST_BLOCK_BYTES or len(message) % 4:
            raise UndersongError("A block of sound came broken.")
        place = float(_HEAD.unpack_from(message)[0])
        if not isfinite(place):
            raise UndersongError("A block of sound has no place.")
        frame = round(place)
        samples = np.frombuffer(message, "<f4", offset=_HEAD.size).astype(np.float32)
        if not np.isfinite(samples).all():
            raise UndersongError("A block of sound holds samples that are no numbers.")
        if self.first_frame is None:
            self.first_frame = self.next_frame = frame
        gap = frame - self.next_frame
        if max(gap, 0) + len(self) > LONGEST_S * self.sample_rate_hz:
            raise UndersongError("This take is too long: twenty minutes is the most.")
        if gap > 0:
            self.lost_frames += gap
            self.blocks.append(np.zeros(gap, np.float32))
        elif gap < 0:
            samples = samples[-gap:]  # sent before
        self.blocks.append(samples)
        self.next_frame = max(self.next_frame, frame + len(samples) + max(0, -gap))

    def __len__(self) -> int:
        return self.next_frame - (self.first_frame or 0)

    @property
    def lost_ms(self) -> float:
        """Sound that never arrived, or that the browser itself left out."""
        # What never arrived is silence in `samples` too, so the two are not added.
        never_ms = 1000 * self.lost_frames / self.sample_rate_hz
        return max(never_ms, broken_ms(self.samples, self.sample_rate_hz))

    @property
    def samples(self) -> NDArray[np.float32]:
        """All of it, shape (n,)."""
        return np.concatenate([np.zeros(0, np.float32), *self.blocks])


def broken_ms(samples: NDArray[np.float32], sample_rate_hz: int) -> float:
    """How much sound a browser that could not keep up left out, in milliseconds.

    It puts silence there, and silence to the last bit between two stretches of sound never comes
    out of a microphone. Longer silence is a player's or a gate's.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], samples == 0, [False]]).astype(int)))
    starts, ends = edges[::2], edges[1::2]
    lengths = ends - starts
    short = (lengths >= SHORTEST_BREAK_S * sample_rate_hz) & (
        lengths <= LONGEST_BREAK_S * sample_rate_hz
    )
    around = round(BESIDE_S * sample_rate_hz)
    lost = 0
    for start, end in zip(starts[short], ends[short], strict=True):
        before, after = samples[max(0, start - around) : start], samples[end : end + around]
        if min(_level(before), _level(after)) > SOUNDING:
            lost += int(end - start)
    return 1000 * lost / sample_rate_hz


SHORTEST_BREAK_S, LONGEST_BREAK_S, BESIDE_S = 0.0015, 0.1, 0.02
SOUNDING = 10 ** (-80 / 20)  # well under any input's own noise beside a played note


def _level(samples: NDArray[np.float32]) -> float:
    return float(np.sqrt(np.mean(np.square(samples)))) if len(samples) else 0.0


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
    start_frame = begin.get("start_frame")
    start_s = None
    if isinstance(start_frame, int | float) and incoming.first_frame is not None:
        start_s = (start_frame - incoming.first_frame) / incoming.sample_rate_hz
    played = Played(
        uid=checked_uid(str(begin.get("uid"))),
        samples=incoming.samples,
        sample_rate_hz=incoming.sample_rate_hz,
        tempo_bpm=checked_tempo(begin.get("tempo")),
        start_s=start_s,
        lost_ms=incoming.lost_ms,
    )
    return verdict_json(desk, judge(desk, player, work_of(desk, player, asked), played))


ROUTES = (WebSocketRoute("/listen", listen),)
