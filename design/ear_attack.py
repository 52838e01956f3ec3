"""Choose the bands and windows that date an attack.

    python design/ear_attack.py FOLDER

FOLDER holds tune takes. For several bands, widths and softening shares: how far the largest rise
within 50 ms of each true onset lies from it (median, 90 %, share further than 20 ms), after the
setting's own median is taken out. Above 1 kHz with 12 ms and a share of 0.02 the tail is shortest;
`undersong.ear.attack` dates by that and by the whole body above 80 Hz where the two agree.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import known_takes  # noqa: E402
from undersong.ear.attack import BANDS, band_energies, rises  # noqa: E402
from undersong.ear.frames import listen  # noqa: E402


def main() -> None:
    """Print the table."""
    takes = [
        (
            listen([take.samples], take.rate_hz).samples,
            np.array([note["onset_s"] for note in take.truth["played"]]),
        )
        for take in known_takes(Path(sys.argv[1]))
    ]
    for band in BANDS:
        energies = [band_energies(samples, band) for samples, _ in takes]
        for width, share in product((6, 12, 30), (0.0, 0.02, 0.05, 0.1)):
            off = []
            for energy, (_, onset_s) in zip(energies, takes, strict=True):
                rise = rises(energy, replace(band, width=width, share=share))
                middle = (onset_s[1:] + onset_s[:-1]) / 2
                low = np.maximum(onset_s - 0.05, np.append(0.0, middle))
                high = np.minimum(onset_s + 0.05, np.append(middle, np.inf))
                for at, first, last in zip(onset_s, low, high, strict=True):
                    top = int(first * 1000) + int(
                        rise[int(first * 1000) : int(last * 1000)].argmax()
                    )
                    off.append(top - 1000 * at)
            error = np.abs(np.array(off) - np.median(off))
            print(
                f"{band.name:7} {width:3} ms, share {share:4}: median {np.median(error):.2f} ms, "
                f"90 % {np.percentile(error, 90):5.2f} ms, beyond 20 ms {np.mean(error > 20):.2%}"
            )


if __name__ == "__main__":
    main()
