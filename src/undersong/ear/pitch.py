"""Which note is this? A test between hypotheses, never a reading of one peak.

Each stretch of sound is reduced to a magnitude spectrum between 35 Hz and 1.5 kHz that sums to one.
A hypothesis, one for every pitch a bass can sound, says what share of that sum belongs where: in
lobes about its harmonics, falling with their number, over a floor that anything may fill. The
score of a hypothesis is the mean log-likelihood of the observed shares under it. A pitch an octave
too low wastes shares on harmonics that are not there; an octave too high leaves the odd harmonics
to the floor; the fundamental is one harmonic among many and may be missing.

Conventions
-----------
Hypotheses are MIDI numbers `LOWEST_MIDI` to `HIGHEST_MIDI`; scores have shape (n_stretches,
n_hypotheses), natural units per observation. Exponents, floor and widths were chosen by
design/ear_pitch.py. Inharmonicity follows trade handbook 8.4.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.signal import resample_poly

from undersong.ear.frames import RATE_HZ, Samples
from undersong.theory.pitch import midi_to_hz

Floats = NDArray[np.float64]

PITCH_RATE_HZ = 4000
N_FFT = 8192
LOWEST_HZ, HIGHEST_HZ = 35.0, 1500.0
LOWEST_MIDI, HIGHEST_MIDI = 21, 71
MIDIS = np.arange(LOWEST_MIDI, HIGHEST_MIDI + 1)
WINDOWS = (256, 360, 512, 720, 1024, 1440)
"""Lengths of a stretch in samples at `PITCH_RATE_HZ`: 64 to 360 ms."""
EMPHASIS = 0.7
"""Magnitudes are weighted by frequency to this power: the upper harmonics separate neighbours."""
FALL = 1.35
"""Harmonic n is expected n**-FALL as strong, after the emphasis."""
FLOOR = 0.35
SPREAD_CENTS = 10.0
STIFFNESS = 1e-4
LOBE = 0.75
"""Width of a harmonic's lobe (one standard deviation) in units of 1 / window length."""
BEFORE_S = 0.006
SETTLE_S = 0.04
"""The attack is skipped: noise, and a string that starts sharp (trade handbook 8.5)."""

_BINS = np.arange(int(LOWEST_HZ * N_FFT / PITCH_RATE_HZ), int(HIGHEST_HZ * N_FFT / PITCH_RATE_HZ))
_BIN_HZ = _BINS * PITCH_RATE_HZ / N_FFT
_WEIGHT = (_BIN_HZ**EMPHASIS).astype(np.float32)


def at_pitch_rate(samples: Samples) -> Samples:
    """A take at `PITCH_RATE_HZ`, which is all that pitch needs."""
    return np.asarray(resample_poly(samples, PITCH_RATE_HZ, RATE_HZ), np.float32)


@lru_cache(maxsize=96)
def log_shares(window: int, tuning_cents: float) -> Samples:
    """What every hypothesis expects of a stretch of one length.

    Returns
    -------
    Floats
        Shape (n_bins, n_hypotheses): natural logarithm of the expected share of each bin.
    """
    columns, harmonic_hz, strength = _all_harmonics(tuning_cents)
    narrow = LOBE * PITCH_RATE_HZ / window
    width = np.hypot(narrow, harmonic_hz * (2 ** (SPREAD_CENTS / 1200) - 1))
    bin_hz = PITCH_RATE_HZ / N_FFT
    reach = int(4 * width.max() / bin_hz) + 1
    centre = np.round(harmonic_hz / bin_hz).astype(np.intp) - _BINS[0]
    rows = centre[:, None] + np.arange(-reach, reach + 1)
    off = (rows + _BINS[0]) * bin_hz - harmonic_hz[:, None]
    lobes = strength[:, None] * np.exp(-0.5 * (off / width[:, None]) ** 2)
    inside = (rows >= 0) & (rows < len(_BIN_HZ))
    places = rows * len(MIDIS) + columns[:, None]
    expected = np.bincount(
        places[inside], weights=lobes[inside], minlength=len(_BIN_HZ) * len(MIDIS)
    ).reshape(len(_BIN_HZ), len(MIDIS))
    shares = (1 - FLOOR) * expected / expected.sum(axis=0) + FLOOR / len(_BIN_HZ)
    return np.asarray(np.log(shares), np.float32)


