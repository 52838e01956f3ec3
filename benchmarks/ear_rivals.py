"""The ear beside general listeners on the same takes: `python benchmarks/ear_rivals.py FOLDER ...`.

General libraries know no score, so their notes are judged here as kindly as can be: they are given
the true start and tempo, their own median delay and tuning are taken out, notes are paired with
what was asked at the least total distance, and each is given the number of faults at or under which
a pass counts as clean that suits it best on these very takes. The ear gets the recording alone.

Each listener works in a process of its own; time is processor time of that process over all takes,
memory its largest resident set. A library that is not installed has no row. They are not among
this project's requirements: put them beside it in an environment of their own, with

    pip install librosa swift-f0 aubio torch torchaudio tqdm omegaconf resampy pretty_midi
    pip install scikit-learn mir_eval lxml mido soundfile
    pip install --no-deps basic-pitch torchcrepe pesto-pitch

Two of them import torchaudio, to read files, which is not wanted here: where its own library does
not fit the torch installed, lib/_torchaudio.abi3.so can be taken out of its folder.

`--only WORD ...` asks the listeners alone whose name holds one of the words (`--only ear echo`).

What is counted is defined in tests/ear_truth.py; without a folder it takes tests/takes.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import io
import multiprocessing
import os
import resource
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "benchmarks"), str(ROOT / "src")]
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[name] = "1"
os.environ["TF_CPP_MIN_LOG_LEVEL"] = "3"

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy.optimize import linear_sum_assignment  # noqa: E402

from ear_table import echo, heard, kinds  # noqa: E402
from ear_truth import KnownTake, Score, fault_said, known_takes, scored  # noqa: E402
from undersong.ear import HeardNote, Hearing, Reference, Verdict, window_ms  # noqa: E402
from undersong.ear.summary import summed_up  # noqa: E402

Floats = NDArray[np.float64]
Notes = tuple[Floats, Floats]
"""Onsets in seconds and pitches in fractional MIDI numbers, each of shape (n_notes,)."""

LOWEST_HZ, HIGHEST_HZ = 27.5, 520.0
PAIRED_S = 0.15
ATTACK_S = 0.03
VOICED_SHARE = 0.3
PYIN_WINDOW = 4096
MOST_FAULTS = 12

_KEPT: list[Any] = []
"""A model, loaded once in the process of its listener."""


def _between(onset_s: Floats, end_s: float, times_s: Floats, hz: Floats) -> Notes:
    """A note for each onset whose stretch has a pitch: the median of the track in it."""
    until_s = np.append(onset_s[1:], end_s)
    at_s, midi = [], []
    for first, last in zip(onset_s, until_s, strict=True):
        here = hz[(times_s >= first + ATTACK_S) & (times_s < last)]
        voiced = here[np.isfinite(here) & (here > 0)]
        if len(voiced) and len(voiced) >= VOICED_SHARE * len(here):
            at_s.append(first)
            midi.append(69 + 12 * np.log2(np.median(voiced) / 440))
    return np.array(at_s), np.array(midi)


def _flux_onsets(samples: NDArray[np.float32], rate_hz: int) -> Floats:
    import librosa

    hop = round(0.005 * rate_hz)
    return np.asarray(
        librosa.onset.onset_detect(y=samples, sr=rate_hz, hop_length=hop, units="time"), float
    )


def by_pyin(samples: NDArray[np.float32], rate_hz: int) -> Notes:
    """Librosa's probabilistic yin, and its spectral-flux onsets."""
    import librosa

    slow = librosa.resample(samples, orig_sr=rate_hz, target_sr=22050)
    hz, _, _ = librosa.pyin(
        slow,
        fmin=LOWEST_HZ,
        fmax=HIGHEST_HZ,
        sr=22050,
        frame_length=PYIN_WINDOW,
        hop_length=256,
    )
    times_s = librosa.times_like(hz, sr=22050, hop_length=256)
    return _between(_flux_onsets(slow, 22050), len(slow) / 22050, times_s, hz)


