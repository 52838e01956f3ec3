"""Where does something begin? Energy in three bands, a thousand times a second, and its rises.

Conventions
-----------
A frame is `FRAME_S` long. Frame arrays have shape (n_frames,); energies are mean squares. A rise is
the natural logarithm of the energy in a short window after a frame's beginning over that before it,
both softened by a share of what is about to sound: so a rise in front of a loud note counts for
what the note makes of it and not for how deep the silence before it was.

The band above 1 kHz holds pick and finger noise and dates an attack best; the low band says
whether a string began to sound with it; the middle band stands in for the low one where a telephone
has removed it. Widths and shares were chosen by design/ear_attack.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, find_peaks, sosfilt

from undersong.ear.frames import RATE_HZ, Samples

Floats = NDArray[np.float64]
Frames = NDArray[np.float32]

FRAME_S = 0.001
FRAME = round(FRAME_S * RATE_HZ)
CHUNK_S = 64.0
PIECE = 1 << 16
LONG_PIECE = 1 << 19
AHEAD = 100
"""Frames within which a note shows how loud it will be."""
MIDDLE_SHARE = 0.7
LEAST_GAP = 25
"""Frames: of two rises closer than this the larger is kept."""


@dataclass(frozen=True, slots=True)
class Band:
    """A band of the spectrum and how its rises are measured.

    `width` is the window on either side in frames; `share` softens by that part of what is to come.
    """

    name: str
    order: int
    low_hz: float
    high_hz: float | None
    width: int
    share: float

    @property
    def sections(self) -> Floats:
        """Second-order sections of the band's filter at `RATE_HZ`."""
        return _sections(self.order, self.low_hz, self.high_hz)


@lru_cache
def _sections(order: int, low_hz: float, high_hz: float | None) -> Floats:
    if high_hz is None:
        return butter(order, low_hz, "highpass", fs=RATE_HZ, output="sos")
    return butter(order, [low_hz, high_hz], "bandpass", fs=RATE_HZ, output="sos")


LOW = Band("low", 2, 50.0, 250.0, 30, 0.03)
MIDDLE = Band("middle", 2, 300.0, 1000.0, 15, 0.02)
HIGH = Band("high", 3, 1000.0, None, 12, 0.02)
BODY = Band("body", 2, 80.0, None, 12, 0.02)
BANDS = (LOW, MIDDLE, HIGH, BODY)


class BandMeter:
    """Energies of one band, block by block."""

    def __init__(self, band: Band) -> None:
        self._sections = band.sections
        self._state = np.zeros((len(self._sections), 2))
        self._kept = np.zeros(0)

    def feed(self, samples: Samples) -> Frames:
        """Energies of the frames that `samples` (at `RATE_HZ`) complete."""
        filtered, self._state = sosfilt(self._sections, samples, zi=self._state)
        filtered = np.concatenate((self._kept, filtered))
        n_frames = len(filtered) // FRAME
        self._kept = filtered[n_frames * FRAME :]
        frames = filtered[: n_frames * FRAME].reshape(n_frames, FRAME)
        return np.asarray(np.einsum("ij,ij->i", frames, frames) / FRAME, np.float32)


