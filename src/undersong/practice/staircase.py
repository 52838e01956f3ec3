"""What the ladder measures, and how far it climbs.

Clean passes in a row up, one failure down is a staircase: left to itself it settles around the
tempo at which the player is clean a certain share of the time. That share follows from the rule
alone.

Conventions
-----------
`clean_share` is the chance that a pass is clean, 0 to 1. Passes that could not be judged move
nothing and are not counted here.

References
----------
Levitt 1971, *JASA* 49(2B), 467-477: transformed up-down rules (equal steps, N in a row).
Kaernbach 1991, *Perception & Psychophysics* 49(3), 227-229: weighted up-down rules (unequal steps).
García-Pérez 1998, *Vision Research* 38(12), 1861-1881: rules that are both, as ours is; found by
simulation that a rule with equal steps settles where its steps, as well as its count, put it, and
gives step ratios that settle at the share computed here whatever the size of the steps.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from undersong.errors import PracticeError
from undersong.practice.ladder import Ladder, Outcome, Rule, first, step


def balance_point(rule: Rule) -> float:
    """The share of clean passes at which a rule neither rises nor falls on average.

    Parameters
    ----------
    rule
        Only its steps and its passes in a row count.

    Returns
    -------
    float
        In (0, 1): sqrt(2/3) = 0.8165 for 5 up, 10 down, two in a row; 0.7071 for equal steps.

    Notes
    -----
    A run of passes since the last move ends with N clean ones (probability p**N, one step up) or
    with a failure (1 - p**N, one step down), so the balance is at p**N * up = (1 - p**N) * down.
    """
    return float((rule.down_bpm / (rule.up_bpm + rule.down_bpm)) ** (1.0 / rule.in_a_row))


def expected_rise_bpm(rule: Rule, clean_share: float) -> float:
    """Average rise per pass of a climb far from its floor and ceiling.

    Parameters
    ----------
    rule
        Only its steps and its passes in a row count.
    clean_share
        Chance that a pass is clean, 0 to 1.

    Returns
    -------
    float
        BPM per pass; negative where the climb falls, 0 at the balance point.
    """
    if not 0.0 <= clean_share <= 1.0:
        raise PracticeError(f"A share of clean passes is from 0 to 1, not {clean_share!r}.")
    if clean_share == 1.0:
        return rule.up_bpm / rule.in_a_row
    through = clean_share**rule.in_a_row
    run_length = (1.0 - through) / (1.0 - clean_share)  # passes until the next move, on average
    return (through * rule.up_bpm - (1.0 - through) * rule.down_bpm) / run_length


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a climb will take if all goes on as it does: passes, minutes of playing, days, weeks."""

    passes: int
    minutes: float
    days: int
    weeks: float


def forecast(
    rule: Rule,
    from_bpm: float,
    to_bpm: float,
    clean_share: float,
    *,
    pass_s: float,
    minutes_a_day: float,
    days_a_week: int = 6,
) -> Forecast | None:
    """How long a climb takes on average at a steady share of clean passes.

    Parameters
    ----------
    rule
        The settings of the climb.
    from_bpm, to_bpm
        Where it stands and where it shall arrive.
    clean_share
        Chance that a pass is clean on the way, 0 to 1.
    pass_s
        Seconds of one pass with its count-in, > 0.
    minutes_a_day
        Minutes of playing this item a day, > 0.
    days_a_week
        Days with practice in a week, 1 to 7.

    Returns
    -------
    Forecast or None
        None where at this share the climb does not rise, or the ceiling is in the way: then the
        task has to change, not the number of passes.
    """
    if not (pass_s > 0 and minutes_a_day > 0 and 1 <= days_a_week <= 7):
        raise PracticeError(
            "A forecast needs a pass of some seconds, some minutes a day and 1 to 7 days a week."
        )
    if to_bpm <= from_bpm:
        return Forecast(0, 0.0, 0, 0.0)
    rise_bpm = expected_rise_bpm(rule, clean_share)
    if rise_bpm <= 0 or to_bpm > rule.ceiling_bpm:
        return None
    passes = math.ceil(round((to_bpm - from_bpm) / rise_bpm, 9))
    minutes = passes * pass_s / 60.0
    days = math.ceil(minutes / minutes_a_day)
    return Forecast(passes, minutes, days, days / days_a_week)


def play(
    rule: Rule,
    chance_of_clean: Callable[[float], float],
    *,
    passes: int,
    rng: np.random.Generator,
    ladder: Ladder | None = None,
) -> tuple[tuple[float, ...], tuple[Outcome, ...]]:
    """A made-up player on the ladder, to see what a rule does.

    Parameters
    ----------
    rule
        The settings of the climb.
    chance_of_clean
        Chance of a clean pass at a tempo in BPM, 0 to 1.
    passes
        How many.
    rng
        Decides each pass.
    ladder
        Where the climb stands; the foot of the rule if None.

    Returns
    -------
    tuple of tempos, tuple of outcomes
        One of each for every pass.
    """
    state = first(rule) if ladder is None else ladder
    tempos: list[float] = []
    outcomes: list[Outcome] = []
    for luck in rng.random(passes):
        clean = luck < chance_of_clean(state.tempo_bpm)
        outcome = Outcome.CLEAN if clean else Outcome.NOT_CLEAN
        tempos.append(state.tempo_bpm)
        outcomes.append(outcome)
        state = step(rule, state, outcome)
    return tuple(tempos), tuple(outcomes)
