"""The order of the sections in the usual short forms, with and without its header."""

import pytest

from undersong.chart.arrive import read_sheet
from undersong.chart.arrive_text import song_from_text
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.chart.write import fresh_text, song_text
from undersong.errors import ChartErrors

CHART = (
    "Title: T\nKey: G\nTempo: 72\n\nIntro\n| 1 |\n\nVerse 1\n| 1 | 4 |\n\nVerse 2\n| 4 |\n\n"
    "Pre-Chorus\n| 2- |\n\nChorus\n| 5 |\n\nBridge\n| 6- |\n\nTag\n| 4 |\n\nOutro\n| 1 |\n"
)
SHEET = (
    "The Quiet Pump\nKey: C\n\nVerse 1\nC G Am F\nla la\n\nVerse 2\nlo lo\n\n"
    "Chorus\nF C G\nla\n\nBridge\nAm F\nla\n"
)


def played(song: Song) -> str:
    return " ".join(
        item.name.replace(" ", "") + (f"x{item.times}" if item.times > 1 else "")
        for item in song.order
    )


@pytest.mark.parametrize(
    ("line", "order"),
    [
        ("V1 C V1 C C", "Verse1 Chorus Verse1 Chorus Chorus"),
        ("I V1 PC C Pre Ch B C x2 T O", "Intro Verse1 Pre-Chorus Chorus Pre-Chorus Chorus Bridge "
         "Chorusx2 Tag Outro"),
        ("V1 Pre C x2 V2 Pre Chorus C", "Verse1 Pre-Chorus Chorusx2 Verse2 Pre-Chorus Chorus"),
        ("Intro, V1, C, Br, C x2, Tag", "Intro Verse1 Chorus Bridge Chorusx2 Tag"),
        ("V1 - C - V2 - C - B - C", "Verse1 Chorus Verse2 Chorus Bridge Chorus"),
        ("V1 > C > Tag", "Verse1 Chorus Tag"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("place", ["{chart}\n{line}\n", "{chart}\nOrder: {line}\n"])
def test_an_order_in_short_forms(line: str, order: str, place: str) -> None:
    song = parse_song(place.format(chart=CHART, line=line))
    assert played(song) == order
    assert song_text(song) == song.text
    assert parse_song(fresh_text(song)) == song


def test_it_may_stand_at_the_top_and_the_report_says_so() -> None:
    song = parse_song("V1 C V1\n" + CHART)
    assert played(song) == "Verse1 Chorus Verse1"
    assert (1, "This line is read as the order.") in [(e.line, e.text) for e in song.report]


def test_the_first_verse_of_one_verse() -> None:
    song = parse_song("Key: G\n\nVerse\n| 1 |\n\nChorus\n| 4 |\n\nV1 C V1 C\n")
    assert played(song) == "Verse Chorus Verse Chorus"


@pytest.mark.parametrize("line", ["V3 C V3 C", "C Z C Z"])
def test_without_such_sections_it_is_no_order(line: str) -> None:
    with pytest.raises(ChartErrors, match=f"{line} has no bars under it"):
        parse_song(f"{CHART}\n{line}\n")


@pytest.mark.parametrize(
    "text", [f"{SHEET}\nV1 C V2 C B C C\n", f"V1 C V2 C B C x2\n{SHEET}",
             f"{SHEET}\nOrder: V1, C, V2, C, B, C, C"]
)  # fmt: skip
def test_an_order_on_a_sheet(text: str) -> None:
    song = read_sheet(text.encode(), "s.txt")
    assert played(song) == "Verse1 Chorus Verse1 Chorus Bridge Chorus Chorus"
    assert song.title == "The Quiet Pump"
    assert not any("stands among words" in each.text for each in song.report)
    assert parse_song(song_text(song)) == song


def test_a_sheet_says_what_of_its_order_is_not_played() -> None:
    song = song_from_text(f"{SHEET}\nV1 C V1 C\n")
    assert "Bridge is not in the order." in [each.text for each in song.report]
    song = song_from_text(f"{SHEET}\nOrder: V1, C, Solo\n")
    assert played(song) == "Verse1 Verse1 Chorus Bridge"
    assert any(each.text.startswith("The order is not used.") for each in song.report)


@pytest.mark.parametrize("line", ["C B C C", "Intro C C B", "C F G"])
def test_chords_are_no_order(line: str) -> None:
    song = song_from_text(f"Key: C\n\nBridge\nAm\n\nChorus\nF C G\nla\n\n{line}\nla\n")
    assert not any("read as the order" in each.text for each in song.report)
