"""Choose how a spectrum is scored: emphasis, fall of the harmonics, floor, spread.

    python design/ear_pitch.py FOLDER

FOLDER holds tune takes. Every played note is read between its true onset and the next, over all
pitches of a bass and with no prior; prints, for each setting, how many are read wrongly and the
margins at which the weakest readings are right. The constants in `undersong.ear.pitch` lie in the
middle of the settings with the fewest errors (2 of 1,250 notes on 40 dry tune takes).
"""

from __future__ import annotations

import sys
from itertools import product
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import known_takes  # noqa: E402
from undersong.ear import pitch  # noqa: E402
from undersong.ear.frames import listen  # noqa: E402


def main() -> None:
    """Print the table."""
    stretches, midis = [], []
    for take in known_takes(Path(sys.argv[1])):
        string = pitch.at_pitch_rate(listen([take.samples], take.rate_hz).samples)
        onset_s = np.array([note["onset_s"] for note in take.truth["played"]])
        end_s = np.minimum(np.append(onset_s[1:], take.length_s), onset_s + 0.42)
        stretches.append(pitch.stretches(string, onset_s, end_s))
        midis.append(np.array([note["midi"] for note in take.truth["played"]]))
    for emphasis, fall, floor, spread in product(
        (0.4, 0.7, 1.0), (1.0, 1.35, 1.6), (0.2, 0.35, 0.5), (8.0, 15.0)
    ):
        pitch._WEIGHT = pitch._BIN_HZ**emphasis
        pitch.FALL, pitch.FLOOR, pitch.SPREAD_CENTS = fall, floor, spread
        pitch.log_shares.cache_clear()
        margins = []
        for parts, midi in zip(stretches, midis, strict=True):
            scores = parts.scores(0.0)
            rows, columns = np.arange(len(midi)), midi - pitch.LOWEST_MIDI
            true = scores[rows, columns].copy()
            scores[rows, columns] = -np.inf
            margins.append(true - scores.max(axis=1))
        margin = np.concatenate(margins)
        wrong = int((margin < 0).sum())
        weak = np.percentile(margin, [0.5, 1, 5])
        print(emphasis, fall, floor, spread, f"{wrong}/{len(margin)} wrong", np.round(weak, 3))


if __name__ == "__main__":
    main()
