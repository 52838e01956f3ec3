"""Tracks beside a pack in the app: made one pack at a time, packed, and let go."""

from __future__ import annotations

import asyncio
import io
import json
import tempfile
import time
import zipfile
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, nullcontext
from dataclasses import replace
from functools import partial
from multiprocessing import active_children
from pathlib import Path
from urllib.parse import urlencode

import pytest
import soundfile
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message

from doors import Undersong
from undersong.chart.setlist import SetSong
from undersong.cli.pack import HARD_BARS, KINDS, NOT_USUAL
from undersong.page.carepage import START_LOW
from undersong.practice.takehome import pack_tracks
from undersong.sound import tracks
from undersong.sound.tracks import USUAL_TRACKS, TrackKind
from undersong.web import packs, packtracks
from undersong.web.app import make_app
from undersong.web.desk import Desk
from undersong.web.guard import ELSEWHERE
from undersong.web.packing import PARCEL
from undersong.web.settext import set_text
from web_app import TestClient, demo_client

SHORT = "Title: Low Door\nKey: Bb\nTempo: 120\n\nVerse\n| 1 / / 5/7 | <4> |\n"
NAMES = ["Tuning notes.mp3", "01 Low Door.mp3"]
FEW = partial(pack_tracks, kinds=(TrackKind.FULL,), has_hard_bars=False)


@pytest.fixture
def few_kinds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packs, "pack_tracks", FEW)
    monkeypatch.setattr(tracks, "TUNING_NOTE_S", 1)


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for whatever is made in passing, so that it is seen what is left there."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def app(tmp_path: Path, temporary: Path, few_kinds: None) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as (client, desk):
        desk.book.keep_chart("Low Door", SHORT, at=desk.clock())
        sunday = desk.sunday()
        desk.keep(sunday.name, replace(sunday.setlist, songs=(SetSong("Low Door"),)))
        yield client, desk


def files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_the_usual_kinds_are_those_of_the_command_line() -> None:
    usual = [kind for kind in KINDS if kind not in NOT_USUAL]
    assert HARD_BARS in usual
    whole = [TrackKind[kind.replace("-", "_").upper()] for kind in usual if kind != HARD_BARS]
    assert tuple(whole) == USUAL_TRACKS


