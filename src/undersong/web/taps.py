"""The round trip by tapping along, where the microphone cannot hear the click (headphones).

The player taps or plucks a damped string with each click. What is left of the first few taps after
that is delay and habit together: people tap early on average, those untrained by some tens of
milliseconds (trade handbook 5.4, from memory there), and no arithmetic here can part the two. So
this is the less exact way, and says so.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from undersong.ear.attack import Attacks, attacks
from undersong.ear.frames import RATE_HZ, listen
from undersong.web.delay import MOST_S, RoundTrip, spread_of

LEFT_OUT = 4  # taps: until the beat is found
LEAST_TAPS = 8
BEFORE_S = 0.15  # a tap may be so early
STROKE_S = 0.02
LEAST_PEAK = 1e-3  # of full scale
LEAST_OVER_NOISE = 4.0
NOISE_S = 0.01
MOST_SPREAD_MS = 60.0
"""Chosen, no source: at that spread the middle of twelve taps is still known within about 10 ms."""
STRAY_MS = 20.0
STRAY_DEVIATIONS = 3.0
DEVIATION = 1.4826  # of a normal spread, over its median absolute deviation

Lags = NDArray[np.float64]


def tapped_trip(
    samples: NDArray[np.float32], sample_rate_hz: int, played_at: Sequence[int]
) -> RoundTrip:
    """Measure the round trip by taps, or say why not.

    Parameters
    ----------
    samples
        What came in, mono, shape (n,).
    sample_rate_hz
        Its rate.
    played_at
        The frame of `samples` at which each click left; at least 0.75 s apart.

    Returns
    -------
    RoundTrip
        The median of heard tap minus click, the first four left out and strays dropped; the
        spread is the range of the middle eight in ten.
    """
    asked = [at / sample_rate_hz for at in played_at[LEFT_OUT:]]
    lags_ms = _lags_ms(samples, sample_rate_hz, asked)
    found = len(lags_ms)
    if found < LEAST_TAPS:
        return _refused(
            found,
            None,
            f"I heard {found} taps in {len(asked)} clicks. Tap harder or nearer to the microphone, "
            "with every click, and try again.",
        )
    kept = without_strays(lags_ms)
    spread_ms = spread_of(kept)
    if len(kept) < LEAST_TAPS or spread_ms > MOST_SPREAD_MS:
        all_ms = spread_of(lags_ms)
        return _refused(
            found,
            all_ms,
            f"Your taps scatter over {all_ms:.0f} ms, too widely to tell the delay from. "
            "Listen to a few clicks first, tap evenly, in quiet, and try again.",
        )
    delay_ms = float(np.median(kept))
    if delay_ms < 0:
        return _refused(
            found,
            spread_ms,
            f"You tapped {-delay_ms:.0f} ms before the click, which no delay can be: the delay is "
            "smaller than your habit. Nothing is kept; lateness is told against your own pulse.",
        )
    return RoundTrip(
        delay_ms,
        spread_ms,
        found,
        f"The round trip is about {delay_ms:.0f} ms by {len(kept)} taps; eight in ten of them lie "
        f"within {spread_ms:.0f} ms. It is taken out of your lateness from now on, and with it "
        "whatever you usually tap early or late: most people are some tens of milliseconds off, "
        "mostly early. Hearing the click back is more exact.",
    )


def _refused(found: int, spread_ms: float | None, words: str) -> RoundTrip:
    return RoundTrip(None, spread_ms, found, words)


def without_strays(lags_ms: Lags) -> Lags:
    """The taps near the median: within three deviations, or 20 ms where they are very even."""
    off = np.abs(lags_ms - np.median(lags_ms))
    allowed_ms = max(STRAY_MS, STRAY_DEVIATIONS * DEVIATION * float(np.median(off)))
    return lags_ms[off <= allowed_ms]


def _lags_ms(samples: NDArray[np.float32], sample_rate_hz: int, clicks_s: Sequence[float]) -> Lags:
    """Tap minus click of every click that has one, in milliseconds."""
    heard = listen([samples], sample_rate_hz).samples
    found = attacks(heard)
    size = round(NOISE_S * RATE_HZ)
    pieces = np.abs(heard[: len(heard) // size * size]).reshape(-1, size).max(axis=1)
    noise = float(np.percentile(pieces, 20)) if len(pieces) else 0.0
    least = max(LEAST_PEAK, LEAST_OVER_NOISE * noise)
    peaks = np.asarray([_peak(heard, at_s) for at_s in found.onset_s])
    taps = [_tap(found, peaks, click_s, least) for click_s in clicks_s]
    pairs = zip(taps, clicks_s, strict=True)
    return np.asarray([1000 * (tap - click) for tap, click in pairs if tap is not None])


def _peak(heard: NDArray[np.float32], at_s: float) -> float:
    first = max(0, round(at_s * RATE_HZ))
    return float(np.abs(heard[first : first + round(STROKE_S * RATE_HZ)]).max(initial=0.0))


def _tap(found: Attacks, peaks: Lags, click_s: float, least: float) -> float | None:
    """When the tap for one click was heard: the sharpest of the loud rises around it."""
    near = (found.onset_s >= click_s - BEFORE_S) & (found.onset_s < click_s + MOST_S)
    near &= peaks >= least
    if not near.any():
        return None
    near &= peaks >= 0.5 * peaks[near].max()
    return float(found.onset_s[near][np.argmax(found.strength[near])])
