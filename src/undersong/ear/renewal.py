"""Has the string been struck again? What of the sound is not what rang one period before.

A ringing string repeats itself: what sounds now is what sounded one period ago, a little weaker. A
new stroke breaks that, however soft it is and even on the same pitch, where neither level nor pitch
shows it. The renewed share of a frame is the part of its energy that the best multiple of the sound
one period earlier leaves over; damping leaves nothing over: it is the same sound getting weaker.
Both the note begun and the one before it may explain what sounds, so that taking noise for a note
does not hide what rings on.

Conventions
-----------
Frames as in `attack`. The period is that of the note which was sounding before: the listener knows
it from the pitch evidence. Below 1.2 kHz only, where a string is nearly periodic.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

from undersong.ear.attack import FRAME, FRAME_S
from undersong.ear.frames import RATE_HZ, Samples

Floats = NDArray[np.float64]
String = NDArray[np.float32] | NDArray[np.float16]

UP_TO_HZ = 1200.0
_SECTIONS = butter(2, [35.0, UP_TO_HZ], "bandpass", fs=RATE_HZ, output="sos")
PIECE, SETTLING = 16 * RATE_HZ, RATE_HZ // 2
LEAST_SAMPLES = 64
WINDOW = 16
"""Frames over which sound is compared with what it was."""
ROOM = 64
"""Frames before a piece of sound in which any one period earlier lies."""
FALLS_DB = (0.0, 0.8, 1.6)
"""Decibels a frame by which a sound may be dying: ringing, and two ways of being damped."""
LEAD_S = 0.03
"""A note's own period counts from so long before its onset, beside that of the note before."""


def smooth_in_place(samples: Samples) -> Samples:
    """The take without what is too high to repeat from period to period, in phase with itself.

    Written over the samples: an hour of them is not wanted twice.
    """
    if len(samples) < LEAST_SAMPLES:
        return samples
    sections = _SECTIONS
    before = samples[:0].copy()
    for first in range(0, len(samples), PIECE):
        # Both ways in time, so each piece needs some of its neighbours to settle in.
        last = min(first + PIECE, len(samples))
        piece = np.concatenate((before, samples[first : last + SETTLING]))
        skipped = len(before)
        before = samples[max(0, last - SETTLING) : last].copy()
        samples[first:last] = sosfiltfilt(sections, piece)[skipped : skipped + last - first]
    return samples


class Renewal:
    """What is new in a take, for any notes thought to sound in it.

    Stretches that were asked about once are remembered: from turn to turn most notes stay.
    """

    def __init__(self, string: String) -> None:
        self.n_frames = len(string) // FRAME
        self._string = string
        self._known: dict[tuple[int, int, tuple[tuple[float, ...], ...]], NDArray[np.float32]] = {}

    def between(self, first: int, last: int, guesses: Iterable[tuple[float, ...]]) -> Samples:
        """`compared`, remembered."""
        key = (first, last, tuple(guesses))
        if key not in self._known:
            self._known[key] = compared(self._string, first, last, key[2])
        return self._known[key]

    def track(self, onset_s: Floats, f0_hz: Floats) -> Samples:
        """Energy of each frame that is new, and energy in all.

        Parameters
        ----------
        onset_s, f0_hz
            Shape (n_notes,): where each note begins, increasing, and its fundamental.

        Returns
        -------
        Samples
            Shape (2, n_frames): new energy and energy of the `WINDOW` frames from each frame on.
            Before the first note all energy is new.
        """
        edges = edges_of(onset_s, self.n_frames)
        first = int(edges[0])
        track = np.zeros((2, self.n_frames), np.float32)
        track[:, :first] = self.between(0, first, ())
        for note in range(len(onset_s)):
            first, last = int(edges[note]), int(edges[note + 1])
            if last > first:
                notes = [(float(f0),) for f0 in f0_hz[max(0, note - 1) : note + 1]]
                track[:, first:last] = self.between(first, last, notes)
        return track


