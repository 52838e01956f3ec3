"""Eight players at once: `PYTHONPATH=tests python benchmarks/web_load.py [--players 8] [--pack]`.

The app runs as a program of its own. Each player streams one of the demo's takes in real time, as
the page does, the players starting a little apart; then waits for the verdict. Printed: whether
sound was lost, how long each verdict took after the last block, whether the ear heard along, and
the app's processor time for each player.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import signal
import struct
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from contextlib import suppress
from importlib.resources import files
from pathlib import Path

import httpx
import numpy as np
import soundfile
import websockets

from undersong.log.book import Book
from undersong.web.desk import now_here

RATE_HZ = 44_100
BLOCK = 1024
APART_S = 0.4
FIRST_NOTE_S = 0.59  # of the first take; the page sends when it believes the music begins
UNDER_WAY_S = 20  # until instruments are ready and tracks come
OPEN = (sys.executable, "-m", "undersong", "open", "--no-browser")


async def play(
    port: int, number: int, samples: np.ndarray[tuple[int], np.dtype[np.float32]]
) -> tuple[float, str, str]:
    """One player's pass; seconds from the last block to the verdict, and the verdict."""
    await asyncio.sleep(APART_S * number)
    host = f"127.0.0.1:{port}"
    cookie = {"Cookie": f"player=Player%20{number}"}
    async with websockets.connect(
        f"ws://{host}/listen", origin=websockets.Origin(f"http://{host}"), additional_headers=cookie
    ) as socket:
        begin = {
            "type": "begin",
            "uid": str(uuid.uuid4()),
            "query": {"drill": "scale", "key": "G"},
            "tempo": 70,
            "sample_rate": RATE_HZ,
            "start_time": None,
            "about_time": FIRST_NOTE_S,
            "live": True,
        }
        await socket.send(json.dumps(begin))
        began = time.monotonic()
        for at in range(0, len(samples), BLOCK):
            block = samples[at : at + BLOCK]
            await socket.send(struct.pack("<dd", at, at / RATE_HZ) + block.astype("<f4").tobytes())
            await asyncio.sleep(max(0.0, began + (at + BLOCK) / RATE_HZ - time.monotonic()))
        await socket.send(json.dumps({"type": "end"}))
        ended = time.monotonic()
        said: list[dict[str, object]] = []
        answer = json.loads(await socket.recv())
        while answer["type"] == "live":
            said += answer["said"]
            answer = json.loads(await socket.recv())
        lost = "lost" if "sound were lost" in answer.get("html", "") else "none lost"
        kinds = [each["kind"] for each in said]
        along = "not heard along" if "off" in kinds else f"{kinds.count('note')} notes told live"
        return (
            time.monotonic() - ended,
            answer.get("outcome", answer.get("message")),
            f"{lost}, {along}",
        )


def processor_s(pid: int) -> float:
    """Processor time of a program so far, in seconds (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


async def everybody(port: int, players: int) -> list[tuple[float, str, str]]:
    """All players at once."""
    samples, rate = soundfile.read(
        Path(str(files("undersong"))) / "demo" / "takes" / "first.flac", dtype="float32"
    )
    doubled = np.repeat(samples, RATE_HZ // rate)
    return await asyncio.gather(*(play(port, number, doubled) for number in range(players)))


def make_tracks(port: int) -> None:
    """Have a pack's tracks made until the app closes."""
    address = f"http://127.0.0.1:{port}/pack/tracks?player=Tobias"
    with suppress(httpx.TransportError), httpx.stream("POST", address, timeout=None) as answer:
        for line in answer.iter_lines():
            print(f"Tracks: {json.loads(line)['words']}", flush=True)


def main() -> None:
    """Serve, play, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--pack", action="store_true", help="a pack's tracks are made meanwhile")
    parser.add_argument("--players", type=int, default=8)
    parser.add_argument("--port", type=int, default=8765)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log.sqlite"
        with Book.open(log) as book:
            for number in range(args.players):
                book.add_player(f"Player {number}", at=now_here())
        words = (*OPEN, "--log", str(log), "--port", str(args.port))
        with subprocess.Popen(words) as app:
            for _ in range(100):
                time.sleep(0.2)
                try:
                    httpx.get(f"http://127.0.0.1:{args.port}/ready", timeout=20)
                    break
                except httpx.TransportError:
                    continue
            if args.pack:
                threading.Thread(target=make_tracks, args=(args.port,), daemon=True).start()
                time.sleep(UNDER_WAY_S)
            before_s = processor_s(app.pid)
            answers = asyncio.run(everybody(args.port, args.players))
            spent_s = processor_s(app.pid) - before_s
            app.send_signal(signal.SIGINT)
    for number, (wait_s, outcome, lost) in enumerate(answers):
        print(f"Player {number}: verdict {outcome} after {wait_s:.2f} s, {lost}")
    waits = [wait_s for wait_s, _, _ in answers]
    print(f"Verdicts: median {np.median(waits):.2f} s, latest {max(waits):.2f} s")
    print(f"Processor: {spent_s / args.players:.2f} s for each player's pass")


if __name__ == "__main__":
    main()
