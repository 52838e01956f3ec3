"""When should each note come? Finding the beginning and the tempo of a pass, and following drift.

Conventions
-----------
A grid is a straight line: a stroke asked `grid_s` after the start of the part is expected at
`start_s + ratio * grid_s`. A ratio of 1 is the tempo asked, 2 half of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard, aligned
from undersong.ear.pitch import LOWEST_MIDI, MIDIS
from undersong.theory.part import Part

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

SLOWEST_RATIO, FASTEST_RATIO = 1.6, 0.6
RATIO_STEP = 0.003
LOCATED_BY_S = 20.0
"""Asked seconds from which the start is located."""
VOTE_S = 0.01
VOTE_REACH = 4
CANDIDATES = 8
PEAK, PEAKS = 0.3, 4
"""Of one tempo, the most places looked at, and their least share of its most votes."""
MOST_BINS = 1_000_000
NEARLY, EARLIEST = 0.7, 3
BEGUN_S = 0.06
WORTH_A_LOOK = 0.5
"""Tempos with a smaller share of the most votes so far are left out."""
USUAL_RATIO = 0.12
"""Spread (natural logarithm) of the tempos played about the tempo asked."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A steady grid: `start_s` seconds in the take, `ratio` played over asked duration."""

    start_s: float
    ratio: float

    def at(self, grid_s: Floats) -> Floats:
        """Seconds in the take of places in the part."""
        return self.start_s + self.ratio * grid_s


def located(asked: Asked, heard: Heard, *, ratio: float | None = None) -> list[Grid]:
    """Where a pass may begin and how fast it goes, likeliest first.

    Every pair of a stroke from the first `LOCATED_BY_S` and an attack votes for the start it would
    mean at each tempo, with the weight of its evidence.

    Parameters
    ----------
    ratio
        The tempo, where it is known (from a click); None to search.
    """
    some = asked.part(0, max(4, int(np.searchsorted(asked.grid_s, asked.grid_s[0] + LOCATED_BY_S))))
    weight = _vote_weights(some, heard)
    stroke, attack = np.nonzero(weight > 0.05)
    if len(stroke) == 0:
        return []
    votes_s, grid_s = heard.onset_s[attack], some.grid_s[stroke]
    value = weight[stroke, attack]
    ratios = _ratios() if ratio is None else np.array([ratio])
    found: list[_Peaks] = []
    firsts: list[_Peaks] = []
    best_votes = 0.0
    # The lowest place a vote may fall moves with the tempo; all tempos share one line of bins.
    usual = np.ones(len(ratios))
    if ratio is None:
        usual = np.exp(-0.5 * (np.log(ratios) / USUAL_RATIO) ** 2)
    scales = 0.5 + 0.5 * usual
    # Many tempos at a time, but no more than a line of this many bins: an hour has a long one.
    at_once = int(np.clip(MOST_BINS * VOTE_S / max(np.ptp(votes_s), 1.0), 1, 32))
    for first in range(0, len(ratios), at_once):
        some_ratios = ratios[first : first + at_once]
        starts = votes_s - some_ratios[:, None] * grid_s
        lowest = starts.min(axis=1)
        smooth = _votes_of_all(starts - lowest[:, None], value)
        highest = smooth.max(axis=1)
        most = scales[first : first + at_once] * highest
        so_far = np.maximum(np.maximum.accumulate(most), best_votes)
        best_votes = float(so_far[-1])
        rows = np.flatnonzero(most >= WORTH_A_LOOK * so_far)
        # No more of each than could be taken: of an hour there are hundreds of thousands of places.
        likely = smooth[rows]
        least = np.partition(likely, -PEAKS, axis=1)[:, -PEAKS]
        enough = (likely >= least[:, None]) & (likely > PEAK * highest[rows, None])
        row, top = np.nonzero(enough)
        for kept, at in (found, (rows[row], top)), (firsts, _firsts(smooth, highest)):
            votes = scales[first + at[0]] * smooth[at]
            kept.append(_Peaks(votes, lowest[at[0]] + (at[1] + 0.5) * VOTE_S, first + at[0]))
    grids = _distinct(_likeliest(found, ratios), CANDIDATES + 2 * EARLIEST)
    best = grids[0].ratio
    first_s, begins_s = float(some.grid_s[0]), heard.onset_s[heard.attack_odds > 0]
    earliest = _earliest(votes_s - best * grid_s, value, best)
    begun = _begun(earliest, first_s, begins_s)[:EARLIEST]
    if len(some) < len(asked):
        begun += _begun(_earliest_of_all(_joined(firsts), ratios, best_votes), first_s, begins_s)
    return _distinct([grids[0], *begun, *earliest[:EARLIEST], *grids[1:]])


