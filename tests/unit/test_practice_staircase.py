import numpy as np
import pytest

from undersong.errors import PracticeError
from undersong.practice.ladder import Ladder, Outcome, Rule
from undersong.practice.staircase import expected_rise_bpm, forecast, play


@pytest.mark.parametrize(("share", "rise_bpm"), [(0, -10), (1, 2.5)])
def test_never_clean_falls_and_always_clean_rises(share: float, rise_bpm: float) -> None:
    assert expected_rise_bpm(Rule(), share) == rise_bpm


@pytest.mark.parametrize("share", [-0.1, 1.1])
def test_a_share_is_from_0_to_1(share: float) -> None:
    with pytest.raises(PracticeError, match="share of clean passes is from 0 to 1"):
        expected_rise_bpm(Rule(), share)


def test_a_forecast_in_minutes_days_and_weeks() -> None:
    # All clean, 70 to 100: 12 passes of 30 s are 6 minutes; at 4 minutes a day two days of six.
    found = forecast(Rule(), 70, 100, 1.0, pass_s=30, minutes_a_day=4)
    assert found is not None
    assert (found.passes, found.minutes, found.days) == (12, 6.0, 2)
    assert found.weeks == pytest.approx(1 / 3)


def test_no_forecast_where_the_climb_does_not_rise() -> None:
    assert forecast(Rule(), 70, 100, 0.8, pass_s=30, minutes_a_day=4) is None
    low = Rule(ceiling_bpm=90)
    assert forecast(low, 70, 100, 1.0, pass_s=30, minutes_a_day=4) is None


def test_already_there() -> None:
    found = forecast(Rule(), 100, 90, 0.5, pass_s=30, minutes_a_day=4)
    assert found is not None
    assert found.passes == 0


def test_a_forecast_needs_time() -> None:
    with pytest.raises(PracticeError, match="some minutes a day"):
        forecast(Rule(), 70, 100, 1.0, pass_s=30, minutes_a_day=0)


def test_a_made_up_player_follows_the_rule_and_the_seed() -> None:
    rng = np.random.default_rng(3)
    tempos, outcomes = play(Rule(), lambda _: 1.0, passes=3, rng=rng, ladder=Ladder(80, 1))
    assert tempos == (80, 85, 85)
    assert outcomes == (Outcome.CLEAN,) * 3
    again = [play(Rule(), lambda _: 0.5, passes=50, rng=np.random.default_rng(3)) for _ in range(2)]
    assert again[0] == again[1]
