"""Sheets written by hand as bands send them round, with the numbers a player would write.

A sheet's ``.numbers`` file holds its key, then a line for every section with its bars, then the
order where it is not that of the sections, then the report.
"""

from pathlib import Path

import pytest

from undersong.chart.arrive import read_sheet
from undersong.chart.arrive_text import song_from_text
from undersong.chart.text import parse_song
from undersong.chart.write import song_text
from undersong.errors import ChartErrors

SHEETS = sorted((Path(__file__).parent.parent / "charts" / "sheets").glob("*.txt"))


def numbers_of(path: Path) -> str:
    song = read_sheet(path.read_bytes(), path.name)
    lines = [f"{song.title}, {song.key}, {song.meter}"]
    for section in song.sections:
        bars = [" ".join(str(e.chord or 0) for e in bar.events) for bar in section.bars]
        lines.append(f"{section.name} | {' | '.join(bars)}")
    if song.order:
        lines.append(f"order {', '.join(item.name for item in song.order)}")
    lines += [f"{each.kind} {each.line} {each.text}" for each in song.report if each.line]
    return "\n".join(lines) + "\n"


def test_there_are_sheets() -> None:
    assert len(SHEETS) >= 25


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_sheet_by_hand(path: Path) -> None:
    assert numbers_of(path) == path.with_suffix(".numbers").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_it_becomes_a_chart_that_reads(path: Path) -> None:
    song = read_sheet(path.read_bytes(), path.name)
    assert parse_song(song_text(song)) == song


def test_jumps_are_told_and_never_followed() -> None:
    song = song_from_text("Key: G\nVerse\nG C D G\nChorus\n| C | D | D.S. al Coda\nCoda\nC G\n")
    (said,) = [each for each in song.report if "not followed" in each.text]
    assert (said.line, said.kind) == (5, "left out")
    assert said.text.startswith("D.S. al Coda is not followed: write the order")
    assert [section.name for section in song.sections] == ["Verse", "Chorus", "Coda"]
    assert len(song.sections[1].bars) == 2


def test_a_jump_in_our_own_chart_is_an_error_with_advice() -> None:
    for body in ("| 4 | 5 | D.C. al Fine", "| G | C | D.S. al Coda"):
        with pytest.raises(ChartErrors, match="Order: Verse, Chorus, Verse, Coda"):
            parse_song(f"Title: Jump\nKey: G\n\nVerse\n{body}\n")


def test_times_among_words_are_told() -> None:
    song = song_from_text("Key: G\nVerse\nG    C    D    G\nround and round we go (2x)\n")
    assert any(each.line == 4 and "(2x) stands among words" in each.text for each in song.report)


def test_a_repeat_in_words_after_chords_is_read() -> None:
    song = song_from_text("Key: G\nVerse\nG C D G (repeat 3x)\n")
    bars = song.sections[0].bars
    assert bars[0].opens_repeat
    assert bars[-1].closes_repeat == 3
    assert not [each for each in song.report if each.kind == "left out"]


def test_a_line_of_facts_is_read_as_headers() -> None:
    text = "Quiet Harvest - Key: D - 72bpm - 6/8\n\nVerse\n1 4 8 1\n"
    with pytest.raises(ChartErrors) as refused:
        read_sheet(text.encode(), "harvest.txt")
    assert [(error.line, error.column) for error in refused.value.errors] == [(4, 5)]
    song = read_sheet(text.replace("4 8 1", "4 2 1").encode(), "harvest.txt")
    facts = song.title, str(song.key), str(song.meter), song.tempo_bpm
    assert facts == ("Quiet Harvest", "D", "6/8", 72)
    assert [remark.line for remark in song.report] == [4]  # the plain 2
    assert "Title: Quiet Harvest\nKey: D\n" in song_text(song)


@pytest.mark.parametrize(
    "line", ["Key: D   Tempo: 72   Time: 6/8", "Tempo: 72 bpm, 6/8, in the key of D"]
)
def test_facts_on_one_line_without_a_title(line: str) -> None:
    song = read_sheet(f"{line}\n\nVerse\n1 4 5 1\n".encode(), "harvest.txt")
    assert (str(song.key), str(song.meter), song.tempo_bpm) == ("D", "6/8", 72)


def test_a_header_of_its_own_stays_as_it_is() -> None:
    text = "Title: In 3/4 Time\nKey: D\nTempo: 72 bpm\n\nVerse\n1 4 5 1\n"
    song = read_sheet(text.encode(), "harvest.txt")
    assert song.title == "In 3/4 Time"
    assert song_text(song) == text


def test_pre_is_a_pre_chorus() -> None:
    song = song_from_text("Key: E\nVerse\nE B\nPre\nF#m A\nChorus\nE B\n")
    assert [section.name for section in song.sections] == ["Verse", "Pre-Chorus", "Chorus"]


def test_an_h_makes_the_names_german() -> None:
    song = song_from_text("Lied\nTonart: Hm\n\nStrophe\nHm  G  D  A\nB  F#  H7\n")
    assert str(song.key) == "Bm"
    letters = [
        str(event.chord.in_key(song.number_key))
        for bar in song.sections[0].bars
        for event in bar.events
        if event.chord is not None
    ]
    assert letters == ["Bm", "G", "D", "A", "Bb", "F#", "B7"]
    assert any("read as German" in each.text and each.line == 5 for each in song.report)


def test_a_header_with_a_slip_is_never_passed_over() -> None:
    with pytest.raises(ChartErrors, match="did you mean Key"):
        read_sheet(b"Kay: G\n\nVerse\n1 4 5 1\n", "song.txt")


def test_chords_in_brackets_alone_are_named() -> None:
    with pytest.raises(ChartErrors, match="Chords in brackets inside the words"):
        read_sheet(b"Song\n[G]Morning [C]comes\n", "song.txt")


def test_one_m_is_a_minor_home_too() -> None:
    song = parse_song("Title: M\nKey: Bm\nTempo: 70\n\nVerse\n1m b6 b3 5\n")
    assert str(song.number_key) == "Bm"
    assert any("read with Bm as 1-" in each.text for each in song.report)
