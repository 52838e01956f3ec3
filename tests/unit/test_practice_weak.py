from fractions import Fraction

import pytest

from undersong.practice.ladder import Outcome
from undersong.practice.passes import Judged
from undersong.practice.weak import KeyRecord, keys_record, weak_bars, weak_spots
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Note, Part, SectionMark
from undersong.theory.pitch import parse_pitch


@pytest.fixture
def three_bars() -> Part:
    """A pick-up quarter, then three bars of half notes; the chorus from bar 2."""
    places = [Fraction(0), *(Fraction(1, 4) + Fraction(n, 2) for n in range(6))]
    notes = tuple(Note(at, Fraction(1, 4), parse_pitch("G1")) for at in places)
    sections = (SectionMark(Fraction(1, 4), "Verse"), SectionMark(Fraction(5, 4), "Chorus"))
    return Part(
        "Walk",
        parse_key("G"),
        parse_meter("4/4"),
        72,
        notes,
        pickup=Fraction(1, 4),
        sections=sections,
    )


def heard(**faults: str) -> list[Judged]:
    return [Judged(index, faults.get(f"n{index}", "")) for index in range(7)]


def test_the_bar_that_fails_most_comes_first(three_bars: Part) -> None:
    passes = [
        heard(n3="late"),
        heard(n3="late", n6="wrong"),
        heard(n4="wrong", n6="wrong"),
        heard(),
    ]
    found = weak_bars(three_bars, passes)
    assert [(bar.bar, bar.faulty, bar.passes, bar.mostly) for bar in found] == [
        (2, 3, 4, "late"),
        (3, 2, 4, "wrong"),
    ]
    assert found[0].in_words == "bar 2 (Chorus): late in 3 of 4 passes"


def test_one_slip_is_no_weak_spot(three_bars: Part) -> None:
    assert weak_bars(three_bars, [heard(n1="wrong"), heard()]) == ()


def test_two_faults_in_one_bar_are_one_faulty_pass(three_bars: Part) -> None:
    passes = [heard(n1="late", n2="late"), heard(n1="late")]
    assert [(bar.bar, bar.faulty) for bar in weak_bars(three_bars, passes)] == [(1, 2)]


def test_an_extra_belongs_to_the_bar_before_it_and_a_pickup_is_bar_0(three_bars: Part) -> None:
    with_extra = [*heard()[:1], Judged(None, "extra"), *heard()[1:]]
    found = weak_bars(three_bars, [with_extra] * 2)
    assert [(bar.bar, bar.section, bar.mostly) for bar in found] == [(0, None, "extra")]


def test_a_pass_that_stopped_does_not_count_for_later_bars(three_bars: Part) -> None:
    passes = [heard(n6="wrong"), heard(n6="wrong"), heard()[:3]]
    assert weak_bars(three_bars, passes)[0].passes == 2


def test_notes_of_another_part_are_left_out(three_bars: Part) -> None:
    assert weak_bars(three_bars, [[Judged(99, "wrong")]] * 3) == ()
    assert weak_bars(three_bars, []) == ()


def test_weak_spots_for_the_plan(three_bars: Part) -> None:
    bars = weak_bars(three_bars, [heard(n6="wrong", n1="late")] * 4)
    spots = weak_spots("song Walk in G", "Walk", bars, tempo_bpm=65, most=1)
    assert len(spots) == 1
    assert spots[0].what == "Walk, bar 1 (Verse): late in 4 of 4 passes"
    assert (spots[0].weight, spots[0].tempo_bpm) == (0.8, 65)


def test_keys_the_least_clean_first() -> None:
    word = [("G", "C"), ("G", "C"), ("Bb", "F"), ("Bb", "C"), ("", "F"), ("D", "U")]
    found = keys_record((key, Outcome(letter)) for key, letter in word)
    assert found == (KeyRecord("Bb", 1, 1), KeyRecord("G", 2, 0))
    assert found[0].clean_share == 0.5
