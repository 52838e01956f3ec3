"""Intervals: letter steps and semitones together."""

import pytest

from undersong.errors import TheoryError
from undersong.theory.interval import Interval, between, parse_interval
from undersong.theory.pitch import parse_pitch, parse_pitch_name


@pytest.mark.parametrize(
    "text", ["P1", "m2", "M3", "P4", "A4", "d5", "P5", "m7", "P8", "M10", "-P5"]
)
def test_reads_and_prints(text: str) -> None:
    assert str(parse_interval(text)) == text


@pytest.mark.parametrize("text", ["", "P3", "M5", "X2", "P0", "m", "7"])
def test_refuses(text: str) -> None:
    with pytest.raises(TheoryError, match="not an interval"):
        parse_interval(text)


def test_spelling_is_kept() -> None:
    assert str(parse_interval("M3").above(parse_pitch("E1"))) == "G#1"
    assert str(parse_interval("d4").above(parse_pitch("E1"))) == "Ab1"
    assert str(parse_interval("m7").above_name(parse_pitch_name("F"))) == "Eb"
    assert str(parse_interval("-m2").above(parse_pitch("C2"))) == "B1"


def test_adds_and_turns_round() -> None:
    assert parse_interval("M3") + parse_interval("m3") == parse_interval("P5")
    assert -parse_interval("P5") == Interval(-4, -7)


def test_between_two_pitches() -> None:
    assert str(between(parse_pitch("E1"), parse_pitch("B1"))) == "P5"
    assert str(between(parse_pitch("B1"), parse_pitch("E1"))) == "-P5"