@dataclass(frozen=True, slots=True)
class _Peaks:
    """Places with many votes: how many, seconds in the take, and the number of the tempo."""

    votes: Floats
    start_s: Floats
    tempo: Places


def _joined(found: list[_Peaks]) -> _Peaks:
    return _Peaks(
        np.concatenate([each.votes for each in found]),
        np.concatenate([each.start_s for each in found]),
        np.concatenate([each.tempo for each in found]),
    )


def _likeliest(found: list[_Peaks], ratios: Floats) -> Iterator[Grid]:
    """By their votes, of each tempo `PEAKS` at most."""
    peaks = _joined(found)
    taken = [0] * len(ratios)
    for place in np.argsort(-peaks.votes, kind="stable"):
        number = int(peaks.tempo[place])
        taken[number] += 1
        if taken[number] <= PEAKS:
            yield Grid(float(peaks.start_s[place]), float(ratios[number]))


def _firsts(smooth: Floats, highest: Floats) -> tuple[Places, Places]:
    """Each tempo, and its first place with nearly as many votes as any of its own."""
    rows = np.arange(len(smooth))
    first = (smooth >= NEARLY * highest[:, None]).argmax(axis=1)
    near = np.minimum(first[:, None] + np.arange(2 * VOTE_REACH), smooth.shape[1] - 1)
    return rows, first + smooth[rows[:, None], near].argmax(axis=1)


def _earliest(start_s: Floats, value: Floats, ratio: float) -> list[Grid]:
    """The places with nearly the most votes: music that repeats begins where it began."""
    lowest = float(start_s.min())
    smooth = _votes_of_all((start_s - lowest)[None], value)[0]
    high = np.flatnonzero(smooth >= NEARLY * smooth.max())
    firsts = high[np.append(True, np.diff(high) > 2 * VOTE_REACH)]
    tops = [first + int(smooth[first : first + 2 * VOTE_REACH].argmax()) for first in firsts]
    return [Grid(float(lowest + (top + 0.5) * VOTE_S), ratio) for top in tops]


def _earliest_of_all(firsts: _Peaks, ratios: Floats, most: float) -> list[Grid]:
    """The first few places with nearly the most votes of all tempos, for a player who drifts."""
    high = np.flatnonzero(firsts.votes >= NEARLY * most)
    by_start = high[np.argsort(firsts.start_s[high], kind="stable")]
    apart = np.flatnonzero(np.diff(firsts.start_s[by_start]) > 2 * VOTE_REACH * VOTE_S) + 1
    tops = [
        int(group[firsts.votes[group].argmax()])
        for group in np.split(by_start, apart)[:EARLIEST]
        if len(group)
    ]
    return [Grid(float(firsts.start_s[top]), float(ratios[firsts.tempo[top]])) for top in tops]


def _begun(grids: list[Grid], first_s: float, begins_s: Floats) -> list[Grid]:
    """Those with an attack, at one of `begins_s`, for the first stroke, asked at `first_s`.

    Where a pass broke off, the part may be laid even before the first note played, with as many
    votes.
    """
    return [
        grid
        for grid in grids
        if np.any(np.abs(begins_s - grid.ratio * first_s - grid.start_s) < BEGUN_S)
    ]


def _ratios() -> Floats:
    count = int(np.log(SLOWEST_RATIO / FASTEST_RATIO) / RATIO_STEP)
    return np.asarray(FASTEST_RATIO * np.exp(RATIO_STEP * np.arange(count + 1)))


