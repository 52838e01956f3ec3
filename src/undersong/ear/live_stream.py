"""The last few seconds of a stream, as the live ear needs them, in fixed memory.

Blocks of any length are gathered into hops of `HOP_FRAMES`; each hop is brought to `RATE_HZ`, its
band energies are measured and the older ones forgotten. Everything is addressed by its place since
the stream began: frames as in `attack`, samples at `RATE_HZ` or at `PITCH_RATE_HZ`.

The string's sound is filtered forwards only (`renewal.smooth_in_place` needs the future), which
delays it by less than a frame or two; both sides of every comparison are delayed alike.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, firwin, lfilter, sos2tf

from undersong.ear.attack import BANDS, FRAME
from undersong.ear.frames import RATE_HZ, Resampler, Samples
from undersong.ear.pitch import PITCH_RATE_HZ
from undersong.ear.renewal import UP_TO_HZ, WINDOW

Floats = NDArray[np.float64]

KEPT_S = 3.0
LEAST_PIECE_S = 0.004
"""Shorter blocks wait for one another before they are resampled."""
HOP_FRAMES = 16
HOP = HOP_FRAMES * FRAME
DECIMATION = RATE_HZ // PITCH_RATE_HZ
HALF_TAPS = 20
THINNED = 8
FLOOR_S, LOUDNESS_S = 20.0, 20.0
BLOCK_FRAMES = 48
"""Frames (a whole number of hops) of which the loudest stands for all when loudness is told."""
FLOOR_PERCENT, LOUD_PERCENT = 5, 80
FLOOR_EVERY_HOPS = 32
LEAST_LOUDNESS = WINDOW * FRAME * 1e-7
"""As energy of `WINDOW` frames: nothing below about -70 dB of full scale is loud."""
LOUDEST_SHARE = 0.05


class Tail:
    """The newest values of an endless row."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._values = np.zeros(4 * size, np.float32)
        self._at = size
        self.end = 0

    def append(self, values: Samples) -> None:
        """Add values at the end; what is older than the size asked for may be forgotten."""
        if self._at + len(values) > len(self._values):
            self._values[: self._size] = self._values[self._at - self._size : self._at].copy()
            self._at = self._size
        self._values[self._at : self._at + len(values)] = values
        self._at += len(values)
        self.end += len(values)

    def between(self, first: int, last: int) -> Samples:
        """Values `first` to `last` (left out), counted from the beginning; zero where unknown."""
        start, stop = self._at - (self.end - first), self._at - (self.end - last)
        if start >= 0 and stop <= self._at:
            return self._values[start:stop]
        out = np.zeros(max(0, last - first), np.float32)
        inside = self._values[max(0, start) : max(0, min(stop, self._at))]
        out[max(0, -start) : max(0, -start) + len(inside)] = inside
        return out


class Filters:
    """Several filters that go on from hop to hop, worked out together.

    What a filter makes of a hop is linear in the hop and in what it remembers, so one product of a
    table and a row does for all of them: for short hops many times quicker than filter by filter.
    Each is a ratio of polynomials, of an order low enough that nothing is lost by it.
    """

    def __init__(self, sections: Sequence[Floats], hop: int) -> None:
        parts = [_as_table(*sos2tf(each), hop) for each in sections]
        orders = [len(part) - hop for part in parts]
        ends = np.cumsum([hop, *orders])
        self._table = np.zeros((len(parts) * hop + sum(orders), hop + sum(orders)))
        self._memory = np.zeros(sum(orders))
        self._shape = (len(parts), hop)
        for row, (part, order) in enumerate(zip(parts, orders, strict=True)):
            own = np.concatenate((np.arange(hop), np.arange(ends[row], ends[row] + order)))
            out = np.concatenate((np.arange(hop) + row * hop, own[hop:] + (len(parts) - 1) * hop))
            self._table[np.ix_(out, own)] = part

    def feed(self, samples: Samples) -> Floats:
        """A hop as each filter lets it through, shape (n_filters, hop)."""
        out = self._table @ np.concatenate((samples, self._memory))
        n_rows, hop = self._shape
        self._memory = out[n_rows * hop :]
        return np.asarray(out[: n_rows * hop].reshape(self._shape))


def _as_table(above: Floats, below: Floats, hop: int) -> Floats:
    """What a hop and a filter's memory (its columns) make of both (its rows)."""
    order = max(len(above), len(below)) - 1
    size = hop + order
    columns = np.eye(size)
    out, memory = lfilter(above, below, columns[:, :hop], zi=columns[:, hop:], axis=1)
    return np.concatenate((out, memory), axis=1).T


