"""A song in other keys, the other habit of minor, plain names, and what a key asks of the bass."""

from dataclasses import replace

import pytest

from undersong.chart.degrees import letters, numbers, plain_chord
from undersong.chart.lownotes import low_note_table, low_notes
from undersong.chart.roadmap import timeline
from undersong.chart.show import chart_json, chart_lines
from undersong.chart.song import Song, Style, in_key, lifted
from undersong.chart.text import parse_song
from undersong.chart.write import song_text
from undersong.errors import ChartMeaningError
from undersong.theory.chord import parse_chord, parse_number_chord
from undersong.theory.key import MinorHabit, parse_key

TWELVE = "C Db D Eb E F Gb G Ab A Bb B"
LETTERS = "Title: T\nKey: D\nTempo: 72\n\nVerse\n| D | A/C# | Bm7 | G |\n"


def shown(song: Song, key: str) -> list[str]:
    bars = chart_json(song, parse_key(key))["sections"][0]["bars"]
    return [chord["letters"] for bar in bars for chord in bar["chords"]]


@pytest.mark.parametrize(
    ("key", "names"),
    [  # trade handbook 3.7
        ("E", ["E", "B", "C#m", "A", "E/G#", "B/D#", "A/C#", "D", "Am"]),
        ("Gb", ["Gb", "Db", "Ebm", "Cb", "Gb/Bb", "Db/F", "Cb/Eb", "Fb", "Cbm"]),
        ("Bb", ["Bb", "F", "Gm", "Eb", "Bb/D", "F/A", "Eb/G", "Ab", "Ebm"]),
    ],
)
def test_the_commonest_chords_in_other_keys(key: str, names: list[str]) -> None:
    song = parse_song(
        "Title: T\nKey: C\nTempo: 72\n\nV\n| 1 | 5 | 6- | 4 | 1/3 | 5/7 | 4/6 | b7 | 4- |\n"
    )
    assert shown(song, key) == names


def test_letters_become_numbers_and_numbers_letters() -> None:
    key = parse_key("Em")
    for_six = numbers(parse_chord("B7/D#"), key)
    assert str(for_six) == "3(7)/#5"
    assert str(letters(for_six, key)) == "B7/D#"
    assert str(numbers(parse_chord("B7/D#"), key, MinorHabit.TONIC)) == "5(7)/7"


def test_a_letter_chart_moves_in_letters() -> None:
    moved = in_key(parse_song(LETTERS), parse_key("Eb"))
    assert song_text(moved) == "Title: T\nKey: Eb\nTempo: 72\n\nVerse\n| Eb | Bb/D | Cm7 | Ab |\n"


def test_a_number_chart_changes_its_key_line_alone() -> None:
    text = "Title: T\nKey: G   # Mara's\nTempo: 72\n\nV\n|  1 |4|\n-- key A\n| 5 |\n"
    moved = in_key(parse_song(text), parse_key("F"))
    assert song_text(moved).splitlines()[1] == "Key: F   # Mara's"
    assert "-- key G" in song_text(moved)


def test_a_minor_song_wants_a_minor_key() -> None:
    song = parse_song("Title: T\nKey: Em\nTempo: 72\n\nV\n| 6- |\n")
    with pytest.raises(ChartMeaningError, match="a minor key: ask for a minor key, such as Am"):
        in_key(song, parse_key("A"))


def test_the_two_habits_of_minor() -> None:
    # trade handbook 2.5
    key = parse_key("Am")
    home = ("1-", "b6", "b3", "b7", "4-", "5-", "2dim", "5")
    for relative, tonic in zip(("6-", "4", "1", "5", "2-", "3-", "7dim", "3"), home, strict=True):
        chord = letters(parse_number_chord(relative), key, MinorHabit.RELATIVE)
        assert str(numbers(chord, key, MinorHabit.TONIC)) == tonic


def test_double_signs_are_shown_as_the_plain_neighbour() -> None:
    # trade handbook 3.3
    flat_third = letters(parse_number_chord("b3"), parse_key("Gb"))
    assert str(flat_third) == "Bbb"
    assert str(plain_chord(flat_third)) == "A"
    song = parse_song("Title: T\nKey: Gb\nTempo: 72\n\nV\n| b3 1 |\n")
    assert "A Gb" in "\n".join(chart_lines(song, style=Style.LETTERS))


