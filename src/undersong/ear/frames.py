"""From a stream of samples to one short record of the take: the ear's only way in.

Conventions
-----------
Blocks are mono, floating point, full scale 1.0, of any length, at any rate a sound card offers.
They are brought to `RATE_HZ` piece by piece, so that memory depends on the length of the take at
that rate alone. The result does not depend on how the stream was cut into blocks.

At 8 kHz everything up to 4 kHz is kept: all partials of a bass that carry its pitch, and enough of
the pick or finger noise above 1 kHz to date an attack to a millisecond. Of what lies higher only
its energy is kept: drums are loud there, strings hardly sound.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from math import gcd

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, upfirdn

from undersong.errors import AudioError

Samples = NDArray[np.float32]

RATE_HZ = 8000
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4000, 768_000
LONGEST_S = 3600.0
"""Listening stops here: no pass is longer, and memory has to end somewhere."""
PIECE_S = 8.0
HALF_TAPS_PERIODS = 8
"""Half length of the resampling filter, in periods of the slower rate."""
CLIPPED_LEVEL = 0.98
TOP_STEP_S = 0.002
TOP_LAG_S = 1 / 22_050
"""The third difference over this lag rises by 18 dB an octave to its peak at 11 kHz."""
LOWEST_TOP_RATE_HZ = 12_000
"""At a lower rate there is nothing above 4 kHz worth a look."""


@dataclass(frozen=True, slots=True)
class Take:
    """A recording as the ear keeps it.

    Attributes
    ----------
    samples
        Shape (n_samples,), at `RATE_HZ`.
    length_s
        Length of the stream that was heard, in seconds.
    peak
        Largest absolute sample of the stream.
    clipped_share
        Share of samples that stand flat at the stream's own ceiling, in [0, 1].
    bad_samples
        Samples that were no numbers (heard as silence).
    cut_short
        True where the stream was longer than `LONGEST_S`.
    top
        Shape (n_steps,): energy above some 5 kHz in each `TOP_STEP_S`; empty where the rate of the
        stream is too low to tell.
    """

    samples: Samples
    length_s: float
    peak: float
    clipped_share: float
    bad_samples: int
    cut_short: bool
    top: Samples


class Resampler:
    """Blocks at one rate in, samples at `RATE_HZ` out, with no seam between blocks.

    Parameters
    ----------
    sample_rate_hz
        Rate of the blocks, in [`LOWEST_RATE_HZ`, `HIGHEST_RATE_HZ`].

    Raises
    ------
    AudioError
        If the rate is out of range.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise AudioError(
                f"A recording at {sample_rate_hz} samples a second cannot be heard: "
                f"use {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ}."
            )
        common = gcd(sample_rate_hz, RATE_HZ)
        self.up, self.down = RATE_HZ // common, sample_rate_hz // common
        self._half = HALF_TAPS_PERIODS * max(self.up, self.down)
        self._taps = self._filter()
        # Input samples of context on either side, rounded so that pieces start on whole outputs.
        self._context = -(-self._half // (self.up * self.down)) * self.down
        self._kept = np.zeros(self._context, np.float32)

    def _filter(self) -> Samples:
        return _taps(self.up, self.down, self._half)

    def feed(self, block: Samples) -> Samples:
        """The output samples that `block` completes; may be empty."""
        if self.up == self.down:
            return block
        self._kept = np.concatenate((self._kept, block))
        whole = (len(self._kept) - 2 * self._context) // self.down
        if whole <= 0:
            return np.zeros(0, np.float32)
        piece = self._kept[: whole * self.down + 2 * self._context]
        out = self._resampled(piece, whole * self.up)
        self._kept = self._kept[whole * self.down :]
        return out

    def finish(self) -> Samples:
        """The samples still inside the filter once the stream has ended."""
        if self.up == self.down:
            return np.zeros(0, np.float32)
        waiting = len(self._kept) - self._context
        n_out = -(-waiting * self.up // self.down)
        whole = -(-waiting // self.down)
        pad = whole * self.down + 2 * self._context - len(self._kept)
        piece = np.concatenate((self._kept, np.zeros(pad, np.float32)))
        return self._resampled(piece, whole * self.up)[:n_out]

    def _resampled(self, piece: Samples, n_out: int) -> Samples:
        full = upfirdn(self._taps, piece, self.up, self.down)
        # The filter delays by `_half` at the up-sampled rate, the context by whole outputs.
        first, rest = divmod(self._half + self._context * self.up, self.down)
        assert rest == self._half % self.down
        return np.asarray(full[first : first + n_out], np.float32)


class TopMeter:
    """Energy of the highest treble, block by block, with no seam between blocks."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._lag = max(1, round(TOP_LAG_S * sample_rate_hz))
        self._step = TOP_STEP_S * sample_rate_hz
        self._is_deaf = sample_rate_hz < LOWEST_TOP_RATE_HZ
        self._kept = np.zeros(3 * self._lag, np.float32)
        self._first = self._n_steps = 0

    def feed(self, block: Samples) -> Samples:
        """Mean squares of the steps that `block` completes."""
        if self._is_deaf:
            return np.zeros(0, np.float32)
        kept, lag = np.concatenate((self._kept, block)), self._lag
        treble = kept[3 * lag :] - kept[: -3 * lag]
        treble += np.float32(3) * (kept[lag : -2 * lag] - kept[2 * lag : -lag])
        until = self._first + len(treble)
        n_steps = int(until / self._step)
        edges = np.ceil(np.arange(self._n_steps, n_steps + 1) * self._step).astype(np.intp)
        if n_steps <= self._n_steps or edges[-1] > until:
            self._kept = kept
            return np.zeros(0, np.float32)
        treble *= treble
        total = np.add.reduceat(treble[: edges[-1] - self._first], edges[:-1] - self._first)
        self._kept, self._n_steps = kept[edges[-1] - self._first :], n_steps
        self._first = int(edges[-1])
        return np.asarray(total / np.diff(edges), np.float32)


@lru_cache(maxsize=4)
def _taps(up: int, down: int, half: int) -> Samples:
    if up == down:
        return np.ones(1, np.float32)
    cutoff = 0.94 / max(up, down)
    taps = firwin(2 * half + 1, cutoff, window=("kaiser", 6.0)) * up
    return taps.astype(np.float32)


def listen(blocks: Iterable[NDArray[np.floating]], sample_rate_hz: int) -> Take:
    """Hear a stream to its end, or to `LONGEST_S`.

    Parameters
    ----------
    blocks
        Arrays of shape (n,), floating point, any n.
    sample_rate_hz
        Their rate.

    Raises
    ------
    AudioError
        If the rate is out of range or a block is not one row of floating-point samples.
    """
    resampler = Resampler(sample_rate_hz)
    top = TopMeter(sample_rate_hz)
    pieces: list[Samples] = []
    tops: list[Samples] = []
    waiting: list[Samples] = []
    n_waiting = n_heard = bad = 0
    limit = int(LONGEST_S * sample_rate_hz)
    ceiling = _Ceiling()
    for block in blocks:
        clean, n_bad = checked(block)
        clean = clean[: limit - n_heard]
        n_heard += len(clean)
        bad += n_bad
        ceiling.feed(clean)
        waiting.append(clean)
        n_waiting += len(clean)
        if n_waiting >= PIECE_S * sample_rate_hz:
            piece = np.concatenate(waiting)
            tops.append(top.feed(piece))
            pieces.append(resampler.feed(piece))
            waiting, n_waiting = [], 0
        if n_heard >= limit:
            break
    if waiting:
        piece = np.concatenate(waiting)
        tops.append(top.feed(piece))
        pieces.append(resampler.feed(piece))
    pieces.append(resampler.finish())
    return Take(
        samples=np.concatenate(pieces),
        length_s=n_heard / sample_rate_hz,
        peak=ceiling.peak,
        clipped_share=ceiling.share(n_heard),
        bad_samples=bad,
        cut_short=n_heard >= limit,
        top=np.concatenate((np.zeros(0, np.float32), *tops)),
    )


def checked(block: NDArray[np.floating]) -> tuple[Samples, int]:
    """A block as 32-bit samples, and how many of them were no numbers (now zero)."""
    if block.ndim != 1 or block.dtype.kind != "f":
        raise AudioError(
            "The ear hears one row of floating-point samples at a time, not "
            f"an array of shape {block.shape} and kind {block.dtype}."
        )
    samples = block.astype(np.float32)
    finite = np.isfinite(samples)
    n_bad = int(len(samples) - np.count_nonzero(finite))
    if n_bad:
        samples = np.where(finite, samples, np.float32(0))
    return samples, n_bad


class _Ceiling:
    """How often the stream stands flat at its own largest value."""

    def __init__(self) -> None:
        self.peak = 0.0
        self._flat = 0

    def feed(self, block: Samples) -> None:
        if len(block) < 2:
            self.peak = max(self.peak, float(np.abs(block).max(initial=0.0)))
            return
        size = np.abs(block)
        peak = float(size.max())
        if peak > 1.02 * self.peak:
            self._flat = 0
        self.peak = max(self.peak, peak)
        if peak < CLIPPED_LEVEL * self.peak or self.peak < 1e-4:
            return
        high = size >= CLIPPED_LEVEL * self.peak
        still = np.abs(np.diff(block)) < 1e-3 * self.peak
        self._flat += int(np.count_nonzero(high[1:] & high[:-1] & still))

    def share(self, n_samples: int) -> float:
        return self._flat / n_samples if n_samples else 0.0
