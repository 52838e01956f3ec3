"""Basses that nobody sampled: the string model of the app's own bass, drawn at random.

For the split `wider` alone: a model is no witness of how well the ear hears a real bass.
"""

from dataclasses import dataclass

import numpy as np

from takes.attack import RATE_HZ, Samples, midi_to_hz
from takes.sources import LONGEST_NOTE_S, one_pole
from takes.spelling import FIVE_STRING
from undersong.sound.strings import Attack, BassSound, modes_of, ring

TOUCH_S, TOUCH_HZ = 0.004, 3000.0


@dataclass(frozen=True, slots=True)
class Modelled:
    """A string worked out mode by mode: pickup, hand and strings.

    `damping` and `damping_khz` are losses beside those of new strings, as `modes_of` has them;
    `touch` is how loud the finger or pick itself is, as a share of full force.
    """

    sound: BassSound
    damping: float
    damping_khz: float
    touch: float

    @classmethod
    def drawn(cls, seed: int) -> "Modelled":
        """An instrument and a hand that may exist."""
        rng = np.random.default_rng([seed, 3])
        hand = BassSound(
            Attack.PICK if rng.uniform() < 0.4 else Attack.FINGER,
            attack_mm=float(rng.uniform(60, 190)),
            pickup_mm=float(rng.uniform(40, 130)),
            tone_hz=float(np.exp(rng.uniform(np.log(700), np.log(6000)))),
        )
        damping = float(np.exp(rng.uniform(0, 1.2))) - 1
        damping_khz = float(rng.uniform(0, 12))
        return cls(hand, damping, damping_khz, float(10 ** (rng.uniform(-45, -18) / 20)))

    def raw(self, midi: int, velocity: int) -> Samples:
        """One note at 44.1 kHz, as long as `LONGEST_NOTE_S`."""
        open_midi = max((each for each in FIVE_STRING if each <= midi), default=FIVE_STRING[0])
        modes = modes_of(
            midi_to_hz(midi),
            open_midi=open_midi,
            sound=self.sound,
            level_db=40 * float(np.log10(velocity / 127)),
            damping=self.damping,
            damping_khz=self.damping_khz,
        )
        samples = np.asarray(ring(modes, int(LONGEST_NOTE_S * RATE_HZ), RATE_HZ), np.float64)
        rng = np.random.default_rng([midi, velocity])
        touch = rng.normal(0, 1, len(samples)) * np.exp(
            -np.arange(len(samples)) / (TOUCH_S * RATE_HZ)
        )
        return samples + self.touch * velocity / 127 * one_pole(touch, TOUCH_HZ)
