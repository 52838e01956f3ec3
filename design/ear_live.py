"""Fit how the live ear weighs what it has heard so far.

    python design/ear_live.py FOLDER [FOLDER ...]

Folders hold takes of the tune split, never of the report split. Prints two things. `WEIGHTS` for
`live_evidence`: a logistic rule on the measures at every place where a note may begin; a place
within 30 ms of a played note is that note's (the best of them, one for each), one further than
45 ms from any is none. `PITCH_PRIOR` and `PITCH_WORTH` for `live_judge`: for every length of sound
and register, a logistic rule on how much better the asked pitch scores than the best other. Every
note that was played is an example of itself asked, and of three others asked: one a semitone or a
tone away, one an octave, and one played near it; these count for `WRONG_SHARE` together.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import KnownTake, known_takes  # noqa: E402
from undersong.ear.live_evidence import WEIGHTS, LiveEvidence, Struck  # noqa: E402
from undersong.ear.live_judge import REGISTERS, margin_of  # noqa: E402
from undersong.ear.live_stream import Stream  # noqa: E402
from undersong.ear.pitch import HIGHEST_MIDI, LOWEST_MIDI  # noqa: E402

Floats = NDArray[np.float64]
Margins = dict[tuple[int, int], list[tuple[float, bool]]]
OWN_S, OTHER_S, BLOCK = 0.03, 0.045, 441
WRONG_SHARE = 0.04
NEAR_S = 1.5
LARGEST_MARGIN = 0.6
RIDGE = 1e-3


def logistic(table: Floats, is_true: Floats, weight: Floats) -> Floats:
    """Weights by Newton's method, with a little ridge."""
    weights = np.zeros(table.shape[1])
    for _ in range(50):
        belief = 1 / (1 + np.exp(-np.clip(table @ weights, -30, 30)))
        slope = table.T @ (weight * (is_true - belief)) - RIDGE * weights
        bend = (table * (weight * belief * (1 - belief))[:, None]).T @ table
        weights += np.linalg.solve(bend + RIDGE * np.eye(len(weights)), slope)
    return weights


def walked(take: KnownTake, margins: Margins, rng: np.random.Generator) -> list[Struck]:
    """Every place of a take as the live ear meets it; notes the margins of the pitches read."""
    stream = Stream(take.rate_hz)
    evidence = LiveEvidence(stream)
    evidence.since_s = float(take.truth["start_s"]) - 0.1
    seen: dict[int, Struck] = {}
    for first in range(0, len(take.samples), BLOCK):
        for _ in range(stream.feed(take.samples[first : first + BLOCK])):
            stream.step()
            for struck in evidence.step():
                seen[id(struck)] = struck
                note(take, struck, margins, rng)
    return list(seen.values())


def note(take: KnownTake, struck: Struck, margins: Margins, rng: np.random.Generator) -> None:
    """Margins of the played pitch and of others, if a note was played here."""
    played = [p for p in take.truth["played"] if abs(p["onset_s"] - struck.onset_s) < OWN_S]
    if not played or struck.odds < 0:
        return
    midi = int(played[0]["midi"])
    near = [
        int(p["midi"])
        for p in take.truth["played"]
        if abs(p["onset_s"] - struck.onset_s) < NEAR_S and p["midi"] != midi
    ]
    asked = [midi, midi + int(rng.choice([-2, -1, 1, 2])), midi + int(rng.choice([-12, 12]))]
    asked += [int(rng.choice(near))] if near else []
    for each in asked:
        if LOWEST_MIDI <= each <= HIGHEST_MIDI:
            register = int(np.searchsorted(REGISTERS, each, side="right"))
            margins[struck.stage, register].append(
                (margin_of(struck.scores, each)[0], each == midi)
            )


def labelled(take: KnownTake, seen: list[Struck]) -> tuple[Floats, Floats]:
    """Measures and labels of the places of one take."""
    onset_s = np.array([each.onset_s for each in seen])
    odds = np.array([each.odds for each in seen])
    off = np.abs(onset_s[:, None] - np.array([p["onset_s"] for p in take.truth["played"]]))
    label = np.where(off.min(axis=1) > OTHER_S, 0.0, np.nan)
    for column in range(off.shape[1]):
        near = np.flatnonzero(off[:, column] < OWN_S)
        if len(near):
            label[near[odds[near].argmax()]] = 1.0
    known = np.isfinite(label)
    return np.array([each.table for each in seen])[known], label[known]


def main() -> None:
    """Print the weights."""
    rng = np.random.default_rng(1)
    margins: Margins = defaultdict(list)
    tables, labels = [], []
    for folder in sys.argv[1:]:
        for take in known_takes(Path(folder)):
            table, label = labelled(take, walked(take, margins, rng))
            tables.append(table)
            labels.append(label)
    table, is_note = np.concatenate(tables), np.concatenate(labels)
    weights = logistic(table, is_note, np.ones(len(is_note)))
    print("WEIGHTS =", np.round(weights, 2).tolist())
    for name, each in (("in use", WEIGHTS), ("fitted", weights)):
        odds = table @ each
        lost, false = (odds < 0) & (is_note == 1), (odds > 0) & (is_note == 0)
        notes = int(is_note.sum())
        print(f"{name}: {lost.sum()} of {notes} notes below 0, {false.sum()} others above")
    for (stage, register), rows in sorted(margins.items()):
        margin, is_asked = np.array(rows, dtype=float).T
        weight = np.where(is_asked > 0, 1.0, WRONG_SHARE * is_asked.sum() / (1 - is_asked).sum())
        margin = np.clip(margin, -LARGEST_MARGIN, LARGEST_MARGIN)
        fit = logistic(np.stack((np.ones_like(margin), margin), axis=1), is_asked, weight)
        print(f"stage {stage}, register {register}: prior {fit[0]:.1f}, worth {fit[1]:.1f}")


if __name__ == "__main__":
    main()
