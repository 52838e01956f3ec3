"""The roadmap: sections in order, repeats and endings, key changes, pick-ups, pushes."""

from fractions import Fraction

import pytest

from undersong.chart.roadmap import (
    chord_at,
    chords_of,
    duration_s,
    timeline,
    total_bars,
    unrolled,
)
from undersong.chart.song import OrderItem, Song
from undersong.chart.text import parse_song
from undersong.errors import ChartMeaningError

HEAD = "Title: T\nKey: D\nTempo: 72\n\n"


def played(song: Song) -> str:
    return " ".join(
        "+".join(str(event.chord or 0) for event in bar.events) or "." for bar in unrolled(song)
    )


def test_repeats_and_endings_are_taken() -> None:
    song = parse_song(HEAD + "A:\n|: 1 | 2- |\n1st: | 5 |\n2nd: | 4 | 1 |\n| 6- :| x2\n")
    assert played(song) == "1 2- 5 1 2- 4 1 6- 6-"


def test_the_order_is_followed_with_its_times() -> None:
    song = parse_song(HEAD + "V x2\n| 1 |\n\nC\n| 4 |\n\nOrder: V, C x3, V")
    assert played(song) == "1 1 4 4 4 1 1"
    assert [bar.visit for bar in unrolled(song)] == [1, 2, 1, 2, 3, 3, 4]
    assert [bar.number for bar in unrolled(song)] == [1, 2, 3, 4, 5, 6, 7]


def test_a_key_change_lasts() -> None:
    song = parse_song(HEAD + "V\n| 1 |\n\nC\n-- up 2\n| 4 |\n\nOrder: V, C, V, C down 1, V")
    # The chorus lifts every time it comes; the order's own step down is taken before it.
    assert [str(bar.key) for bar in unrolled(song)] == ["D", "E", "E", "F", "F"]


def test_a_lift_is_taken_once_however_often_its_bars_come() -> None:
    for body in ("|: 4 | 1 :|", "| 4 | 1 |", "| 4 | 1 | x2"):
        times = " x2" if body == "| 4 | 1 |" else ""
        song = parse_song(HEAD + f"V\n| 1 |\n\nC{times}\n-- up 2\n{body}\n\nT\n| 1 |\n")
        assert [str(bar.key) for bar in unrolled(song)] == ["D", "E", "E", "E", "E", "E"]


@pytest.mark.parametrize(
    ("key", "words", "new"),
    # trade handbook 3.4, rule 6, and 2.8
    [
        ("D", "up 1", "Eb"),
        ("E", "up 1", "F"),
        ("B", "up 1", "C"),
        ("A", "up 1", "Bb"),
        ("D", "up a whole step", "E"),
        ("D", "Key Up A Step", "E"),
        ("D", "KEY UP 2", "E"),
        ("D", "Key change: +2", "E"),
        ("D", "Modulate up a half step", "Eb"),
        ("E", "up 2", "F#"),
        ("F", "up 1", "Gb"),
        ("D", "up 3", "F"),
        ("D", "up 4", "F#"),
        ("D", "up 5", "G"),
        ("G", "down 1", "F#"),
        ("D", "down 2", "C"),
        ("D", "down 3", "B"),
        ("Em", "up 1", "Fm"),
    ],
)
def test_lifts_keep_the_letter_moving(key: str, words: str, new: str) -> None:
    song = parse_song(f"Title: T\nKey: {key}\nTempo: 72\n\nV\n| 1 |\n-- {words}\n| 1 |\n")
    assert str(unrolled(song)[1].key) == new


def test_a_pickup_makes_bar_0_at_the_start_only() -> None:
    song = parse_song(HEAD + "V\n| pickup 5. | 1 | 4 |\n\nOrder: V x2")
    bars = unrolled(song)
    assert [bar.number for bar in bars] == [0, 1, 2, 3, 4]
    assert bars[1].at == Fraction(1, 4)
    # The second time it plays over the last beat of the bar before.
    assert [(str(e.chord), e.at) for e in bars[2].events] == [("4", 0), ("5", Fraction(3, 4))]
    assert total_bars(song) == 4


def test_a_push_sounds_before_its_bar() -> None:
    song = parse_song(HEAD + "V\n| 1 | <<4 | 1 <<5@2.75 |\n")
    chords = timeline(song)
    assert [chord.at for chord in chords] == [
        Fraction(0),
        Fraction(7, 8),
        Fraction(2),
        Fraction(2) + Fraction(7, 16),
    ]
    assert str(chord_at(song, Fraction(7, 8)).event.chord) == "4"  # type: ignore[union-attr]
    assert str(chord_at(song, Fraction(3, 4)).event.chord) == "1"  # type: ignore[union-attr]


def test_a_push_on_the_first_chord_waits_for_the_start() -> None:
    assert timeline(parse_song(HEAD + "V\n| <<1 | 4 |\n"))[0].at == 0


def test_a_chord_carries_on_over_slashes() -> None:
    song = parse_song(HEAD + "V\n| 1 | / / 5 / | / / / / |\n")
    assert [chord.length for chord in timeline(song)] == [Fraction(3, 2), Fraction(3, 2)]


def test_there_is_no_chord_before_the_first_and_after_the_end() -> None:
    song = parse_song(HEAD + "V\n| 4@3 |\n")
    assert chord_at(song, Fraction(0)) is None
    assert chord_at(song, Fraction(1, 2)) is not None
    assert chord_at(song, Fraction(1)) is None


def test_the_bass_lays_out_until_told() -> None:
    song = parse_song(HEAD + "V\n-- out\n| 1 | 4 |\n-- bass in\n| 1 |\n\nC\n| 4 |\n")
    assert [bar.is_out for bar in unrolled(song)] == [True, True, False, False]


def test_eighty_bars_at_72_last_266_7_seconds() -> None:
    # trade handbook, check value 85
    song = parse_song(HEAD + "V\n| 1 | 4 | 5 | 1 |\n\nOrder: V x20")
    assert duration_s(song) == pytest.approx(266.7, abs=0.05)


def test_an_odd_bar_is_as_long_as_it_says() -> None:
    song = parse_song(HEAD + "V\n| 1 | 2/4: 5 | 1 |\n")
    assert [bar.at for bar in unrolled(song)] == [0, 1, Fraction(3, 2)]


def test_an_order_without_its_section_is_refused() -> None:
    song = parse_song(HEAD + "V\n| 1 |\n")
    broken = Song(song.title, song.key, song.meter, song.sections, order=(OrderItem("W"),))
    with pytest.raises(ChartMeaningError, match="no section called W"):
        unrolled(broken)


def test_a_roadmap_without_end_is_refused() -> None:
    song = parse_song(HEAD + "V x64\n|: 1 :| x64\n\nOrder: V x64")
    with pytest.raises(ChartMeaningError, match="more than 10000 bars"):
        unrolled(song)


def test_bars_without_any_chord_are_played_in_silence() -> None:
    song = parse_song(HEAD + "V\n| / / / / | / / / / |\n")
    assert (total_bars(song), timeline(song), chord_at(song, Fraction(0))) == (2, (), None)
    assert chords_of(()) == ()


def test_words_after_a_section_in_the_margin_are_its_own() -> None:
    song = parse_song(HEAD + "V\n| 1 | 4 |\n-- build\nIntro | 5 | 1 | -- softly\n")
    words = [[bar.directions for bar in section.bars] for section in song.sections]
    assert words == [[(), ("build",)], [("softly",), ()]]
