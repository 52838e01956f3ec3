"""A recording on its way through the world: samples, and what is known of where things lie."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from takes.attack import RATE_HZ, Samples


@dataclass(frozen=True, slots=True)
class Recording:
    """Mono samples at 44.1 kHz and their map.

    `beats_s` are the beats of the Part and of the bar before it (the count-in), in seconds of the
    file; the first of the Part itself is `beats_s[beats_a_bar]`. `facts` goes into the truth.
    `kits` are the drum kits that may be heard (`bleed.kit_sound`).
    """

    samples: Samples
    beats_s: tuple[float, ...]
    beats_a_bar: int
    kits: tuple[str, ...]
    facts: dict[str, Any] = field(default_factory=dict)

    @property
    def start_s(self) -> float:
        """Where the Part begins."""
        return self.beats_s[self.beats_a_bar]

    @property
    def level(self) -> float:
        """Root mean square of the samples from the Part's first beat on."""
        return float(np.sqrt(np.mean(self.samples[round(self.start_s * RATE_HZ) :] ** 2)))


def placed(sounds: list[tuple[float, Samples]], n_samples: int) -> Samples:
    """Sounds at their times (seconds), in an array of this length."""
    out = np.zeros(n_samples)
    for at_s, sound in sounds:
        start = round(at_s * RATE_HZ)
        if 0 <= start < n_samples:
            piece = sound[: n_samples - start]
            out[start : start + len(piece)] += piece
    return out