def test_pages_and_tracks_come_in_one_file(
    app: tuple[TestClient, Desk], temporary: Path, tmp_path: Path, undersong: Undersong
) -> None:
    client, desk = app
    asked = {"player": "Tobias"}
    pages = client.get("/pack.pdf", params=asked).content
    told = [
        json.loads(each) for each in client.post("/pack/tracks", params=asked).text.splitlines()
    ]
    assert [step["done"] for step in told] == [0, 1, 2, 3]
    assert {step["of"] for step in told} == {3}
    assert [step["words"] for step in told[1:3]] == [
        f"{done} of 2 made: {name.removesuffix('.mp3')}." for done, name in enumerate(NAMES, 1)
    ]
    answer = client.get("/pack/tracks.zip", params=asked)
    assert answer.headers["content-type"] == "application/zip"
    assert 'filename="Tobias.zip"' in answer.headers["content-disposition"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as whole:
        assert whole.testzip() is None
        held = {info.filename: whole.read(info) for info in whole.infolist()}
    assert held.pop("Tobias/pack.pdf")[:5] == pages[:5] == b"%PDF-"
    assert list(held) == [f"Tobias/{name}" for name in NAMES]
    for name, data in held.items():
        assert soundfile.info(io.BytesIO(data)).duration > 5, name
    assert [path.name for path in files_in(temporary)] == [PARCEL]

    # The command line makes the very same files of this set.
    (tmp_path / "Low Door").write_text(SHORT, encoding="utf-8")
    here = tmp_path / "here.toml"
    here.write_text(set_text(desk.sunday().setlist), encoding="utf-8")
    words = ("--player", "Tobias", "--tracks", "full")
    assert undersong("pack", here, "--out", tmp_path / "packs", *words).status == 0
    by_command = {path.name: path for path in (tmp_path / "packs" / "Tobias").glob("*.mp3")}
    assert set(by_command) == set(NAMES)
    for name, path in by_command.items():
        assert path.read_bytes() == held[f"Tobias/{name}"], name


def test_newer_tracks_push_out_the_oldest(temporary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packtracks, "MOST_KEPT", 2)
    shelf = packtracks.TrackShelf()
    for player in ("Tobias", "Iris", "Tobias", "Lea"):
        with shelf.folder() as folder:
            (folder / PARCEL).write_text(player)
            shelf.keep(player, folder)
    assert shelf.parcel("Iris") is None
    kept = [shelf.parcel(player) for player in ("Tobias", "Lea")]
    assert [path and path.read_text() for path in kept] == ["Tobias", "Lea"]
    assert sorted(files_in(temporary)) == sorted(path for path in kept if path)
    shelf.close()
    assert not list(temporary.iterdir())


def test_the_page_offers_tracks_with_a_caution(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    text = client.get("/pack", params={"player": "Tobias"}).text
    assert "about 7 MP3 files" in text
    assert START_LOW in text
    assert client.get("/pack/tracks.zip", params={"player": "Tobias"}).status_code == 400


def test_no_other_site_has_tracks_made(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    asked = {"player": "Tobias"}
    answer = client.post("/pack/tracks", params=asked, headers={"origin": "https://example.org"})
    assert (answer.status_code, answer.text) == (403, ELSEWHERE)
    assert client.get("/pack/tracks", params=asked).status_code == 405


async def ask(
    app: ASGIApp, player: str, heard: Callable[[str], bool], *, spec: str = "2.3"
) -> None:
    """Have tracks made as a server would, until `heard` has had enough of the lines."""
    left = asyncio.Event()
    scope = {
        "type": "http", "asgi": {"version": "3.0", "spec_version": spec}, "http_version": "1.1",
        "method": "POST", "scheme": "http", "path": "/pack/tracks", "root_path": "",
        "query_string": urlencode({"player": player}).encode(), "server": ("127.0.0.1", 80),
        "headers": [(b"host", b"127.0.0.1")],
    }  # fmt: skip
    asked = iter(({"type": "http.request", "body": b"", "more_body": False},))

    async def receive() -> Message:
        for message in asked:
            return message
        await left.wait()
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        if left.is_set() and spec == "2.4":
            raise OSError("nobody is there")
        for line in message.get("body", b"").decode().splitlines():
            if heard(json.loads(line)["words"]):
                left.set()

    await app(scope, receive, send)


@asynccontextmanager
async def opened(desk: Desk) -> AsyncIterator[ASGIApp]:
    app = make_app(desk)
    async with app.router.lifespan_context(app):
        yield app


@pytest.mark.parametrize("is_busy", [False, True])
@pytest.mark.parametrize("spec", ["2.3", "2.4"])
def test_leaving_in_the_middle_leaves_nothing(
    app: tuple[TestClient, Desk], temporary: Path, spec: str, *, is_busy: bool
) -> None:
    client, desk = app
    said: list[str] = []

    def heard(words: str) -> bool:
        said.append(words)
        if "1 of 2" in words:
            assert files_in(temporary)
            # A busy app gets round to it only when all that is to come has been said.
            while is_busy and active_children():
                time.sleep(0.02)
            return True
        return False

    async def leave() -> None:
        async with opened(desk) as app:
            # A server of the later kind is told that nobody reads on.
            with pytest.raises(ClientDisconnect) if spec == "2.4" else nullcontext():
                await ask(app, "Tobias", heard, spec=spec)
            assert active_children() == []
            assert list(temporary.glob("*/*")) == []

    asyncio.run(leave())
    assert said[-1].startswith("1 of 2")
    assert client.get("/pack/tracks.zip", params={"player": "Tobias"}).status_code == 400


def test_one_pack_at_a_time(app: tuple[TestClient, Desk], temporary: Path) -> None:
    _, desk = app
    said: list[str] = []

    async def both() -> None:
        started = asyncio.Event()

        def first(words: str) -> bool:
            said.append(f"Tobias: {words}")
            started.set()
            return False

        def second(words: str) -> bool:
            said.append(f"Iris: {words}")
            return "1 of 2" in words

        # Two doors of one computer, as with the network let in.
        async with opened(desk) as here, opened(desk) as network:
            making = asyncio.create_task(ask(here, "Tobias", first))
            await started.wait()
            await asyncio.gather(making, ask(network, "Iris", second))
            assert [path.name for path in files_in(temporary)] == [PARCEL]

    asyncio.run(both())
    assert not list(temporary.iterdir())  # what was kept goes when the app closes
    iris = [words for words in said if words.startswith("Iris")]
    assert iris[0] == "Iris: Tracks for Tobias are made first; then these."
    assert said.index("Tobias: The tracks are ready.") < said.index(iris[1])


def test_what_cannot_be_written_is_said(
    app: tuple[TestClient, Desk], temporary: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, _ = app
    usual = pack_tracks

    def twice(*words: object, **_: object) -> list[object]:
        tuning, *_rest = usual(*words, kinds=(), has_hard_bars=False)  # type: ignore[arg-type]
        return [tuning, tuning]

    monkeypatch.setattr(packs, "pack_tracks", twice)
    *_, last = client.post("/pack/tracks", params={"player": "Tobias"}).text.splitlines()
    assert "Two tracks are called" in json.loads(last)["error"]
    assert not files_in(temporary)
