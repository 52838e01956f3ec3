"""A second verse without bars of its own plays the first one's bars and keeps its own name."""

from __future__ import annotations

import pytest

from undersong.chart.arrive import read_sheet
from undersong.chart.roadmap import unrolled
from undersong.chart.text import parse_song
from undersong.chart.write import fresh_text, song_text
from undersong.errors import ChartErrors
from undersong.lines import write_line
from undersong.theory.excerpt import section_bars

HEAD = "Title: Salt Road Home\nKey: D\n\nVerse 1\n| 1 | 4 | 6- | 5 |\n\nChorus\n| 4 | 1 |\n\n"
BARE = HEAD + "Verse 2\n\nChorus\n"
ORDERED = HEAD + "Order: Verse 1, Chorus, Verse 2, Chorus\n"
SHORT = HEAD + "Verse 2\n\nOrder: V1, C, V2, C\n"
SHEET = "Salt Road Home\nKey: D\n\nVerse\nD G\nlo la\n\nChorus\nG D\nha ha\n\nVerse 2\nlo lo\n"


@pytest.mark.parametrize("text", [BARE, ORDERED, SHORT])
def test_it_is_called_verse_2_and_plays_the_bars_of_verse_1(text: str) -> None:
    song = parse_song(text)
    bars = unrolled(song)
    assert [bar.called for bar in bars if bar.is_first] == [
        "Verse 1",
        "Chorus",
        "Verse 2",
        "Chorus",
    ]
    assert [bar.section for bar in bars[6:10]] == ["Verse 1"] * 4
    assert [bar.visit for bar in bars[6:10]] == [2] * 4
    said = [each.text for each in song.report]
    assert "Verse 2 has no bars of its own; those of Verse 1 are played." in said
    assert parse_song(fresh_text(song)) == song
    assert song_text(song) == text


def test_a_sheet_keeps_the_name_of_its_second_verse() -> None:
    bars = unrolled(read_sheet(SHEET.encode()))
    assert [bar.called for bar in bars if bar.is_first] == ["Verse", "Chorus", "Verse 2"]


def test_it_can_be_asked_for_by_its_name() -> None:
    song = parse_song(BARE)
    sheet = write_line(song, level=1, section_levels={"verse 2": 3})
    assert section_bars(sheet.part, "Verse 2") == (7, 10)
    played = [len([n for n in sheet.part.notes if a <= n.at < a + 4]) for a in (0, 6)]
    assert played[0] == 4
    assert played[1] > 4


def test_another_name_is_still_a_mistake() -> None:
    with pytest.raises(ChartErrors, match="no section called Bridge 2"):
        parse_song(HEAD + "Order: Verse 1, Bridge 2\n")
