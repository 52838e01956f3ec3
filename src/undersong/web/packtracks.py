"""Tracks for packs: whose are made now, whose come after, and where they lie until fetched.

One pack's tracks are made at a time for the whole app, in a process of its own (see `packing`).
They lie in a folder that goes when the app closes, or when newer ones push them out.
"""

from __future__ import annotations

import asyncio
import json
import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import AsyncGenerator, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from undersong.web.packing import PARCEL, Packer, Packing

MOST_KEPT = 8  # some eighty megabytes each
LOOK_AGAIN_S = 0.25
LOOKS_A_WORD = 40  # said again every ten seconds: a silent answer is given up on the way


class TrackShelf:
    """The last few players' packed tracks, by the player's name."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="undersong-", ignore_cleanup_errors=True)
        self._kept: OrderedDict[str, Path] = OrderedDict()
        self._lock = threading.Lock()
        self.is_stopped = False

    def stop(self) -> None:
        """Let nothing more be made."""
        self.is_stopped = True

    def close(self) -> None:
        """Let the tracks go."""
        self._folder.cleanup()

    @contextmanager
    def folder(self) -> Iterator[Path]:
        """A new folder to make tracks in; unless it is kept by then, it goes at the end."""
        made = Path(tempfile.mkdtemp(dir=self._folder.name))
        try:
            yield made
        finally:
            with self._lock:
                is_kept = made in self._kept.values()
            if not is_kept:
                shutil.rmtree(made, ignore_errors=True)

    def keep(self, player: str, folder: Path) -> None:
        """Keep a folder whose tracks are packed, instead of this player's older one."""
        with self._lock:
            gone = [self._kept.pop(player)] if player in self._kept else []
            self._kept[player] = folder
            while len(self._kept) > MOST_KEPT:
                gone.append(self._kept.popitem(last=False)[1])
        for each in gone:
            shutil.rmtree(each, ignore_errors=True)

    def parcel(self, player: str) -> Path | None:
        """Pages and tracks of a player in one file; None where there are none."""
        with self._lock:
            folder = self._kept.get(player)
        return None if folder is None else folder / PARCEL


@dataclass(frozen=True, eq=False, slots=True)
class _Turn:
    """Somebody's place in the line; two of one player are two."""

    player: str


# One line for the whole process: the app on the network and the one on this computer share it, each
# in a loop of its own.
_LINE: list[_Turn] = []
_LINING_UP = threading.Lock()


@contextmanager
def _in_line(player: str) -> Iterator[_Turn]:
    turn = _Turn(player)
    with _LINING_UP:
        _LINE.append(turn)
    try:
        yield turn
    finally:
        with _LINING_UP:
            _LINE.remove(turn)


def _first() -> _Turn:
    with _LINING_UP:
        return _LINE[0]


async def making(shelf: TrackShelf, player: str, packing: Packing) -> AsyncGenerator[str, None]:
    """Wait for the turn, make the tracks and keep them; each step as a line of JSON.

    Left in the middle, or where the shelf is stopped, it stops, and what was made goes.
    """
    with _in_line(player) as turn:
        looked = 0
        while (first := _first()) is not turn:
            if shelf.is_stopped:
                yield _STOPPED
                return
            if looked % LOOKS_A_WORD == 0:
                yield _line(0, packing, f"Tracks for {first.player} are made first; then these.")
            looked += 1
            await asyncio.sleep(LOOK_AGAIN_S)
        with shelf.folder() as folder, closing(Packer(packing, folder)) as packer:
            yield _line(0, packing, "Getting the instruments ready.")
            await run_in_threadpool(packer.start)
            while (step := packer.step()) is None or not step.is_last:
                if shelf.is_stopped:
                    yield _STOPPED
                    return
                if step is not None:
                    words = f"{step.done} of {len(packing.tracks)} made: {step.name}."
                    yield _line(step.done, packing, words)
                # Also where the next step is there already: who left meanwhile is noticed here.
                await asyncio.sleep(LOOK_AGAIN_S if step is None else 0)
            if step.error:
                yield json.dumps({"error": step.error}) + "\n"
                return
            shelf.keep(player, folder)
        yield _line(len(packing.tracks) + 1, packing, "The tracks are ready.")


_STOPPED = json.dumps({"error": "Undersong was closed before the tracks were made."}) + "\n"


def _line(done: int, packing: Packing, words: str) -> str:
    of = len(packing.tracks) + 1  # the last step puts them together
    return json.dumps({"done": done, "of": of, "words": words}) + "\n"


class Telling(StreamingResponse):
    """Lines of JSON from work that is put away at once when nobody reads on."""

    def __init__(self, lines: AsyncGenerator[str, None]) -> None:
        super().__init__(lines, media_type="application/x-ndjson")
        self._lines = lines

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until the end, or until the page is left."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            await self._lines.aclose()