@pytest.mark.parametrize(
    ("key", "four", "dropped"),
    # trade handbook 4.9: of 1, 4, 5, 6 those with a lower octave on a low B string; of these
    # only B, C and Db lie below a dropped D.
    [
        ("C", 1, 1),
        ("Db", 1, 1),
        ("D", 2, 1),
        ("Eb", 2, 1),
        ("E", 2, 2),
        ("F", 2, 1),
        ("F#", 3, 2),
        ("G", 2, 1),
        ("Ab", 2, 1),
        ("A", 1, 0),
        ("Bb", 1, 0),
        ("B", 1, 1),
    ],
)
def test_low_roots_of_1_4_5_6(key: str, four: int, dropped: int) -> None:
    song = parse_song(f"Title: T\nKey: {key}\nTempo: 72\n\nV\n| 1 | 4 | 5 | 6- |\n")
    counts = low_notes(song)
    assert counts.bars == 4
    assert counts.below == {"four-string": four, "low string dropped": dropped, "five-string": 0}


def test_the_table_has_every_key_and_keeps_the_songs_own_name() -> None:
    song = parse_song("Title: T\nKey: Gb\nTempo: 72\n\nV\n| 1 | 4 | 5 | 1 |\n")
    rows = low_note_table(song)
    assert [str(row.key) for row in rows] == TWELVE.split()
    low = [str(row.key) for row in rows if row.tonic_is_low]
    assert low == ["C", "Db", "D", "Eb", "B"]  # trade handbook T9
    assert [row.tonic.midi for row in rows] == [36, 37, 38, 39, 28, 29, 30, 31, 32, 33, 34, 35]


def test_the_lines_of_a_chart() -> None:
    song = parse_song(
        "Title: Lamps\nKey: D\nTempo: 84\n\nV\n| pickup 5. | 1 | 5/7 | 6- |\n-- out\n| <1> |\n"
    )
    assert chart_lines(song, both=True) == (
        "Lamps",
        "D  4/4  84",
        "",
        "V       |  pickup 1/4: 5 | 1             | 5/7           | 6-            |",
        "           pickup 1/4: A   D               A/C#            Bm",
        "        -- out",
        "        |  <1>           |",
        "           <D>",
        "",
        "Order   V",
    )


def test_the_json_of_a_chart() -> None:
    text = "Title: T\nKey: G\nTempo: 72\n\nVerse\n| 1 / / <<5/7 | 0 |\n\nOrder: Verse x2"
    shown_song = chart_json(parse_song(text))
    assert shown_song["order"] == ["Verse", "Verse"]
    assert shown_song["sections"][0]["bars"][0]["chords"][1] == {
        "at": "3/4",
        "number": "5/7",
        "letters": "D/F#",
        "held": False,
        "pushed": True,
        "push": "1/8",
        "stopped": False,
        "fermata": False,
    }
    assert shown_song["sections"][0]["bars"][1]["chords"][0]["number"] is None


def test_the_json_is_spelled_in_the_key_in_force() -> None:
    text = "Title: T\nKey: D\nTempo: 72\n\nVerse\n| 1 |\n\nChorus\n-- up 2\n| 1 |\n"
    sections = chart_json(parse_song(text))["sections"]
    assert [each["bars"][0]["chords"][0]["letters"] for each in sections] == ["D", "E"]
    assert sections[1]["bars"][0]["key"] == "E"


def test_new_facts_stand_beside_a_rewritten_note() -> None:
    text = "# mine\nTitle: T\nKey: G\nTempo: 72\nNote: old\n\nV\n| 1 |\n"
    edited = replace(parse_song(text), feel="slow", notes=("new",))
    assert song_text(edited) == (
        "# mine\nTitle: T\nKey: G\nTempo: 72\nNote: new\nFeel: slow\n\nV\n| 1 |\n"
    )


def test_a_far_key_spells_with_three_signs_and_comes_back() -> None:
    text = "Title: T\nKey: A#m\nMinor: 1-\nTempo: 72\n\nV\n| 1- | #3 |\n"
    moved = replace(parse_song(text), style=Style.LETTERS, text=None)
    assert "C###" in song_text(moved)
    assert parse_song(song_text(moved)) == moved


def test_a_song_of_slashes_alone_has_no_chords() -> None:
    assert timeline(parse_song("Title: T\nKey: G\nTempo: 72\n\nV\n| / / / / |\n")) == ()


@pytest.mark.parametrize(
    ("key", "semitones", "new"),
    [
        ("D", -1, "Db"),
        ("D", 1, "Eb"),
        ("E", 1, "F"),
        ("F", 1, "Gb"),
        ("G", -1, "F#"),
        ("C", -1, "B"),
        ("Bm", -1, "Bbm"),
        ("Gm", 1, "G#m"),
    ],
)
def test_a_lift_moves_the_letter_but_never_to_seven_signs(
    key: str, semitones: int, new: str
) -> None:
    assert str(lifted(parse_key(key), semitones)) == new