def _vote_weights(asked: Asked, heard: Heard) -> Floats:
    """Weight of every pair of stroke and attack, shape (n_strokes, n_attacks)."""
    is_attack = 1 / (1 + np.exp(-heard.attack_odds))
    column = asked.midi - LOWEST_MIDI
    known = (column >= 0) & (column < len(MIDIS))
    fit = np.exp(np.maximum(heard.pitch_odds[:, np.where(known, column, 0)].T, -6.0))
    return np.asarray(is_attack * np.where(known[:, None], fit, 0.3))


_SHAPE = np.concatenate((np.arange(1, VOTE_REACH + 1), np.arange(VOTE_REACH - 1, 0, -1)))


def _votes_of_all(after_s: Floats, value: Floats) -> Floats:
    """Smoothed votes at many tempos, shape (n_tempos, n_bins); places count from each lowest."""
    bins = (after_s / VOTE_S).astype(np.intp)
    width = int(bins.max()) + 2 * VOTE_REACH
    bins += width * np.arange(len(bins))[:, None]
    votes = np.bincount(
        bins.ravel(), weights=np.tile(value, len(bins)), minlength=width * len(bins)
    )
    smooth = np.convolve(votes, _SHAPE / VOTE_REACH, mode="full")
    return smooth[VOTE_REACH - 1 : VOTE_REACH - 1 + len(votes)].reshape(len(bins), width)


def _distinct(grids: Iterable[Grid], most: int = CANDIDATES) -> list[Grid]:
    kept: list[Grid] = []
    for grid in grids:
        if all(
            abs(grid.start_s - other.start_s) > 0.08 or abs(np.log(grid.ratio / other.ratio)) > 0.02
            for other in kept
        ):
            kept.append(grid)
        if len(kept) == most:
            break
    return kept


STEP_S = 6.0
FITTED_OVER_S = 14.0


def followed(asked: Asked, heard: Heard, grid: Grid, *, steady: bool = False) -> Floats:
    """When each stroke is expected if the player's own tempo is followed from the first.

    The part is taken in steps of `STEP_S`; each is expected on the line fitted to the last
    `FITTED_OVER_S` that were heard.

    Returns
    -------
    Floats
        Shape (n_strokes,), seconds in the take, increasing.
    """
    expected = grid.at(asked.grid_s)
    heard_s = np.full(len(asked), np.nan)
    done, line = 0, grid
    start = asked.grid_s[0] if len(asked) else 0.0
    while done < len(asked):
        reach = start + (
            LOCATED_BY_S if done == 0 else asked.grid_s[done] - start + STEP_S / line.ratio
        )
        last = max(done + 1, int(np.searchsorted(asked.grid_s, reach)))
        back = int(np.searchsorted(asked.grid_s, asked.grid_s[done] - STEP_S))
        expected[done:last] = line.at(asked.grid_s[done:last])
        some = asked.part(back, last)
        for timing_s in (0.05, 0.03):
            match = aligned(some, heard, expected[back:last], timing_s=timing_s)
            heard_s[back:last] = _onsets(heard, match.attack)
            recent = int(np.searchsorted(asked.grid_s, asked.grid_s[last - 1] - FITTED_OVER_S))
            line = fitted(asked.grid_s[recent:last], heard_s[recent:last], line, steady=steady)
            expected[done:last] = line.at(asked.grid_s[done:last])
        done = last
    return smoothed(asked.grid_s, heard_s, expected)


def _onsets(heard: Heard, attack: Places) -> Floats:
    if len(heard.onset_s) == 0:
        return np.full(len(attack), np.nan)
    return np.where(attack == NONE, np.nan, heard.onset_s[attack])


def smoothed(grid_s: Floats, heard_s: Floats, expected_s: Floats, *, span: int = 6) -> Floats:
    """Expected places moved by the running median of how far their neighbours were off."""
    off = np.pad(heard_s - expected_s, span, constant_values=np.nan)
    median, count = running_median(off, 2 * span + 1)
    return np.maximum.accumulate(expected_s + np.where(count >= 4, median, 0.0))