def band_energies(samples: Samples, band: Band, out: Frames | None = None) -> Frames:
    """Energy of a band in every frame of a whole take, written to `out` if it is given."""
    meter = BandMeter(band)
    step, done = int(CHUNK_S * RATE_HZ), 0
    energies = np.empty(len(samples) // FRAME, np.float32) if out is None else out
    for first in range(0, len(samples), step):
        some = meter.feed(samples[first : first + step])
        energies[done : done + len(some)] = some
        done += len(some)
    return energies


def rises(energies: Frames, band: Band, out: Frames | None = None) -> Frames:
    """Logarithmic rise of a band's energy at the beginning of every frame.

    Returns
    -------
    Frames
        Shape (n_frames,); 0 is no change, 0.7 a doubling. It is `out`, if that is given.
    """
    floor = 3.0 * float(np.percentile(energies, 5)) + 1e-10 if len(energies) else 0.0
    rise = np.empty_like(energies) if out is None else out
    for first in range(0, len(energies), PIECE):
        start = max(0, first - AHEAD)
        piece = _rises(energies[start : first + PIECE + 2 * AHEAD], band, floor)
        some = rise[first : first + PIECE]
        some[:] = piece[first - start : first - start + len(some)]
    return rise


def _rises(energies: Frames, band: Band, floor: float) -> Frames:
    n_frames = len(energies)
    total = np.concatenate(([0.0], np.cumsum(energies, dtype=np.float64)))
    here = np.arange(n_frames)
    after = (total[np.minimum(here + band.width, n_frames)] - total[here]) / band.width
    before = (total[here] - total[np.maximum(here - band.width, 0)]) / band.width
    coming = maximum_filter1d(after, AHEAD, origin=-(AHEAD // 2))
    soft = band.share * coming + floor
    return np.log((after + soft) / (before + soft)).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Attacks:
    """Everything that may be the beginning of a note.

    Attributes
    ----------
    onset_s
        Shape (n_attacks,), seconds, increasing.
    high, middle, low
        Rise of each band near the attack, shape (n_attacks,).
    gaps_s
        Shape (n_gaps, 2): holes in the recording, from and to.
    course
        Shape (n_bands + 1, n_frames / `COURSE_FRAMES`): natural logarithm of the energy of each of
        `BANDS` and of the top, 0 being what it reaches in the loud moments of the take.
    strength
        High plus the better of low and middle: how much it looks like an attack.
    """

    onset_s: Floats
    high: Floats
    middle: Floats
    low: Floats
    gaps_s: Floats
    course: NDArray[np.float16]

    @property
    def strength(self) -> Floats:
        """How much each looks like an attack, shape (n_attacks,)."""
        return self.high + np.maximum(self.low, MIDDLE_SHARE * self.middle)


LEAST_STRENGTH = 0.7
COURSE_FRAMES = 2
COURSE_FLOOR = 1e-4
"""Energies of a take's course are softened by this share of its loud moments'."""


NO_TOP = np.zeros(0, np.float32)


def attacks(samples: Samples, top: Samples = NO_TOP) -> Attacks:
    """All rises of a take that might begin a note, weak ones included.

    Parameters
    ----------
    samples
        Shape (n_samples,), at `RATE_HZ`.
    top
        As in `frames.Take`.
    """
    gaps = gaps_s(samples)
    n_frames = len(samples) // FRAME
    course = np.zeros((len(BANDS) + 1, n_frames // COURSE_FRAMES), np.float16)
    course[-1] = log(COURSE_FLOOR)
    n_steps = min(len(top), course.shape[1])
    course[-1, :n_steps] = _course(top[:n_steps], 1)
    # One large array, not five: what is given back at once leaves no holes in an hour's memory.
    *rise, energies = np.empty((len(BANDS) + 1, n_frames), np.float32)
    for row, band in enumerate(BANDS):
        band_energies(samples, band, energies)
        course[row] = _course(energies, COURSE_FRAMES)
        np.maximum(0, rises(energies, band, rise[row]), out=rise[row])
    low, middle, high, body = rise
    combined = MIDDLE_SHARE * middle
    np.maximum(low, combined, out=combined)
    combined += high
    places = peaks(combined, LEAST_STRENGTH, LEAST_GAP)
    del combined
    onset_s = refined(places, high, body)
    order = np.argsort(onset_s, kind="stable")
    return Attacks(
        onset_s[order],
        _largest_near(high, places)[order],
        _largest_near(middle, places)[order],
        _largest_near(low, places)[order],
        gaps,
        course,
    )


def _course(energies: Frames, frames: int) -> Frames:
    """How a band's energy goes, as `Attacks.course` has it, from so many energies a step."""
    n_steps = len(energies) // frames
    coarse = energies[: n_steps * frames].reshape(n_steps, frames).mean(axis=1)
    loud = float(np.percentile(coarse, 95)) + 1e-12 if n_steps else 1.0
    return np.asarray(np.log(coarse / loud + COURSE_FLOOR), np.float32)


def peaks(values: Frames, height: float, distance: int) -> NDArray[np.intp]:
    """Places of the tops of a curve, piece by piece, which keeps memory small in long takes."""
    found = []
    for first in range(0, len(values), LONG_PIECE):
        start = max(0, first - 8 * distance)
        some, _ = find_peaks(
            values[start : first + LONG_PIECE + 8 * distance], height=height, distance=distance
        )
        some = some + start
        found.append(some[(some >= first) & (some < first + LONG_PIECE)])
    return np.concatenate(found) if found else np.zeros(0, np.intp)


def _largest_near(values: Frames, places: NDArray[np.intp]) -> Floats:
    """Largest value within 10 frames of each place."""
    around = places[:, None] + np.arange(-10, 11)
    near = values[np.clip(around, 0, len(values) - 1)]
    return np.asarray(near.max(axis=1), np.float64)


def refined(places: NDArray[np.intp], high: Frames, body: Frames) -> Floats:
    """Onsets to a fraction of a frame: where the high band rises most, and the body with it."""
    in_high, height = _peak_near(high, places, 20)
    in_body, _ = _peak_near(body, in_high.astype(np.intp), 8)
    agree = np.abs(in_body - in_high) < 7
    onset = np.where(height > 0.5, np.where(agree, 0.5 * (in_high + in_body), in_high), in_body)
    return np.asarray(onset * FRAME_S)


def _peak_near(values: Frames, places: NDArray[np.intp], reach: int) -> tuple[Floats, Floats]:
    """Place (parabola through the top) and height of the largest value within `reach` frames."""
    if len(places) == 0:
        return np.zeros(0), np.zeros(0)
    offsets = np.arange(-reach, reach + 1)
    padded = np.pad(values, reach + 1)
    window = padded[places[:, None] + offsets + reach + 1]
    top = np.argmax(window, axis=1)
    centre = places + offsets[top]
    left, mid, right = (padded[centre + reach + 1 + d].astype(np.float64) for d in (-1, 0, 1))
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, 1.0), 0.0)
    return centre + np.clip(shift, -0.5, 0.5), mid


GAP_LEVEL = 1.5e-4
"""Nothing is heard below this (-76 dB of full scale)."""
GAP_FROM = 20.0
"""A hole is fallen into from at least so many times `GAP_LEVEL`, within `GAP_EDGE_S`."""
GAP_EDGE_S = 0.004
SHORTEST_GAP_S, LONGEST_GAP_S = 0.0055, 0.07


def gaps_s(samples: Samples) -> Floats:
    """Holes in a recording: sound that is cut off at once and comes back as suddenly.

    Returns
    -------
    Floats
        Shape (n_gaps, 2): beginning and end of each in seconds. No hand damps a string by 26 dB in
        4 ms, so a hole is no rest.
    """
    quiet = np.zeros(len(samples) + 2, np.int8)
    step = int(CHUNK_S * RATE_HZ)
    for start in range(0, len(samples), step):
        piece = samples[start : start + step]
        quiet[start + 1 : start + 1 + len(piece)] = np.abs(piece) < GAP_LEVEL
    turns = np.diff(quiet)
    first, last = np.flatnonzero(turns == 1), np.flatnonzero(turns == -1)
    length_s = (last - first) / RATE_HZ
    fits = (length_s >= SHORTEST_GAP_S) & (length_s <= LONGEST_GAP_S)
    edge = round(GAP_EDGE_S * RATE_HZ)
    found = [
        (start / RATE_HZ, stop / RATE_HZ)
        for start, stop in zip(first[fits], last[fits], strict=True)
        if _loudest(samples, start - edge, start) > GAP_FROM * GAP_LEVEL
        and _loudest(samples, stop, stop + edge) > GAP_FROM * GAP_LEVEL
    ]
    return np.array(found).reshape(-1, 2)


def _loudest(samples: Samples, first: int, last: int) -> float:
    return float(np.abs(samples[max(0, first) : last]).max(initial=0.0))
