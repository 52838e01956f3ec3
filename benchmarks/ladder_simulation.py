"""What the tempo ladder measures: theory, the exact chain, and a simulated player, as a table.

    python benchmarks/ladder_simulation.py [--passes N] [--seed N]

For each rule and each spread of a logistic player (clean half the time at 120 BPM): the balance
point in theory (Levitt 1971; Kaernbach 1991), the share of clean passes and the mean tempo in the
long run (exactly, from the Markov chain of tempo and streak; and simulated), and the tempo at
which this player is clean as often as the balance point says. Then how many passes the estimate
of the held tempo wants.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np

from undersong.practice.estimate import estimate
from undersong.practice.ladder import Ladder, Outcome, Rule, first, step
from undersong.practice.passes import Pass
from undersong.practice.staircase import balance_point, play

MIDDLE_BPM = 120.0
RULES = ((5.0, 10.0, 2), (5.0, 5.0, 2), (1.0, 2.0, 2), (5.0, 15.0, 1), (5.0, 5.0, 3))
SPREADS_BPM = (3.0, 6.0, 10.0, 20.0)
WARM_UP = 500


def logistic(spread_bpm: float) -> Callable[[float], float]:
    """A player clean half the time at MIDDLE_BPM."""
    return lambda tempo_bpm: 1.0 / (1.0 + math.exp((tempo_bpm - MIDDLE_BPM) / spread_bpm))


def in_the_long_run(rule: Rule, chance: Callable[[float], float]) -> tuple[float, float]:
    """Share of clean passes and mean tempo, exactly: the chain's stationary distribution."""
    places: dict[Ladder, int] = {first(rule): 0}
    moves: list[tuple[int, int, float]] = []
    waiting = deque(places)
    while waiting:
        here = waiting.popleft()
        clean = chance(here.tempo_bpm)
        for outcome, share in ((Outcome.CLEAN, clean), (Outcome.NOT_CLEAN, 1.0 - clean)):
            there = step(rule, here, outcome)
            if there not in places:
                places[there] = len(places)
                waiting.append(there)
            moves.append((places[here], places[there], share))
    chain = np.zeros((len(places), len(places)))
    for here_at, there_at, share in moves:
        chain[here_at, there_at] += share
    balance = np.vstack([chain.T - np.eye(len(places)), np.ones(len(places))])
    weights = np.linalg.lstsq(balance, np.r_[np.zeros(len(places)), 1.0], rcond=None)[0]
    tempos = np.array([state.tempo_bpm for state in places])
    shares = np.array([chance(tempo) for tempo in tempos])
    return float(weights @ shares), float(weights @ tempos)


def print_rules(passes: int, seed: int) -> None:
    """One line for each rule and each player."""
    print("rule          spread | share of clean passes       | mean tempo")
    print("up down row   BPM    | theory  exact   simulated   | at balance  exact   simulated")
    for up_bpm, down_bpm, in_a_row in RULES:
        rule = Rule(
            start_bpm=100, up_bpm=up_bpm, down_bpm=down_bpm, in_a_row=in_a_row, floor_bpm=10
        )
        share = balance_point(rule)
        for spread_bpm in SPREADS_BPM:
            chance = logistic(spread_bpm)
            exact_share, exact_bpm = in_the_long_run(rule, chance)
            rng = np.random.default_rng(seed)
            tempos, outcomes = play(rule, chance, passes=passes + WARM_UP, rng=rng)
            seen = outcomes[WARM_UP:].count(Outcome.CLEAN) / passes
            seen_bpm = float(np.mean(tempos[WARM_UP:]))
            at_balance = MIDDLE_BPM - spread_bpm * math.log(share / (1.0 - share))
            print(
                f"{up_bpm:2g} {down_bpm:4g} {in_a_row:3d}   {spread_bpm:4g}   | "
                f"{share:.4f}  {exact_share:.4f}  {seen:.4f}      | "
                f"{at_balance:8.2f}   {exact_bpm:7.2f}  {seen_bpm:7.2f}"
            )


def print_estimates(seed: int) -> None:
    """How far off the held tempo is, and how wide its interval, after so many passes."""
    now = datetime(2026, 1, 1, tzinfo=UTC)
    spread_bpm, players = 6.0, 60
    truth = MIDDLE_BPM - spread_bpm * math.log(0.8 / 0.2)
    print(
        f"\nheld tempo of a player with spread {spread_bpm:g} BPM (truth {truth:.1f}), usual rule"
    )
    print("passes  answered  median error  90 % of errors within  median width  ms an estimate")
    for count in (5, 10, 20, 40, 80, 160):
        errors, widths = [], []
        began = time.perf_counter()
        for player in range(players):
            rng = np.random.default_rng([seed, player])
            tempos, outcomes = play(Rule(), logistic(spread_bpm), passes=count, rng=rng)
            history = [Pass("x", now, t, o) for t, o in zip(tempos, outcomes, strict=True)]
            found = estimate(history, now=now)
            if found.tempo_bpm is not None and found.low_bpm and found.high_bpm:
                errors.append(found.tempo_bpm - truth)
                widths.append(found.high_bpm - found.low_bpm)
        took_ms = (time.perf_counter() - began) / players * 1000
        if not errors:
            print(f"{count:6d}  {0:8d}")
            continue
        print(
            f"{count:6d}  {len(errors):8d}  {np.median(errors):+12.1f}  "
            f"{np.quantile(np.abs(errors), 0.9):21.1f}  "
            f"{np.median(widths):12.1f}  {took_ms:14.2f}"
        )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--passes", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1971)
    asked = parser.parse_args()
    print_rules(asked.passes, asked.seed)
    print_estimates(asked.seed)


if __name__ == "__main__":
    main()
