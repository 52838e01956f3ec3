from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from jinja2 import Environment, PackageLoader

from undersong.chart.counts import set_counts
from undersong.chart.lownotes import low_notes
from undersong.chart.ranges import keys_for_singer
from undersong.chart.words import low_words, singer_words
from undersong.theory.pitch import parse_pitch
from undersong.web.desk import Desk
from undersong.web.pages import Compiled
from web_app import TestClient, demo_client

SHEET = """[Verse]
G        D/F#      Em       C
Stone by water, light on stone
"""


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as pair:
        yield pair


def titles(desk: Desk) -> list[str]:
    return [song.title for song in desk.sunday().songs]


def test_sunday_lists_the_set_in_order(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    text = client.get("/").text
    places = [text.index(f">{title}</a>") for title in titles(desk)]
    assert places == sorted(places)
    assert "B♭" in text
    for song in desk.sunday().songs:
        assert low_words(low_notes(song)).replace("Bb", "B♭").replace("C#", "C♯") in text


def test_how_songs_follow_and_what_the_set_is_made_of(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    text = client.get("/").text
    songs = desk.sunday().songs
    assert text.count(", then <strong>") == len(songs) - 1
    bars = set_counts(songs).keys
    assert all(f"{str(key).replace('b', '♭')} {count}" in text for key, count in bars.items())
    assert "Commonest moves of the bass" in text


def test_a_singers_keys_stand_beside_the_low_notes(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    title = "Slow Water, Bright Stone"
    asked = {"title": title, "low": "A3", "high": "C5"}
    text = client.get("/sunday/key", params=asked).text
    fits = keys_for_singer(desk.song(title), parse_pitch("A3"), parse_pitch("C5"))
    assert f"Best for this voice: <strong>{fits[0].key}</strong>" in text
    assert singer_words(fits[0]) in text
    # Kept with the singer's name, so that the next song shows it unasked.
    form = {"title": title, "key": "F", "tempo": "72", "singer": "Ilse", "low": "A3", "high": "C5"}
    client.post("/sunday/change", data=form)
    other = {"title": "The North Window", "key": "Em", "tempo": "70", "singer": "Ilse"}
    client.post("/sunday/change", data=other)
    assert 'value="C5"' in client.get("/sunday/key", params={"title": "The North Window"}).text


@pytest.mark.parametrize(("low", "high"), [("H3", "C5"), ("C5", "A3"), ("A3", "")])
def test_a_voice_that_cannot_be_is_said(app: tuple[TestClient, Desk], low: str, high: str) -> None:
    client, _ = app
    asked = {"title": "Slow Water, Bright Stone", "low": low, "high": high}
    assert client.get("/sunday/key", params=asked).status_code == 400


def test_a_key_and_tempo_are_changed(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    page = client.get("/sunday/key", params={"title": "Slow Water, Bright Stone"})
    assert "G (now)" in page.text
    form = {"title": "Slow Water, Bright Stone", "key": "A", "tempo": "70,5", "singer": "Ilse"}
    client.post("/sunday/change", data=form)
    song = desk.song("Slow Water, Bright Stone")
    assert (str(song.key), song.tempo_bpm) == ("A", 70.5)
    entry = desk.sunday().entry(song.title)
    assert entry is not None
    assert entry.singer == "Ilse"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"key": "H"}, "not a key"),
        ({"key": "Em"}, "a major key"),
        ({"tempo": "fast"}, "write a number"),
        ({"tempo": "nan"}, "write a number"),
        ({"tempo": "4000"}, "cannot be played"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_changes(
    app: tuple[TestClient, Desk], change: dict[str, str], said: str
) -> None:
    client, desk = app
    before = desk.sunday().setlist
    form = {"title": "Slow Water, Bright Stone", "key": "G", "tempo": "72"} | change
    answer = client.post("/sunday/change", data=form)
    assert answer.status_code == 400
    assert said in answer.text
    assert desk.sunday().setlist == before


def test_songs_are_moved_taken_out_and_added(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    first, second, *rest = titles(desk)
    client.post("/sunday/down", data={"title": first})
    assert titles(desk) == [second, first, *rest]
    client.post("/sunday/up", data={"title": second})
    assert titles(desk) == [second, first, *rest]
    client.post("/sunday/remove", data={"title": first})
    assert titles(desk) == [second, *rest]
    client.post("/sunday/add", data={"title": first})
    client.post("/sunday/add", data={"title": first})
    assert titles(desk) == [second, *rest, first]


def test_a_sheet_is_shown_before_it_is_kept(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    before = titles(desk)
    page = client.post("/charts/read", data={"text": SHEET}, files={"file": ("", b"")})
    assert "What was understood" in page.text
    assert "5/7" in page.text
    assert "guessed" in page.text
    assert titles(desk) == before
    assert len(desk.book.charts()) == len(before)


def test_a_file_is_read_by_what_it_holds(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    files = {"file": ("../../Stone by Water.txt", SHEET.encode())}
    assert "Stone by water" in client.post("/charts/read", files=files, data={"text": ""}).text
    picture = {"file": ("sheet.txt", b"\x89PNG\r\n\x1a\n0000")}
    answer = client.post("/charts/read", files=picture, data={"text": ""})
    assert answer.status_code == 400
    assert "This is a picture" in answer.text


def test_a_chart_is_kept_and_joins_the_set(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    text = "Title: Low <Door>\nKey: G\n\nVerse\n| 1 | 4 |  # as sung\n"
    client.post("/charts/keep", data={"text": text})
    assert titles(desk)[-1] == "Low <Door>"
    assert desk.book.chart("Low <Door>").text == text
    page = client.get("/").text
    assert "Low &lt;Door&gt;" in page
    assert "<Door>" not in page


def test_a_chart_with_mistakes_names_every_place(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    before = titles(desk)
    answer = client.post("/charts/keep", data={"text": "Title: X\nKey: G\n\nVerse\n| 9 | 1 |\n"})
    assert answer.status_code == 400
    assert "Line 5, column 3" in answer.text
    assert "| 9 | 1 |" in answer.text
    assert titles(desk) == before


def test_a_song_that_never_ends_is_said_instead_of_half_a_page(
    app: tuple[TestClient, Desk],
) -> None:
    client, desk = app
    title = titles(desk)[0]
    endless = f"title: {title}\nkey: G\nmeter: 4/4\norder: Verse x64 Verse x64 Verse x64\n\n"
    chart = endless + "Verse x64\n| 1 | 4 |\n"
    desk.book.keep_chart(title, chart, at=desk.clock())
    answer = client.get("/")
    assert answer.status_code == 400
    assert f"{title} unrolls to more than" in answer.text
    assert answer.text.rstrip().endswith("</html>")


def test_templates_are_read_where_nothing_may_be_written(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    for folder in (kept, tmp_path / "not there"):
        for _ in range(2):  # made, and read again where it could be kept
            made = Environment(
                loader=PackageLoader("undersong.web"), bytecode_cache=Compiled(str(folder))
            )
            assert "said" in made.get_template("errors.html").render(errors=[{"message": "said"}])
    assert [each.name for each in tmp_path.iterdir()] == ["kept"]
    assert len(list(kept.iterdir())) == 1


def test_there_is_no_page_of_that_name(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    assert client.get("/nothing").status_code == 404
    said = client.get("/sunday/key?title=x", headers={"accept": "application/json"})
    assert said.status_code == 400
    assert said.json()["message"] == "There is no chart 'x' in the log."
