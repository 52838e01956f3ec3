"""Sixty and more invented charts: through text, and through the letters of fifteen keys."""

from dataclasses import replace
from pathlib import Path

import pytest

import undersong
from sheets import make_sheet
from undersong.chart.song import ChordEvent, Section, Song, Style, in_key
from undersong.chart.text import parse_song
from undersong.chart.write import fresh_text, song_text
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, MinorHabit, Mode

GOOD = Path(__file__).parent.parent / "charts" / "good"
DEMO = Path(undersong.__file__).parent / "demo" / "songs"


def charts() -> list[Song]:
    files = [*sorted(GOOD.glob("*.txt")), *sorted(DEMO.glob("*.txt"))]
    read = [parse_song(path.read_bytes().decode()) for path in files]
    return read + [made(seed) for seed in range(24)]


def made(seed: int) -> Song:
    """A chart made of an invented sheet's numbers, two chords in some bars, held at the end."""
    sheet = make_sheet(seed)
    base = parse_song(f"Title: {sheet.title}\nKey: {sheet.key}\nTempo: {60 + seed}\n\nV\n| 1 |\n")
    bar = base.sections[0].bars[0]
    sections = []
    for name, numbers in sheet.sections:
        bars = [
            replace(bar, events=(ChordEvent(bar.length * 0, number, held=place % 7 == 3),))
            for place, number in enumerate(numbers)
        ]
        halves = (*bars[0].events, ChordEvent(bar.length / 2, numbers[1]))
        sections.append(Section(name, (replace(bar, events=halves), *bars[2:])))
    return replace(base, sections=tuple(sections), text=None, minor_habit=MinorHabit.RELATIVE)


CHARTS = charts()


def test_there_are_sixty() -> None:
    assert len(CHARTS) >= 60
    assert len({fresh_text(song) for song in CHARTS}) >= 60


@pytest.mark.parametrize("song", CHARTS, ids=range(len(CHARTS)))
def test_text_to_model_to_text(song: Song) -> None:
    text = song_text(song)
    assert parse_song(text) == song
    assert song_text(parse_song(text)) == text


@pytest.mark.parametrize("song", CHARTS, ids=range(len(CHARTS)))
def test_numbers_to_letters_to_numbers_in_all_fifteen_keys(song: Song) -> None:
    for key in MAJOR_KEYS if song.key.mode is Mode.MAJOR else MINOR_KEYS:
        moved = replace(in_key(song, key), style=Style.LETTERS, text=None)
        back = parse_song(fresh_text(moved))
        assert back == moved
        assert [section.name for section in back] == [section.name for section in song]
        assert [bar.events for section in back for bar in section.bars] == [
            bar.events for section in song for bar in section.bars
        ]