def by_swift(samples: NDArray[np.float32], rate_hz: int, *, faster: int = 1) -> Notes:
    """A small neural tracker; fed `faster` times as fast, it hears that much lower."""
    from swift_f0 import SwiftF0

    if not _KEPT:
        _KEPT.append(SwiftF0(threads=1, spin=False))
    found = _KEPT[0].detect(samples, rate_hz * faster)
    hz = np.where(found.confidence >= 0.5, found.pitch_hz, np.nan) / faster
    times_s = np.asarray(found.timestamps) * faster
    return _between(_flux_onsets(samples, rate_hz), len(samples) / rate_hz, times_s, hz)


def by_swift_twice_as_fast(samples: NDArray[np.float32], rate_hz: int) -> Notes:
    """The same, an octave up."""
    return by_swift(samples, rate_hz, faster=2)


def by_basic_pitch(samples: NDArray[np.float32], rate_hz: int) -> Notes:
    """A general transcriber; of notes that begin together the strongest is kept."""
    import tempfile

    import soundfile
    from basic_pitch import FilenameSuffix, build_icassp_2022_model_path
    from basic_pitch.inference import Model, predict

    if not _KEPT:
        _KEPT.append(Model(build_icassp_2022_model_path(FilenameSuffix.onnx)))
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        soundfile.write(file.name, samples, rate_hz)
        with contextlib.redirect_stdout(io.StringIO()):
            _, _, events = predict(
                file.name, _KEPT[0], minimum_frequency=LOWEST_HZ, maximum_frequency=HIGHEST_HZ
            )
    notes: list[tuple[float, float, float]] = []
    for onset_s, _, midi, strength, *_ in sorted(events):
        if notes and onset_s - notes[-1][0] < ATTACK_S:
            notes[-1] = max(notes[-1], (notes[-1][0], midi, strength), key=lambda each: each[2])
        else:
            notes.append((float(onset_s), float(midi), float(strength)))
    return np.array([each[0] for each in notes]), np.array([each[1] for each in notes])


def by_aubio(samples: NDArray[np.float32], rate_hz: int) -> Notes:
    """Aubio's default onsets and its yin in the frequency domain."""
    import aubio

    hop, window = 256, 4096
    onset = aubio.onset("default", 1024, hop, rate_hz)
    pitch = aubio.pitch("yinfft", window, hop, rate_hz)
    times_s, hz, onset_s = [], [], []
    padded = np.pad(samples, (0, -len(samples) % hop)).astype(np.float32)
    for first in range(0, len(padded), hop):
        block = padded[first : first + hop]
        if onset(block)[0]:
            onset_s.append(onset.get_last_s())
        hz.append(float(pitch(block)[0]))
        times_s.append((first + hop - window / 2) / rate_hz)
    return _between(
        np.array(onset_s), len(samples) / rate_hz, np.array(times_s), np.array(hz, dtype=float)
    )


def by_crepe(samples: NDArray[np.float32], rate_hz: int) -> Notes:
    """The smallest model of a convolutional tracker."""
    import torch
    import torchcrepe

    torch.set_num_threads(1)
    hop_s = 0.01
    hz, sure = torchcrepe.predict(
        torch.from_numpy(samples)[None],
        rate_hz,
        round(hop_s * rate_hz),
        LOWEST_HZ + 5,
        HIGHEST_HZ,
        "tiny",
        return_periodicity=True,
        batch_size=512,
    )
    track = np.where(sure[0].numpy() > 0.3, hz[0].numpy(), np.nan)
    times_s = hop_s * np.arange(len(track))
    return _between(_flux_onsets(samples, rate_hz), len(samples) / rate_hz, times_s, track)


def by_pesto(samples: NDArray[np.float32], rate_hz: int) -> Notes:
    """A self-supervised tracker."""
    import pesto
    import torch

    torch.set_num_threads(1)
    times_ms, hz, sure, _ = pesto.predict(torch.from_numpy(samples), rate_hz, step_size=10.0)
    track = np.where(sure.numpy() > 0.3, hz.numpy(), np.nan)
    times_s = times_ms.numpy() / 1000
    return _between(_flux_onsets(samples, rate_hz), len(samples) / rate_hz, times_s, track)