def edges_of(onset_s: Floats, n_frames: int) -> NDArray[np.intp]:
    """Frames from which each note's period counts, and the end, shape (n_notes + 1,)."""
    edges = np.round((onset_s - LEAD_S) / FRAME_S).astype(np.intp)
    return np.asarray(np.clip(np.append(edges, n_frames), 0, n_frames))


def compared(
    string: String, first: int, last: int, guesses: Iterable[tuple[float, ...]]
) -> Samples:
    """New energy and energy of some frames, by whichever guess explains most of them.

    Parameters
    ----------
    guesses
        What may be ringing: one fundamental in Hz, or two that ring together. Two are foretold by
        the sound one period of either earlier less that of both periods earlier, which is exact for
        any sum of two periodic sounds.
    """
    energy, explained = explanations(string, first, last, guesses)
    if not len(explained):
        return np.stack((energy, energy))
    return np.stack((np.maximum(energy - explained.max(axis=0), 0.0), energy))


def explanations(
    string: String, first: int, last: int, guesses: Iterable[tuple[float, ...]]
) -> tuple[Samples, Samples]:
    """Energy of some frames, shape (n,), and how much of it each guess explains, (n_guesses, n).

    Guesses as in `compared`.
    """
    start, stop = first * FRAME, (last + WINDOW) * FRAME
    n_frames = last - first
    lags = [[RATE_HZ / each for each in guess] for guess in guesses]
    reach = int(max((sum(each) for each in lags), default=0.0)) + 3
    string = _taken(string, start - reach, stop + 1)
    start, stop = reach, reach + stop - start
    now = string[start:stop]
    if not lags:
        return _faded(_by_frame(now, now), np.float32(1.0))[:n_frames], np.zeros(
            (0, n_frames), np.float32
        )
    then = [_foretold(string, start, stop, lag) for lag in lags]
    # All sums at once: of what sounds now, of it with what is foretold, and of that alone.
    sums = _by_frame(np.stack((now, *(now for _ in then), *then)), np.stack((now, *then, *then)))
    n_sums = len(then) * len(FALLS_DB)
    rows, gains = _sums_of(len(then))
    faded = _faded(sums[rows], gains)[:, :n_frames]
    together, alone = faded[1 : 1 + n_sums], faded[1 + n_sums :]
    np.maximum(together, 0.0, out=together)
    np.maximum(alone, 1e-20, out=alone)
    together *= together
    together /= alone
    explained = together.reshape(len(then), len(FALLS_DB), n_frames).max(axis=1)
    return faded[0], explained


@cache
def _sums_of(n_guesses: int) -> tuple[NDArray[np.intp], Samples]:
    """Which sum each row of `explanations` is, and by what gain it fades, shape (n_rows, 1)."""
    guesses = np.repeat(np.arange(n_guesses), len(FALLS_DB))
    rows = np.concatenate(([0], 1 + guesses, 1 + n_guesses + guesses))
    gains = np.tile(_GAINS, n_guesses)
    return rows, np.concatenate(([1.0], gains, gains**2)).astype(np.float32)[:, None]


def steepened(string: String, first: int, last: int) -> Samples:
    """Some frames with `ROOM` before them, each octave raised 12 dB over the one below.

    What two differences do. The last frame's window is there too; beyond the take all is silence.
    """
    piece = _taken(string, (first - ROOM) * FRAME - 2, (last + WINDOW) * FRAME + 1)
    return np.diff(piece, 2)


def _foretold(string: Samples, start: int, stop: int, lags: list[float]) -> Samples:
    then = _earlier(string, start, stop, lags[0])
    if len(lags) == 2:
        then = then + _earlier(string, start, stop, lags[1])
        then = then - _earlier(string, start, stop, lags[0] + lags[1])
    return then


_GAINS = (10 ** (-np.array(FALLS_DB) / 20)).astype(np.float32)


