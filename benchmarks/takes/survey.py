"""How well each bass is defined: where its attacks lie, how it is tuned, whether it is alive.

Prints, for each sound and a few pitches, the attack by the definition in `attack` and how far it
moves when the share that counts as begun is 2 % or 30 % instead of 10 %; the source's own tuning
(which `mix` takes away); and by how much the levels of harmonics 1 to 6 differ between 50 ms and
1.2 s (a looped single cycle would give 0). Then, for each drum kit, the share of its hat's energy
that lies below 400 Hz: next to nothing, or the kit has another thing on that key.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from takes.attack import RATE_HZ, Samples, attack_sample, midi_to_hz, tuning_cents
from takes.bleed import FULL_VELOCITY, HAT, kit_sound
from takes.corpus import KITS, SOUNDS
from takes.make import DOWNLOADS
from takes.sources import sound

MIDIS = (23, 28, 31, 33, 36, 40, 43, 47, 52)
LOW_HZ = 400.0


def harmonic_levels_db(samples: Samples, midi: int, begin: int) -> NDArray[np.float64]:
    """Levels of harmonics 1 to 6 in the 0.3 s from a sample on, loudest 0 dB, shape (6,)."""
    stretch = samples[begin : begin + round(0.3 * RATE_HZ)]
    n_bins = 1 << 17
    spectrum = np.abs(np.fft.rfft(stretch * np.hanning(len(stretch)), n_bins))
    edges = midi_to_hz(midi) * n_bins / RATE_HZ * np.arange(1, 7)[:, None] + [-8, 8]
    levels = np.array([spectrum[int(low) : int(high)].max() for low, high in edges])
    return np.asarray(20 * np.log10(levels / levels.max() + 1e-6))


def low_share(samples: Samples) -> float:
    """Share of the energy that lies below `LOW_HZ`."""
    power = np.abs(np.fft.rfft(samples)) ** 2
    hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    return float(power[hz < LOW_HZ].sum() / power.sum())


def main() -> int:
    """Print the tables."""
    names: Sequence[str] = [name for split in SOUNDS.values() for name in split]
    for name in names:
        bass = sound(name, DOWNLOADS)
        print(f"{name} ({bass.source}, {bass.preset})")
        for midi in MIDIS:
            if midi < bass.lowest_midi:
                continue
            samples = bass.instrument.raw(midi, 90)
            early, begin, later = (attack_sample(samples, share=s) for s in (0.02, 0.1, 0.3))
            cents = tuning_cents(samples, midi, start_s=begin / RATE_HZ + 0.15)
            first = harmonic_levels_db(samples, midi, begin + round(0.05 * RATE_HZ))
            then = harmonic_levels_db(samples, midi, begin + round(1.2 * RATE_HZ))
            print(
                f"  {midi}: attack {1000 * (early - begin) / RATE_HZ:+5.1f} to "
                f"{1000 * (later - begin) / RATE_HZ:+5.1f} ms, source {cents:+5.1f} cents, "
                f"harmonics move by {np.mean(np.abs(first - then)):4.1f} dB"
            )
    for kit in [kit for split in KITS.values() for kit in split]:
        low = low_share(kit_sound(kit, HAT, FULL_VELOCITY))
        print(f"{kit}: {low:.3f} of the hat's energy below {LOW_HZ:.0f} Hz")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
