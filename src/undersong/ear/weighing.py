"""How likely does a note begin here? Small networks and a forest on all measured about a place.

The first networks know how the sound goes about a place: the energy of five bands and the share of
it that is new, from before to after, what `measures` measured there, and what is usual in this
take. The second and the forest know the pitches too: how well the best fits, how much better than
the one before, how far the sound before goes on in step (`ringing`), and what became of places that
begin alike; their mean counts, for they err on different basses. What tells a string from a drum,
or a stroke in an echo from the echo, is in no single measure; all were fitted on takes with known
answers by design/ear_odds.py, which writes weights.npz.

Conventions
-----------
Odds are natural logarithms. Rows are places in order of time, columns what was measured there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from undersong.ear.attack import BANDS, COURSE_FRAMES, FRAME_S, Attacks
from undersong.ear.frames import Samples
from undersong.ear.measures import DISTINCT_S, WEIGHTS, Measures
from undersong.ear.pitch import LOWEST_MIDI, MIDIS
from undersong.ear.renewal import ROOM, String, explanations, steepened
from undersong.ear.ringing import steps
from undersong.theory.pitch import midi_to_hz

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

SPANS_MS = (
    *((-110, -70), (-70, -40), (-40, -20), (-20, -8), (-8, 0), (0, 8)),
    *((8, 20), (20, 40), (40, 70), (70, 110), (110, 160), (160, 240)),
)
"""Stretches about a place over which the level of each band is looked at."""
NEW_SPANS_MS = (
    *((-110, -60), (-60, -30), (-30, -10), (-10, 0), (0, 15), (15, 40), (40, 80), (80, 140)),
)
"""Stretches over which the share of new energy is looked at."""
RENEWED_MS = (-110, -70, -40, -20, -8, 4, 16, 32, 60, 100, 150)
"""From each to the next the share of new energy is looked at once more, by each pitch alone."""
LEAST_NEW = 0.02
NEAREST_S, FAR_S = 0.01, 1.0
NEIGHBOUR_S, NO_NEIGHBOUR = 0.13, -10.0
ASKED_ODDS = (-4.0, 6.0)
"""Where the first network is surer than this, nobody asks what goes on and what is renewed."""
ALIKE_BANDS, ALIKE_SPANS = (1, 2, 4), slice(4, 10)
"""Bands (middle, high, top) and spans of a place's course by which it is like another."""
ALIKE_WIDTHS = (0.3, 0.6)
"""Differences of the logarithm over which likeness fades."""
ALIKE_REACH = 200
"""Places on either side among which the like are looked for."""
FEW, NONE_ALIKE = 0.3, 0.1
IN_STEP = 0.85
OCTAVE = 12
BATCH = 256
LIMIT = 5.0
ODDS_LIMIT = 8.0


@dataclass(frozen=True, slots=True)
class Networks:
    """A few networks fitted alike from other beginnings; the mean counts, for each errs elsewhere.

    Each has two layers of tanh units over columns that were centred and scaled. `layers` are
    weights and biases in turn: shapes (n_networks, n_columns, n_1), (n_networks, n_1),
    (n_networks, n_1, n_2), (n_networks, n_2), (n_networks, n_2), (n_networks,).
    """

    middle: Floats
    scale: Floats
    layers: tuple[Floats, ...]

    def odds(self, table: Floats) -> Floats:
        """Log-odds of each row, shape (n_rows,)."""
        odds = np.zeros(len(table))
        first, first_bias, second, second_bias, last, last_bias = self.layers
        for start in range(0, len(table), BATCH):
            some = slice(start, start + BATCH)
            columns = np.clip((table[some] - self.middle) / self.scale, -LIMIT, LIMIT)
            units = np.tanh(columns @ first + first_bias[:, None])
            units = np.tanh(units @ second + second_bias[:, None])
            each = np.einsum("nru,nu->nr", units, last) + last_bias[:, None]
            odds[some] = each.mean(axis=0)
        return odds


