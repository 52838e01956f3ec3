from collections.abc import Iterator
from pathlib import Path

import pytest

from undersong.practice.ladder import Outcome, Rule
from undersong.web.desk import Desk
from web_app import TestClient, demo_client

FIGURES = {
    "start_bpm": "60",
    "up_bpm": "4",
    "down_bpm": "8",
    "in_a_row": "3",
    "floor_bpm": "50",
    "ceiling_bpm": "120",
}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as (client, desk):
        item = desk.book.keep_item("drill", "scale", key="G")
        desk.book.keep_take(
            desk.book.player("Iris"), item, outcome=Outcome.CLEAN, tempo_bpm=70, at=desk.clock()
        )
        client.post("/me", data={"player": "Iris"})
        yield client, desk


def test_a_climb_gets_other_figures(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    iris, item = desk.book.player("Iris"), desk.book.item("drill", "scale", "G")
    assert f"/climb?item={item.id}" in client.get("/log").text
    text = client.get("/climb", params={"item": item.id}).text
    assert 'name="up_bpm" inputmode="decimal" size="5" required value="5"' in text
    assert client.post("/climb", data=FIGURES | {"item": item.id}).status_code == 200
    state = desk.book.ladder_of(iris, item)
    assert state.rule == Rule(60, 4, 8, 3, 50, 120)
    assert state.ladder.tempo_bpm == 70
    client.post("/climb", data=FIGURES | {"item": item.id, "over": "yes"})
    assert desk.book.ladder_of(iris, item).ladder.tempo_bpm == 60
    assert desk.book.faults() == ()


@pytest.mark.parametrize(
    "wrong", [{"up_bpm": "0"}, {"in_a_row": "1.5"}, {"floor_bpm": "90"}, {"item": "99"}]
)
def test_figures_that_cannot_be_are_refused(
    app: tuple[TestClient, Desk], wrong: dict[str, str]
) -> None:
    client, desk = app
    item = desk.book.item("drill", "scale", "G")
    answer = client.post("/climb", data=FIGURES | {"item": str(item.id)} | wrong)
    assert answer.status_code == 400
    assert desk.book.ladder_of(desk.book.player("Iris"), item).rule == Rule()
