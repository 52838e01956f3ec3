"""The worked sequences and figures of trade handbook 5.1, 5.2 and 10 (rows 89-92)."""

import math

import pytest

from undersong.practice.ladder import Rule, climb_json, parse_results, rule_for_song
from undersong.practice.staircase import balance_point, expected_rise_bpm, forecast

# Trade handbook 5.1: results in order, tempo before each pass, next tempo.
WORKED = {
    "CC": ([70, 70], 75),
    "CFCC": ([70, 70, 60, 60], 65),
    "CCCCFCCCC": ([70, 70, 75, 75, 80, 70, 70, 75, 75], 80),
    "FFFFF": ([70, 60, 50, 40, 40], 40),
    "CUC": ([70, 70, 70], 75),
    "CCCCCCCCCC": ([70, 70, 75, 75, 80, 80, 85, 85, 90, 90], 95),
    "CFCFCF": ([70, 70, 60, 60, 50, 50], 40),
}


@pytest.mark.parametrize(("word", "expected"), WORKED.items())
def test_worked_sequences(word: str, expected: tuple[list[int], int]) -> None:
    tempos, following = expected
    assert climb_json(Rule(), parse_results(word)) == {"tempos": tempos, "next": following}


def test_balance_point_of_the_usual_rule() -> None:
    assert balance_point(Rule()) == pytest.approx(0.8165, abs=5e-5)  # row 92, four decimals


@pytest.mark.parametrize(("target", "passes"), [(100, 12), (120, 20)])
def test_all_clean_climbs(target: int, passes: int) -> None:
    tempos = climb_json(Rule(), parse_results("C" * passes))
    assert tempos["next"] == target  # 5.2: 70 to 100 takes 12 passes, 70 to 120 takes 20


@pytest.mark.parametrize(("share", "passes"), [(0.95, 17), (0.90, 27), (0.85, 66)])
def test_passes_for_thirty_bpm(share: float, passes: int) -> None:
    found = forecast(Rule(), 70, 100, share, pass_s=30, minutes_a_day=8)
    assert found is not None
    assert abs(found.passes - passes) <= 1  # 5.2 says "about"; we round up


@pytest.mark.parametrize("share", [0.5, 0.7, 0.8165, 0.9, 0.99])
def test_expected_drift_formula(share: float) -> None:
    # 5.2: expected drift 5p²/(1+p) - 10(1-p)
    said = 5 * share**2 / (1 + share) - 10 * (1 - share)
    assert expected_rise_bpm(Rule(), share) == pytest.approx(said, abs=1e-12)


def test_ceiling_is_ten_per_cent_over_the_song() -> None:
    assert rule_for_song(90).ceiling_bpm == 99
    assert math.floor(83 * 1.1) == rule_for_song(83).ceiling_bpm
