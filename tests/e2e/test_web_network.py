"""`undersong open --network` and `--behind` as they are started, over TLS as a phone comes in."""

from __future__ import annotations

import json
import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from undersong.log.book import Book
from undersong.practice.ladder import Rule
from undersong.web.desk import Desk
from undersong.web.guests import Guests, Role
from undersong.web.work import kept_item, work_of
from web_browser import PHONE, chromium, needs_chromium

FAST_BPM = 240.0
STARTED = "import sys; from undersong.cli.main import main; raise SystemExit(main(sys.argv[1:]))"


def free_port() -> int:
    with closing(socket.socket()) as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
    return port


@contextmanager
def opened(log: Path, *words: str) -> Iterator[dict[str, Any]]:
    """The app as a program of its own; what it says of its addresses."""
    asked = [sys.executable, "-c", STARTED, "open", "--no-browser", "--json", "--log", str(log)]
    with subprocess.Popen(
        [*asked, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as program:
        try:
            assert program.stdout is not None
            line = program.stdout.readline()
            assert line, program.stderr.read() if program.stderr else ""
            yield json.loads(line)
        finally:
            program.send_signal(signal.SIGINT)
            program.communicate(timeout=30)


def refused_with(log: Path, *words: str) -> str:
    asked = [sys.executable, "-c", STARTED, "open", "--no-browser", "--log", str(log), *words]
    done = subprocess.run(asked, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    return done.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("network")


@pytest.fixture(scope="module")
def network(folder: Path) -> Iterator[dict[str, Any]]:
    with opened(folder / "log.sqlite", "--network", "--network-port", str(free_port())) as told:
        yield told


def test_the_certificate_holds_for_whoever_trusts_its_authority(
    network: dict[str, Any], folder: Path
) -> None:
    address = network["network"]
    with pytest.raises(httpx.ConnectError):
        httpx.get(f"{address}/enter", timeout=30)
    unsure = httpx.get(f"{address}/certificate.crt", verify=False, timeout=30)
    trusting = ssl.create_default_context(cadata=unsure.text)
    answer = httpx.get(f"{address}/", verify=trusting, timeout=30)
    assert answer.status_code == 401
    assert "You need an invitation" in answer.text
    assert answer.headers["content-security-policy"]


def test_this_computer_itself_goes_in_as_ever(network: dict[str, Any]) -> None:
    text = httpx.get(network["address"], timeout=30).text
    assert "Slow Water, Bright Stone" in text
    people = httpx.get(f"{network['address']}people", timeout=30).text
    assert network["network"] in people
    assert "SHA-256" in people


def test_the_key_is_for_its_owner_alone(network: dict[str, Any], folder: Path) -> None:
    assert (folder / "network-key.pem").stat().st_mode & 0o077 == 0


@needs_chromium
def test_a_player_on_a_phone_comes_in_plays_and_is_heard(
    network: dict[str, Any], folder: Path
) -> None:
    with Book.open(folder / "log.sqlite") as book, chromium() as browser:
        desk = Desk(book)
        player = book.player("Iris")
        book.note_pain(player, at=desk.clock(), hurts=False)
        item = kept_item(desk, work_of(desk, player, {"drill": "scale", "key": "G"}))
        book.set_rule(player, item, Rule(start_bpm=FAST_BPM), start_over=True)
        token = Guests(book).invite("Iris", Role.PLAYER, made_on="2026-11-25")
        context = browser.new_context(
            viewport={"width": PHONE[0], "height": PHONE[1]},
            base_url=network["network"],
            ignore_https_errors=True,  # as somebody does who goes on after the warning
            permissions=["microphone"],
        )
        page = context.new_page()
        page.goto(f"/enter/{token}")
        page.get_by_role("button", name="Come in").click()
        page.get_by_role("link", name="Slow Water, Bright Stone", exact=True).wait_for()
        [cookie] = [each for each in context.cookies() if each["name"].startswith("__Host-")]
        assert (cookie["httpOnly"], cookie["secure"], cookie["sameSite"]) == (True, True, "Strict")
        assert page.get_by_role("link", name="Key, tempo").count() == 0
        page.goto("/practice/at?drill=scale&key=G")
        page.get_by_role("button", name="Play a pass").click()
        page.get_by_role("button", name="Listen, keep no recording").click()
        page.locator(".verdict").wait_for(timeout=30_000)
        assert [take.player for take in book.takes_of(None)] == ["Iris"]
        Guests(book).withdraw(1)
        page.reload()
        page.get_by_text("You need an invitation").wait_for()


def test_behind_a_web_server_everybody_needs_a_link(tmp_path: Path) -> None:
    name = "bass.example"
    with opened(tmp_path / "log.sqlite", "--behind", f"https://{name}") as told:
        assert told["network"] == f"https://{name}"
        # What a web server passes on: the name it was called by.
        with httpx.Client(
            base_url=told["address"], headers={"host": name}, timeout=30
        ) as passed_on:
            assert passed_on.get("/").status_code == 401
            token = told["leader"].rsplit("/", 1)[1]
            entered = passed_on.post(
                "/enter", data={"token": token}, headers={"origin": f"https://{name}"}
            )
            secret = entered.headers["set-cookie"].split(";")[0]
            seen = passed_on.get("/people", headers={"cookie": secret})
            assert f"https://{name}" in seen.text
            plain = passed_on.post(
                "/people/withdraw",
                data={"number": "1"},
                headers={"cookie": secret, "origin": f"http://{name}"},
            )
            assert plain.status_code == 403
        assert httpx.get(told["address"], timeout=30).status_code == 403


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--certificate", "a.pem"), "needs its key"),
        (("--network", "--behind", "https://bass.example"), "Choose --network, or --behind"),
        (("--behind", "http://bass.example"), "https, a name, no path"),
        (("--behind", "https://bass.example/app"), "https, a name, no path"),
        (("--name", "room"), "add --network"),
        (("--network", "--certificate", "none.pem", "--key", "none.pem"), "cannot be read"),
    ],
)
def test_what_cannot_be_opened_is_said(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    assert said in refused_with(tmp_path / "log.sqlite", *words)
