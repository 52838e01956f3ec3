"""Has the string been struck again? What of the sound is not what rang one period before.

A ringing string repeats itself: what sounds now is what sounded one period ago, a little weaker. A
new stroke breaks that, however soft it is and even on the same pitch, where neither level nor pitch
shows it. The renewed share of a frame is the part of its energy that the best multiple of the sound
one period earlier leaves over; damping leaves nothing over, for it is the same sound getting weaker.
Both the note begun and the one before it may explain what sounds, so that taking noise for a note
does not hide what rings on.

Conventions
-----------
Frames as in `attack`. The period is that of the note which was sounding before: the listener knows
it from the pitch evidence. Below 1.2 kHz only, where a string is nearly periodic.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

from undersong.ear.attack import FRAME, FRAME_S
from undersong.ear.frames import RATE_HZ, Samples

Floats = NDArray[np.float64]

UP_TO_HZ = 1200.0
WINDOW = 16
"""Frames over which sound is compared with what it was."""
FALLS_DB = (0.0, 0.8, 1.6)
"""Decibels a frame by which a sound may be dying: ringing, and two ways of being damped."""
LEAD_S = 0.03
"""A note's own period counts from so long before its onset, beside that of the note before."""


def smooth_string(samples: Samples) -> Samples:
    """The take without what is too high to repeat from period to period."""
    if len(samples) < 64:
        return samples
    sections = butter(2, [35.0, UP_TO_HZ], "bandpass", fs=RATE_HZ, output="sos")
    return sosfiltfilt(sections, samples).astype(np.float32)


def renewed(string: Samples, onset_s: Floats, f0_hz: Floats) -> Floats:
    """Energy of each frame that is new, and energy in all.

    Parameters
    ----------
    string
        From `smooth_string`.
    onset_s, f0_hz
        Shape (n_notes,): where each note begins, increasing, and its fundamental.

    Returns
    -------
    Floats
        Shape (2, n_frames): new energy and energy of the `WINDOW` frames from each frame on.
        Before the first note all energy is new.
    """
    n_frames = len(string) // FRAME
    edges = np.round((onset_s - LEAD_S) / FRAME_S).astype(np.intp)
    edges = np.clip(np.append(edges, n_frames), 0, n_frames)
    first = int(edges[0])
    track = np.zeros((2, n_frames))
    track[:, :first] = _compared(string, 0, first, None)
    for note in range(len(onset_s)):
        first, last = int(edges[note]), int(edges[note + 1])
        if last <= first:
            continue
        track[:, first:last] = _compared(string, first, last, float(f0_hz[note]))
        if note:
            before = _compared(string, first, last, float(f0_hz[note - 1]))
            track[0, first:last] = np.minimum(track[0, first:last], before[0])
    return track


def _compared(string: Samples, first: int, last: int, f0_hz: float | None) -> Floats:
    """New energy and energy of the frames `first` to `last`, against one period earlier."""
    start, stop = first * FRAME, (last + WINDOW) * FRAME
    now = _taken(string, start, stop)
    energy = np.correlate(_by_frame(now * now), np.ones(WINDOW))[: last - first]
    if f0_hz is None:
        return np.stack((energy, energy))
    lag = RATE_HZ / f0_hz
    whole = int(lag)
    share = lag - whole
    # Cubic interpolation between samples: linear would dull the upper harmonics.
    c = [_taken(string, start - whole + d, stop - whole + d) for d in (-2, -1, 0, 1)]
    u = 1.0 - share
    then = c[1] + 0.5 * u * (
        c[2]
        - c[0]
        + u * (2 * c[0] - 5 * c[1] + 4 * c[2] - c[3] + u * (3 * (c[1] - c[2]) + c[3] - c[0]))
    )
    cross, past = _by_frame(now * then), _by_frame(then * then)
    alike = np.zeros(last - first)
    for fall in FALLS_DB:
        gain = 10 ** (-fall * np.arange(WINDOW) / 20)
        together = np.correlate(cross, gain)[: last - first]
        alone = np.correlate(past, gain**2)[: last - first]
        explained = np.where(together > 0, together**2 / np.maximum(alone, 1e-20), 0.0)
        alike = np.maximum(alike, explained)
    return np.stack((np.maximum(energy - alike, 0.0), energy))


def _taken(string: Samples, start: int, stop: int) -> Floats:
    piece = string[max(0, start) : max(0, stop)].astype(np.float64)
    return np.pad(piece, (max(0, -start), max(0, stop - max(start, 0) - len(piece))))[
        : stop - start
    ]


def _by_frame(squares: Floats) -> Floats:
    return np.asarray(squares.reshape(-1, FRAME).sum(axis=1))
