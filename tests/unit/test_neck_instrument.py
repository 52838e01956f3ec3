from __future__ import annotations

import pytest

from undersong.errors import TheoryError
from undersong.neck.instrument import (
    STANDARD,
    TUNINGS,
    FingerSystem,
    Instrument,
    Tuning,
    parse_finger_system,
    parse_scale_length,
    parse_tuning,
)
from undersong.theory.pitch import parse_pitch


@pytest.mark.parametrize("tuning", TUNINGS, ids=lambda tuning: tuning.name)
def test_every_listed_tuning_reads_back_by_name_and_by_strings(tuning: Tuning) -> None:
    assert parse_tuning(tuning.name) is tuning
    assert parse_tuning(str(tuning)) is tuning


@pytest.mark.parametrize(
    ("text", "strings"),
    [
        ("Drop D", "D1,A1,D2,G2"),
        ("drop-d", "D1,A1,D2,G2"),
        ("5", "B0,E1,A1,D2,G2"),
        ("five", "B0,E1,A1,D2,G2"),
        ("half step down", "Eb1,Ab1,Db2,Gb2"),
        ("BEAD", "B0,E1,A1,D2"),
        ("C1, G1, D2, A2", "C1,G1,D2,A2"),
        ("e1 a1 d2 g2", "E1,A1,D2,G2"),
    ],
)
def test_a_tuning_is_read_as_a_musician_types_it(text: str, strings: str) -> None:
    assert str(parse_tuning(text)) == strings


def test_an_unlisted_tuning_is_named_by_its_strings() -> None:
    assert parse_tuning("C1,G1,D2,A2").name == "C1,G1,D2,A2"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("open sesame", "write strings from low to high with their octaves"),
        ("E1,A1,G1", "G1 does not lie above A1"),
        ("E1,E1", "E1 does not lie above E1"),
        ("", "1 to 12 strings, not 0"),
        ("E,A,D,G", "is not a tuning"),
        ("E1,A1,D2,G9", "G9 is no string: use C0 to C6"),
    ],
)
def test_what_is_no_tuning_says_what_would_be(text: str, sentence: str) -> None:
    with pytest.raises(TheoryError, match=sentence):
        parse_tuning(text)


def test_names_that_hold_commas_are_listed_apart() -> None:
    with pytest.raises(TheoryError) as refused:
        parse_tuning("open sesame")
    listed = str(refused.value).split("one of: ")[1].removesuffix(".")
    assert listed.split("; ") == [tuning.name for tuning in TUNINGS]


@pytest.mark.parametrize(("frets", "neck"), [(1, "a neck of 1 fret"), (0, "of 0 frets")])
def test_a_neck_too_short_is_counted_in_good_grammar(frets: int, neck: str) -> None:
    with pytest.raises(TheoryError, match=f"(?i){neck} is not one we can use"):
        Instrument(frets=frets)


def test_gaps_tell_even_tunings_from_uneven_ones() -> None:
    assert STANDARD.is_even
    assert parse_tuning("drop d").gaps == (7, 5, 5)
    assert not parse_tuning("drop d").is_even


@pytest.mark.parametrize(
    ("text", "mm"),
    [("short", 762.0), ("Extra-Long", 889.0), ("34in", 863.6), ('30"', 762.0), ("850.5 mm", 850.5)],
)
def test_a_scale_length_is_a_name_inches_or_millimetres(text: str, mm: float) -> None:
    assert parse_scale_length(text) == pytest.approx(mm)


def test_a_wrong_scale_length_or_system_names_the_right_ones() -> None:
    with pytest.raises(TheoryError, match="short, medium, long, extra long"):
        parse_scale_length("huge")
    with pytest.raises(TheoryError, match="1-2-4"):
        parse_finger_system("two fingers")
    assert parse_finger_system("Simandl") is FingerSystem.ONE_TWO_FOUR
    assert parse_finger_system("1-2-3-4") is FingerSystem.ONE_PER_FRET


def test_string_one_is_the_highest() -> None:
    bass = Instrument()
    assert [bass.open_midi(string) for string in (1, 2, 3, 4)] == [43, 38, 33, 28]
    assert bass.midi_at(4, 3) == parse_pitch("G1").midi
    assert (bass.lowest, bass.highest) == (28, 63)


def test_places_are_every_string_and_fret_of_a_pitch() -> None:
    # trade handbook 4.10: the open G lies at frets 5, 10 and 15 of the D, A and E strings.
    assert Instrument().places(43) == ((4, 15), (3, 10), (2, 5), (1, 0))
    assert Instrument(frets=12).places(43) == ((3, 10), (2, 5), (1, 0))
    assert Instrument().places(27) == ()


def test_no_place_off_the_neck() -> None:
    with pytest.raises(ValueError, match="no string 5"):
        Instrument().midi_at(5, 0)
    with pytest.raises(ValueError, match="fret 21"):
        Instrument().midi_at(1, 21)


def test_an_impossible_bass_is_refused_in_a_sentence() -> None:
    with pytest.raises(TheoryError, match="2 frets"):
        Instrument(frets=2)
    with pytest.raises(TheoryError, match="scale length of 34 mm"):
        Instrument(scale_mm=34)
    with pytest.raises(TheoryError, match="hand span of 10 mm"):
        Instrument(hand_span_mm=10)


def test_instruments_compare_hash_and_rebuild() -> None:
    left = Instrument(left_handed=True)
    assert left != Instrument()
    assert len({left, Instrument(left_handed=True), Instrument()}) == 2
