"""Rhythm tables, feels, and how meters without a table are put together."""

from fractions import Fraction

import pytest

from undersong.chart.text import parse_song
from undersong.errors import LineError
from undersong.lines.feel import Feel, feel_of, parse_feel, swing_of
from undersong.lines.groove import RHYTHMS, groove_for
from undersong.theory.meter import Meter, parse_meter
from undersong.theory.tempo import Swing

METERS = [
    parse_meter(text)
    for text in (
        "4/4",
        "3/4",
        "2/4",
        "6/8",
        "12/8",
        "9/8",
        "5/4",
        "6/4",
        "7/8",
        "5/8",
        "2/2",
        "3/8",
    )
]
F = Fraction


@pytest.mark.parametrize("feel", Feel)
@pytest.mark.parametrize("meter", METERS, ids=str)
def test_every_bass_rhythm_holds_every_kick_and_begins_on_the_bar_line(
    feel: Feel, meter: Meter
) -> None:
    for energy in range(5):
        groove = groove_for(feel, energy, meter, meter.bar)
        assert len(groove.cells) == RHYTHMS
        for cell in groove.cells:
            assert set(groove.kick) <= set(cell)
            assert cell[0] == 0
            assert list(cell) == sorted(set(cell))
            assert cell[-1] < meter.bar


@pytest.mark.parametrize("feel", Feel)
def test_a_cut_bar_keeps_the_end_of_the_rhythm(feel: Feel) -> None:
    meter = parse_meter("4/4")
    whole = groove_for(feel, 2, meter, meter.bar)
    half = groove_for(feel, 2, meter, F(1, 2))
    assert half.kick == tuple(at - F(1, 2) for at in whole.kick if at >= F(1, 2))
    assert half.cells[0][0] == 0


def test_louder_sections_strike_no_less_often() -> None:
    for feel in Feel:
        counts = [
            len(groove_for(feel, energy, parse_meter("4/4"), F(1)).cells[0]) for energy in range(5)
        ]
        assert counts == sorted(counts)


@pytest.mark.parametrize(
    ("text", "feel"),
    [
        ("straight eighths", Feel.STRAIGHT),
        ("Half time", Feel.HALF_TIME),
        ("half-time shuffle", Feel.SHUFFLE),
        ("Four on the floor", Feel.FLOOR),
        ("6/8 ballad", Feel.BALLAD_68),
        ("16ths, light", Feel.SIXTEENTHS),
        ("gospel", Feel.GOSPEL),
        ("straight, no swing", Feel.STRAIGHT),
        ("swing 8ths", Feel.SHUFFLE),
    ],
)
def test_feels_are_read_by_their_words(text: str, feel: Feel) -> None:
    assert parse_feel(text) is feel


def test_every_feel_reads_its_own_name() -> None:
    assert [parse_feel(feel.value) for feel in Feel] == list(Feel)


def test_an_unknown_feel_names_those_there_are() -> None:
    with pytest.raises(LineError, match="write one of straight eighths, sixteenths"):
        parse_feel("cloudy")


def test_a_chart_without_a_feel_goes_by_its_meter() -> None:
    assert feel_of(parse_song("Title: A\nKey: G\n| 1 |")) is Feel.STRAIGHT
    assert feel_of(parse_song("Title: A\nKey: G\nMeter: 6/8\n| 1 |")) is Feel.BALLAD_68


def test_shuffles_swing_and_compound_meters_do_not() -> None:
    four = parse_song("Title: A\nKey: G\n| 1 |")
    six = parse_song("Title: A\nKey: G\nMeter: 6/8\n| 1 |")
    assert swing_of(four, Feel.SHUFFLE) == Swing(F(1, 8), F(2))
    assert swing_of(four, Feel.STRAIGHT) is None
    assert swing_of(six, Feel.SHUFFLE) is None
    swung = parse_song("Title: A\nKey: G\nFeel: swing 16ths\n| 1 |")
    assert swing_of(swung, feel_of(swung)) == swung.swing