Listener = Callable[[NDArray[np.float32], int], Notes]
RIVALS: dict[str, tuple[tuple[str, ...], Listener]] = {
    "swift-f0 at double speed, librosa onsets": (
        ("swift_f0", "librosa"),
        by_swift_twice_as_fast,
    ),
    "swift-f0, librosa onsets": (("swift_f0", "librosa"), by_swift),
    "librosa pyin, librosa onsets": (("librosa",), by_pyin),
    "basic-pitch, one voice": (("basic_pitch",), by_basic_pitch),
    "aubio, default onsets, yinfft": (("aubio",), by_aubio),
    "torchcrepe tiny, librosa onsets": (("torchcrepe", "librosa"), by_crepe),
    "pesto, librosa onsets": (("pesto", "librosa"), by_pesto),
}


def judged(take: KnownTake, notes: Notes) -> Hearing:
    """A general listener's notes held against what was asked, at the true start and tempo."""
    onset_s, midi = notes
    part, truth = take.part, take.truth
    at_s = part.at_tempo(float(truth["tempo_bpm"])).tempo_map.seconds_at
    strokes = part.strokes
    expected_s = float(truth["start_s"]) + np.array([at_s(stroke.at) for stroke in strokes])
    bias_s = _own_delay(expected_s, onset_s)
    onset_s = onset_s - bias_s
    pairs = dict(_pairs(expected_s, onset_s))
    asked = np.array([stroke.note.pitch.midi for stroke in strokes])
    off = [midi[pairs[row]] - asked[row] for row in pairs]
    near = [each - round(each) for each in off]
    tuning = float(np.median(near)) if near else 0.0
    window = window_ms(part)
    rows = []
    for row, stroke in enumerate(strokes):
        place = pairs.get(row)
        rows.append(
            _note(
                stroke.index,
                int(asked[row]),
                None if place is None else (onset_s[place], round(midi[place] - tuning)),
                float(expected_s[row]),
            )
        )
    inside = (onset_s > expected_s[0] - PAIRED_S) & (
        onset_s < at_s(strokes[-1].end) + truth["start_s"]
    )
    rows += [
        _extra(float(onset_s[place]), round(midi[place] - tuning))
        for place in np.flatnonzero(inside)
        if place not in pairs.values()
    ]
    found = tuple(rows)
    return Hearing(
        clean=not faults(found, window),
        reason=None,
        reference=Reference.FITTED,
        tolerance_ms=window,
        tempo_bpm=float(truth["tempo_bpm"]),
        start_s=float(truth["start_s"]),
        tuning_cents=100 * tuning,
        notes=found,
        summary=summed_up(part, found, window),
        probability=1.0,
    )


def faults(notes: tuple[HeardNote, ...], window: float) -> int:
    """How many notes of a pass are held against it."""
    return sum(
        note.verdict is Verdict.EXTRA
        or (note.index is not None and fault_said(note, window) is not None)
        for note in notes
    )


def _own_delay(expected_s: Floats, onset_s: Floats) -> float:
    pairs = _pairs(expected_s, onset_s)
    return float(np.median([onset_s[b] - expected_s[a] for a, b in pairs])) if pairs else 0.0


def _pairs(expected_s: Floats, onset_s: Floats) -> list[tuple[int, int]]:
    if len(onset_s) == 0:
        return []
    far = np.abs(expected_s[:, None] - onset_s[None])
    rows, columns = linear_sum_assignment(np.minimum(far, PAIRED_S))
    return [
        (int(row), int(column))
        for row, column in zip(rows, columns, strict=True)
        if far[row, column] < PAIRED_S
    ]


def _note(index: int, asked: int, found: tuple[float, int] | None, expected_s: float) -> HeardNote:
    if found is None:
        return HeardNote(index, asked, None, None, None, None, Verdict.MISSED, 1.0)
    onset_s, midi = found
    verdict = Verdict.RIGHT if midi == asked else Verdict.WRONG
    return HeardNote(
        index, asked, midi, float(onset_s), 1000 * (onset_s - expected_s), 0.0, verdict, 1.0
    )


