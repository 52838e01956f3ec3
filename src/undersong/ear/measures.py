"""What is measured wherever a note may begin: rises, and how much of the sound there is new.

Conventions
-----------
Frames as in `attack`. The weights are those of a logistic rule fitted to 4,411 notes of 160 dry
takes of the tune split; `weighing` counts likely neighbours by it, the live ear weighs by it alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from undersong.ear.attack import FRAME_S, MIDDLE_SHARE, Attacks, peaks
from undersong.ear.frames import Samples

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

DISTINCT_S = 0.018
"""A renewal so near a rise is that rise's."""
RENEWED_SHARE = 0.12
RENEWAL_RISE = 40
RENEWAL_DELAY_S = 0.01
QUIET_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Measures:
    """What was measured at each place where something may begin, each of shape (n_attacks,)."""

    onset_s: Floats
    high: Floats
    middle: Floats
    low: Floats
    renewal: Floats
    restless: Floats
    spent: Floats
    level: Floats
    gain: Floats

    @property
    def strength(self) -> Floats:
        """As in `Attacks`."""
        return self.high + np.maximum(self.low, MIDDLE_SHARE * self.middle)

    @property
    def table(self) -> Floats:
        """Columns in the order of `WEIGHTS`, shape (n_attacks, n_weights)."""
        renewal = np.log(self.renewal + 0.02)
        return np.stack(
            (
                np.ones_like(renewal),
                np.minimum(self.high, 5),
                np.minimum(self.middle, 5),
                np.minimum(self.low, 5),
                renewal,
                self.restless,
                renewal * self.restless,
                self.spent,
                np.clip(self.level, -8, 1),
                np.clip(self.gain, -3, 3),
            ),
            axis=1,
        )


WEIGHTS = np.array([5.1, 1.57, 0.81, 3.94, 5.54, -9.46, 5.1, -8.04, 0.47, 0.87])


def measured(found: Attacks, track: Samples) -> Measures:
    """Measures at every rise and at every place where the string's sound is renewed.

    Parameters
    ----------
    track
        New energy and energy of every frame, from `renewal.Renewal.track`.
    """
    new, energy = track
    if not energy.any():
        none = np.zeros(len(found.onset_s))
        still = np.full_like(none, -8.0)
        return Measures(
            found.onset_s, found.high, found.middle, found.low, none, none, none, still, none
        )
    loudness = float(np.percentile(maximum_filter1d(energy, 401)[::50], 80)) + 1e-9
    renewal = maximum_filter1d(energy, 81, origin=-40)
    renewal += np.float32(QUIET_SHARE * loudness)
    np.divide(new, renewal, out=renewal)
    place_s, source = _places(found.onset_s, renewal)
    frame = np.clip((place_s / FRAME_S).astype(np.intp), 0, len(energy) - 1)
    new_then, then = (_around(each, frame, -70, -22, 4) for each in (new, energy))
    share = new_then / np.maximum(then, 1e-12) * np.minimum(1, then / (0.01 * loudness))
    quiet = 0.01 * loudness
    after = _around(energy, frame, 0, 60, 5).max(axis=1)
    before = _around(energy, frame, -60, -16, 5).max(axis=1)
    renewal_there = _around(renewal, frame, -24, 9, 1).max(axis=1)
    rises = [np.append(rise, 0.0)[source] for rise in (found.high, found.middle, found.low)]
    return Measures(
        place_s,
        *(rises[0], rises[1], rises[2]),
        renewal=renewal_there,
        restless=np.median(share, axis=1),
        spent=_around(renewal, frame, -64, -25, 3).max(axis=1),
        level=np.log(after / loudness + 1e-9),
        gain=np.log((after + quiet) / (before + quiet)),
    )


def _around(values: Floats | Samples, frame: Places, first: int, last: int, step: int) -> Floats:
    """Values from `first` to `last` frames after each of some frames, shape (n, n_steps)."""
    places = frame[:, None] + np.arange(first, last, step)
    return np.asarray(values[np.clip(places, 0, len(values) - 1)])


def _places(onset_s: Floats, renewal: Samples) -> tuple[Floats, Places]:
    """All places to weigh, and for each the rise it came from (-1: renewed without a rise)."""
    tops = peaks(renewal, RENEWED_SHARE, 25)
    back = np.arange(-RENEWAL_RISE, 1)
    run = renewal[np.clip(tops[:, None] + back, 0, None)] >= 0.5 * renewal[tops, None]
    # The last frame before the peak that is not yet half as high; the window looks ahead by itself.
    rise = np.where(run.all(axis=1), 0, RENEWAL_RISE - run[:, ::-1].argmin(axis=1) + 1)
    peak_s = (tops - RENEWAL_RISE + rise) * FRAME_S + RENEWAL_DELAY_S
    at = np.searchsorted(onset_s, peak_s)
    padded = np.concatenate(([-np.inf], onset_s, [np.inf]))
    near = np.minimum(peak_s - padded[at], padded[at + 1] - peak_s)
    peak_s = peak_s[near > DISTINCT_S]
    place_s = np.concatenate((onset_s, peak_s))
    source = np.concatenate((np.arange(len(onset_s)), np.full(len(peak_s), -1)))
    order = np.argsort(place_s, kind="stable")
    return place_s[order], source[order].astype(np.intp)
