"""The round trip: how long a click takes out of the computer, through the air and back in.

The click is played ten times into the microphone; each is found where the recording is most like
it. One number is trusted only where the ten agree (trade handbook 8.7: a spread above 3 ms, and
early or late cannot be told).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import correlate

MOST_S = 0.6  # wireless headphones reach a third of a second
LEAST_LIKENESS = 0.25  # of a perfect copy
MOST_SPREAD_MS = 3.0
LEAST_FOUND = 6


@dataclass(frozen=True, slots=True)
class RoundTrip:
    """What was measured; `delay_ms` is None where it cannot be trusted, and `words` say why."""

    delay_ms: float | None
    spread_ms: float | None
    found: int
    words: str


def round_trip(
    samples: NDArray[np.float32],
    sample_rate_hz: int,
    click: NDArray[np.float32],
    played_at: Sequence[int],
) -> RoundTrip:
    """Measure the round trip.

    Parameters
    ----------
    samples
        What came in, mono, shape (n,).
    sample_rate_hz
        Its rate; the click's too.
    click
        The click as played, shape (m,).
    played_at
        The frame of `samples` at which each click left; further apart than 0.6 s.

    Returns
    -------
    RoundTrip
        The median of the clicks found, and their spread: the range of the middle eight in ten.
    """
    lags_ms = []
    reach = round(MOST_S * sample_rate_hz)
    for at in played_at:
        window = samples[max(0, at) : at + reach + len(click)].astype(np.float64)
        lag = _lag(window, click.astype(np.float64))
        if lag is not None:
            lags_ms.append(1000 * lag / sample_rate_hz)
    found = len(lags_ms)
    if found < LEAST_FOUND:
        return RoundTrip(
            None,
            None,
            found,
            f"I heard {found} of {len(played_at)} clicks. Put the microphone near the loudspeaker, "
            "turn the click up a little, and try again.",
        )
    delay_ms = float(np.median(lags_ms))
    spread_ms = spread_of(lags_ms)
    if spread_ms > MOST_SPREAD_MS:
        return RoundTrip(
            None,
            spread_ms,
            found,
            f"The delay wanders by {spread_ms:.0f} ms: early or late cannot be told, only how "
            "even you are. Wireless headphones do this; use a cable.",
        )
    return RoundTrip(
        delay_ms,
        spread_ms,
        found,
        f"The round trip is {delay_ms:.1f} ms, the same within {spread_ms:.1f} ms. It is taken "
        "out of your lateness from now on.",
    )


def spread_of(lags_ms: Sequence[float] | NDArray[np.float64]) -> float:
    """The range of the middle eight in ten, in milliseconds."""
    low, high = np.percentile(lags_ms, (10, 90))
    return float(high - low)


def _lag(window: NDArray[np.float64], click: NDArray[np.float64]) -> int | None:
    """Frames from the window's start to the place most like the click; None where none is."""
    if len(window) < len(click) or not window.any():
        return None
    likeness = correlate(window, click, mode="valid", method="fft")
    power = np.convolve(np.square(window), np.ones(len(click)), mode="valid")
    scale = np.sqrt(np.maximum(power, power.max() * 1e-4) * np.square(click).sum())
    alike = likeness / scale
    best = int(np.argmax(alike))
    return best if alike[best] >= LEAST_LIKENESS else None