class Stream:
    """What is remembered of a stream.

    Attributes
    ----------
    samples, smooth
        At `RATE_HZ`: the sound, and the string alone (below 1.2 kHz).
    string
        The sound at `PITCH_RATE_HZ`.
    energies
        By band name, one value a frame.
    n_frames
        Frames heard so far.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self._resampler = Resampler(sample_rate_hz)
        self._piece_in = round(LEAST_PIECE_S * sample_rate_hz)
        self._waiting: list[Samples] = []
        self._n_waiting = 0
        self._held = np.zeros(0, np.float32)
        kept = round(KEPT_S * RATE_HZ)
        self.samples, self.smooth = Tail(kept), Tail(kept)
        self.string = Tail(kept // DECIMATION)
        self.energies = {band.name: Tail(kept // FRAME) for band in BANDS}
        low = butter(2, [35.0, UP_TO_HZ], "bandpass", fs=RATE_HZ, output="sos")
        self._filters = Filters([low, *(band.sections for band in BANDS)], HOP)
        taps = firwin(2 * HALF_TAPS + 1, 1 / DECIMATION, window=("kaiser", 5.0))
        self._thinning = np.zeros((HOP // DECIMATION, HOP + 2 * HALF_TAPS), np.float32)
        for place, row in enumerate(self._thinning):
            row[place * DECIMATION :][: len(taps)] = taps
        self._thin = {band.name: Tail(round(FLOOR_S / 0.001) // THINNED) for band in BANDS}
        self._blocks = Tail(round(LOUDNESS_S / 0.001) // BLOCK_FRAMES)
        self.floors = {band.name: 1e-10 for band in BANDS}
        self.n_frames = 0
        self._hops = 0
        self._loudness: tuple[int, float, float] = (0, 0.0, LEAST_LOUDNESS)

    def feed(self, samples: Samples) -> int:
        """Take a block in (see `frames.checked`); returns how many hops are waiting (`step`)."""
        self._waiting.append(samples)
        self._n_waiting += len(samples)
        if self._n_waiting >= self._piece_in:
            self._resample()
        return len(self._held) // HOP

    def _resample(self) -> None:
        piece = self._resampler.feed(np.concatenate(self._waiting))
        self._held = np.concatenate((self._held, piece))
        self._waiting, self._n_waiting = [], 0

    def finish(self) -> int:
        """The stream has ended: hops left when it is filled up with silence."""
        if self._waiting:
            self._resample()
        rest = np.concatenate((self._held, self._resampler.finish()))
        self._held = np.pad(rest, (0, -len(rest) % HOP))
        return len(self._held) // HOP

    def step(self) -> None:
        """Go on by one hop."""
        hop, self._held = self._held[:HOP], self._held[HOP:]
        self.samples.append(hop)
        low, *bands = self._filters.feed(hop)
        self.smooth.append(low.astype(np.float32))
        frames = np.reshape(bands, (len(BANDS), HOP_FRAMES, FRAME))
        energies = (np.einsum("bij,bij->bi", frames, frames) / FRAME).astype(np.float32)
        for band, row in zip(BANDS, energies, strict=True):
            self.energies[band.name].append(row)
            self._thin[band.name].append(row[::THINNED])
        context = self.samples.between(self.samples.end - HOP - 2 * HALF_TAPS, self.samples.end)
        self.string.append(self._thinning @ context)
        self.n_frames += HOP_FRAMES
        self._hops += 1
        if self.n_frames % BLOCK_FRAMES == 0:
            self._measure_block()
        if self._hops % FLOOR_EVERY_HOPS == 1:
            self._measure_floors()

    @property
    def now_s(self) -> float:
        """Seconds of the stream that were taken in."""
        return self.samples.end / RATE_HZ

    @property
    def string_end(self) -> int:
        """Sample at `PITCH_RATE_HZ` up to which `string` is known, as time and not as count."""
        return self.string.end - HALF_TAPS // DECIMATION

    def string_between(self, first: int, last: int) -> Samples:
        """Samples at `PITCH_RATE_HZ` by their time: the delay of the filter is taken out."""
        shift = HALF_TAPS // DECIMATION
        return self.string.between(first + shift, last + shift)

    def _measure_block(self) -> None:
        count = (BLOCK_FRAMES + WINDOW) * FRAME
        squares = self.smooth.between(self.smooth.end - count, self.smooth.end) ** 2
        by_frame = squares.reshape(-1, FRAME).sum(axis=1)
        total = np.concatenate(([0.0], np.cumsum(by_frame, dtype=np.float64)))
        self._blocks.append(np.array([(total[WINDOW:] - total[:-WINDOW]).max()], np.float32))

    def _measure_floors(self) -> None:
        for name, thin in self._thin.items():
            known = thin.between(max(0, thin.end - round(FLOOR_S / 0.001) // THINNED), thin.end)
            self.floors[name] = 3.0 * float(np.percentile(known, FLOOR_PERCENT)) + 1e-10

    def loudness(self, since_s: float) -> float:
        """How loud the playing is: energy of the string in `WINDOW` frames, at its louder places.

        Parameters
        ----------
        since_s
            What was before does not count (a count-in, talking).
        """
        if self._loudness[:2] == (self._blocks.end, since_s):
            return self._loudness[2]
        loudness = self._measured_loudness(since_s)
        self._loudness = (self._blocks.end, since_s, loudness)
        return loudness

    def _measured_loudness(self, since_s: float) -> float:
        first = max(0, int(since_s * 1000) // BLOCK_FRAMES)
        oldest = self._blocks.end - round(LOUDNESS_S / 0.001) // BLOCK_FRAMES
        known = self._blocks.between(max(first, oldest), self._blocks.end)
        if len(known) == 0:
            return LEAST_LOUDNESS
        near = maximum_filter1d(known, 9)
        # The percentile without interpolation, which is most of the work of `numpy.percentile`.
        place = round(LOUD_PERCENT / 100 * (len(near) - 1))
        loud = float(np.partition(near, place)[place])
        return max(loud, LOUDEST_SHARE * float(known.max()), LEAST_LOUDNESS)
