"""`undersong open` as a user starts it: an address, and a page behind it."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

DOOR = """
import argparse
from undersong.cli import open as door
commands = argparse.ArgumentParser()
door.add(commands.add_subparsers())
args = commands.parse_args()
raise SystemExit(args.run(args))
"""


@contextmanager
def opened(folder: Path, *words: str) -> Iterator[str]:
    """The app as a program of its own; its address."""
    with running(folder, *words) as (address, _):
        yield address


@contextmanager
def running(folder: Path, *words: str) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The same with the program; it closes without a complaint."""
    log = ["--log", str(folder / "log.sqlite"), "--no-browser"]
    with subprocess.Popen(
        [sys.executable, "-c", DOOR, "open", *words, *log],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as program:
        try:
            assert program.stdout is not None
            said = program.stdout.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+/", said)
            assert found is not None, said
            yield found[0], program
        finally:
            program.send_signal(signal.SIGINT)
            _, complaints = program.communicate(timeout=30)
            assert complaints == ""


def test_the_first_page_is_sunday(tmp_path: Path) -> None:
    with opened(tmp_path) as address:
        text = httpx.get(address, timeout=30).text
        assert "First Sunday of Advent" in text
        assert "Slow Water, Bright Stone" in text
    assert (tmp_path / "log.sqlite").is_file()


def test_closing_in_the_middle_of_tracks_is_quiet(tmp_path: Path) -> None:
    with running(tmp_path) as (address, program), httpx.Client(timeout=60) as client:
        asked = client.build_request("POST", f"{address}pack/tracks?player=Tobias")
        answer = client.send(asked, stream=True)
        lines = answer.iter_lines()
        assert "Getting the instruments ready." in next(lines)
        program.send_signal(signal.SIGINT)
        assert "Undersong was closed" in list(lines)[-1]
        program.wait(timeout=30)


def test_a_set_of_ones_own_is_opened(tmp_path: Path) -> None:
    (tmp_path / "door.txt").write_text("Title: Low Door\nKey: G\n\nVerse\n| 1 | 4 |\n")
    (tmp_path / "set.toml").write_text(
        'title = "Evening"\ndate = 2026-12-06\n[[song]]\nfile = "door.txt"\nkey = "A"\n'
    )
    with opened(tmp_path, str(tmp_path)) as address:
        text = httpx.get(address, timeout=30).text
        assert "Evening" in text
        assert "Low Door" in text


def test_it_answers_on_this_computer_alone(tmp_path: Path) -> None:
    with opened(tmp_path) as address:
        port = httpx.URL(address).port
        assert port is not None
        own = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)}
        for other in own - {"127.0.0.1", "::1"}:
            with pytest.raises(OSError):  # noqa: PT011  # refused or unreachable, as systems word it
                socket.create_connection((str(other), port), timeout=1).close()
        named = {"host": f"elsewhere.example:{port}"}
        assert httpx.get(address, headers=named, timeout=30).status_code == 403


def test_a_port_that_is_taken_is_said() -> None:
    from undersong.cli.open import _listening
    from undersong.errors import UndersongError

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(UndersongError, match="cannot be used"):
            _listening(taken.getsockname()[1])
    with pytest.raises(UndersongError, match="cannot be used"):
        _listening(99_999)
