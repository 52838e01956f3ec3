"""Any part that can be written can be timed and played."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from strategies import bass_parts, parts
from undersong.errors import UndersongError
from undersong.sound.loudness import true_peak_db
from undersong.sound.master import CEILING_DBTP
from undersong.sound.mix import render_part
from undersong.sound.schedule import ClickPattern, ClickPlan, schedule
from undersong.theory.excerpt import excerpt, looped
from undersong.theory.part import Part

RATE_HZ = 22050
LONGEST_S = 40.0


def length_s(part: Part, tempo_bpm: float) -> float:
    return part.at_tempo(tempo_bpm).tempo_map.seconds_at(part.length)


@given(
    part=parts(),
    tempo_bpm=st.floats(40, 220),
    pattern=st.sampled_from(ClickPattern),
    bars_off=st.integers(0, 2),
)
@settings(max_examples=150, deadline=None)
def test_schedule_is_in_order_and_inside(
    part: Part, tempo_bpm: float, pattern: ClickPattern, bars_off: int
) -> None:
    try:
        timed = schedule(part, tempo_bpm=tempo_bpm, click=ClickPlan(pattern, bars_off=bars_off))
    except UndersongError:
        return  # a later tempo that cannot be played
    onsets = [click.onset_s for click in timed.clicks]
    assert all(a < b + 1e-9 for a, b in pairwise(onsets))
    assert all(0 < onset < timed.end_s for onset in onsets)
    assert any(click.counting_in for click in timed.clicks)
    assert len(timed.notes) == len(part.strokes)
    for event in timed.notes:
        assert timed.start_s - 1e-9 <= event.onset_s < timed.end_s
        assert event.length_s > 0
        assert event.onset_s + event.length_s <= timed.end_s + 1e-6


@given(part=parts(most=6), tempo_bpm=st.floats(60, 220))
@settings(max_examples=25, deadline=None)
def test_anything_is_played_finite_and_below_the_ceiling(part: Part, tempo_bpm: float) -> None:
    try:
        if length_s(part, tempo_bpm) > LONGEST_S:
            return
        mix = render_part(part, tempo_bpm=tempo_bpm, sample_rate_hz=RATE_HZ)
    except UndersongError:
        return
    assert np.isfinite(mix.samples).all()
    assert true_peak_db(mix.samples) <= CEILING_DBTP + 0.01


@given(part=bass_parts(), data=st.data())
@settings(max_examples=100, deadline=None)
def test_excerpts_join_to_the_whole_and_loops_last_as_long(part: Part, data: st.DataObject) -> None:
    assume(part.length > 0)
    # Swung pairs are counted from the first bar of what is played; in odd meters that moves them.
    part = replace(part, swing=None)
    bars = part.bars
    cut = data.draw(st.integers(bars[0].number, bars[-1].number))
    first = excerpt(part, bars[0].number, cut)
    assert first.length <= part.length
    if cut < bars[-1].number:
        rest = excerpt(part, cut + 1, bars[-1].number)
        assert first.length + rest.length == part.length
        whole_s = part.tempo_map.seconds_at(part.length)
        both_s = sum(each.tempo_map.seconds_at(each.length) for each in (first, rest))
        assert both_s == pytest.approx(whole_s, rel=1e-6)
    body = part.length - part.pickup or part.length  # a pick-up alone goes round itself
    twice = looped(part, 2)
    assert twice.length == part.length + body
