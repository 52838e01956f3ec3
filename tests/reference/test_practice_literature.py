"""Staircase rules against the literature that described them.

Levitt 1971, JASA 49(2B), 467-477: with equal steps, N in a row against one, the rule settles where
p**N = 1/2: 0.707 for two (his figure, well known; paper not re-read), and by the same arithmetic
0.794 for three, 0.841 for four.
Kaernbach 1991, Perception & Psychophysics 49(3), 227-229: one in a row, unequal steps, settles
where p * up = (1 - p) * down (equation from memory; the abstract, read, says that any point can
be aimed at by the ratio of the steps).
García-Pérez 1998, Vision Research 38(12), 1861-1881, abstract read: for one to four in a row the
ratios 0.2845, 0.5488, 0.7393 and 0.8415 of the harder to the easier step settle at 77.85, 80.35,
83.15 and 85.84 % whatever the size of the steps. Our step up is his step to the harder side.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest

from undersong.practice.ladder import Outcome, Rule
from undersong.practice.staircase import balance_point, expected_rise_bpm, play

PASSES = 20_000
WARM_UP = 500
SEED = 19_71


def rule(up_bpm: float, down_bpm: float, in_a_row: int) -> Rule:
    return Rule(
        start_bpm=100, up_bpm=up_bpm, down_bpm=down_bpm, in_a_row=in_a_row, floor_bpm=10
    )  # fmt: skip


def logistic(middle_bpm: float, spread_bpm: float) -> Callable[[float], float]:
    return lambda tempo_bpm: 1 / (1 + math.exp((tempo_bpm - middle_bpm) / spread_bpm))


@pytest.mark.parametrize(("in_a_row", "share"), [(1, 0.5), (2, 0.7071), (3, 0.7937), (4, 0.8409)])
def test_equal_steps_settle_where_levitt_says(in_a_row: int, share: float) -> None:
    assert balance_point(rule(5, 5, in_a_row)) == pytest.approx(share, abs=5e-5)


@pytest.mark.parametrize("share", [0.6, 0.75, 0.9])
def test_one_in_a_row_settles_where_kaernbach_aims(share: float) -> None:
    up_bpm = 5.0
    down_bpm = up_bpm * share / (1 - share)
    assert balance_point(rule(up_bpm, down_bpm, 1)) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(
    ("in_a_row", "ratio", "share"),
    [(1, 0.2845, 0.7785), (2, 0.5488, 0.8035), (3, 0.7393, 0.8315), (4, 0.8415, 0.8584)],
)
def test_both_together_settle_where_garcia_perez_found(
    in_a_row: int, ratio: float, share: float
) -> None:
    assert balance_point(rule(10 * ratio, 10, in_a_row)) == pytest.approx(share, abs=5e-5)


@pytest.mark.parametrize(
    ("steps", "published"),
    [
        ((5, 5, 2), 0.7071),  # Levitt: two up, one down
        ((2, 2, 3), 0.7937),  # Levitt: three
        ((5, 15, 1), 0.75),  # Kaernbach: three to one
        ((5, 10, 2), math.sqrt(2 / 3)),  # the usual rule, both at once
    ],
)
def test_simulated_player_settles_there(steps: tuple[float, float, int], published: float) -> None:
    # A logistic player, clean half the time at 120, whose curve is wide against the steps.
    tempos, outcomes = play(
        rule(*steps), logistic(120, 10), passes=PASSES, rng=np.random.default_rng(SEED)
    )
    settled = outcomes[WARM_UP:]
    share = settled.count(Outcome.CLEAN) / len(settled)
    # Four standard errors of independent passes: 0.013 at 0.7. Passes on a staircase vary less
    # than that, because it pulls back; steps of finite size shift the share by 0.003 or less.
    standard_error = math.sqrt(published * (1 - published) / len(settled))
    assert abs(share - published) < 4 * standard_error
    assert min(tempos) > 10  # never held up by the floor
    assert max(tempos) < 400


def test_the_usual_rule_does_not_settle_where_equal_steps_do() -> None:
    _, outcomes = play(
        rule(5, 10, 2), logistic(120, 10), passes=PASSES, rng=np.random.default_rng(SEED)
    )
    share = outcomes[WARM_UP:].count(Outcome.CLEAN) / (PASSES - WARM_UP)
    assert share - 0.7071 > 0.08  # some 25 standard errors


@pytest.mark.parametrize("steps", [(5, 10, 2), (5, 5, 2), (5, 5, 3), (5, 15, 1)])
def test_nothing_drifts_at_the_balance(steps: tuple[float, float, int]) -> None:
    # At a fixed chance the tempo is a random walk: its end, against the formula's 0.
    settings = Rule(*(200, *steps), floor_bpm=10, ceiling_bpm=400)
    share = balance_point(settings)
    assert expected_rise_bpm(settings, share) == pytest.approx(0, abs=1e-12)
    ends = []
    for seed in range(200):
        tempos, _ = play(
            settings, lambda _: share, passes=100, rng=np.random.default_rng([SEED, seed])
        )
        ends.append(tempos[-1] - tempos[0])
    error = float(np.std(ends)) / math.sqrt(len(ends))
    assert abs(float(np.mean(ends))) < 4 * error


def test_the_tempo_settles_a_little_under_the_balance() -> None:
    # García-Pérez 1998 and the exact chain in benchmarks/ladder_simulation.py: the share is right,
    # the mean tempo lies below the tempo of that share, by about 2 BPM for 5 up and 10 down.
    share = balance_point(Rule())
    balance_bpm = 120 - 10 * math.log(share / (1 - share))
    tempos, _ = play(
        rule(5, 10, 2), logistic(120, 10), passes=PASSES, rng=np.random.default_rng(SEED)
    )
    assert 1 < balance_bpm - float(np.mean(tempos[WARM_UP:])) < 3
