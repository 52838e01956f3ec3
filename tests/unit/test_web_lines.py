from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from lxml import html

from undersong.chart.text import parse_song
from undersong.errors import UndersongError
from undersong.lines import another_idea, write_line
from undersong.theory.part import Part
from undersong.web.desk import Desk
from undersong.web.lines import change_bar, line_for, steps_of
from undersong.web.work import work_of
from web_app import TestClient, demo_client

TITLE = "Slow Water, Bright Stone"
ASKED = {"title": TITLE, "level": "3"}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as pair:
        yield pair


def bar_of(part: Part, number: int) -> list[tuple[object, int]]:
    bar = next(each for each in part.bars if each.number == number)
    return [
        (note.at - bar.at, note.pitch.midi)
        for note in part.notes
        if bar.at <= note.at < bar.at + bar.length
    ]


def test_another_idea_is_the_lines_own_and_is_remembered(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    player, song = desk.book.player("Iris"), desk.song(TITLE)
    before = line_for(desk, player, song, 3)
    client.post("/song/bar", data=ASKED | {"what": "another", "bar": "3"})
    after = line_for(desk, player, song, 3)
    plain = write_line(song, level=3, instrument=desk.instrument(player))
    assert after.part == another_idea(song, plain, 3).part
    assert bar_of(after.part, 3) != bar_of(before.part, 3)
    assert steps_of(desk, player, TITLE) == (("another", 3),)
    assert "(changed)" in client.get("/song", params=ASKED).text


def test_the_changed_line_is_the_one_practised_and_nobody_elses(
    app: tuple[TestClient, Desk],
) -> None:
    _, desk = app
    iris, tobias = desk.book.player("Iris"), desk.book.player("Tobias")
    song = desk.song(TITLE)
    was = {each.name: work_of(desk, each, {"song": TITLE}).part for each in (iris, tobias)}
    change_bar(desk, iris, song, iris.level, ("simpler", 2))
    assert work_of(desk, iris, {"song": TITLE}).part == (line_for(desk, iris, song).part)
    assert work_of(desk, tobias, {"song": TITLE}).part == was["Tobias"]


def test_a_kept_bar_stays_when_others_change(app: tuple[TestClient, Desk]) -> None:
    _, desk = app
    player, song = desk.book.player("Iris"), desk.song(TITLE)
    change_bar(desk, player, song, 3, ("another", 4))
    kept = bar_of(line_for(desk, player, song, 3).part, 4)
    change_bar(desk, player, song, 3, ("kept", 4))
    change_bar(desk, player, song, 3, ("another", 5))
    assert bar_of(line_for(desk, player, song, 3).part, 4) == kept


def test_as_it_was_takes_every_wish_for_a_bar_back(app: tuple[TestClient, Desk]) -> None:
    _, desk = app
    player, song = desk.book.player("Iris"), desk.song(TITLE)
    before = line_for(desk, player, song, 3).part
    for what in ("another", "simpler", "kept"):
        change_bar(desk, player, song, 3, (what, 6))
    change_bar(desk, player, song, 3, ("free", 6))
    assert line_for(desk, player, song, 3).part == before


def test_a_bar_the_chart_lost_is_passed_over(app: tuple[TestClient, Desk]) -> None:
    _, desk = app
    player, song = desk.book.player("Iris"), desk.song(TITLE)
    last = song_bars = max(bar.number for bar in line_for(desk, player, song, 3).part.bars)
    change_bar(desk, player, song, 3, ("another", last))
    shorter = parse_song(f"Title: {TITLE}\nKey: G\n\nVerse\n| 1 | 4 |\n")
    assert len(line_for(desk, player, shorter, 3).part.bars) < song_bars


@pytest.mark.parametrize("step", [("another", 3000), ("another", -1), ("louder", 3)])
def test_what_cannot_be_is_said_and_not_kept(
    app: tuple[TestClient, Desk], step: tuple[str, int]
) -> None:
    _, desk = app
    player = desk.book.player("Iris")
    with pytest.raises(UndersongError):
        change_bar(desk, player, desk.song(TITLE), 3, step)
    assert steps_of(desk, player, TITLE) == ()


def test_staff_and_tab_have_every_bar_and_no_style_of_their_own(
    app: tuple[TestClient, Desk],
) -> None:
    client, desk = app
    page = html.fromstring(client.get("/song", params=ASKED | {"drawn": "staff and tab"}).text)
    bars = line_for(desk, desk.book.player("Iris"), desk.song(TITLE), 3).part.bars
    measures = [each for each in page.iter() if each.get("class") == "measure"]
    assert len(measures) == len(bars)
    assert page.xpath("//svg//style") == []
    assert page.xpath("//@style") == []
    names = [each.get("id") for each in page.iter() if each.get("id")]
    assert len(names) == len(set(names))
