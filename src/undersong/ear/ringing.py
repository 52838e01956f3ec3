"""Is this the note before, ringing on? Each of its harmonics, asked by itself.

A drum, a click or a hole in the recording interrupts a ringing note, but afterwards its harmonics
are where their own frequencies put them: the phase of each before the interruption foretells the
phase after it. A string struck again starts every harmonic anew. Harmonics are asked one by one, so
what a drum leaves between them does no harm, and a stiff string's harmonics may go their own ways.

Conventions
-----------
Samples are at `pitch.PITCH_RATE_HZ`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from undersong.ear.frames import Samples
from undersong.ear.pitch import FINE_STIFFNESS, PITCH_RATE_HZ

Floats = NDArray[np.float64]

HARMONICS, UP_TO_HZ = 10, 900.0
BEFORE_S, LEAST_BEFORE_S, FRESH_S, CLEAR_S = 0.12, 0.05, 0.03, 0.008
"""Most and least sound before an onset to foretell from; what follows its own attack is too new."""
PART_BEFORE = 2 / 3
"""Two parts of that sound, this long each, give the frequency of a harmonic by its phase."""
AFTER_S = (0.02, 0.04, 0.07, 0.11)
ASKED_S, LEAST_ASKED_S, LEAST_PERIODS = 0.1, 0.04, 1.6
MOST_RISE = 1.5
"""A ringing note does not get louder: beyond this energy over that before it was struck."""
FINE = 20
SURE = 0.96
LEAST_IN_STEP, SURE_IN_STEP = 0.75, 0.95
"""Correlations (`in_step`) below and above which a note surely does not, does go on."""
MOST_OFF = 0.02
"""A harmonic may lie off its place by this share of its frequency."""


def in_step(string: Samples, onset_s: float, f0_hz: float, since_s: float, until_s: float) -> float:
    """How well the sound before an onset foretells the sound after it: the first of `steps`."""
    return steps(string, onset_s, f0_hz, since_s, until_s)[0]


def surely_going_on(step: float) -> float:
    """How surely a note goes on, in [0, 1], from how well it is foretold (`in_step`)."""
    return float(np.clip((step - LEAST_IN_STEP) / (SURE_IN_STEP - LEAST_IN_STEP), 0, 1))


def steps(
    string: Samples, onset_s: float, f0_hz: float, since_s: float, until_s: float
) -> tuple[float, float, float]:
    """How well the sound before an onset foretells the sound after it, harmonic by harmonic.

    Parameters
    ----------
    string
        Shape (n_samples,).
    onset_s
        Where something happened.
    f0_hz
        Fundamental of the note sounding before (nan: none).
    since_s, until_s
        Where that note began, and where the next thing happens.

    Returns
    -------
    tuple
        The correlation of the harmonics, in [-1, 1]: near 1 where the note goes on, about 0 where
        it was struck anew or where there is too little to tell; the same with each harmonic's phase
        counting by the square root of its size, so that a drum on the lowest decides less; and by
        how much (natural logarithm) their energy grew, where it grew too much for a ringing note.
    """
    length_s = min(BEFORE_S, onset_s - CLEAR_S - since_s - FRESH_S)
    if not np.isfinite(f0_hz) or length_s < LEAST_BEFORE_S:
        return 0.0, 0.0, 0.0
    number = np.arange(1, int(np.clip(UP_TO_HZ / f0_hz, 1, HARMONICS)) + 1)
    harmonic_hz = number * f0_hz * np.sqrt(1 + FINE_STIFFNESS * number**2)
    before, harmonic_hz = _before(string, onset_s - CLEAR_S, length_s, harmonic_hz)
    least_s = max(LEAST_ASKED_S, LEAST_PERIODS / f0_hz)
    best = even = growth = 0.0
    for after_s in AFTER_S:
        asked_s = min(ASKED_S, until_s - onset_s - after_s)
        if asked_s < least_s:
            break
        after = _waves(string, onset_s + after_s, asked_s, harmonic_hz)
        old, new = float(np.sum(np.abs(before) ** 2)), float(np.sum(np.abs(after) ** 2))
        if new > MOST_RISE * old:
            growth = max(growth, float(np.log(new / (old + 1e-24))))
            continue
        alike = float(np.sum(after * before.conj()).real) / np.sqrt(old * new + 1e-24)
        best = max(best, alike)
        weight = np.sqrt(np.abs(before))
        turned = np.cos(np.angle(after * before.conj()))
        even = max(even, float(weight @ turned) / float(weight.sum() + 1e-12))
        if best > SURE:
            break
    return best, even, growth


def _before(
    string: Samples, end_s: float, length_s: float, harmonic_hz: Floats
) -> tuple[NDArray[np.complex128], Floats]:
    """Harmonics before an onset, and their own frequencies."""
    part_s = PART_BEFORE * length_s
    early = _waves(string, end_s - length_s, part_s, harmonic_hz)
    late = _waves(string, end_s - part_s, part_s, harmonic_hz)
    turned = np.angle(late * early.conj()) / (2 * np.pi * (length_s - part_s))
    exact_hz = harmonic_hz + np.clip(turned, -MOST_OFF * harmonic_hz, MOST_OFF * harmonic_hz)
    return _waves(string, end_s - part_s, part_s, exact_hz), exact_hz


@lru_cache(maxsize=512)
def _window(size: int) -> Floats:
    return np.hanning(size)


def _waves(
    string: Samples, start_s: float, length_s: float, harmonic_hz: Floats
) -> NDArray[np.complex128]:
    """Amplitude and phase of each harmonic in a stretch, phases counted from the take's start."""
    first = max(0, round(start_s * PITCH_RATE_HZ))
    piece = string[first : first + max(2, round(length_s * PITCH_RATE_HZ))]
    if len(piece) < 2:
        return np.zeros(len(harmonic_hz), np.complex128)
    window = _window(len(piece))
    omega = -2j * np.pi * harmonic_hz / PITCH_RATE_HZ
    # exp(a + b) = exp(a) exp(b): few exponentials make all the turning there is.
    coarse = np.exp(omega[:, None] * (first + np.arange(0, len(piece), FINE)))
    fine = np.exp(omega[:, None] * np.arange(FINE))
    rows = np.zeros(coarse.shape[1] * FINE)
    rows[: len(piece)] = piece * window
    partial = fine @ rows.reshape(-1, FINE).T
    return np.asarray((coarse * partial).sum(axis=1) / window.sum())
