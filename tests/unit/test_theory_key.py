"""Keys and degrees."""

import pytest

from undersong.errors import TheoryError
from undersong.theory.key import (
    MAJOR_KEYS,
    MINOR_KEYS,
    Degree,
    MinorHabit,
    Mode,
    key_on,
    parse_degree,
    parse_key,
)
from undersong.theory.pitch import parse_pitch_name


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("G", "G"),
        ("bb", "Bb"),
        ("Em", "Em"),
        ("E minor", "Em"),
        ("f♯ min", "F#m"),
        ("E-", "Em"),
        ("GM", "G"),
        ("G major", "G"),
        ("Ab maj", "Ab"),
    ],
)
def test_reads_keys(text: str, printed: str) -> None:
    assert str(parse_key(text)) == printed


@pytest.mark.parametrize("text", ["", "H", "G/B", "key of G", "1"])
def test_refuses_what_is_no_key(text: str) -> None:
    with pytest.raises(TheoryError, match="not a key"):
        parse_key(text)


@pytest.mark.parametrize(("text", "better"), [("G#", "Ab"), ("Fb", "E"), ("Dbm", "C#m")])
def test_a_key_nobody_writes_names_the_one_to_write(text: str, better: str) -> None:
    with pytest.raises(TheoryError, match=f"write it as {better}"):
        parse_key(text)


def test_fifteen_of_each() -> None:
    assert [key.signature for key in MAJOR_KEYS] == list(range(-7, 8))
    assert [key.signature for key in MINOR_KEYS] == list(range(-7, 8))


def test_relative_there_and_back() -> None:
    for key in MAJOR_KEYS:
        assert key.relative.relative == key


def test_degrees_of_a_minor_key_carry_flats() -> None:
    assert [str(degree) for degree in parse_key("Am").degrees] == [
        "1",
        "2",
        "b3",
        "4",
        "5",
        "b6",
        "b7",
    ]


def test_number_key_follows_the_habit() -> None:
    key = parse_key("Em")
    assert str(key.number_key(MinorHabit.RELATIVE)) == "G"
    assert str(key.number_key(MinorHabit.TONIC)) == "Em"
    assert str(parse_key("G").number_key(MinorHabit.RELATIVE)) == "G"


def test_degree_reads_and_prints() -> None:
    for text in ("1", "b7", "#4", "bb7"):
        assert str(parse_degree(text)) == text
    assert parse_degree("♭7") == Degree(7, -1)


@pytest.mark.parametrize("text", ["0", "8", "7b", "", "x"])
def test_refuses_what_is_no_degree(text: str) -> None:
    with pytest.raises(TheoryError, match="not a degree"):
        parse_degree(text)


def test_spelled_by_degree_never_by_sound() -> None:
    assert str(parse_key("F").name_of(parse_degree("b7"))) == "Eb"
    assert str(parse_key("E").name_of(parse_degree("#5"))) == "B#"
    assert str(parse_key("E").degree_of(parse_pitch_name("D"))) == "b7"


def test_spells_midi_by_key() -> None:
    assert str(parse_key("Db").spell(30)) == "Gb1"
    assert str(parse_key("G").spell(37)) == "C#2"
    assert str(parse_key("F").spell(39)) == "Eb2"


def test_every_midi_number_has_a_name_in_every_key() -> None:
    for key in (*MAJOR_KEYS, *MINOR_KEYS):
        for midi in range(20, 70):
            assert key.spell(midi).midi == midi


def test_key_a_band_would_write() -> None:
    majors = [str(key_on(pitch_class)) for pitch_class in range(12)]
    assert majors == ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    minors = [str(key_on(pitch_class, Mode.MINOR)) for pitch_class in range(12)]
    assert minors == ["Cm", "C#m", "Dm", "Ebm", "Em", "Fm", "F#m", "Gm", "G#m", "Am", "Bbm", "Bm"]
    assert str(key_on(6, prefer_flats=True)) == "Gb"
