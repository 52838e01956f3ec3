"""A Sunday's file: read whole, or refused with everything that is wrong in it."""

import datetime
from pathlib import Path

import pytest

import undersong
from undersong.chart.roadmap import total_bars, unrolled
from undersong.chart.setlist import parse_set, set_songs
from undersong.errors import ChartErrors
from undersong.theory.key import Mode
from undersong.theory.tuning import TUNINGS, parse_tuning

DEMO = Path(undersong.__file__).parent / "demo"
CHART = "Title: T\nKey: G\nTempo: 72\n\nVerse\n| 1 | 4 |\n"


def demo_charts() -> dict[str, str]:
    return {
        f"songs/{path.name}": path.read_text(encoding="utf-8")
        for path in (DEMO / "songs").glob("*.txt")
    }


def test_the_demo_set_reads() -> None:
    setlist = parse_set((DEMO / "sunday.toml").read_text(encoding="utf-8"))
    songs = set_songs(setlist, demo_charts())
    assert setlist.date == datetime.date(2026, 11, 29)
    assert len(songs) == 6
    assert [player.hand for player in setlist.players] == ["right", "left", "right"]
    assert [player.level for player in setlist.players] == [1, 3, 5]
    assert setlist.players[1].tuning == "B0,E1,A1,D2,G2"
    assert all(not song.report for song in songs)


def test_the_demo_songs_are_what_they_promise() -> None:
    setlist = parse_set((DEMO / "sunday.toml").read_text(encoding="utf-8"))
    songs = set_songs(setlist, demo_charts())
    assert len({str(song.key) for song in songs}) == 6
    assert {str(song.meter) for song in songs} == {"4/4", "6/8"}
    assert any(song.key.mode is Mode.MINOR for song in songs)
    assert any(len({bar.key for bar in unrolled(song)}) > 1 for song in songs)
    assert all(30 <= total_bars(song) <= 120 for song in songs)


def refusal(text: str) -> list[str]:
    with pytest.raises(ChartErrors) as refused:
        parse_set(text)
    return [f"{error.line}:{error.column} {error.message}" for error in refused.value.errors]


def test_everything_wrong_is_said_at_once() -> None:
    text = (
        '[[song]]\nfile = "a.txt"\nkey = "H"\ntempo = 900\n\n'
        '[[song]]\ntempi = 3\n\n[[player]]\nname = "Iris"\nlevel = 7\nhand = "both"\n'
        'tuning = "G2,D2"\n'
    )
    assert refusal(text) == [
        "3:1 'H' is not a key: write a note name, with m for minor (G, Bb, F#m).",
        "4:1 tempo = 900 cannot be: write a number from 10 to 400.",
        "6:1 This song names no chart: write file = ...",
        "7:1 tempi means nothing here: use file, key, tempo, singer, notes.",
        "11:1 level = 7 cannot be: write a number from 1 to 6.",
        "12:1 hand = both is not known: write right or left.",
        "13:1 The strings of a tuning go from low to high: D2 does not lie above G2.",
    ]


@pytest.mark.parametrize("name", [*(each.name for each in TUNINGS), "low string dropped", "6"])
def test_every_tuning_of_the_neck_may_stand_in_a_set(name: str) -> None:
    text = f'[[song]]\nfile = "a.txt"\n\n[[player]]\nname = "Iris"\ntuning = "{name}"\n'
    assert parse_set(text).players[0].tuning == str(parse_tuning(name))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "0:0 A set wants at least one song"),
        ("date = ", "1:8 This line of the set cannot be read"),
        ('date = "soon"\n[[song]]\nfile = "a"', "1:1 soon is not a date"),
        ('song = "a"', "0:0 Write each song under a line of its own"),
        ("[[song]]\nfile = 3", "2:1 Write file in quotes."),
        ('[[song]]\nfile="a"\n[[player]]\nname="I"\n[[player]]\nname="I"', "0:0 I is named twice"),
    ],
)
def test_one_sentence_for_each_mistake(text: str, said: str) -> None:
    assert any(line.startswith(said) for line in refusal(text))


def test_missing_and_broken_charts_are_named_before_anything_is_made() -> None:
    setlist = parse_set(
        '[[song]]\nfile = "a.txt"\n[[song]]\nfile = "b.txt"\n'
        '[[song]]\nfile = "c.txt"\nkey = "Em"\n',
        source="sunday.toml",
    )
    with pytest.raises(ChartErrors) as refused:
        set_songs(setlist, {"b.txt": CHART + "| 9 |\n", "c.txt": CHART})
    assert [str(error).splitlines()[0] for error in refused.value.errors] == [
        "sunday.toml, line 1, column 1: The chart a.txt is not there.",
        "b.txt, line 7, column 3: 9 is no chord: degrees go from 1 to 7.",
        "sunday.toml, line 5, column 1: T is in G, a major key: ask for a major key, such as E.",
    ]


def test_a_clashing_tempo_is_asked_about_and_the_set_wins() -> None:
    setlist = parse_set('[[song]]\nfile = "a"\nkey = "A"\ntempo = 100\n')
    song = set_songs(setlist, {"a": CHART})[0]
    assert song.tempo_bpm == 100
    assert str(song.key) == "A"
    assert [remark.text for remark in song.report] == [
        "The chart says 72 and the set 100; the set's tempo is used."
    ]
