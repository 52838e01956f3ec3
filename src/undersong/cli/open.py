"""`undersong open`: the app in the browser; on this computer alone unless asked otherwise."""

from __future__ import annotations

import argparse
import contextlib
import gc
import json
import socket
import threading
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from undersong.cli.options import Commands, add_json, whole
from undersong.errors import UndersongError

if TYPE_CHECKING:
    import uvicorn
    from starlette.applications import Starlette

    from undersong.web.certificate import Certificate
    from undersong.web.desk import Desk
    from undersong.web.door import Door

HOST = "127.0.0.1"
EVERYWHERE = "0.0.0.0"  # only where the user asks for the network
NETWORK_PORT = 8765  # always the same, so that links go on working
LEADER_HERE = "Leader, from the terminal"


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
    command.add_argument("--port", type=whole, default=0, metavar="N", help="default: any free one")
    command.add_argument(
        "--no-browser", action="store_true", help="only print the address; open nothing"
    )
    network = command.add_argument_group(
        "letting others in", "Each by a link of their own, over TLS; docs/at-home.md tells how."
    )
    network.add_argument(
        "--network", action="store_true", help="let phones and laptops on your network in"
    )
    network.add_argument(
        "--network-port", type=whole, default=NETWORK_PORT, metavar="N",
        help=f"the port they come to (default: {NETWORK_PORT})",
    )  # fmt: skip
    network.add_argument(
        "--name", action="append", default=[], metavar="NAME",
        help="another name or address of this computer; may be given again",
    )  # fmt: skip
    network.add_argument(
        "--certificate", type=Path, metavar="FILE",
        help="your own certificate (PEM) instead of one made on the spot",
    )  # fmt: skip
    network.add_argument("--key", type=Path, metavar="FILE", help="its key (PEM, no password)")
    network.add_argument(
        "--behind", metavar="ADDRESS",
        help="serve a web server that stands before the app at this https address",
    )  # fmt: skip
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Serve until interrupted."""
    with _loading():
        from undersong.cli.keeping import usual_log
        from undersong.log.book import Book
        from undersong.web.desk import Desk

    _check(args)
    with Book.open(args.log if args.log is not None else usual_log()) as book:
        desk = Desk(book)
        if args.set is not None:
            desk.bring_set(args.set)
        else:
            desk.bring_demo()
        if args.behind is not None:
            return _behind(args, desk)
        return _here(args, desk)


def _check(args: argparse.Namespace) -> None:
    if (args.certificate is None) != (args.key is None):
        raise UndersongError("A certificate needs its key: give --certificate and --key together.")
    if args.network and args.behind is not None:
        raise UndersongError("Choose --network, or --behind with the web server's address.")
    for option, value in (("--certificate", args.certificate), ("--name", args.name)):
        if value and not args.network:
            raise UndersongError(f"{option} is for the network: add --network.")


def _here(args: argparse.Namespace, desk: Desk) -> int:
    """On this computer; beside that on the network, where asked."""
    listening = _listening(args.port)
    address = f"http://{HOST}:{listening.getsockname()[1]}/"
    said = f"Undersong is open at {address}"
    door = None
    with contextlib.ExitStack() as stack:
        if args.network:
            door = stack.enter_context(_open_to_network(args, desk))
            said += f"\nand for others at {door.address}, by links made at {address}people"
        if args.json:
            told = {"address": address} | ({"network": door.address} if door else {})
            print(json.dumps(told), flush=True)
        else:
            print(f"{said}\nLeave this window be; Ctrl-C closes it.", flush=True)
        if not args.no_browser:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        # The browser takes its time too: meanwhile the pages are loaded.
        with _loading():
            from undersong.web.app import make_app

        with contextlib.suppress(KeyboardInterrupt):
            _server(make_app(desk, door=door)).run(sockets=[listening])
    return 0


@contextmanager
def _loading() -> Iterator[None]:
    """What is loaded stays: looking through it for garbage only holds up the first page."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _behind(args: argparse.Namespace, desk: Desk) -> int:
    """For a web server that has a certificate of its own; everybody comes in by a link."""
    from undersong.web.app import make_app
    from undersong.web.door import Door
    from undersong.web.guests import Guests, Role

    address = urlsplit(args.behind)
    if address.scheme != "https" or not address.hostname or address.path.strip("/"):
        raise UndersongError(
            f"--behind wants the address players come to, such as https://bass.example.org, not "
            f"{args.behind!r}: https, a name, no path."
        )
    door = Door(f"https://{address.netloc.casefold()}", frozenset({address.hostname}))
    listening = _listening(args.port)
    here = f"http://{HOST}:{listening.getsockname()[1]}"
    token = Guests(desk.book).invite(LEADER_HERE, Role.LEADER, made_on=desk.today().isoformat())
    link = f"{door.address}/enter/{token}"
    if args.json:
        print(json.dumps({"address": here, "network": door.address, "leader": link}), flush=True)
    else:
        print(
            f"Undersong waits at {here} for the web server at {door.address}.\n"
            f"Your own way in, as the leader: {link}\nLeave this window be; Ctrl-C closes it.",
            flush=True,
        )
    with contextlib.suppress(KeyboardInterrupt):
        _server(make_app(desk, door=door, outside=True)).run(sockets=[listening])
    return 0