def _faded(frames: Samples, gain: Samples | np.float32) -> Samples:
    """Sum of the `WINDOW` frames from each on, each `gain` times weaker than the one before."""
    out = frames
    step = 1
    while step < WINDOW:
        out = out[..., :-step] + gain**step * out[..., step:]
        step *= 2
    return out


AFTER_S = (0.025, 0.06, 0.1)
LASTING_S = 0.035
"""The sound that is asked whether it goes on: from so long after an onset, for so long."""
CLEAR_S = 0.008
SPANS_S = (0.0, 0.06)
DETUNINGS = (-0.006, -0.003, 0.0, 0.003, 0.006)


def continued(
    string: String, onset_s: Floats, f0_hz: Floats, after_s: tuple[float, ...] = AFTER_S
) -> Floats:
    """How far the sound after each onset is the sound before it, going on.

    A drum, a click or a gap in the recording interrupts a ringing note, but afterwards the note is
    still in step with itself a whole number of periods earlier; a note struck again is not.

    Parameters
    ----------
    string
        From `smooth_in_place`.
    onset_s, f0_hz
        Shape (n,): each onset, and the fundamental of what sounded before it (nan: nothing did).
    after_s
        Seconds after an onset at which to ask; the best answer counts.

    Returns
    -------
    Floats
        Shape (n,), in [0, 1]: share of the energy after it that the sound before it foretells.
    """
    shares = np.zeros(len(onset_s))
    for row, (at_s, f0) in enumerate(zip(onset_s, f0_hz, strict=True)):
        if np.isfinite(f0):
            shares[row] = max(_goes_on(string, at_s, f0, after) for after in after_s)
    return shares


def _goes_on(string: String, at_s: float, f0_hz: float, after_s: float) -> float:
    n_samples = round(LASTING_S * RATE_HZ)
    start = round((at_s + after_s) * RATE_HZ)
    now = _taken(string, start, start + n_samples)
    energy = float(now @ now) + 1e-12
    share = 0.0
    for span_s in SPANS_S:
        periods = np.ceil((after_s + LASTING_S + CLEAR_S + span_s) * f0_hz)
        for off in DETUNINGS:
            lag = (periods + 2 * off) * RATE_HZ / f0_hz
            then = _earlier(string, start, start + n_samples, float(lag))
            cross = float(now @ then)
            if cross > 0:
                share = max(share, cross**2 / (float(then @ then) + 1e-12) / energy)
    return share


def _earlier(string: String, start: int, stop: int, lag: float) -> Samples:
    """The samples of a stretch `lag` samples earlier, between samples by a cubic.

    A straight line between samples would dull the upper harmonics.
    """
    whole = int(lag)
    u = np.float32(1.0 - (lag - whole))
    piece = _taken(string, start - whole - 2, stop - whole + 1)
    a, b, c, d = piece[:-3], piece[1:-2], piece[2:-1], piece[3:]
    # Catmull-Rom weights: b + u/2 (c - a + u (2a - 5b + 4c - d + u (3 (b - c) + d - a))).
    w = np.float32(0.5) * u
    out = (w * (-1 + u * (2 - u))) * a
    out += (1 + w * u * (3 * u - 5)) * b
    out += (w * (1 + u * (4 - 3 * u))) * c
    out += (w * u * (u - 1)) * d
    return out


def _taken(string: String, start: int, stop: int) -> Samples:
    if start >= 0 and stop <= len(string):
        return np.asarray(string[start:stop], np.float32)
    piece = np.asarray(string[max(0, start) : max(0, stop)], np.float32)
    return np.pad(piece, (max(0, -start), max(0, stop - max(start, 0) - len(piece))))[
        : stop - start
    ]


def _by_frame(one: Samples, other: Samples) -> Samples:
    """Sum of the products of each frame."""
    shape = (*one.shape[:-1], -1, FRAME)
    sums = np.einsum("...j,...j->...", one.reshape(shape), other.reshape(shape))
    return np.asarray(sums)
