"""The estimate against an independent fit (scipy's optimiser) and against known players."""

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from undersong.practice.estimate import SLIP, estimate
from undersong.practice.ladder import Outcome, Rule
from undersong.practice.passes import Pass
from undersong.practice.staircase import play

NOW = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)


def played(middle_bpm: float, steepness: float, passes: int, seed: int) -> list[Pass]:
    """A player of the model itself on the usual ladder."""

    def chance(tempo_bpm: float) -> float:
        return float((1 - SLIP) * expit((middle_bpm - tempo_bpm) / (steepness * middle_bpm)))

    tempos, outcomes = play(Rule(), chance, passes=passes, rng=np.random.default_rng(seed))
    return [Pass("x", NOW, t, o) for t, o in zip(tempos, outcomes, strict=True)]


def test_agrees_with_maximum_likelihood_on_a_long_history() -> None:
    passes = played(110, 0.06, 3000, seed=1)
    tempos = np.array([each.tempo_bpm for each in passes])
    clean = np.array([each.outcome is Outcome.CLEAN for each in passes])

    def unlikelihood(guess: NDArray[np.float64]) -> float:
        middle, spread = np.exp(guess)
        chances = (1 - SLIP) * expit((middle - tempos) / spread)
        return -float(np.sum(np.log(np.where(clean, chances, 1 - chances))))

    fit = minimize(unlikelihood, np.log([100.0, 8.0]), method="Nelder-Mead")
    middle, spread = np.exp(fit.x)
    held_bpm = middle - spread * math.log(0.8 / (1 - SLIP - 0.8))
    found = estimate(passes, now=NOW)
    assert found.tempo_bpm == pytest.approx(held_bpm, abs=1.0)  # 1 BPM: what a click can show


def test_nine_intervals_in_ten_hold_the_truth() -> None:
    # Players drawn from the priors themselves: then nine tenths is exact (simulation-based
    # calibration, Cook, Gelman & Rubin 2006), and the error allowed is 4 standard errors.
    rng = np.random.default_rng(2006)
    held = bounded = 0
    trials = 250
    for trial in range(trials):
        middle = float(np.exp(rng.uniform(math.log(20), math.log(320))))
        steepness = float(np.exp(rng.uniform(math.log(0.015), math.log(0.2))))
        found = estimate(played(middle, steepness, 40, seed=trial), now=NOW)
        if found.low_bpm is None or found.high_bpm is None:
            continue  # nothing bounds one side, and the estimate says so
        truth = middle * (1 - steepness * math.log(0.8 / (1 - SLIP - 0.8)))
        bounded += 1
        held += found.low_bpm <= truth <= found.high_bpm
    assert bounded > trials / 3
    assert abs(held / bounded - 0.9) < 4 * math.sqrt(0.9 * 0.1 / bounded)


@pytest.mark.parametrize("truth_bpm", [80, 100, 120])
def test_sixty_passes_find_a_usual_player(truth_bpm: float) -> None:
    # A plain logistic player, spread 6 BPM, clean four times in five at `truth_bpm`.
    middle = truth_bpm + 6 * math.log(0.8 / 0.2)
    errors = []
    for seed in range(20):
        tempos, outcomes = play(
            Rule(),
            lambda tempo_bpm: float(expit((middle - tempo_bpm) / 6)),
            passes=60,
            rng=np.random.default_rng(seed),
        )
        passes = [Pass("x", NOW, t, o) for t, o in zip(tempos, outcomes, strict=True)]
        found = estimate(passes, now=NOW).tempo_bpm
        assert found is not None
        errors.append(found - truth_bpm)
    assert abs(float(np.median(errors))) < 5  # one step up of the ladder
