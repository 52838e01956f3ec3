"""Signs around the letters of a sheet: the chord is kept, and how it is to be played."""

from __future__ import annotations

import pytest

from undersong.chart.arrive import read_sheet
from undersong.chart.song import EIGHTH, Bar, Song
from undersong.chart.text import parse_song

HEAD = "Harbour Lights Again\nKey: G\n\n"


def read(text: str) -> Song:
    return read_sheet((HEAD + text).encode())


def told(bar: Bar) -> list[tuple[str, str]]:
    (event,) = bar.events
    signs = {
        "held": event.held,
        "pushed": event.push == EIGHTH,
        "stopped": event.stopped,
        "hold": event.fermata,
    }
    return [(str(event.chord), name) for name, is_so in signs.items() if is_so]


# Diamond and push as trade handbook 3.2 has them; ^ as our own charts read it.
@pytest.mark.parametrize(
    ("written", "sign"),
    [
        ("<C>", "held"),
        ("◇C", "held"),
        ("^C", "pushed"),
        ("<<C", "pushed"),
        ("C!", "stopped"),
        ("C (hold)", "hold"),
        ("C(hold)", "hold"),
    ],
)
@pytest.mark.parametrize("line", ["G  D  {}  G\nlo la la lo\n", "| G | D | {} | G |\n"])
def test_the_chord_and_its_sign_are_kept(line: str, written: str, sign: str) -> None:
    song = read("Verse\n" + line.format(written))
    bars = song.sections[0].bars
    assert [str(bar.events[0].chord) for bar in bars] == ["1", "5", "4", "1"]
    assert told(bars[2]) == [("4", sign)]
    assert not any(each.kind == "left out" and "chord" in each.text for each in song.report)


def test_another_sign_is_told_and_its_chord_kept() -> None:
    song = read("Verse\nG  >C  D\nlo la la\n")
    assert [str(bar.events[0].chord) for bar in song.sections[0].bars] == ["1", "4", "5"]
    assert ">C is read as C." in [each.text for each in song.report]


@pytest.mark.parametrize(
    "text",
    [
        "Chorus\n|: C | D | Em | G/B |\n[1.] C | D :|\n[2.] C D | G |\n",
        "Chorus\n|: C | D | Em | G/B |1. C | D :|2. C D | G |\n",
        "Chorus\n|: C | D | Em | G/B |\n1st ending: | C | D :|\n2nd time | C D | G |\n",
    ],
)
def test_endings_are_played_in_their_turn(text: str) -> None:
    (section,) = read(text + "lo la la\n").sections
    assert [bar.endings for bar in section.bars] == [()] * 4 + [(1,)] * 2 + [(2,)] * 2
    assert section.bars[0].opens_repeat


def test_our_own_chart_reads_an_ending_in_brackets() -> None:
    text = "Title: T\nKey: G\nTempo: 76\n\nChorus\n|: 4 | 5 |\n[1.] 4 | 5 :|\n[2.] 4 5 | 1 |\n"
    (section,) = parse_song(text).sections
    assert [bar.endings for bar in section.bars] == [()] * 2 + [(1,)] * 2 + [(2,)] * 2
