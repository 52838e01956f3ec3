"""`undersong open`: the app, on this computer alone, in the browser."""

from __future__ import annotations

import argparse
import contextlib
import json
import socket
import threading
import webbrowser
from pathlib import Path

from undersong.cli.options import Commands, add_json
from undersong.errors import UndersongError

HOST = "127.0.0.1"


def add(commands: Commands) -> None:
    """Put `open` on the list of commands."""
    command = commands.add_parser(
        "open",
        help="the app in the browser: see Sunday, play, be heard",
        description="Start the app on this computer alone and open it in the browser. Without a "
        "set it goes on where you were; the first time it shows an invented band's Sunday.",
    )
    command.add_argument(
        "set", nargs="?", type=Path, metavar="SET", help="a set file (.toml), or the folder of one"
    )
    command.add_argument("--log", type=Path, metavar="FILE", help="the log (default: see README)")
    command.add_argument("--port", type=int, default=0, metavar="N", help="default: any free one")
    command.add_argument(
        "--no-browser", action="store_true", help="only print the address; open nothing"
    )
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Serve until interrupted."""
    import uvicorn

    from undersong.cli.keeping import usual_log
    from undersong.log.book import Book
    from undersong.web.app import make_app
    from undersong.web.desk import Desk

    with Book.open(args.log if args.log is not None else usual_log()) as book:
        desk = Desk(book)
        if args.set is not None:
            desk.bring_set(args.set)
        else:
            desk.bring_demo()
        listening = _listening(args.port)
        address = f"http://{HOST}:{listening.getsockname()[1]}/"
        if args.json:
            print(json.dumps({"address": address}), flush=True)
        else:
            print(
                f"Undersong is open at {address}\nLeave this window be; Ctrl-C closes it.",
                flush=True,
            )
        if not args.no_browser:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        config = uvicorn.Config(
            make_app(desk), log_level="warning", ws_max_size=2**20, timeout_graceful_shutdown=10
        )
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])
    return 0


def _listening(port: int) -> socket.socket:
    """A socket on this computer alone; it takes callers at once, before the app is awake."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
        listening.listen()
    except (OSError, OverflowError) as error:
        listening.close()
        raise UndersongError(
            f"Port {port} cannot be used ({error}): leave --port out to take any free one."
        ) from None
    return listening
