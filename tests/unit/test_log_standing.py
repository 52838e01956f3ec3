"""Where players stand; the standard is trade handbook 1.3 T18 (common practice, no source)."""

from collections.abc import Iterator
from datetime import datetime, timedelta, timezone

import pytest

from undersong.log.book import Book
from undersong.log.standing import ServiceSong, standings
from undersong.practice.ladder import Outcome

NOW = datetime(2026, 11, 28, 20, 0, tzinfo=timezone(timedelta(hours=1)))
SONG = ServiceSong("Slow Water", "G", 72)


@pytest.fixture
def book() -> Iterator[Book]:
    with Book.in_memory() as opened:
        opened.add_player("Iris", at=NOW)
        opened.add_player("Noor", at=NOW)
        yield opened


def play(book: Book, days_ago: int, outcome: Outcome, *, tempo_bpm: float = 72) -> None:
    item = book.keep_item("line", SONG.title, key=SONG.key, song_bpm=SONG.service_bpm)
    at = NOW - timedelta(days=days_ago)
    book.keep_take(
        book.player("Iris"), item, outcome=outcome, tempo_bpm=tempo_bpm, at=at, whole=True
    )


def test_two_good_first_passes_make_ready(book: Book) -> None:
    play(book, 3, Outcome.CLEAN)
    (iris, noor) = standings(book, [SONG], book.players(), now=NOW)
    assert not iris.ready
    assert "one more day" in iris.songs[0].in_words
    play(book, 1, Outcome.CLEAN)
    (iris, noor) = standings(book, [SONG], book.players(), now=NOW)
    assert iris.ready
    assert iris.songs[0].in_words.startswith("Ready")
    assert not noor.ready
    assert noor.songs[0].in_words == "Not played yet."
    assert noor.songs[0].ladder_bpm is None


def test_another_key_or_a_slow_pass_is_not_sundays_song(book: Book) -> None:
    play(book, 3, Outcome.CLEAN, tempo_bpm=60)
    play(book, 2, Outcome.CLEAN)
    (iris, _) = standings(book, [SONG, ServiceSong("Slow Water", "A", 72)], book.players(), now=NOW)
    assert [one.readiness.good_days for one in iris.songs] == [
        ((NOW - timedelta(days=2)).date(),),
        (),
    ]
    assert "The climb stands at 70" in iris.songs[0].in_words
    assert [(key.key, key.clean) for key in iris.keys] == [("G", 2)]
