"""Fit the networks and the forest by which the ear weighs every place where a note may begin.

    python design/ear_odds.py FOLDER [FOLDER ...]

Folders hold takes of the tune split (`benchmarks/make_takes.py --split tune`), never of the report
split. Each take is heard twice: as it is, and through a shelf filter drawn at random, as another
amplifier or microphone would have it. (A third time, resampled and with its dynamics pressed or
pulled as another bass would be, changed nothing.) Of the places within 30 ms of a played note the
nearest is that note's; any other further than 9 ms from every note is none; the rest are left out.
Noise of several colours, with a hum or in bursts, holds no notes at all. The networks are fitted by
L-BFGS on the mean log-loss with a ridge, each three times from other beginnings, the forest grown
by gradient boosting, and all written to src/undersong/ear/weights.npz; how many notes and other
places of every fifth take, kept apart, they put on the wrong side of 0 is printed. Of the places
that are surely none by what is in use the first networks see one in five, which counts for five.
The places were found with what is in use, and the second networks and the forest see what the first
say: run it again until nothing improves. It needs the library catboost, which is no part of this
project.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

# Rows are shared out among the processors here, not inside each product.
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from catboost import CatBoostClassifier
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.signal import butter, sosfilt

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import KnownTake, known_takes  # noqa: E402
from undersong.ear import evidence  # noqa: E402
from undersong.ear.frames import listen  # noqa: E402
from undersong.ear.hear import listened  # noqa: E402
from undersong.ear.weighing import LIMIT, Forest, Networks, of_sound  # noqa: E402

Floats = NDArray[np.float64]
OWN_S, OTHER_S = 0.03, 0.009
SHELF_HZ, SHELF_DB = (150.0, 2500.0), 12.0
UNITS = (48, 24)
RIDGE = {"places": 1e-4, "notes": 2e-4}
STEPS, ROWS_AT_ONCE = 300, 32_768
BEGINNINGS = 3
EASY_ODDS, EASY_SHARE = -6.5, 5
TREES, LAYERS = 1000, 6
APART = 5
NOISES = 60
NOISE_RATE_HZ, BURST = 22_050, 2205
WEIGHTS = ROOT / "src" / "undersong" / "ear" / "weights.npz"
Seen = dict[str, tuple[Floats, Floats]]
"""By name a table and its labels (1 a note, 0 none, nan left out)."""


def labels(onset_s: Floats, truth: dict[str, Any]) -> Floats:
    """Which places are notes, shape (n_places,)."""
    played_s = np.array(
        [note["onset_s"] for note in truth["played"]] + list(truth.get("false_start_s", []))
    )
    if len(played_s) == 0:
        return np.zeros(len(onset_s))
    off_s = np.abs(onset_s[:, None] - played_s)
    label = np.where(off_s.min(axis=1) > OTHER_S, 0.0, np.nan)
    for note in range(len(played_s)):
        nearest = int(off_s[:, note].argmin())
        if off_s[nearest, note] < OWN_S:
            label[nearest] = 1.0
    return label


def shelved(samples: NDArray[np.float32], rate_hz: int, rng: np.random.Generator) -> Floats:
    """A take through a shelf of first order, at its own peak."""
    corner_hz = float(np.exp(rng.uniform(*np.log(SHELF_HZ))))
    low = sosfilt(butter(1, corner_hz, fs=rate_hz, output="sos"), samples)
    other = low + 10 ** (rng.uniform(-SHELF_DB, SHELF_DB) / 20) * (samples - low)
    return np.asarray(other * (np.abs(samples).max() / max(float(np.abs(other).max()), 1e-9)))


def noise(seed: int) -> NDArray[np.float32]:
    """Ten seconds of noise at `NOISE_RATE_HZ`: its colour, its hum and its bursts are drawn."""
    rng = np.random.default_rng([seed, 2])
    n_samples = 10 * NOISE_RATE_HZ
    hz = np.fft.rfftfreq(n_samples, 1 / NOISE_RATE_HZ)
    colour = np.maximum(hz, 20.0) ** -rng.uniform(0, 1)
    sound = np.fft.irfft(np.fft.rfft(rng.normal(0, 1, n_samples)) * colour)
    if rng.uniform() < 0.5:
        time_s = np.arange(n_samples) / NOISE_RATE_HZ
        hum = sum(np.sin(2 * np.pi * k * rng.choice([50, 60]) * time_s) / k for k in range(1, 9))
        sound = sound / np.std(sound) + rng.uniform(0, 3) * hum
    if rng.uniform() < 0.5:
        steps = np.repeat(rng.exponential(1, n_samples // BURST), BURST)
        sound = sound * np.pad(steps, (0, n_samples - len(steps)), mode="edge")
    return (10 ** rng.uniform(-2, -0.2) * sound / np.abs(sound).max()).astype(np.float32)


class Watched:
    """The ear, remembering the tables that were weighed last."""

    def __init__(self) -> None:
        self.tables: dict[str, tuple[Floats, Floats]] = {}
        self._of_places, self._of_notes = evidence.of_places, evidence.of_notes
        evidence.of_places = self._places
        evidence.of_notes = self._notes

    def _places(self, found: Any, measures: Any, track: Any) -> Floats:
        table = self._of_places(found, measures, track)
        self.tables["places"] = measures.onset_s, table
        return table

    def _notes(self, string: Any, smooth: Any, places: Any, onset_s: Any, *rest: Any) -> Floats:
        table = self._of_notes(string, smooth, places, onset_s, *rest)
        asked = rest[1] > evidence.IMPOSSIBLE
        self.tables["notes"] = onset_s[asked], table[asked]
        return table

    def hear(self, take: KnownTake, samples: NDArray[np.floating]) -> Seen:
        """What is weighed of a take."""
        _, sound, _ = listened([samples], take.rate_hz, take.part)
        if isinstance(sound, str):
            return {}
        evidence.weighed(sound)
        return self.seen(take.truth)

    def seen(self, truth: dict[str, Any]) -> Seen:
        """What they were last asked, with the answers."""
        return {
            name: (table.astype(np.float32), labels(onset_s, truth))
            for name, (onset_s, table) in self.tables.items()
        }


def seen(takes: Iterable[KnownTake], seed: int = 7) -> Iterator[list[Seen]]:
    """What is weighed of each take, as it is and shelved."""
    watched, rng = Watched(), np.random.default_rng(seed)
    for take in takes:
        shelf = shelved(take.samples, take.rate_hz, rng).astype(np.float32)
        yield [watched.hear(take, samples) for samples in (take.samples, shelf)]


def nothing(count: int) -> Iterator[list[Seen]]:
    """What is weighed of noise."""
    watched = Watched()
    for seed in range(count):
        evidence.gathered(listen([noise(seed)], NOISE_RATE_HZ))
        yield [watched.seen({"played": []})]


def stacked(many: list[Seen], name: str) -> tuple[Floats, Floats]:
    """All the rows whose label is known."""
    table = np.concatenate([each[name][0] for each in many if name in each])
    label = np.concatenate([each[name][1] for each in many if name in each])
    known = np.isfinite(label)
    return table[known], label[known]


@dataclass(frozen=True)
class Rows:
    """A table in single precision, at its middle and scale, labels, and what each row counts."""

    values: NDArray[np.float32]
    is_note: NDArray[np.float32]
    weight: NDArray[np.float32]

    def slopes(self, layers: list[NDArray[np.float32]], of: float) -> tuple[float, list[Floats]]:
        """Log-loss of these rows out of so much weight, and its slope by each layer."""
        w1, b1, w2, b2, w3, b3 = layers
        h1 = np.tanh(self.values @ w1 + b1)
        h2 = np.tanh(h1 @ w2 + b2)
        odds = h2 @ w3 + b3
        wrong = self.weight * (np.logaddexp(np.float32(0), odds) - self.is_note * odds)
        g = self.weight * (1 / (1 + np.exp(-odds)) - self.is_note) / np.float32(of)
        d2 = np.outer(g, w3) * (1 - h2**2)
        d1 = (d2 @ w2.T) * (1 - h1**2)
        slopes = (self.values.T @ d1, d1.sum(0), h1.T @ d2, d2.sum(0), h2.T @ g, g.sum())
        return float(wrong.sum(dtype=float)) / of, [np.asarray(each, float) for each in slopes]


def fitted(table: Floats, label: Floats, ridge: float, *, thinned: bool) -> list[Floats]:
    """Middle, scale and the six layers of `weighing.Networks`."""
    middle, scale = np.median(table, axis=0), table.std(axis=0) + 1e-3
    weight = np.ones(len(table), np.float32)
    if thinned:
        easy = (label == 0) & (of_sound(table) < EASY_ODDS)
        weight[easy] = EASY_SHARE
        kept = ~easy | (np.random.default_rng(9).uniform(size=len(easy)) < 1 / EASY_SHARE)
        table, label, weight = table[kept], label[kept], weight[kept]
    values = np.clip((table - middle) / scale, -LIMIT, LIMIT).astype(np.float32)
    is_note, of = label.astype(np.float32), float(weight.sum())
    # A piece at a time: what is between the layers of millions of rows would fill the memory.
    pieces = [
        Rows(values[some], is_note[some], weight[some])
        for k in range(0, len(values), ROWS_AT_ONCE)
        for some in [slice(k, k + ROWS_AT_ONCE)]
    ]
    each = [_fitted(pieces, of, ridge, beginning) for beginning in range(BEGINNINGS)]
    return [middle, scale, *(np.stack(layers) for layers in zip(*each, strict=True))]


def _fitted(pieces: list[Rows], of: float, ridge: float, beginning: int) -> list[Floats]:
    rng = np.random.default_rng(beginning)
    n, one, two = pieces[0].values.shape[1], *UNITS
    shapes: list[tuple[int, ...]] = [(n, one), (one,), (one, two), (two,), (two,), ()]
    ends = np.cumsum([int(np.prod(shape)) for shape in shapes])

    def layers(line: Floats) -> list[Floats]:
        parts = np.split(line, ends[:-1])
        return [part.reshape(shape) for part, shape in zip(parts, shapes, strict=True)]

    def loss(line: Floats) -> tuple[float, Floats]:
        own = layers(line)
        single = [layer.astype(np.float32) for layer in own]
        found = list(pool.map(lambda rows: rows.slopes(single, of), pieces))
        slopes = [sum(each) for each in zip(*(slopes for _, slopes in found), strict=True)]
        size = sum(float((own[k] ** 2).sum()) for k in (0, 2, 4))
        slope = [
            np.ravel(np.asarray(s) + 2 * ridge * (own[k] if k % 2 == 0 else 0))
            for k, s in enumerate(slopes)
        ]
        return sum(wrong for wrong, _ in found) + ridge * size, np.concatenate(slope)

    start = [
        rng.normal(0, shape[0] ** -0.5, shape) if len(shape) == 2 else np.zeros(shape)
        for shape in shapes
    ]
    start[4] = rng.normal(0, two**-0.5, two)
    line = np.concatenate([np.ravel(layer) for layer in start])
    options = {"maxiter": STEPS, "maxcor": 20}
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        found = minimize(loss, line, jac=True, method="L-BFGS-B", options=options)
    return layers(found.x)


def odds_of(kept: list[Floats], table: Floats) -> Floats:
    """What fitted networks say."""
    middle, scale, *layers = kept
    return Networks(middle, scale, tuple(layers)).odds(table)


def grown(table: Floats, label: Floats) -> list[Floats]:
    """Columns, borders and leaves of `weighing.Forest`."""
    model = CatBoostClassifier(
        iterations=TREES,
        depth=LAYERS,
        learning_rate=0.05,
        l2_leaf_reg=5,
        rsm=0.3,
        border_count=64,
        bootstrap_type="Bernoulli",
        subsample=0.7,
        boosting_type="Plain",
        random_seed=1,
        verbose=0,
        allow_writing_files=False,
    ).fit(table, label)
    with TemporaryDirectory() as folder:
        file = Path(folder) / "forest.json"
        model.save_model(str(file), format="json")
        kept = json.loads(file.read_text())
    trees = kept["oblivious_trees"]
    scale, (bias,) = kept["scale_and_bias"]
    # A tree of fewer layers asks what is never so.
    columns, borders = np.zeros((LAYERS, len(trees))), np.full((LAYERS, len(trees)), np.inf)
    leaves = np.zeros((len(trees), 2**LAYERS))
    for number, tree in enumerate(trees):
        for layer, split in enumerate(tree["splits"]):
            columns[layer, number] = split["float_feature_index"]
            borders[layer, number] = split["border"]
        leaves[number, : len(tree["leaf_values"])] = tree["leaf_values"]
    leaves *= scale
    leaves[0] += bias
    return [columns, borders, leaves]


def grown_odds(kept: list[Floats], table: Floats) -> Floats:
    """What a forest says."""
    columns, borders, leaves = kept
    return Forest(columns.astype(np.intp), borders.astype(np.float32), leaves).odds(table)


def fit_all(rows: list[list[Seen]], file: Path = WEIGHTS) -> None:
    """Fit all three and write them."""
    most = [each for k, both in enumerate(rows) if k % APART for each in both]
    rest = [each for k, both in enumerate(rows) if not k % APART for each in both]
    every = [each for both in rows for each in both]
    kept: dict[str, Floats] = {}
    fits: list[tuple[str, str, Any, Any]] = [
        ("places", "places", partial(fitted, ridge=RIDGE["places"], thinned=True), odds_of),
        ("notes", "notes", partial(fitted, ridge=RIDGE["notes"], thinned=False), odds_of),
        ("forest", "notes", grown, grown_odds),
    ]
    for name, asked, fit, says in fits:
        table, label = stacked(rest, asked)
        odds = says(fit(*stacked(most, asked)), table)
        lost = np.mean(odds[label == 1] < 0)
        false = np.count_nonzero(odds[label == 0] > 0) / np.count_nonzero(label == 1)
        wrong = np.logaddexp(0, np.where(label == 1, -1, 1) * np.clip(odds, -8, 8)).mean()
        print(f"{name}, kept apart: {lost:.3%} of notes lost, {false:.3%} false, loss {wrong:.4f}")
        for k, layer in enumerate(fit(*stacked(every, asked))):
            kept[f"{name}-{k}"] = np.asarray(layer, np.float32)
    with file.open("wb") as out:
        np.savez_compressed(out, **kept)


def main() -> None:
    """Fit and write."""
    takes = (take for folder in sys.argv[1:] for take in known_takes(Path(folder)))
    fit_all([*seen(takes), *nothing(NOISES)])


if __name__ == "__main__":
    main()
