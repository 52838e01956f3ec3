"""Timing windows against trade handbook 5.6 (its proposal, common practice, no source)."""

from __future__ import annotations

from fractions import Fraction

import pytest

from undersong.ear import window_ms
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Note, Part
from undersong.theory.pitch import parse_pitch

ROUNDED_MS = 0.5

# (tempo, level A, level B, level C), from the table
TABLE = (
    (50, 60, 50, 40),
    (60, 60, 50, 40),
    (70, 60, 50, 40),
    (76, 60, 50, 39),
    (80, 60, 50, 38),
    (90, 60, 50, 33),
    (100, 60, 45, 30),
    (110, 55, 41, 27),
    (120, 50, 38, 25),
    (130, 46, 35, 23),
    (140, 43, 32, 21),
)


def part_of(length: Fraction, tempo_bpm: float, meter: str = "4/4") -> Part:
    notes = tuple(Note(k * length, length, parse_pitch("E1")) for k in range(4))
    return Part("windows", parse_key("G"), parse_meter(meter), tempo_bpm, notes)


@pytest.mark.parametrize(("tempo_bpm", "a", "b", "c"), TABLE)
def test_windows_by_tempo(tempo_bpm: float, a: int, b: int, c: int) -> None:
    part = part_of(Fraction(1, 1), tempo_bpm)
    for level, expected in ((1, a), (2, a), (3, b), (4, c), (5, c)):
        assert window_ms(part, level=level) == pytest.approx(expected, abs=ROUNDED_MS)


@pytest.mark.parametrize(
    ("length", "tempo_bpm", "cap_ms"),
    [
        (Fraction(1, 16), 70, 53.6),
        (Fraction(1, 16), 120, 31.25),
        (Fraction(1, 16), 140, 26.8),
    ],
)
def test_never_wider_than_a_quarter_of_the_shortest_note(
    length: Fraction, tempo_bpm: float, cap_ms: float
) -> None:
    assert window_ms(part_of(length, tempo_bpm)) == pytest.approx(cap_ms, abs=0.05)


def test_the_beat_of_six_eight_is_a_dotted_quarter() -> None:
    part = part_of(Fraction(3, 8), 120, "6/8")
    assert window_ms(part) == pytest.approx(50, abs=ROUNDED_MS)
