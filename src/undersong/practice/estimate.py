"""The tempo a player can hold, and how sure that is.

The question is: at which tempo would this player be clean in four passes of five? A climb wanders
around that tempo; this is what its passes say together.

Conventions
-----------
The chance of a clean pass falls with the tempo along a logistic curve: ``(1 - SLIP) / (1 +
exp((tempo - middle) / (steepness * middle)))``. Both unknowns are weighed on a grid (Bayes, with
priors flat in the logarithm), so a short history gives a wide answer and not a bold one. A pass
counts half as much for every `half_life_days` of its age: players change. Passes that could not be
judged say nothing and are left out.

References
----------
The logistic curve and its likelihood are the textbook form of a psychometric function (common
practice, no source for bass players). The limits of the grid and SLIP are this project's choice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from undersong.errors import PracticeError
from undersong.practice.ladder import Outcome
from undersong.practice.passes import Pass

HELD_SHARE = 0.8  # "four passes in five clean", close to where the usual rule settles
SLIP = 0.02  # chance of a slip at any tempo, however slow
HALF_LIFE_DAYS = 7.0
INTERVAL = 0.9  # share of the belief between the low and the high tempo
_SHARE_MIN, _SHARE_MAX = 0.5, 0.95
_MIDDLES_BPM = np.geomspace(20.0, 320.0, 280)
_STEEPNESSES = np.geomspace(0.015, 0.2, 24)
_WELL, _ROUGHLY = 0.15, 0.35  # width of the interval over the tempo
_WIDE = 1.5  # high over low end from which the two figures would only puzzle
_SECONDS_PER_DAY = 86_400.0

_Floats = NDArray[np.float64]


class Sureness(StrEnum):
    """How much a history says."""

    NOT_YET = "not yet"
    ROUGHLY = "roughly"
    WELL = "well"


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a history says about the tempo a player can hold.

    Attributes
    ----------
    tempo_bpm
        The middle of the belief; None until it is at least roughly known.
    low_bpm, high_bpm
        Nine tenths of the belief lie between them. None where nothing bounds that side: without
        a clean pass there is no low end, without a failed one no high end.
    share
        The share of clean passes that "hold" means.
    clean, not_clean
        How many passes were judged so.
    highest_clean_bpm
        The fastest clean pass; None without one.
    sure
        By the width of the interval: well within 15 % of the tempo, roughly within 35 %.
    """

    tempo_bpm: float | None
    low_bpm: float | None
    high_bpm: float | None
    share: float
    clean: int
    not_clean: int
    highest_clean_bpm: float | None
    sure: Sureness

    @property
    def in_words(self) -> str:
        """One sentence for a musician."""
        judged = self.clean + self.not_clean
        said = "1 pass" if judged == 1 else f"{judged} passes"
        low, high = f"{self.low_bpm or 0:.0f}", f"{self.high_bpm or 0:.0f}"
        if not judged:
            return "Nothing has been judged yet: play a few passes first."
        if not self.not_clean:
            return (
                f"At least about {low} BPM, from {said}, all clean: the limit is not in sight yet."
            )
        if not self.clean:
            return (
                f"Less than about {high} BPM, from {said}, none clean. Make the task smaller: a "
                "shorter loop, fewer notes."
            )
        often = f"{self.share * 100:.0f} passes in 100 clean"
        between = f"between {low} and {high}, from {said}"
        if (self.high_bpm or 0) > _WIDE * (self.low_bpm or 0):
            fastest = f"the fastest clean one at {self.highest_clean_bpm or 0:.0f}"
            return f"{said}, {self.clean} clean, {fastest}: too few yet to say which tempo holds."
        if self.tempo_bpm is None:
            return f"Somewhere {between} ({often}): too little yet to say more."
        return f"About {self.tempo_bpm:.0f} BPM with {often}; {between}, {self.sure} known."


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance of a clean pass, 0 to 1, and nine tenths of the belief around it."""

    share: float
    low: float
    high: float


def estimate(
    passes: Iterable[Pass],
    *,
    now: datetime,
    share: float = HELD_SHARE,
    half_life_days: float = HALF_LIFE_DAYS,
) -> Estimate:
    """The tempo at which a share of passes would be clean.

    Parameters
    ----------
    passes
        Of one player and one item, in any order.
    now
        With its zone; passes later than this count in full.
    share
        What "can hold" means, 0.5 to 0.95.
    half_life_days
        Days after which a pass counts half, > 0.

    Returns
    -------
    Estimate
        See there for what is None when.
    """
    if not _SHARE_MIN <= share <= _SHARE_MAX:
        raise PracticeError(
            f"A tempo can be held in {_SHARE_MIN:g} to {_SHARE_MAX:g} of passes, not {share!r}."
        )
    judged = [each for each in passes if each.outcome is not Outcome.UNSURE]
    clean = [each for each in judged if each.outcome is Outcome.CLEAN]
    highest = max((each.tempo_bpm for each in clean), default=None)
    if not judged:
        return Estimate(None, None, None, share, 0, 0, None, Sureness.NOT_YET)
    belief = _belief(judged, now, half_life_days)
    # Solve the curve for the tempo at which it passes `share`.
    beyond = np.log(share / (1.0 - SLIP - share))
    tempos = _MIDDLES_BPM[:, None] * (1.0 - _STEEPNESSES[None, :] * beyond)
    low, middle, high = _quantiles(tempos, belief)
    failed = len(judged) - len(clean)
    if not clean or not failed:
        # Past the tempos that were tried only the prior speaks: it is not to promise anything.
        tried = [each.tempo_bpm for each in judged]
        ends = min(low, max(tried)) if clean else None, max(high, min(tried)) if failed else None
        return Estimate(None, *ends, share, len(clean), failed, highest, Sureness.NOT_YET)
    sure = _sureness((high - low) / middle)
    known = None if sure is Sureness.NOT_YET else middle
    return Estimate(known, low, high, share, len(clean), failed, highest, sure)


def _sureness(width: float) -> Sureness:
    """From the width of the interval over the tempo."""
    if width <= _WELL:
        return Sureness.WELL
    return Sureness.ROUGHLY if width <= _ROUGHLY else Sureness.NOT_YET


def chance_of_clean(
    passes: Iterable[Pass],
    *,
    tempo_bpm: float,
    now: datetime,
    half_life_days: float = HALF_LIFE_DAYS,
) -> Chance | None:
    """The chance that one more pass at a tempo would be clean; None where nothing was judged.

    It is the chance in the run of practice, warmed up. A cold first try is another matter: see
    `readiness`.
    """
    if not tempo_bpm > 0:
        raise PracticeError(f"A tempo is above 0, not {tempo_bpm!r}.")
    judged = [each for each in passes if each.outcome is not Outcome.UNSURE]
    if not judged:
        return None
    belief = _belief(judged, now, half_life_days)
    chances = _curve(tempo_bpm)
    low, _, high = _quantiles(chances, belief)
    share = float(np.sum(chances * belief))
    # The mean is the fair bet; on a very lopsided belief it lies outside the quantiles.
    return Chance(share, min(low, share), max(high, share))


def _curve(tempo_bpm: float) -> _Floats:
    """Chance of a clean pass for every point of the grid, shape (n_middles, n_steepnesses)."""
    middles = _MIDDLES_BPM[:, None]
    over = (tempo_bpm - middles) / (_STEEPNESSES[None, :] * middles)
    # exp of more than 700 overflows; at 500 the chance is 0 for every purpose.
    return np.asarray((1.0 - SLIP) / (1.0 + np.exp(np.minimum(over, 500.0))), dtype=np.float64)


def _belief(judged: list[Pass], now: datetime, half_life_days: float) -> _Floats:
    """Posterior weight of every point of the grid; sums to 1."""
    if now.tzinfo is None:
        raise PracticeError("The present time needs its zone.")
    if not half_life_days > 0:
        raise PracticeError(f"A half-life is some days, more than 0, not {half_life_days!r}.")
    counts: dict[tuple[float, Outcome], float] = {}
    for each in judged:
        age_days = max(0.0, (now - each.at).total_seconds() / _SECONDS_PER_DAY)
        key = (each.tempo_bpm, each.outcome)
        counts[key] = counts.get(key, 0.0) + 0.5 ** (age_days / half_life_days)
    log_belief = np.zeros((_MIDDLES_BPM.size, _STEEPNESSES.size))
    tiny = np.finfo(np.float64).tiny
    for (tempo_bpm, outcome), weight in counts.items():
        chances = _curve(tempo_bpm)
        seen = chances if outcome is Outcome.CLEAN else 1.0 - chances
        log_belief += weight * np.log(np.maximum(seen, tiny))
    belief = np.exp(log_belief - log_belief.max())
    return np.asarray(belief / belief.sum(), dtype=np.float64)


def _quantiles(values: _Floats, belief: _Floats) -> tuple[float, float, float]:
    """Low end, middle and high end of a quantity under the belief."""
    order = np.argsort(values, axis=None)
    spread = values.ravel()[order]
    below = np.cumsum(belief.ravel()[order])
    wanted = ((1.0 - INTERVAL) / 2.0, 0.5, (1.0 + INTERVAL) / 2.0)
    places = np.minimum(np.searchsorted(below, wanted), spread.size - 1)
    return float(spread[places[0]]), float(spread[places[1]]), float(spread[places[2]])
