from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from undersong.errors import AudioError, TheoryError
from undersong.sound.schedule import (
    LEAD_IN_S,
    ClickKind,
    ClickPattern,
    ClickPlan,
    Schedule,
    schedule,
)
from undersong.theory.key import parse_key
from undersong.theory.meter import Meter, parse_meter
from undersong.theory.part import Articulation, MeterMark, Note, Part
from undersong.theory.pitch import plain_pitch
from undersong.theory.tempo import Swing, TempoMark

SIGNS = {ClickKind.ACCENT: "A", ClickKind.BEAT: "b", ClickKind.SUBDIVISION: "."}


def part(meter: str = "4/4", *, tempo_bpm: float = 100, bars: int = 2, pickup: str = "0") -> Part:
    """One note a bar, and one in the pick-up."""
    m: Meter = parse_meter(meter)
    early = Fraction(pickup)
    places = ([Fraction(0)] if early else []) + [early + k * m.bar for k in range(bars)]
    lengths = ([early] if early else []) + [m.bar] * bars
    notes = [Note(a, n, plain_pitch(31)) for a, n in zip(places, lengths, strict=True)]
    return Part("Test", parse_key("G"), m, tempo_bpm, tuple(notes), pickup=early)


def counted(timed: Schedule) -> str:
    return "".join(SIGNS[click.kind] for click in timed.clicks if click.counting_in)


def clicked(timed: Schedule) -> str:
    return "".join(SIGNS[click.kind] for click in timed.clicks if not click.counting_in)


@pytest.mark.parametrize(
    ("meter", "tempo_bpm", "signs"),
    [
        # Trade handbook 5.8, common practice.
        ("4/4", 100, "Abbb"),
        ("4/4", 66, "Abbb"),
        ("4/4", 65, "A.b.b.b."),
        ("3/4", 100, "AbbAbb"),
        ("6/8", 50, "A..b.."),
        ("6/8", 66, "A..b.."),
        ("6/8", 80, "AbAb"),
        ("2/2", 80, "AbAbbb"),
        ("2/4", 100, "AbAb"),
        ("5/4", 100, "Abbbb"),
        ("7/8", 200, "Abbbbbb"),
        ("9/8", 50, "A..b..b.."),
        ("9/8", 90, "AbbAbb"),
        ("12/8", 90, "Abbb"),
    ],
)
def test_count_in(meter: str, tempo_bpm: float, signs: str) -> None:
    assert counted(schedule(part(meter, tempo_bpm=tempo_bpm))) == signs


def test_count_in_ends_one_beat_before_the_part() -> None:
    timed = schedule(part(tempo_bpm=120))
    assert [round(click.onset_s - LEAD_IN_S, 9) for click in timed.clicks] == [0, 0.5, 1.0, 1.5]
    assert timed.start_s == pytest.approx(LEAD_IN_S + 2.0)
    assert timed.end_s == pytest.approx(timed.start_s + 4.0)


def test_count_in_goes_on_through_the_beats_before_a_pick_up() -> None:
    timed = schedule(part(tempo_bpm=120, pickup="1/4"), click=ClickPlan())
    assert counted(timed) == "AbbbAbb"
    assert clicked(timed) == "bAbbbAbbb"
    gaps = {round(b.onset_s - a.onset_s, 9) for a, b in pairwise(timed.clicks)}
    assert gaps == {0.5}
    assert timed.notes[0].onset_s == timed.start_s == pytest.approx(LEAD_IN_S + 3.5)


def test_pick_up_off_the_beat() -> None:
    timed = schedule(part(tempo_bpm=120, pickup="3/8"), click=ClickPlan())
    assert counted(timed) == "AbbbAbb"
    assert timed.notes[1].onset_s - timed.notes[0].onset_s == pytest.approx(0.75)
    assert clicked(timed) == "bAbbbAbbb"


def test_without_count_in_the_part_starts_after_the_lead_in() -> None:
    timed = schedule(part(), count_in=False)
    assert (timed.clicks, timed.start_s) == ((), LEAD_IN_S)


@pytest.mark.parametrize(
    ("pattern", "meter", "signs"),
    [
        (ClickPattern.EVERY_BEAT, "4/4", "AbbbAbbb"),
        (ClickPattern.HALF_TIME, "4/4", "AbAb"),
        (ClickPattern.HALF_TIME, "3/4", "AA"),
        (ClickPattern.HALF_TIME, "6/8", "AA"),
        (ClickPattern.TWO_AND_FOUR, "4/4", "bbbb"),
        (ClickPattern.TWO_AND_FOUR, "3/4", "bbbb"),
        (ClickPattern.TWO_AND_FOUR, "6/8", "bb"),
        (ClickPattern.ONE, "4/4", "AA"),
        (ClickPattern.EVERY_SECOND_BAR, "4/4", "A"),
        (ClickPattern.OFF_BEAT, "4/4", "bbbbbbbb"),
    ],
)
def test_patterns(pattern: ClickPattern, meter: str, signs: str) -> None:
    timed = schedule(part(meter), click=ClickPlan(pattern))
    assert clicked(timed) == signs