def running_median(values: Floats, size: int) -> tuple[Floats, Places]:
    """Median of each `size` values in a row that are known (not nan), and how many are.

    Both of shape (n - size + 1,); the median is nan where none is known.
    """
    near = np.sort(sliding_window_view(values, size), axis=1)
    count = np.count_nonzero(np.isfinite(near), axis=1)
    row, middle = np.arange(len(near)), np.maximum(count - 1, 0)
    return 0.5 * (near[row, middle // 2] + near[row, (middle + 1) // 2]), count


LEAST_FITTED = 4
OUTLIER_S = 0.03


def fitted(grid_s: Floats, heard_s: Floats, otherwise: Grid, *, steady: bool = False) -> Grid:
    """The straight line that most heard notes lie on; outliers weigh little.

    Parameters
    ----------
    otherwise
        What to return where fewer than `LEAST_FITTED` notes were heard.
    steady
        True to keep the ratio of `otherwise` and fit the start alone.
    """
    known = np.isfinite(heard_s)
    if np.count_nonzero(known) < LEAST_FITTED or np.ptp(grid_s[known]) <= 0:
        return otherwise
    x, y = grid_s[known], heard_s[known]
    ratio = otherwise.ratio
    start = float(np.median(y - ratio * x))
    scale = 3 * OUTLIER_S
    was = ratio, start
    for _ in range(12):
        weight = 1 / (1 + ((y - start - ratio * x) / scale) ** 2) ** 2
        if not steady:
            total = float(weight.sum())
            centre_x, centre_y = float(weight @ x) / total, float(weight @ y) / total
            lean = weight * (x - centre_x)
            ratio = float(lean @ (y - centre_y)) / float(lean @ (x - centre_x))
            start = centre_y - ratio * centre_x
        else:
            start = float(weight @ (y - ratio * x)) / float(weight.sum())
        if scale == OUTLIER_S and abs(ratio - was[0]) < 1e-9 and abs(start - was[1]) < 1e-8:
            break
        was = ratio, start
        scale = max(0.7 * scale, OUTLIER_S)
    if not 0.5 * otherwise.ratio < ratio < 2 * otherwise.ratio:
        return otherwise
    return Grid(start, ratio)


KEPT_SHARE = 0.5


def timing_grid(asked: Asked, onset_s: Floats, grid: Grid, window_ms: float) -> Grid:
    """The steady grid that lateness is measured from, where neither start nor click gives one.

    The tempo asked is kept where it fits: a straight line through a short pass would take part of a
    player's drift for another tempo. Only where, over the whole pass, the two differ by more than
    `KEPT_SHARE` of the timing window was another tempo played.
    """
    free = fitted(asked.grid_s, onset_s, grid)
    known = asked.grid_s[np.isfinite(onset_s)]
    if len(known) == 0 or abs(free.ratio - 1) * np.ptp(known) < KEPT_SHARE * window_ms / 1000:
        return fitted(asked.grid_s, onset_s, Grid(free.start_s, 1.0), steady=True)
    return free


MOST_OFF_CLICK = 0.02
"""A player whose own steady tempo differs from the click's by more has not played to it."""


def on_click(own: Grid, click_s: float, period_s: float, part: Part, beat_s: float) -> Grid | None:
    """The grid of a click: the player's own, moved to the nearest beat of the click.

    A player may lie half a beat off, where the click is heard as the off-beat; in a compound meter
    a third of one.

    Parameters
    ----------
    own
        The best steady grid through what was played.
    click_s, period_s
        A beat of the click and its distance from the next.
    beat_s
        The beat asked.

    Returns
    -------
    Grid or None
        None where the player did not play at the click's tempo.
    """
    ratio = period_s / beat_s
    if abs(own.ratio / ratio - 1) > MOST_OFF_CLICK:
        return None
    step_s = period_s / (3 if part.meter.is_compound else 2)
    length_s = part.tempo_map.seconds_at(part.length)
    # Where the two tempos differ a little, the grids are compared in the middle of the pass.
    middle_s = own.start_s + 0.5 * (own.ratio - ratio) * length_s
    first_beat_s = part.tempo_map.seconds_at(part.pickup % part.meter.beat) * ratio
    steps = round((middle_s + first_beat_s - click_s) / step_s)
    return Grid(click_s + steps * step_s - first_beat_s, ratio)
