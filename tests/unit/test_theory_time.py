"""Meter, musical time and the bridge to seconds."""

from fractions import Fraction

import pytest

from undersong.errors import TheoryError
from undersong.theory.meter import Meter, beat_count, beat_words, parse_meter, parse_wholes
from undersong.theory.tempo import Swing, TempoMap, TempoMark, steady

F = Fraction


@pytest.mark.parametrize(
    ("text", "bar", "beat", "beats"),
    [
        ("4/4", F(1), F(1, 4), 4),
        ("3/4", F(3, 4), F(1, 4), 3),
        ("6/8", F(3, 4), F(3, 8), 2),
        ("12/8", F(3, 2), F(3, 8), 4),
        ("2/2", F(1), F(1, 2), 2),
        ("3/8", F(3, 8), F(1, 8), 3),
    ],
)
def test_meters(text: str, bar: Fraction, beat: Fraction, beats: int) -> None:
    meter = parse_meter(text)
    assert (meter.bar, meter.beat, meter.beats) == (bar, beat, beats)
    assert str(meter) == text


@pytest.mark.parametrize("text", ["4", "4/3", "0/4", "waltz", "33/4", ""])
def test_refuses_what_is_no_meter(text: str) -> None:
    with pytest.raises(TheoryError, match="not a meter"):
        parse_meter(text)


def test_exact_times() -> None:
    assert parse_wholes("3/8") == F(3, 8)
    assert parse_wholes("2") == 2
    for text in ("0.5", "1/0", "x", "1e3"):
        with pytest.raises(TheoryError, match="fraction"):
            parse_wholes(text)


def test_tempo_counts_the_meters_own_beat() -> None:
    assert steady(60, Meter(4, 4)).seconds_at(F(1)) == pytest.approx(4.0)
    assert steady(60, Meter(6, 8)).seconds_at(F(3, 4)) == pytest.approx(2.0)


def test_tempo_changes_add_up() -> None:
    tempo = TempoMap((TempoMark(F(0), 60), TempoMark(F(1), 120)))
    assert tempo.seconds_at(F(1)) == pytest.approx(4.0)
    assert tempo.seconds_at(F(2)) == pytest.approx(6.0)
    assert tempo.at_tempo(30).seconds_at(F(2)) == pytest.approx(12.0)


def test_swing_delays_the_off_beat_only() -> None:
    tempo = TempoMap((TempoMark(F(0), 80),), Swing(F(1, 8), F(2)))
    assert tempo.seconds_at(F(1, 8)) == pytest.approx(0.500)
    assert tempo.seconds_at(F(1, 4)) == pytest.approx(0.750)


def test_swing_pairs_start_after_the_pick_up() -> None:
    swing = Swing(F(1, 8), F(2))
    tempo = TempoMap((TempoMark(F(0), 60),), swing, F(1, 8))
    assert tempo.seconds_at(F(1, 8)) - tempo.seconds_at(F(0)) == pytest.approx(1 / 3)


def test_refuses_impossible_tempos_and_swings() -> None:
    with pytest.raises(TheoryError, match="cannot be played"):
        TempoMark(F(0), 0)
    with pytest.raises(TheoryError, match="cannot be played"):
        Swing(F(1, 8), F(9))
    with pytest.raises(TheoryError, match="start at 0"):
        TempoMap((TempoMark(F(1), 60),))


# Syllables and ordinals as bands count them: common practice, no source.
@pytest.mark.parametrize(
    ("meter", "beat", "words", "count"),
    [
        ("4/4", F(3), "beat 3", "3"),
        ("4/4", F(5, 2), "the and of 2", "2+"),
        ("4/4", F(17, 4), "the e of 4", "4e"),
        ("4/4", F(19, 4), "the a of 4", "4a"),
        ("4/4", F(7, 3), "beat 2, second of 3", "2(2 of 3)"),
        ("4/4", F(17, 8), "beat 2, second thirty-second", "2(2 of 8)"),
        ("2/2", F(3, 2), "the and of 1", "1+"),
        ("6/8", F(2), "beat 2", "2"),
        ("6/8", F(7, 3), "beat 2, second eighth", "2+"),
        ("6/8", F(8, 3), "beat 2, third eighth", "2a"),
        ("12/8", F(3, 2), "beat 1, fourth sixteenth", "1(2 of 2)"),
    ],
)
def test_places_are_told_as_players_count(meter: str, beat: F, words: str, count: str) -> None:
    assert beat_words(beat, parse_meter(meter)) == words
    assert beat_count(beat, parse_meter(meter)) == count