@dataclass(frozen=True, slots=True)
class Forest:
    """Trees, each of which asks the same questions of every row, one a layer.

    Attributes
    ----------
    columns, borders
        Shape (n_layers, n_trees): whether the value of a column lies above a border.
    leaves
        Shape (n_trees, 2**n_layers): what a tree says; the answers are its leaf's number in binary,
        the first the lowest digit.
    """

    columns: Places
    borders: Samples
    leaves: Floats

    def odds(self, table: Floats) -> Floats:
        """Log-odds of each row, shape (n_rows,)."""
        trees = np.arange(len(self.leaves))[:, None]
        odds = np.zeros(len(table))
        for start in range(0, len(table), BATCH):
            # As it was fitted: a border lies between two numbers of single precision.
            some = np.ascontiguousarray(table[start : start + BATCH].T, np.float32)
            leaf = np.zeros((len(trees), some.shape[1]), np.uint8)
            for layer, (column, border) in enumerate(zip(self.columns, self.borders, strict=True)):
                leaf |= (some[column] > border[:, None]).view(np.uint8) << np.uint8(layer)
            odds[start : start + BATCH] = self.leaves[trees, leaf].sum(axis=0)
        return odds


def of_sound(table: Floats) -> Floats:
    """Log-odds of each place from `of_places`, shape (n_rows,)."""
    return _clipped(networks("places").odds(table))


def of_pitch(table: Floats) -> Floats:
    """Log-odds of each place from `of_notes`, shape (n_rows,): the mean of what two make of it."""
    return 0.5 * (_clipped(networks("notes").odds(table)) + _clipped(forest().odds(table)))


def _clipped(odds: Floats) -> Floats:
    return np.clip(odds, -ODDS_LIMIT, ODDS_LIMIT)


@cache
def networks(name: str) -> Networks:
    """``places`` or ``notes``, as design/ear_odds.py left it."""
    middle, scale, *layers = (layer.astype(np.float64) for layer in _kept(name))
    return Networks(middle, scale, tuple(layers))


@cache
def forest() -> Forest:
    """The forest that knows the pitches, as design/ear_odds.py left it."""
    columns, borders, leaves = _kept("forest")
    return Forest(columns.astype(np.intp), borders.astype(np.float32), leaves.astype(np.float64))


