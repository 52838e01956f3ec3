"""Whether the truth is true: looks at written takes with an eye that had no part in making them.

Onset: the place of the largest 12 ms / 12 ms log-energy ratio above 1 kHz within 40 ms of the
stated onset, a definition unlike the one in `attack`; below 1 kHz the ratio follows the single
periods of a low string, and one note in ten is then seen a whole period off. Pitch: the harmonic
sum of `attack` on the mix itself, for notes left alone long enough. Level: every note against the
take's median.
"""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile as sf
from scipy.signal import butter, resample_poly, sosfilt

from takes.attack import RATE_HZ, Samples, tuning_cents

HALF_WINDOW_S = 0.012
LOWEST_HZ = 1000
SEARCH_S = 0.04
LEAST_PITCH_S = 0.22


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of one note: errors of the stated onset and pitch, and its level."""

    take: str
    place: int
    onset_ms: float
    cents: float | None
    level_db: float


def rise_curve(sound: Samples) -> Samples:
    """Log ratio of the energy in the 12 ms after each sample to that in the 12 ms before."""
    high_pass = butter(2, LOWEST_HZ, "highpass", fs=RATE_HZ, output="sos")
    energy = np.cumsum(np.concatenate(([0.0], sosfilt(high_pass, sound) ** 2)))
    n = round(HALF_WINDOW_S * RATE_HZ)
    sums = energy[n:] - energy[:-n]
    floor = 1e-3 * np.percentile(sums, 90)
    ratio = np.log((sums[n:] + floor) / (sums[:-n] + floor))
    return np.concatenate((np.zeros(n), ratio, np.zeros(n)))


def seen_in(flac: Path) -> list[Seen]:
    """Check every played note of one take."""
    truth = json.loads(flac.with_suffix(".json").read_text(encoding="utf-8"))
    samples, rate_hz = sf.read(flac, always_2d=True)
    sound = resample_poly(samples[:, 0], RATE_HZ, rate_hz)
    curve = rise_curve(sound)
    played = truth["played"]
    found = []
    for k, note in enumerate(played):
        centre = round(note["onset_s"] * RATE_HZ)
        reach = round(SEARCH_S * RATE_HZ)
        begin = max(0, centre - reach)
        top = begin + int(np.argmax(curve[begin : centre + reach]))
        until = min([note["offset_s"]] + [n["onset_s"] for n in played[k + 1 : k + 2]])
        start_s = note["onset_s"] + 0.1
        cents = None
        if until - start_s > LEAST_PITCH_S:
            cents = (
                tuning_cents(
                    sound, note["midi"], start_s=start_s, length_s=min(0.6, until - start_s)
                )
                - note["cents"]
            )
        after = sound[centre : centre + round(0.08 * RATE_HZ)]
        level_db = 10 * float(np.log10(np.mean(after**2) + 1e-12))
        found.append(Seen(flac.stem, k, 1000 * (top - centre) / RATE_HZ, cents, level_db))
    return found


def main(words: Sequence[str] | None = None) -> int:
    """Print, for each take in a folder, onset and pitch errors, and the worst notes."""
    folder = Path((words or sys.argv[1:])[0])
    everything: list[Seen] = []
    for flac in sorted(folder.glob("*.flac")):
        seen = seen_in(flac)
        everything += seen
        onsets = np.array([note.onset_ms for note in seen])
        cents = np.array([note.cents for note in seen if note.cents is not None])
        levels = np.array([note.level_db for note in seen])
        pitch = f"{np.median(cents):+5.1f} worst {np.abs(cents).max():5.1f}" if len(cents) else "-"
        spread = levels - np.median(levels)
        print(
            f"{flac.stem:55s} {len(seen):3d} notes  onset {np.median(onsets):+5.1f} ms, "
            f"90 % {np.percentile(np.abs(onsets), 90):4.1f}, worst {np.abs(onsets).max():4.1f}  "
            f"cents {pitch}  level {spread.min():+5.1f} {spread.max():+5.1f} dB"
        )
    onsets = np.array([note.onset_ms for note in everything])
    cents = np.array([note.cents for note in everything if note.cents is not None])
    print(
        f"all {len(everything)} notes: onset median {np.median(onsets):+.2f} ms, median |error| "
        f"{np.median(np.abs(onsets)):.2f}, 90 % {np.percentile(np.abs(onsets), 90):.2f}; "
        f"{len(cents)} pitches: within 15 cents {np.mean(np.abs(cents) < 15):.4f}, "
        f"worst {np.abs(cents).max():.1f}"
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
