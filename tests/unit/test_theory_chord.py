"""Chords by letters and by numbers."""

import pytest

from undersong.errors import TheoryError
from undersong.theory.chord import (
    QUALITIES,
    Quality,
    Role,
    diatonic_chords,
    number_of,
    parse_chord,
    parse_number_chord,
    parse_quality,
)
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, parse_key


@pytest.mark.parametrize("kind", QUALITIES, ids=lambda kind: kind.name)
def test_every_kind_reads_what_it_prints(kind: Quality) -> None:
    assert parse_quality(kind.number_tail) is kind
    assert parse_quality(kind.letter_tail) is kind


@pytest.mark.parametrize(
    ("many", "one"),
    [
        ("m min mi - – −", "minor"),
        ("maj M maj. major", "major"),
        ("7 (7)", "seventh"),
        ("maj7 M7 Maj7 MAJ7 Δ Δ7 ma7", "major seventh"),
        ("-7 m7 min7 mi7 -(7)", "minor seventh"),
        ("dim o ° -b5", "diminished"),
        ("dim7 o7 °7", "diminished seventh"),
        ("ø ø7 m7b5 -7b5 m7(b5)", "half-diminished seventh"),
        ("+ aug #5", "augmented"),
        ("sus sus4 SUS", "suspended fourth"),
        ("7sus 7sus4 sus7", "suspended seventh"),
        ("6/9 69 (6/9)", "six nine"),
        ("mM7 m(maj7) -Δ7", "minor major seventh"),
        ("add9 (add9) add2", "added ninth"),
    ],
)
def test_reads_several_spellings_and_means_one(many: str, one: str) -> None:
    for text in many.split():
        assert parse_quality(text.removesuffix(".")).name == one, text


@pytest.mark.parametrize("text", ["xyz", "7alt", "77", "sus9x"])
def test_refuses_unknown_kinds(text: str) -> None:
    with pytest.raises(TheoryError, match="not a kind of chord"):
        parse_quality(text)


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("2-7", "2-(7)"),
        ("57", "5(7)"),
        ("5/7", "5/7"),
        ("b7", "b7"),
        ("♭7", "b7"),
        ("5sus4", "5sus"),
        ("#4dim/1", "#4dim/1"),
        ("6m", "6-"),
        ("1(6/9)", "1(69)"),
        ("7m7b5", "7m7b5"),
        ("1/b3", "1/b3"),
    ],
)
def test_prints_one_spelling_of_numbers(typed: str, printed: str) -> None:
    chord = parse_number_chord(typed)
    assert str(chord) == printed
    assert parse_number_chord(printed) == chord


@pytest.mark.parametrize("text", ["", "0", "8", "G", "1/8x", "/5"])
def test_refuses_what_is_no_number(text: str) -> None:
    with pytest.raises(TheoryError):
        parse_number_chord(text)


def test_the_slash_is_a_degree_of_the_key() -> None:
    assert str(parse_number_chord("5/7").in_key(parse_key("D"))) == "A/C#"
    assert str(parse_number_chord("4/1").in_key(parse_key("D"))) == "G/D"


def test_the_bass_plays_what_is_under_the_slash() -> None:
    assert str(parse_chord("D/F#").lowest) == "F#"
    assert str(parse_chord("D").lowest) == "D"
    assert str(parse_number_chord("5/7").lowest) == "7"


def test_tones_by_role() -> None:
    tones = parse_chord("Cm").tones
    assert [(role, str(name)) for role, name in tones] == [
        (Role.ROOT, "C"),
        (Role.THIRD, "Eb"),
        (Role.FIFTH, "G"),
    ]


def test_letters_to_numbers_and_back_in_every_key() -> None:
    texts = ("1", "2-(7)", "5/7", "b7", "4-", "#4dim/1", "3(7)", "b6(maj7)/1", "7m7b5")
    for key in (*MAJOR_KEYS, *MINOR_KEYS):
        for text in texts:
            chord = parse_number_chord(text)
            assert number_of(chord.in_key(key), key) == chord


def test_chords_on_each_degree() -> None:
    assert [str(chord) for chord in diatonic_chords(parse_key("G"))] == [
        "G",
        "Am",
        "Bm",
        "C",
        "D",
        "Em",
        "F#dim",
    ]
    assert [str(chord) for chord in diatonic_chords(parse_key("Em"), sevenths=True)] == [
        "Em7",
        "F#m7b5",
        "Gmaj7",
        "Am7",
        "Bm7",
        "Cmaj7",
        "D7",
    ]