def _kept(name: str) -> list[NDArray[np.floating]]:
    with (
        files("undersong.ear").joinpath("weights.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as kept,
    ):
        return [kept[key] for key in sorted(kept.files) if key.startswith(name)]


def of_places(found: Attacks, measures: Measures, track: Samples) -> Floats:
    """What is known of each place before any pitch is asked, shape (n_places, n_columns).

    Parameters
    ----------
    found
        All the take's rises; of them only its course.
    measures, track
        What was measured at the places, and what it was measured on.
    """
    n_places = len(measures.onset_s)
    at = np.round(measures.onset_s / (FRAME_S * COURSE_FRAMES)).astype(np.intp)
    course = _means(found.course, at, SPANS_MS, COURSE_FRAMES)
    frame = np.round(measures.onset_s / FRAME_S).astype(np.intp)
    new, energy = _means(track, frame, NEW_SPANS_MS, 1).transpose(1, 0, 2)
    share = np.log(new / np.maximum(energy, 1e-12) + LEAST_NEW)
    table = measures.table
    likely = table @ WEIGHTS > 0
    gaps = _gaps(measures.onset_s, measures.onset_s[likely])
    usual = np.broadcast_to(_usual(found, table[:, 1:], likely, track), (n_places, USUAL_COLUMNS))
    return np.concatenate((course.reshape(n_places, -1), share, table[:, 1:], gaps, usual), axis=1)


def of_notes(
    string: Samples,
    smooth: String,
    places: Floats,
    onset_s: Floats,
    end_s: Floats,
    odds: Floats,
    scores: Floats,
    level_db: Floats,
    before_hz: Floats,
    notes_s: Floats,
) -> Floats:
    """What is known of each place once its pitch has been asked, shape (n_places, n_columns).

    Parameters
    ----------
    string, smooth, onset_s, end_s, scores, level_db
        As in `evidence.Evidence`.
    places, odds
        From `of_places`, and what the first network makes of it.
    before_hz
        Shape (n_places,): fundamental of the note before (nan: none).
    notes_s
        Likely notes, shape (n_notes,).
    """
    rows, likely = np.arange(len(onset_s)), odds > 0
    column = hypothesis_of(before_hz)
    top, best = scores.argmax(axis=1), scores.max(axis=1)
    others = scores.copy()
    for off in (-OCTAVE, 0, OCTAVE):
        others[rows, np.clip(top + off, 0, len(MIDIS) - 1)] = -np.inf
    old = np.where(column >= 0, scores[rows, np.maximum(column, 0)], best)
    usual, usual_db = (
        float(np.median(v[likely])) if likely.any() else 0.0 for v in (best, level_db)
    )
    poor = float(np.percentile(best[likely], 20)) if likely.any() else 0.0
    doubtful = np.flatnonzero((odds > ASKED_ODDS[0]) & (odds <= ASKED_ODDS[1]))
    step = _steps(string, onset_s, end_s, doubtful, before_hz, top, notes_s)
    shares = _shares(smooth, onset_s, doubtful, before_hz, top)
    ringing = float(np.mean(step[likely, 0] > IN_STEP)) if likely.any() else 0.0
    own = (
        odds,
        best - usual,
        best - others.max(axis=1),
        best - old,
        column >= 0,
        np.clip(level_db - usual_db, -40, 20),
        top / OCTAVE,
        np.log(np.clip(end_s - onset_s, 2 * NEAREST_S, FAR_S)),
        top == column,
    )
    take = np.broadcast_to((usual, poor, ringing), (len(rows), 3))
    near, like = _neighbours(onset_s, odds), alike(places, odds)
    return np.concatenate((places, np.stack(own, axis=1), near, step, take, shares, like), axis=1)


def hypothesis_of(f0_hz: Floats) -> Places:
    """Hypothesis nearest each fundamental; -1 where there is none or it is out of range."""
    known = np.where(np.isfinite(f0_hz), f0_hz, 1.0)
    column = np.round(69 + 12 * np.log2(known / 440)).astype(np.intp) - LOWEST_MIDI
    return np.where((column >= 0) & (column < len(MIDIS)), column, -1)


def _means(
    values: NDArray[np.floating], at: Places, spans_ms: tuple[tuple[int, int], ...], step_ms: int
) -> Floats:
    """Means of each row of `values` over spans about some places, shape (n, n_rows, n_spans)."""
    first, last = spans_ms[0][0] // step_ms, spans_ms[-1][1] // step_ms
    averaging = np.zeros((last - first, len(spans_ms)), np.float32)
    for column, (low, high) in enumerate(spans_ms):
        averaging[low // step_ms - first : high // step_ms - first, column] = step_ms / (high - low)
    means = np.zeros((len(at), len(values), len(spans_ms)))
    for start in range(0, len(at), BATCH):
        some = slice(start, start + BATCH)
        where = np.clip(at[some, None] + np.arange(first, last), 0, values.shape[1] - 1)
        for row, line in enumerate(values):
            means[some, row] = line[where].astype(np.float32) @ averaging
    return means


def _usual(found: Attacks, table: Floats, likely: NDArray[np.bool_], track: Samples) -> Floats:
    """What is usual in a take, shape (`USUAL_COLUMNS`,): its noise, its strokes, its unrest."""
    floor = np.percentile(found.course[:, ::4].astype(np.float32), (10, 50), axis=1).ravel()
    some = table[likely] if likely.any() else table
    none = np.zeros(table.shape[1])
    strokes = np.median(some, axis=0) if len(some) else none
    strong = np.percentile(table, 80, axis=0) if len(table) else none
    new, energy = track.sum(axis=1, dtype=np.float64)
    return np.concatenate((floor, strokes, strong, [np.log(new / max(energy, 1e-12) + LEAST_NEW)]))


USUAL_COLUMNS = 29


def _gaps(onset_s: Floats, likely_s: Floats) -> Floats:
    """Logarithm of the time to the likely note before and after each place, shape (n, 2)."""
    padded = np.concatenate(([-np.inf], likely_s, [np.inf]))
    before = onset_s - padded[np.searchsorted(likely_s, onset_s - 0.003)]
    after = padded[np.searchsorted(likely_s, onset_s + 0.003) + 1] - onset_s
    return np.log(np.clip(np.stack((before, after), axis=1), NEAREST_S, FAR_S))


def _neighbours(onset_s: Floats, odds: Floats) -> Floats:
    """Odds of the place before and after each, if it is near, shape (n, 2)."""
    near = np.diff(onset_s, prepend=-np.inf, append=np.inf) < NEIGHBOUR_S
    padded = np.concatenate(([NO_NEIGHBOUR], odds, [NO_NEIGHBOUR]))
    before = np.where(near[:-1], padded[:-2], NO_NEIGHBOUR)
    return np.stack((before, np.where(near[1:], padded[2:], NO_NEIGHBOUR)), axis=1)


def alike(places: Floats, odds: Floats) -> Floats:
    """Whether what begins like each place elsewhere in the take is a note, shape (n, 4).

    For each of `ALIKE_WIDTHS` how the like are weighed, from -1 (none is a note) to 1, and the
    logarithm of how many there are. A drum comes again and is loud in the same way each time.
    """
    course = places[:, : (len(BANDS) + 1) * len(SPANS_MS)].reshape(len(places), -1, len(SPANS_MS))
    begin = course[:, ALIKE_BANDS, ALIKE_SPANS].reshape(len(places), -1)
    size, believed = (begin**2).mean(axis=1), np.tanh(odds / 2)
    found = np.zeros((len(places), 2 * len(ALIKE_WIDTHS)))
    for start in range(0, len(places), BATCH):
        some = np.arange(start, min(start + BATCH, len(places)))
        others = np.arange(
            max(0, some[0] - ALIKE_REACH), min(some[-1] + ALIKE_REACH + 1, len(places))
        )
        both = begin[some] @ begin[others].T / begin.shape[1]
        off = np.maximum(size[some, None] + size[others] - 2 * both, 0)
        apart = np.abs(some[:, None] - others)
        off[(apart == 0) | (apart > ALIKE_REACH)] = np.inf
        for column, width in enumerate(ALIKE_WIDTHS):
            weight = np.exp(-off / (2 * width**2))
            count = weight.sum(axis=1)
            found[some, 2 * column] = weight @ believed[others] / (count + FEW)
            found[some, 2 * column + 1] = np.log(count + NONE_ALIKE)
    return found


def _steps(
    string: Samples,
    onset_s: Floats,
    end_s: Floats,
    doubtful: Places,
    before_hz: Floats,
    top: Places,
    notes_s: Floats,
) -> Floats:
    """`ringing.steps` at the pitch before each place and at its own, shape (n_places, 6)."""
    step = np.zeros((len(onset_s), 6))
    same = top == hypothesis_of(before_hz)
    for row in doubtful:
        earlier = int(np.searchsorted(notes_s, onset_s[row] - DISTINCT_S)) - 1
        since_s = float(notes_s[earlier]) if earlier >= 0 else 0.0
        at_s, until_s = float(onset_s[row]), float(end_s[row])
        step[row, :3] = steps(string, at_s, float(before_hz[row]), since_s, until_s)
        if same[row]:
            step[row, 3:] = step[row, :3]
        else:
            own_hz = midi_to_hz(float(top[row] + LOWEST_MIDI))
            step[row, 3:] = steps(string, at_s, own_hz, since_s, until_s)
    return step


def _shares(
    smooth: String, onset_s: Floats, doubtful: Places, before_hz: Floats, top: Places
) -> Floats:
    """How much is new about each place if one pitch rings there, shape (n_places, 2 * n_spans).

    First the pitch before, then the place's own. The track of all places lets either explain what
    it can; here each is asked by itself, and the upper harmonics above all: a drum stands lower.
    """
    begin, end = RENEWED_MS[0], RENEWED_MS[-1]
    starts = np.array(RENEWED_MS[:-1]) - begin
    shares = np.zeros((len(onset_s), 2, len(starts)))
    same = top == hypothesis_of(before_hz)
    for row in doubtful:
        own_hz = midi_to_hz(float(top[row] + LOWEST_MIDI))
        both_hz = (before_hz[row],) if same[row] else (before_hz[row], own_hz)
        guesses = [(float(hz),) for hz in both_hz if np.isfinite(hz)]
        first = round(float(onset_s[row]) / FRAME_S) + begin
        piece = steepened(smooth, first, first + end - begin)
        energy, explained = explanations(piece, ROOM, ROOM + end - begin, guesses)
        new = np.add.reduceat(np.maximum(energy - explained, 0.0), starts, axis=1)
        share = new / (np.add.reduceat(energy, starts) + np.float32(1e-12))
        shares[row] = np.log(share[[0, -1]] + LEAST_NEW)
    return shares.reshape(len(onset_s), -1)
