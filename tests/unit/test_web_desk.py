from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from undersong.chart.setlist import Player, Setlist, SetSong, parse_set
from undersong.errors import LogError, UndersongError
from undersong.log.book import Book
from undersong.theory.key import parse_key
from undersong.web.desk import Desk
from undersong.web.settext import set_text
from web_app import demo_desk

CHART = "Title: Low Door\nKey: {key}\nTempo: 80\n\nVerse\n| 1 | 4 | 5 | 1 |\n"
SET = 'date = 2026-12-06\ntitle = "Second"\n[[song]]\nfile = "door.txt"\nkey = "{key}"\n'


def write_set(folder: Path, key: str = "A") -> Path:
    (folder / "door.txt").write_text(CHART.format(key="G"))
    file = folder / "second.toml"
    file.write_text(SET.format(key=key))
    return file


def test_a_set_survives_its_own_text() -> None:
    setlist = Setlist(
        songs=(SetSong('Say "when"', parse_key("Bb"), 72.5, "Mara", "wait\nfor it \x7f"),),
        players=(Player("Iris", 3, "B0,E1,A1,D2,G2", "left", 24, 812.8, "back\\slash"),),
        title="Advent é",
        date=datetime(2026, 11, 29, tzinfo=UTC).date(),
        notes="two",
    )
    read = parse_set(set_text(setlist))
    assert [(s.file, s.key, s.tempo_bpm, s.singer, s.notes) for s in read.songs] == [
        (s.file, s.key, s.tempo_bpm, s.singer, s.notes) for s in setlist.songs
    ]
    assert (read.title, read.date, read.notes) == (setlist.title, setlist.date, setlist.notes)
    [player] = read.players
    assert (player.name, player.level, player.frets, player.scale_mm) == ("Iris", 3, 24, 812.8)


def test_the_demo_comes_once_and_never_over_a_set_of_ones_own(tmp_path: Path) -> None:
    with Book.open(tmp_path / "log.sqlite") as book:
        desk = Desk(book)
        desk.bring_set(write_set(tmp_path))
        desk.bring_demo()
        assert [song.title for song in desk.sunday().songs] == ["Low Door"]


def test_a_folder_with_one_set_is_opened(tmp_path: Path) -> None:
    write_set(tmp_path)
    with Book.open(tmp_path / "log.sqlite") as book:
        desk = Desk(book)
        desk.bring_set(tmp_path)
        assert str(desk.song("low door").key) == "A"


def test_a_folder_of_several_sets_asks_which(tmp_path: Path) -> None:
    write_set(tmp_path)
    (tmp_path / "third.toml").write_text(SET)
    with (
        Book.open(tmp_path / "log.sqlite") as book,
        pytest.raises(UndersongError, match=r"second\.toml, third\.toml"),
    ):
        Desk(book).bring_set(tmp_path)


def test_opening_the_same_file_again_undoes_nothing(tmp_path: Path) -> None:
    file = write_set(tmp_path)
    long_ago = datetime(2020, 1, 1, tzinfo=UTC).timestamp()
    for each in (file, tmp_path / "door.txt"):
        os.utime(each, (long_ago, long_ago))
    with Book.open(tmp_path / "log.sqlite") as book:
        desk = Desk(book)
        desk.bring_set(file)
        sunday = desk.sunday()
        changed = Setlist((SetSong("Low Door", parse_key("C")),), title=sunday.name)
        desk.keep(sunday.name, changed)
        desk.bring_set(file)
        assert str(desk.song("Low Door").key) == "C"
        later = datetime(2100, 1, 1, tzinfo=UTC).timestamp()
        os.utime(file, (later, later))
        desk.bring_set(file)
        assert str(desk.song("Low Door").key) == "A"


def test_no_set_is_said(tmp_path: Path) -> None:
    with Book.open(tmp_path / "log.sqlite") as book, pytest.raises(LogError, match="no set yet"):
        Desk(book).sunday()


def test_a_player_plays_what_the_set_says(tmp_path: Path) -> None:
    with demo_desk(tmp_path) as desk:
        tobias = desk.instrument(desk.player("Tobias"))
        assert (tobias.tuning.midis, tobias.frets, tobias.left_handed) == (
            (23, 28, 33, 38, 43),
            21,
            True,
        )
        first = desk.player("nobody")
        assert first is not None
        assert first.name == "Iris"