@contextmanager
def _open_to_network(args: argparse.Namespace, desk: Desk) -> Iterator[Door]:
    """The app as the network sees it, served beside the one for this computer."""
    from undersong.web.app import make_app
    from undersong.web.door import Door

    names = own_names(args.name)
    certificate = _certificate(args, desk, names)
    listening = _listening(args.network_port, EVERYWHERE)
    port = listening.getsockname()[1]
    address = f"https://{names[0]}:{port}"
    door = Door(address, frozenset(names), certificate.fingerprint, certificate.authority)
    server = _server(make_app(desk, door=door, outside=True), certificate)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        yield door
    finally:
        server.should_exit = True
        thread.join(timeout=15)


def _certificate(args: argparse.Namespace, desk: Desk, names: list[str]) -> Certificate:
    from undersong.web.certificate import certificate_for, certificate_of

    if args.certificate is not None:
        return certificate_of(args.certificate, args.key)
    folder = desk.book.file.parent if desk.book.file is not None else Path.cwd()
    return certificate_for(folder, names, now=desk.clock())


def own_names(asked: list[str]) -> list[str]:
    """What this computer is called and addressed by; the first is best for a link."""
    found = [*asked]
    # Nothing is sent: the system only says by which of its addresses it would reach outside.
    # 192.0.2.1 is nobody's [RFC 5737].
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward, contextlib.suppress(OSError):
        outward.connect(("192.0.2.1", 9))
        found.append(outward.getsockname()[0])
    name = socket.gethostname()
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)]
    found += [name.casefold(), HOST, "localhost"]
    return list(dict.fromkeys(each for each in found if each != EVERYWHERE))


def _server(app: Starlette, certificate: Certificate | None = None) -> uvicorn.Server:
    import uvicorn

    from undersong.web.app import put_down

    class Server(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            # Answers on their way are waited for; tracks would take minutes.
            put_down(app)
            await super().shutdown(sockets)

    config = uvicorn.Config(
        app,
        log_level="warning",
        ws_max_size=2**20,
        timeout_graceful_shutdown=10,
        proxy_headers=False,
        server_header=False,
        ssl_certfile=certificate.chain if certificate else None,
        ssl_keyfile=certificate.key if certificate else None,
    )
    return Server(config)


def _listening(port: int, host: str = HOST) -> socket.socket:
    """A socket that takes callers at once, before the app is awake."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen()
    except (OSError, OverflowError) as error:
        listening.close()
        raise UndersongError(
            f"Port {port} cannot be used ({error}): choose another, or 0 to take any free one."
        ) from None
    return listening