def test_two_and_four_at_120_is_a_click_of_60() -> None:
    timed = schedule(
        part(tempo_bpm=120), click=ClickPlan(ClickPattern.TWO_AND_FOUR), count_in=False
    )
    onsets = [round(click.onset_s - timed.start_s, 9) for click in timed.clicks]
    assert onsets == [0.5, 1.5, 2.5, 3.5]


def test_off_beat_clicks_fall_between_the_beats() -> None:
    timed = schedule(part(tempo_bpm=60, bars=1), click=ClickPlan(ClickPattern.OFF_BEAT))
    onsets = [c.onset_s - timed.start_s for c in timed.clicks if not c.counting_in]
    assert onsets == pytest.approx([0.5, 1.5, 2.5, 3.5])


def test_slow_beats_are_subdivided() -> None:
    assert clicked(schedule(part(tempo_bpm=60), click=ClickPlan())) == "AbbbAbbb"
    assert clicked(schedule(part(tempo_bpm=59), click=ClickPlan())) == "A.b.b.b." * 2
    assert clicked(schedule(part("6/8", tempo_bpm=50), click=ClickPlan())) == "A..b.." * 2
    assert clicked(schedule(part(tempo_bpm=40), click=ClickPlan(subdivided=False))) == "Abbb" * 2
    assert clicked(schedule(part(tempo_bpm=90), click=ClickPlan(subdivided=True))) == "A.b.b.b." * 2


def test_gaps_count_from_bar_one_and_the_pick_up_goes_with_it() -> None:
    plan = ClickPlan(bars_on=1, bars_off=1)
    assert clicked(schedule(part(bars=4, pickup="1/4"), click=plan)) == "bAbbb" + "Abbb"
    with pytest.raises(AudioError, match="as in 4 on, 4 off"):
        ClickPlan(bars_on=0, bars_off=2)


def test_meter_and_tempo_changes() -> None:
    change = part("4/4", tempo_bpm=120, bars=2)
    change = replace(
        change,
        length=Fraction(4),
        meter_marks=(MeterMark(Fraction(2), Meter(3, 4)),),
        tempo_marks=(TempoMark(Fraction(2), 60.0),),
    )
    timed = schedule(change, click=ClickPlan(), count_in=False)
    assert clicked(timed) == "AbbbAbbb" + "AbbAbbAb"
    late = [click.onset_s for click in timed.clicks][8:]
    assert [b - a for a, b in pairwise(late)] == pytest.approx([1.0] * 7)


def test_slower_keeps_the_proportion_of_tempo_changes() -> None:
    change = replace(part(tempo_bpm=120), tempo_marks=(TempoMark(Fraction(1), 60.0),))
    timed = schedule(change, tempo_bpm=60, count_in=False)
    assert timed.end_s - timed.start_s == pytest.approx(4.0 + 8.0)


def test_swing_bends_notes_and_subdivisions_alike() -> None:
    notes = tuple(Note(k * Fraction(1, 8), Fraction(1, 8), plain_pitch(31)) for k in range(8))
    swung = replace(part(tempo_bpm=80, bars=1), notes=notes, swing=Swing())
    timed = schedule(swung, click=ClickPlan(subdivided=True), count_in=False)
    # Trade handbook 7.4: at 80 the 2:1 off-beat falls 500 ms after the beat.
    assert timed.notes[1].onset_s - timed.start_s == pytest.approx(0.5)
    assert timed.clicks[1].onset_s == pytest.approx(timed.notes[1].onset_s)


def test_ties_are_one_stroke() -> None:
    a = Note(Fraction(0), Fraction(1), plain_pitch(31), tied=True)
    b = Note(Fraction(1), Fraction(1), plain_pitch(31))
    timed = schedule(replace(part(tempo_bpm=120), notes=(a, b)))
    assert [event.length_s for event in timed.notes] == pytest.approx([4.0])


def test_slide_leaves_the_note_before_it_early_and_arrives_on_time() -> None:
    a = Note(Fraction(0), Fraction(1, 4), plain_pitch(31))
    b = Note(Fraction(1, 4), Fraction(1, 4), plain_pitch(33), articulation=Articulation.SLIDE)
    first, second = schedule(replace(part(tempo_bpm=60), notes=(a, b)), count_in=False).notes
    assert (second.from_midi, second.lead_s) == (31, 0.09)
    assert second.onset_s == pytest.approx(LEAD_IN_S + 1.0)
    assert first.length_s == pytest.approx(1.0 - 0.09)


def test_slide_after_a_rest_starts_on_its_own() -> None:
    b = Note(Fraction(1, 4), Fraction(1, 4), plain_pitch(33), articulation=Articulation.SLIDE)
    (event,) = schedule(replace(part(), notes=(b,)), count_in=False).notes
    assert (event.from_midi, event.lead_s) == (None, 0.0)


def test_what_cannot_be_timed() -> None:
    empty = replace(part(), notes=(), length=Fraction(0))
    with pytest.raises(AudioError, match="nothing to play"):
        schedule(empty)
    with pytest.raises(AudioError, match="an hour is the most"):
        schedule(replace(part(), length=Fraction(2000)), tempo_bpm=40)
    with pytest.raises(TheoryError, match="cannot be played"):
        schedule(part(), tempo_bpm=4)
