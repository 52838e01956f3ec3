"""Note values, tuplets and beams: what a bar looks like. Expectations: common practice."""

from fractions import Fraction
from itertools import pairwise

import pytest

from undersong.exchange.beams import beamed
from undersong.exchange.values import Span, Value, bar_values, value_name
from undersong.theory.meter import parse_meter

F = Fraction
_NAMES = {1: "w", 2: "h", 4: "q", 8: "e", 16: "s", 32: "t"}


def spans(text: str, first: str = "0") -> list[Span]:
    """``1/8 r1/4`` as spans one after another."""
    result, start = [], F(first)
    for number, word in enumerate(text.split()):
        length = F(word.removeprefix("r"))
        result.append(Span(start, start + length, () if word[0] == "r" else (number,)))
        start += length
    return result


def look(value: Value) -> str:
    return (
        ("r" if value.is_rest else "")
        + _NAMES.get(value.kind, "?")
        + "." * value.dots
        + (f"({value.actual}:{value.normal})" if value.actual > 1 else "")
    )


def bar(text: str, meter: str = "4/4", start: str = "0") -> str:
    """The values; ``~`` joins those of one note."""
    values = bar_values(spans(text, start), parse_meter(meter))
    words = [look(values[0])]
    for before, value in pairwise(values):
        tied = value.span.notes == before.span.notes and not value.is_rest
        words.append(("~" if tied else " ") + look(value))
    return "".join(words)


@pytest.mark.parametrize(
    ("lengths", "meter", "written"),
    [
        ("1", "4/4", "w"),
        ("1/4 1/2 1/4", "4/4", "q h q"),
        ("1/8 1/4 1/8 1/2", "4/4", "e q e h"),
        ("3/8 1/8 3/8 1/8", "4/4", "q. e q. e"),
        ("1/8 3/8 1/2", "4/4", "e q. h"),
        ("3/8 1/4 3/8", "4/4", "q. e~e q."),  # the middle of the bar shows
        ("1/4 3/4", "4/4", "q h."),
        ("1/8 7/8", "4/4", "e q.~h"),
        ("5/8 3/8", "4/4", "h~e q."),
        ("3/16 1/16 1/16 3/16 1/2", "4/4", "e. s s e. h"),
        ("1/8 3/16 11/16", "4/4", "e e~s e.~h"),  # every beat shows
        ("r1/8 1/8 r3/4", "4/4", "re e rq rh"),
        ("3/4", "3/4", "h."),
        ("1/4 1/2", "3/4", "q h"),
        ("3/4", "6/8", "h."),
        ("3/8 3/8", "6/8", "q. q."),
        ("1/4 1/8 1/8 1/4", "6/8", "q e e q"),
        ("1/4 1/4 1/4", "6/8", "q e~e q"),  # the beat shows
        ("r3/8 1/8 r1/4", "6/8", "rq. e re re"),
        ("3/16 3/16 3/8", "6/8", "e. e. q."),  # two in the time of three eighths
        ("3/2", "12/8", "w."),
        ("3/8 3/4 3/8", "12/8", "q. q.~q. q."),
        ("9/8", "9/8", "h.~q."),
        ("5/4", "5/4", "w~q"),
        ("7/8", "7/8", "h~q."),
        ("2", "4/2", "w~w"),
    ],
)
def test_values_show_the_beat(lengths: str, meter: str, written: str) -> None:
    assert bar(lengths, meter) == written


@pytest.mark.parametrize(
    ("lengths", "written"),
    [
        ("1/12 1/12 1/12 3/4", "e(3:2) e(3:2) e(3:2) h."),
        ("1/6 1/12 3/4", "q(3:2) e(3:2) h."),
        ("1/6 1/6 1/6 1/2", "q(3:2) q(3:2) q(3:2) h"),
        ("1/3 1/3 1/3", "h(3:2) h(3:2) h(3:2)"),
        ("1/24 1/24 1/24 1/8 3/4", "s(3:2) s(3:2) s(3:2) e h."),
        ("1/6 1/3 1/2", "q(3:2) e(3:2)~q h"),  # the off-beat of a shuffle, held over the beat
        ("1/20 1/20 1/20 1/20 1/20 3/4", "s(5:4) s(5:4) s(5:4) s(5:4) s(5:4) h."),
        ("r1/12 1/6 3/4", "re(3:2) q(3:2) h."),
        ("1/28 6/28 3/4", "s(7:4) q.(7:4) h."),
    ],
)
def test_tuplets_take_the_shortest_stretch_that_holds_them(lengths: str, written: str) -> None:
    assert bar(lengths) == written


def test_a_pick_up_is_counted_from_where_its_bar_would_begin() -> None:
    assert bar("3/8", start="5/8") == "q."
    assert bar("1/4 1/4", "6/8", start="1/4") == "e~e q"


def test_values_fill_the_bar_exactly() -> None:
    values = bar_values(spans("1/6 1/3 1/7 5/14"), parse_meter("4/4"))
    assert sum(value.span.length for value in values) == 1
    for value in values:
        name = F(3 if value.dots else 2, 2 * value.kind)
        assert name * value.normal / value.actual == value.span.length


def test_what_has_no_name_is_kept_whole() -> None:
    assert value_name(F(1, 2048)) is None
    lengths = [v.span.length for v in bar_values(spans("1/2048 2047/2048"), parse_meter("4/4"))]
    assert sum(lengths) == 1


def beam_look(lengths: str, meter: str) -> str:
    values = bar_values(spans(lengths), parse_meter(meter))
    short = {"begin": "(", "continue": "-", "end": ")", "forward hook": ">", "backward hook": "<"}
    return " ".join(
        "".join(short[name] for name in value.beams) or "."
        for value in beamed(values, parse_meter(meter))
    )


@pytest.mark.parametrize(
    ("lengths", "meter", "beams"),
    [
        ("1/8 1/8 1/8 1/8 1/8 1/8 1/4", "4/4", "( - - ) ( ) ."),
        ("1/4 1/8 1/8 1/8 1/8 1/8 1/8", "4/4", ". ( ) ( - - )"),
        ("1/8 1/4 1/8 1/2", "4/4", ". . . ."),
        ("3/16 1/16 1/16 3/16 1/2", "4/4", "( )< (> ) ."),
        ("1/16 1/16 1/16 1/16 1/8 1/8 1/2", "4/4", "(( -- -- )) ( ) ."),
        ("1/8 1/16 1/16 3/4", "4/4", "( -( )) ."),
        ("1/8 r1/8 1/8 1/8 1/2", "4/4", ". . ( ) ."),
        ("1/8 1/8 1/8 1/8 1/8 1/8", "6/8", "( - ) ( - )"),
        ("1/8 1/8 1/8", "3/8", "( - )"),
        ("1/8 1/8 1/8 1/8 1/8 1/8 1/8", "7/8", "( ) ( ) ( ) ."),
    ],
)
def test_beams_go_by_the_beat(lengths: str, meter: str, beams: str) -> None:
    assert beam_look(lengths, meter) == beams


def test_a_tuplet_under_one_beam_needs_no_bracket() -> None:
    meter = parse_meter("4/4")
    values = beamed(bar_values(spans("1/12 1/12 1/12 1/6 1/12 1/2"), meter), meter)
    brackets = [value.is_bracketed for value in values if value.starts_tuplet]
    assert brackets == [False, True]
