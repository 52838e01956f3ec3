from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pypdf
import pytest
import soundfile

from undersong.chart.setlist import SetSong
from undersong.chart.text import parse_song
from undersong.drills.catalogue import make_drill
from undersong.sound.schedule import schedule
from undersong.theory.key import parse_key
from undersong.web.chartview import chart_view
from undersong.web.desk import Desk
from undersong.web.tabs import bar_at, tab_bars
from web_app import TestClient, demo_client

SHORT = "Title: Low Door\nKey: Bb\nTempo: 160\n\nVerse\n| 1 / / 5/7 | <4> |\n\nOrder: Verse x2\n"
ASKED = {"title": "Low Door", "level": "1"}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as (client, desk):
        desk.book.keep_chart("Low Door", SHORT, at=desk.clock())
        yield client, desk


def test_a_number_sits_on_its_beat() -> None:
    view = chart_view(parse_song(SHORT))
    first, second = view.sections[0].bars
    assert [(c.number, c.letters, c.column) for c in first.chords] == [
        ("1", "B♭", 1),
        ("5/7", "F/A", 19),
    ]
    assert second.chords[0].how == "held"
    assert view.key == "B♭"


def test_a_song_is_shown_in_any_key(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    page = client.get("/song", params=ASKED | {"key": "E", "show": "numbers"}).text
    assert 'class="show-numbers"' in page
    assert "B/D♯" in page
    answer = client.get("/song", params=ASKED | {"key": "Em"})
    assert answer.status_code == 400
    assert "major key" in answer.text


def test_the_marker_knows_when_each_bar_sounds(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    times = client.get("/song/times", params=ASKED | {"tempo": "80"}).json()
    assert [bar["name"] for bar in times["bars"]] == ["s0b0", "s0b1"] * 2
    # A bar of 4/4 at 80 lasts 3 s; the count-in is one bar after a quarter of a second.
    starts = [bar["s"] - times["start_s"] for bar in times["bars"]]
    assert starts == pytest.approx([0.0, 3.0, 6.0, 9.0])
    assert times["end_s"] - times["start_s"] == pytest.approx(12.0)
    assert desk.song("Low Door").tempo_bpm == 160


def test_the_bass_can_be_out(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    start_s = client.get("/song/times", params=ASKED).json()["start_s"]
    loudest = {}
    for bass in ("1", "0"):
        answer = client.get("/song/sound", params=ASKED | {"bass": bass, "click": "0"})
        assert answer.headers["content-type"] == "audio/flac"
        samples, rate = soundfile.read(io.BytesIO(answer.content))
        loudest[bass] = abs(samples[round((start_s + 0.2) * rate) :]).max()
    assert loudest["1"] > 0.05
    assert loudest["0"] < 0.01


def test_clicks_are_sounds_by_kind(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    assert client.get("/sound/click/accent.wav").content[:4] == b"RIFF"
    assert client.get("/sound/click/gong.wav").status_code == 400


def test_chart_and_line_are_printed(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    for what in ("chart", "line"):
        answer = client.get(f"/song/{what}.pdf", params=ASKED)
        assert answer.content.startswith(b"%PDF"), what


def test_a_tab_has_every_note_on_its_string_in_its_place() -> None:
    part = make_drill("scale", parse_key("G"), tempo_bpm=60).part
    bars = tab_bars(part)
    notes = [note for bar in bars for note in bar.notes]
    assert [note.index for note in notes] == list(range(len(part.notes)))
    assert [note.figure for note in notes] == [str(note.fret) for note in part.notes]
    assert [note.s for note in notes] == pytest.approx([float(n.at) * 4 for n in part.notes])
    for bar in bars:
        assert all(note.y in bar.strings for note in bar.notes)
        assert [note.x for note in bar.notes] == sorted(note.x for note in bar.notes)
        assert all(0 < note.x < bar.width for note in bar.notes)


def test_a_moment_finds_its_bar_and_place() -> None:
    part = make_drill("scale", parse_key("G"), tempo_bpm=60).part
    bars = tab_bars(part)
    timed = schedule(part, count_in=False)
    assert timed.start_s < bars[-1].end_s
    assert bar_at(bars, -1.0) == bars[0]
    assert bar_at(bars, 4.0) == bars[1]
    assert bar_at(bars, 99.0) == bars[-1]
    second = bars[1]
    assert second.x_of(6.0) == pytest.approx((second.x_of(4.0) + second.x_of(8.0)) / 2)
    assert part.bars[1].at == Fraction(1)


def test_a_player_has_a_pack(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    sunday = desk.sunday()
    short = replace(sunday.setlist, songs=(SetSong("Low Door"),))
    desk.keep(sunday.name, short)
    answer = client.get("/pack.pdf", params={"player": "Tobias"})
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    assert "This week" in " ".join(each.extract_text() for each in pages)
    assert client.get("/pack.pdf", params={"player": "nobody"}).status_code == 400


def test_a_pack_says_how_far_it_is_and_is_made_once(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    sunday = desk.sunday()
    desk.keep(sunday.name, replace(sunday.setlist, songs=(SetSong("Low Door"),)))
    assert "Making the pack." in client.get("/pack", params={"player": "Tobias"}).text
    told = client.get("/pack/making", params={"player": "Tobias"}).text.splitlines()
    steps = [json.loads(line) for line in told]
    assert [(step["done"], step["of"]) for step in steps] == [(0, 2), (1, 2), (2, 2)]
    assert steps[0]["words"] == "Writing the line of Low Door."
    made = client.get("/pack.pdf", params={"player": "Tobias", "made": "1"}).content
    assert made.startswith(b"%PDF")
    assert made == client.get("/pack.pdf", params={"player": "Tobias", "made": "1"}).content