def _extra(onset_s: float, midi: int) -> HeardNote:
    return HeardNote(None, None, midi, onset_s, None, 0.0, Verdict.EXTRA, 1.0)


@dataclass
class Result:
    """One listener over all takes."""

    name: str
    score: Score = field(default_factory=Score)
    faults: list[tuple[bool, int | None]] = field(default_factory=list)
    cpu_s: float = 0.0
    length_s: float = 0.0
    memory_mb: float = 0.0

    def balanced(self) -> tuple[float, int]:
        """Balanced accuracy of clean or not, and the faults forgiven where that is best."""
        best = (0.0, 0)
        for forgiven in range(MOST_FAULTS):
            shares = []
            for truth in (True, False):
                said = [
                    count for known, count in self.faults if known == truth and count is not None
                ]
                right = sum((count <= forgiven) == truth for count in said)
                shares.append(right / len(said) if said else 1.0)
            best = max(best, (sum(shares) / 2, -forgiven))
        return best[0], -best[1]


def listen(name: str, folders: list[Path]) -> Result:
    """All takes through one listener, in this process."""
    warnings.simplefilter("ignore")
    result = Result(name)
    for number, take in enumerate(takes(folders)):
        if number == 0 and name in RIVALS:
            RIVALS[name][1](take.samples, take.rate_hz)  # what loads once is not counted
        began = time.process_time()
        if name == EAR:
            hearing = heard(take)
        elif name == ECHO:
            hearing = echo(take)
        else:
            notes = RIVALS[name][1](take.samples, take.rate_hz)
        result.cpu_s += time.process_time() - began
        if name in RIVALS:
            hearing = judged(take, notes)
        result.length_s += take.length_s
        result.score.add(scored(take, hearing))
        count = None if hearing.clean is None else faults(hearing.notes, hearing.tolerance_ms)
        result.faults.append((bool(take.truth["clean"]), count))
    result.memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return result


EAR, ECHO = "Undersong's ear", "echo (hears nothing)"


def takes(folders: list[Path]) -> Iterator[KnownTake]:
    """Takes of all folders."""
    for folder in folders:
        yield from known_takes(folder)


HEADER = (
    f"{'':42} {'note F1':>7} {'recall':>6} {'prec.':>6} {'acc/1000':>8} {'clean/not':>9} "
    f"{'forgiven':>8} {'med ms':>6} {'90 % ms':>7} {'s per CPU s':>11} {'MB':>5}"
)


def row(result: Result) -> str:
    """One line of the table; onset errors with the listener's own median taken out."""
    score = result.score
    balanced, forgiven = (score.balanced, 0) if result.name == EAR else result.balanced()
    errors = np.array(score.onset_ms) - (np.median(score.onset_ms) if score.onset_ms else 0.0)
    middle, most = np.percentile(np.abs(errors), (50, 90)) if len(errors) else (np.nan, np.nan)
    speed = "-" if result.name == ECHO else f"{result.length_s / max(result.cpu_s, 1e-9):.0f}"
    return (
        f"{result.name:42} {score.note_f1:7.3f} {score.recall:6.3f} {score.precision:6.3f} "
        f"{score.accused_per_thousand:8.1f} {balanced:9.3f} {forgiven:8d} {middle:6.2f} "
        f"{most:7.2f} {speed:>11} {result.memory_mb:5.0f}"
    )


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path, default=[ROOT / "tests" / "takes"])
    parser.add_argument("--only", nargs="+", metavar="WORD", help="listeners with this in the name")
    args = parser.parse_args()
    names = []
    for name, (needs, _) in {EAR: ((), None), ECHO: ((), None), **RIVALS}.items():
        if args.only and not any(word in name for word in args.only):
            continue
        if all(importlib.util.find_spec(each) is not None for each in needs):
            names.append(name)
        else:
            print(f"{name}: not installed, no row.", file=sys.stderr)
    print(HEADER, flush=True)
    fresh = multiprocessing.get_context("spawn")
    for name in names:
        with fresh.Pool(1) as pool:
            result = pool.apply(listen, (name, args.folders))
        print(row(result), flush=True)
        print(f"    {kinds(result.score)}.", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
