"""What the click sounds like: a small block of wood, not a beep. And the cue: a small bell.

The click is two partials of a struck bar, band-limited by their own smooth start, gone within a few
hundredths of a second so that the player's own note is heard. The one is higher and fuller than the
other beats; subdivisions are softer and shorter. All lie above a bass guitar's strong partials.

References
----------
The second partial of a free bar lies 2.756 times above its first [Fletcher & Rossing 1998, 2.15].
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from undersong.sound.schedule import ClickKind
from undersong.theory.pitch import midi_to_hz

Samples = NDArray[np.float32]

FREE_BAR_SECOND = 2.756
RISE_S = 0.001
CUE_S = 0.6


@dataclass(frozen=True, slots=True)
class _Block:
    """A block of wood: first partial, level and time to fall by 1/e."""

    hz: float
    level_db: float
    decay_s: float
    second_share: float


_BLOCKS = {
    ClickKind.ACCENT: _Block(1960.0, 0.0, 0.018, 0.35),
    ClickKind.BEAT: _Block(1310.0, -1.5, 0.016, 0.2),
    ClickKind.SUBDIVISION: _Block(1310.0, -11.0, 0.008, 0.1),
}


@lru_cache(maxsize=16)
def click_sound(kind: ClickKind, sample_rate_hz: int) -> Samples:
    """One click.

    Parameters
    ----------
    kind
        What it marks.
    sample_rate_hz
        Samples a second.

    Returns
    -------
    numpy.ndarray
        Shape (n_samples,), peak 1 for the accented one; its energy starts in the first ms.
    """
    block = _BLOCKS[kind]
    t_s = np.arange(round(6 * block.decay_s * sample_rate_hz)) / sample_rate_hz
    first = np.sin(2 * np.pi * block.hz * t_s) * np.exp(-t_s / block.decay_s)
    second_hz = FREE_BAR_SECOND * block.hz
    second = np.sin(2 * np.pi * second_hz * t_s) * np.exp(-2.5 * t_s / block.decay_s)
    if second_hz > 0.45 * sample_rate_hz:  # nothing may fold back at low rates
        second = np.zeros_like(second)
    rise = np.sin(np.pi / 2 * np.minimum(1, t_s / RISE_S)) ** 2
    fall = np.sin(np.pi / 2 * np.minimum(1, (t_s[-1] - t_s) / (2 * RISE_S))) ** 2
    sound = (first + block.second_share * second) * rise * fall
    peak = float(np.abs(sound).max())
    return np.asarray(sound / peak * 10 ** (block.level_db / 20), dtype=np.float32)


@lru_cache(maxsize=32)
def cue_sound(midi: int, sample_rate_hz: int) -> Samples:
    """A soft bell at a pitch, shape (n_samples,), peak 1."""
    t_s = np.arange(round(CUE_S * sample_rate_hz)) / sample_rate_hz
    bell = np.zeros_like(t_s)
    for ratio, share, decay_s in ((1.0, 1.0, 0.16), (2.0, 0.35, 0.09), (3.01, 0.12, 0.05)):
        bell += share * np.sin(2 * np.pi * ratio * midi_to_hz(midi) * t_s) * np.exp(-t_s / decay_s)
    bell *= np.sin(np.pi / 2 * np.minimum(1, t_s / (4 * RISE_S))) ** 2
    bell *= np.cos(np.pi / 2 * t_s / CUE_S) ** 2
    return np.asarray(bell / np.abs(bell).max(), dtype=np.float32)