def _all_harmonics(tuning_cents: float) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Hypothesis, frequency and expected strength of every harmonic of every hypothesis."""
    columns, harmonic_hz, strength = [], [], []
    for column, midi in enumerate(MIDIS):
        hz = harmonics_hz(midi_to_hz(float(midi) + tuning_cents / 100), HIGHEST_HZ)
        columns.append(np.full(len(hz), column))
        harmonic_hz.append(hz)
        strength.append(np.arange(1, len(hz) + 1) ** -FALL)
    return np.concatenate(columns), np.concatenate(harmonic_hz), np.concatenate(strength)


def harmonics_hz(f0_hz: float, up_to_hz: float) -> Floats:
    """Harmonics of a stiff string below a frequency; at least the first."""
    count = max(1, int(up_to_hz / f0_hz))
    number = np.arange(1, count + 1)
    return np.asarray(number * f0_hz * np.sqrt(1 + STIFFNESS * number**2))


@dataclass(frozen=True, slots=True)
class Stretches:
    """Spectra of stretches of sound.

    Attributes
    ----------
    magnitude
        Shape (n_stretches, n_bins).
    window
        Samples used of each, shape (n_stretches,), one of `WINDOWS`.
    level_db
        Level of each stretch in dB below full scale, shape (n_stretches,).
    """

    magnitude: Samples
    window: NDArray[np.intp]
    level_db: Floats

    def rows(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> Stretches:
        """Some of them."""
        return Stretches(self.magnitude[rows], self.window[rows], self.level_db[rows])

    @property
    def shares(self) -> Samples:
        """Emphasised magnitudes, each row summing to one (zero where silent)."""
        weighted = self.magnitude * _WEIGHT
        total = weighted.sum(axis=1, keepdims=True)
        return np.asarray(weighted / np.where(total > 0, total, 1.0), np.float32)

    def scores(self, tuning_cents: float) -> Floats:
        """Mean log-likelihood of every hypothesis, shape (n_stretches, n_hypotheses)."""
        return np.asarray(self.scores_at([tuning_cents])[0])

    def scores_at(self, tunings_cents: Sequence[float]) -> Floats:
        """Scores at several tunings, shape (n_tunings, n_stretches, n_hypotheses)."""
        shares = self.shares
        scores = np.zeros((len(tunings_cents), len(shares), len(MIDIS)))
        for window in np.unique(self.window):
            rows = np.flatnonzero(self.window == window)
            some = shares[rows]
            for number, cents in enumerate(tunings_cents):
                scores[number, rows] = some @ log_shares(int(window), cents)
        return scores


RING_SHARES = (0.0, 0.15, 0.3, 0.45, 0.6)
"""Shares of a stretch that may be the sound before it, ringing on."""


def scores_over_ring(
    now: Stretches, before: Stretches, tuning_cents: float, midis: NDArray[np.intp]
) -> Floats:
    """Scores of some hypotheses when the sound before may ring on under each.

    Parameters
    ----------
    now, before
        Row by row the same windows: the stretch asked about and the sound just before its onset.
    midis
        Hypotheses to score, shape (n_hypotheses,).

    Returns
    -------
    Floats
        Shape (n_stretches, n_hypotheses): each with the share of ringing, at most the last of
        `RING_SHARES`, that suits it best. A note that only rings on scores no better than it did.
    """
    columns = midis - LOWEST_MIDI
    observed, ringing = now.shares, before.shares
    floor = FLOOR / observed.shape[1]
    scores = np.full((len(observed), len(midis)), -np.inf)
    for row, window in enumerate(now.window):
        expected = np.exp(log_shares(int(window), tuning_cents)[:, columns])
        old = (1 - FLOOR) * ringing[row][:, None] + floor
        for share in RING_SHARES:
            mixed = np.log((1 - share) * expected + share * old)
            scores[row] = np.maximum(scores[row], observed[row] @ mixed)
    return scores


def stretches_before(samples: Samples, onset_s: Floats, windows: NDArray[np.intp]) -> Stretches:
    """Spectra of the sound just before each onset, in windows of given sizes."""
    size = np.asarray(windows)
    last = ((onset_s - BEFORE_S) * PITCH_RATE_HZ).astype(np.intp)
    return _spectra(samples, last - size, size)


def stretches(samples: Samples, onset_s: Floats, end_s: Floats) -> Stretches:
    """Spectra from shortly after each onset to at most each end.

    Parameters
    ----------
    samples
        Shape (n_samples,), at `PITCH_RATE_HZ`.
    onset_s, end_s
        Shape (n_stretches,), seconds; where something else begins, or the take ends.
    """
    length = np.maximum(end_s - onset_s - 0.005, 0.0)
    first = ((onset_s + np.minimum(SETTLE_S, 0.25 * length)) * PITCH_RATE_HZ).astype(np.intp)
    room = ((end_s - 0.005) * PITCH_RATE_HZ).astype(np.intp) - first
    window = np.array(WINDOWS)[np.maximum(np.searchsorted(WINDOWS, room, side="right") - 1, 0)]
    return _spectra(samples, first, window)


AT_ONCE = 512  # spectra: an hour's would not fit into memory


@lru_cache(maxsize=len(WINDOWS))
def _window(size: int) -> Samples:
    return np.hanning(size).astype(np.float32)


def _pieces(samples: Samples, first: NDArray[np.intp], size: int) -> Samples:
    """So many samples from each place on, silence beyond either end, shape (n_places, size)."""
    place = first[:, None] + np.arange(size)
    if first.min() >= 0 and first.max() + size <= len(samples):
        pieces: Samples = samples[place]
        return pieces
    # Padding all of it would copy an hour for the sake of its last note.
    inside = (place >= 0) & (place < len(samples))
    pieces = np.zeros(place.shape, np.float32)
    pieces[inside] = samples[place[inside]]
    return pieces


def _spectra(samples: Samples, first: NDArray[np.intp], window: NDArray[np.intp]) -> Stretches:
    magnitude = np.empty((len(first), len(_BIN_HZ)), np.float32)
    level_db = np.empty(len(first))
    for size in np.unique(window):
        those = np.flatnonzero(window == size)
        for at in range(0, len(those), AT_ONCE):
            rows = those[at : at + AT_ONCE]
            pieces = _pieces(samples, first[rows], int(size)) * _window(int(size))
            magnitude[rows] = np.abs(rfft(pieces, N_FFT)[:, _BINS[0] : _BINS[-1] + 1])
            level_db[rows] = 10 * np.log10((pieces**2).mean(axis=1) + 1e-12)
    return Stretches(magnitude, window, level_db)


TUNING_STEP_CENTS = 10.0
WIDEST_TUNING_CENTS = 45.0


def tuning_of(parts: Stretches) -> float:
    """Cents by which a take as a whole differs from A4 = 440 Hz, within ±`WIDEST_TUNING_CENTS`.

    The offset at which the best hypotheses of the longer stretches explain most.
    """
    steady = parts.window >= WINDOWS[-2]
    if steady.sum() < 6:
        steady = parts.window >= WINDOWS[2]
    if not steady.any():
        return 0.0
    some = _thinned(parts.rows(steady), 60)
    grid = np.arange(-WIDEST_TUNING_CENTS, WIDEST_TUNING_CENTS + 1, TUNING_STEP_CENTS)
    fit = some.scores_at(grid.tolist()).max(axis=2).mean(axis=1)
    top = int(np.clip(np.argmax(fit), 1, len(grid) - 2))
    left, mid, right = fit[top - 1 : top + 2]
    bend = left - 2 * mid + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(grid[top] + TUNING_STEP_CENTS * np.clip(shift, -0.5, 0.5))


def _thinned(parts: Stretches, most: int) -> Stretches:
    rows = np.linspace(0, len(parts.window) - 1, min(most, len(parts.window))).astype(np.intp)
    return parts.rows(rows)


FINE_REACH_CENTS = 60.0
FINE_STEP_CENTS = 2.0
FINE_HARMONICS = 8
FINE_STIFFNESS = 2e-5
"""Less than `STIFFNESS`: here a wrong guess would lean every reading the same way."""


def fine_cents(parts: Stretches, midi: NDArray[np.intp]) -> Floats:
    """Cents of each stretch from equal temperament at a note it is known to sound.

    Returns
    -------
    Floats
        Shape (n_stretches,), in ±`FINE_REACH_CENTS`; the first `FINE_HARMONICS` harmonics decide
        together, each by the square root of its magnitude.
    """
    grid = np.arange(-FINE_REACH_CENTS, FINE_REACH_CENTS + 1, FINE_STEP_CENTS)
    number = np.arange(1, FINE_HARMONICS + 1)
    stretch = number * np.sqrt(1 + FINE_STIFFNESS * number**2)
    f0_hz = np.array([midi_to_hz(float(note)) for note in midi])[:, None] * 2 ** (grid / 1200)
    places = f0_hz[:, :, None] * stretch * (N_FFT / PITCH_RATE_HZ) - _BINS[0]
    whole = np.clip(places.astype(np.intp), 0, len(_BINS) - 2)
    share = np.clip(places - whole, 0.0, 1.0)
    rows = np.arange(len(midi))[:, None, None]
    seen = (1 - share) * parts.magnitude[rows, whole] + share * parts.magnitude[rows, whole + 1]
    fit = np.sqrt(np.where((places >= 0) & (places < len(_BINS) - 1), seen, 0.0)).sum(axis=2)
    top = np.clip(fit.argmax(axis=1), 1, len(grid) - 2)
    left, mid, right = (fit[np.arange(len(midi)), top + step] for step in (-1, 0, 1))
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.asarray(grid[top] + FINE_STEP_CENTS * np.clip(shift, -0.5, 0.5))
