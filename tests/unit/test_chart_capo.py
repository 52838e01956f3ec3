"""A capo: on a chart of our own and on a sheet; its shapes sound higher (trade handbook 3.6)."""

from dataclasses import replace

import pytest

from undersong.chart.arrive_text import song_from_text
from undersong.chart.sheet import SheetSettings
from undersong.chart.song import Bar, Song, in_key
from undersong.chart.text import parse_song
from undersong.chart.write import song_text
from undersong.errors import ChartErrors
from undersong.theory.key import parse_key

SHAPES = "Title: T\nKey: G\nCapo: 2\nTempo: 72\n\nVerse\n| G | D/F# | Em | C |  # softly\n"
NUMBERS = SHAPES.replace("| G | D/F# | Em | C |", "| 1 | 5/7 | 6- | 4 |")


def numbers(song: Song) -> list[str]:
    return [
        " ".join(str(event.chord or 0) for bar in section.bars for event in bar.events)
        for section in song.sections
    ]


@pytest.mark.parametrize("text", [SHAPES, NUMBERS, NUMBERS.replace("Capo: 2", "Capo 2nd fret")])
def test_a_chart_sounds_in_the_key_of_its_shapes_and_the_capo(text: str) -> None:
    song = parse_song(text)
    assert (str(song.key), numbers(song)) == ("A", ["1 5/7 6- 4"])
    assert [each.text for each in song.report] == [
        "With the capo at fret 2 the shapes of G sound in A."
    ]


def test_the_key_of_a_chart_in_letters_may_be_the_one_that_sounds() -> None:
    song = parse_song(SHAPES.replace("Key: G", "Key: A"))
    assert (str(song.key), numbers(song)) == ("A", ["1 5/7 6- 4"])


def test_no_capo_is_no_remark() -> None:
    song = parse_song(NUMBERS.replace("Capo: 2", "Capo: none"))
    assert (str(song.key), song.report) == ("G", ())


@pytest.mark.parametrize(
    ("capo", "said"), [("15", "fret 1 to 11, not 15"), ("two", "no place for a capo")]
)
def test_a_capo_that_cannot_be(capo: str, said: str) -> None:
    with pytest.raises(ChartErrors, match=said):
        parse_song(NUMBERS.replace("Capo: 2", f"Capo: {capo}"))


@pytest.mark.parametrize("text", [SHAPES, NUMBERS])
def test_a_changed_chart_is_written_as_it_sounds(text: str) -> None:
    song = parse_song(text)
    assert song_text(song) == text
    lowered = in_key(song, parse_key("E"))
    slower = replace(song, tempo_bpm=60.0)
    bar = replace(song.sections[0].bars[0], events=song.sections[0].bars[1].events)
    for changed in (lowered, slower, _with_first_bar(song, bar)):
        assert parse_song(song_text(changed)) == changed
        assert "Capo" not in song_text(changed)
    assert "# softly" in song_text(_with_first_bar(parse_song(NUMBERS), bar))


def _with_first_bar(song: Song, bar: Bar) -> Song:
    first = replace(song.sections[0], bars=(bar, *song.sections[0].bars[1:]))
    return replace(song, sections=(first, *song.sections[1:]))


@pytest.mark.parametrize("chords", ["| A | D |", "| 1 | 4 |"])
def test_a_later_key_of_a_chart_is_lifted_too(chords: str) -> None:
    first = chords.replace("A", "G").replace("D", "C")
    song = parse_song(f"Title: T\nKey: G\nCapo: 2\n\nVerse\n{first}\n-- key A\n{chords}\n")
    assert numbers(song) == ["1 4 1 4"]
    assert str(song.sections[0].bars[2].key_change.key) == "B"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("key", "later", "chords"),
    [
        ("D", "E", "E B C#m A"),  # shapes, and shapes
        ("E", "F#", "E B C#m A"),  # what sounds, and what sounds
        ("D", "F#", "E B C#m A"),  # shapes, then what sounds
        ("E", "E", "E B C#m A"),  # what sounds, then shapes
    ],
)
def test_a_later_key_of_a_sheet_is_lifted_too(key: str, later: str, chords: str) -> None:
    song = song_from_text(
        f"Key: {key}\nCapo 2\n\nVerse\nD A Bm G D\n\nChorus\nKey change: {later}\n{chords} E\n"
    )
    assert (str(song.key), numbers(song)) == ("E", ["1 5 6- 4 1", "1 5 6- 4 1"])
    assert str(song.sections[1].bars[0].key_change.key) == "F#"  # type: ignore[union-attr]


def test_the_lift_is_kept_under_the_leaders_own_key_and_capo() -> None:
    settings = SheetSettings(key=parse_key("F"), capo=3)
    song = song_from_text("Verse\nD A G D\n\nChorus\nKey change: E\nE B A E\n", settings)
    assert (str(song.key), numbers(song)) == ("F", ["1 5 4 1", "1 5 4 1"])
    assert str(song.sections[1].bars[0].key_change.key) == "G"  # type: ignore[union-attr]
