"""The app over a log in a temporary folder, as its tests call on it."""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

with warnings.catch_warnings():
    # The test client would rather have httpx's successor; it works with httpx as well.
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

from undersong.log.book import Book
from undersong.web.app import make_app
from undersong.web.desk import Desk

__all__ = ["OWN", "TestClient", "demo_client", "demo_desk"]

OWN = "http://127.0.0.1"


@cache
def _demo_log() -> bytes:
    """A log with the demo's Sunday, made once: every test begins with a copy of it."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.sqlite"
        with Book.open(Path(folder) / "log.sqlite") as book:
            Desk(book).bring_demo()
            book.backup(copy)
        return copy.read_bytes()


@contextmanager
def demo_desk(folder: Path) -> Iterator[Desk]:
    """A desk with the demo's Sunday on it."""
    file = folder / "log.sqlite"
    file.write_bytes(_demo_log())
    with Book.open(file) as book:
        yield Desk(book)


@contextmanager
def demo_client(folder: Path) -> Iterator[tuple[TestClient, Desk]]:
    """A caller on this computer, and the desk behind the app."""
    with demo_desk(folder) as desk, TestClient(make_app(desk), base_url=OWN) as client:
        yield client, desk
