"""Fit the weights by which the ear weighs every place where a note may begin.

    python design/ear_odds.py FOLDER [FOLDER ...]

Folders hold takes of the tune split (`benchmarks/make_takes.py --split tune`), never of the report
split. A logistic rule is fitted to what `undersong.ear.measures.measured` saw: a place within 30
ms of a played note is that note's (the best of them, one for each), one further than 45 ms from
any is none. Prints the weights for `measures.WEIGHTS` and how many notes and other places fall on
the wrong side of several odds. The weights in use were fitted on 160 dry tune takes (4,411 notes).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import known_takes  # noqa: E402
from undersong.ear import evidence, measures  # noqa: E402
from undersong.ear.frames import listen  # noqa: E402

Floats = NDArray[np.float64]
OWN_S, OTHER_S = 0.03, 0.045


def logistic(table: Floats, is_note: Floats) -> Floats:
    """Weights by Newton's method, with a little ridge."""
    weights = np.zeros(table.shape[1])
    for _ in range(50):
        belief = 1 / (1 + np.exp(-np.clip(table @ weights, -30, 30)))
        slope = table.T @ (is_note - belief) - 0.1 * weights
        bend = (table * (belief * (1 - belief))[:, None]).T @ table + 0.1 * np.eye(len(weights))
        weights += np.linalg.solve(bend, slope)
    return weights


def labelled(folder: Path) -> list[tuple[Floats, Floats]]:
    """Measures and labels of every take of a folder."""
    seen: list[measures.Measures] = []
    measured = evidence.measured

    def remembering(*args: object) -> measures.Measures:
        seen.append(measured(*args))  # type: ignore[arg-type]
        return seen[-1]

    evidence.measured = remembering
    rows = []
    for take in known_takes(folder):
        seen.clear()
        evidence.gathered(listen([take.samples], take.rate_hz))
        last = seen[-1]
        played_s = np.array([note["onset_s"] for note in take.truth["played"]])
        off = np.abs(last.onset_s[:, None] - played_s)
        label = np.where(off.min(axis=1) > OTHER_S, 0.0, np.nan)
        odds = last.table @ measures.WEIGHTS
        for note in range(len(played_s)):
            near = np.flatnonzero(off[:, note] < OWN_S)
            if len(near):
                label[near[odds[near].argmax()]] = 1.0
        known = np.isfinite(label)
        rows.append((last.table[known], label[known]))
    evidence.measured = measured
    return rows


def main() -> None:
    """Print the table."""
    rows = [row for folder in sys.argv[1:] for row in labelled(Path(folder))]
    table = np.concatenate([row[0] for row in rows])
    is_note = np.concatenate([row[1] for row in rows])
    weights = logistic(table, is_note)
    print("WEIGHTS =", np.round(weights, 2).tolist())
    for name, each in (("in use", measures.WEIGHTS), ("fitted", weights)):
        odds = table @ each
        for limit in (-2, 0, 2):
            lost = np.mean(odds[is_note == 1] < limit)
            false = np.sum(odds[is_note == 0] >= limit) / np.sum(is_note)
            print(f"{name}: odds {limit:+d}: {lost:.3%} of notes lost, {false:.3%} false")


if __name__ == "__main__":
    main()
