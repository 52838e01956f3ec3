from __future__ import annotations

import csv
import io
import json
import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from undersong.chart.setlist import parse_set
from undersong.log.book import Book
from undersong.practice.ladder import Outcome
from undersong.web.desk import Desk
from undersong.web.logpage import forget_old
from undersong.web.takes import Played, judge
from undersong.web.work import work_of
from web_app import TestClient, demo_client


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as (client, desk):
        player = desk.book.player("Iris")
        item = desk.book.keep_item("drill", "scale", key="G")
        desk.book.keep_take(
            player, item, outcome=Outcome.CLEAN, tempo_bpm=70, at=desk.clock(), length_s=14
        )
        yield client, desk


def test_the_log_shows_what_was_practised(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    text = client.get("/log").text
    assert "Scale in G" in text
    assert "The last passes: 70 clean. Next: 70." in text


def test_the_table_opens_in_a_spreadsheet(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    answer = client.get("/log/undersong-log.csv")
    [row] = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert (row["player"], row["tempo_bpm"], row["outcome"]) == ("Iris", "70", "clean")
    assert "attachment" in answer.headers["content-disposition"]


def test_results_go_home_and_come_back(app: tuple[TestClient, Desk], tmp_path: Path) -> None:
    client, _ = app
    sent = client.get("/log/undersong-log.json", params={"player": "Iris"}).content
    other = tmp_path / "other"
    other.mkdir()
    with demo_client(other) as (leader, desk):
        for _ in range(2):  # twice is harmless
            leader.post("/log/bring", files={"file": ("results.json", sent)})
        assert len(desk.book.takes_of(None)) == 1


CHART = "Title: Reed and River\nKey: A\nTempo: 80\n\nVerse\n| 1 | 4 | 5 | 1 |\n"
AWAY = """title = "Third Sunday"
date = 2099-12-20

[[song]]
file = "Reed and River"

[[player]]
name = "Noor"
level = 2
"""


def test_a_set_goes_to_a_volunteer_in_one_file_and_the_results_come_back(tmp_path: Path) -> None:
    for name in ("leader", "volunteer"):
        (tmp_path / name).mkdir()
    with (
        demo_client(tmp_path / "leader") as (leader, desk),
        demo_client(tmp_path / "volunteer") as (volunteer, away),
    ):
        desk.book.keep_chart("Reed and River", CHART, at=desk.clock())
        desk.keep("Third Sunday", parse_set(AWAY, source="away"))
        sent = leader.get("/log/undersong-log.json", params={"player": "Noor"}).content

        volunteer.post("/log/bring", files={"file": ("work.json", sent)})
        sunday = volunteer.get("/").text
        assert "Third Sunday" in sunday
        assert "Reed and River" in sunday
        assert "Log of Noor" in volunteer.get("/log").text
        work = work_of(away, away.book.player("Noor"), {"song": "Reed and River"})
        quiet = np.zeros(22_050, np.float32)
        judge(away, away.book.player("Noor"), work, Played(str(uuid.uuid4()), quiet, 22_050, 70.0))
        back = volunteer.get("/log/undersong-log.json", params={"player": "Noor"}).content

        leader.post("/log/bring", files={"file": ("results.json", back)})
        [take] = desk.book.takes_of(desk.book.player("Noor"))
        assert take.item.name == "Reed and River"
        assert desk.sunday().name != "Third Sunday"  # the leader's own desk stays as it was
        assert desk.book.faults() == ()


def test_a_copy_is_put_back(app: tuple[TestClient, Desk], tmp_path: Path) -> None:
    client, desk = app
    copy = client.get("/log/undersong-log.sqlite").content
    [take] = desk.book.takes_of(None)
    client.post(f"/takes/{take.id}/delete")
    assert desk.book.takes_of(None) == ()
    client.post("/log/restore", files={"file": ("copy.sqlite", copy)})
    assert [each.uid for each in desk.book.takes_of(None)] == [take.uid]
    with Book.open(tmp_path / "log-before-restore-1.sqlite") as before:
        assert before.takes_of(None) == ()


@pytest.mark.parametrize("data", [b"", b"nonsense", b"SQLite format 3\0" + b"x" * 400])
def test_what_is_no_copy_changes_nothing(app: tuple[TestClient, Desk], data: bytes) -> None:
    client, desk = app
    answer = client.post("/log/restore", files={"file": ("copy.sqlite", data)})
    assert answer.status_code == 400
    assert len(desk.book.takes_of(None)) == 1
    assert client.get("/log/health").json() == {"faults": []}


@pytest.mark.parametrize("document", [b"not json", json.dumps({"format": "x"}).encode()])
def test_what_are_no_results_is_said(app: tuple[TestClient, Desk], document: bytes) -> None:
    client, desk = app
    answer = client.post("/log/bring", files={"file": ("results.json", document)})
    assert answer.status_code == 400
    assert len(desk.book.takes_of(None)) == 1


def test_recordings_are_kept_no_longer_than_said(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    player = desk.book.agree_to_recordings(desk.book.player("Iris"), at=desk.clock())
    folder = desk.book.recordings
    assert folder is not None
    folder.mkdir()
    item = desk.book.item("drill", "scale", "G")
    for name, days in (("old.flac", 31), ("new.flac", 1)):
        (folder / name).write_bytes(b"sound")
        at = desk.clock() - timedelta(days=days)
        desk.book.keep_take(player, item, outcome=Outcome.CLEAN, tempo_bpm=70, at=at, audio=name)
    assert forget_old(desk) == 0  # for ever, until somebody says otherwise
    client.post("/log/keep", data={"days": "30"})
    assert [path.name for path in folder.iterdir()] == ["new.flac"]
    client.post("/log/recordings")
    assert list(folder.iterdir()) == []
    assert client.post("/log/keep", data={"days": "-1"}).status_code == 400


def test_players_come_and_go(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    form = {"name": "Wren", "level": "2", "tuning": "B0,E1,A1,D2,G2", "hand": "left"}
    client.post("/log/player", data=form)
    assert desk.book.player("Wren").level == 2
    client.post("/me", data={"player": "Wren"})
    assert "Log of Wren" in client.get("/log").text
    assert client.post("/log/forget", data={"name": "wrong"}).status_code == 400
    client.post("/log/forget", data={"name": "Wren"})
    assert "Wren" not in {player.name for player in desk.book.players()}
    assert len(desk.book.takes_of(None)) == 1
