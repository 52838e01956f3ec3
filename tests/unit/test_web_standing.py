from collections.abc import Iterator
from pathlib import Path

import pytest

from undersong.practice.ladder import Outcome
from undersong.web.desk import Desk
from web_app import TestClient, demo_client

TITLE = "Slow Water, Bright Stone"


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as (client, desk):
        yield client, desk


def test_the_leader_sees_who_is_ready(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    text = client.get("/standing").text
    assert text.count("No song of this set yet.") == 3
    item = desk.book.keep_item("line", TITLE, key="G", song_bpm=72)
    desk.book.keep_take(
        desk.book.player("Iris"),
        item,
        outcome=Outcome.CLEAN,
        tempo_bpm=72,
        at=desk.clock(),
        whole=True,
    )
    text = client.get("/standing").text
    assert text.count("No song of this set yet.") == 2
    assert text.count("Not played yet: Seven Lamps on the Ferry; ") == 1
    assert "on one more day" in text
    assert "in G, 1 of 1" in text


def test_work_is_given_found_played_and_done(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    given = {"player": "Iris", "key": "Bb", "due": "2026-11-29", "note": "slowly"}
    for what in (f"song:{TITLE}", "drill:scale"):
        assert client.post("/standing/give", data=given | {"what": what}).status_code == 200
    client.post("/me", data={"player": "Iris"})
    text = client.get("/practice").text
    assert "Given to Iris" in text
    assert "By 2026-11-29. slowly" in text
    line, scale = desk.book.assignments(desk.book.player("Iris"))
    assert scale.item.key == "Bb"
    for each in (line, scale):
        answer = client.get("/practice/at", params={"item": each.item.id})
        assert answer.status_code == 200
        assert each.item.name in answer.text
        sheet = client.get("/practice/sheet", params={"item": each.item.id, "tempo": "70"})
        assert sheet.json()["tempo"] == 70
    client.post("/standing/finish", data={"number": str(scale.id)})
    assert "Scale of B" not in client.get("/practice").text.partition("Drills, easiest first")[0]


@pytest.mark.parametrize(
    "wrong", [{"what": "song:"}, {"what": "drill:nonsense"}, {"due": "tomorrow"}, {"player": "X"}]
)
def test_what_cannot_be_given_is_said(app: tuple[TestClient, Desk], wrong: dict[str, str]) -> None:
    client, desk = app
    form = {"player": "Iris", "what": "drill:scale", "key": "G"} | wrong
    assert client.post("/standing/give", data=form).status_code == 400
    assert desk.book.assignments() == ()
    assert client.get("/practice/at", params={"item": "999"}).status_code == 400
