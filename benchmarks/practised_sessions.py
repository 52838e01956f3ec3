"""Does the ear find its way in a practice session? `python benchmarks/practised_sessions.py`.

Makes sessions on the sampled basses of benchmarks/takes: a Part of some twenty unlike bars is
started, broken off, taken up again at any bar, at several tempos, with mistakes, with noodling in
the same key and pauses between. Prints for each: bars played (whole ones), the share of them that
the ear assigns to the right bar (some bars of a Part may hold the same music: the second share
counts those as right), bars it claims where none was played, the error of the tempo, and what a
listener gets that always continues: it is told when somebody plays, counts bars at the tempo asked,
and after every pause goes on with the next bar.

A bar is right where the ear has the same bar at a time that overlaps it by half.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from takes import mix  # noqa: E402
from takes.conditions import under  # noqa: E402
from takes.corpus import SOUNDS  # noqa: E402
from takes.material import KINDS, Asked, Rng, part_of  # noqa: E402
from takes.player import PLANTS, Performance, Played, perform, seconds_per_whole  # noqa: E402
from takes.recording import Recording  # noqa: E402
from takes.sources import Sound, sound  # noqa: E402
from takes.spelling import FOUR_STRING, MAJOR_KEYS, lowest_tonic, spelled  # noqa: E402
from undersong.ear.practised import Practised, practised  # noqa: E402
from undersong.exchange import part_from_json  # noqa: E402

DOWNLOADS = ROOT / "benchmarks" / "out" / "sources"
MIXED = (
    "scale in quarters",
    "root, fifth, octave",
    "arpeggios",
    "thirds",
    "repeated eighths",
    "syncopated",
    "half-note roots",
    "pushes",
    "chromatic approach",
    "fours",
    "stops",
    "long notes with rests",
    "sixteenth bursts",
)
BARS_A_KIND, KINDS_A_PART = 4, 5
RATE_HZ = 22050
RUN_GAP_S = 1.5
FIRST_SEED = {"tune": 4100, "report": 7700}


@dataclass
class Session:
    """A session and its truth: (bar, start_s, end_s, tempo) of every bar played.

    `broken` are bars that were begun and not ended: they count neither for nor against.
    """

    samples: np.ndarray[Any, np.dtype[np.float32]]
    part: dict[str, Any]
    bars: list[tuple[int, float, float, float]] = field(default_factory=list)
    broken: list[tuple[int, float, float, float]] = field(default_factory=list)
    restarts: int = 0
    onsets_s: list[float] = field(default_factory=list)


def song_part(rng: Rng) -> dict[str, Any]:
    """A Part of unlike bars in one key."""
    asked: list[Asked] = []
    for place, kind in enumerate(rng.permutation(MIXED)[:KINDS_A_PART]):
        start = Fraction(place * BARS_A_KIND)
        for note in KINDS[str(kind)].notes(rng, BARS_A_KIND):
            if note.at >= 0 and note.at + note.length <= BARS_A_KIND:
                asked += [replace(note, at=note.at + start)]
    fitting = []
    for key in MAJOR_KEYS:
        tonic = lowest_tonic(key, FOUR_STRING[0])
        for tonic_midi in (tonic, tonic + 12):
            midis = [spelled(key, tonic_midi, n.step, n.raised).midi for n in asked]
            if min(midis) >= FOUR_STRING[0] and max(midis) <= 55:
                fitting.append((key, tonic_midi))
    key, tonic_midi = fitting[int(rng.integers(len(fitting)))]
    tempo = int(rng.integers(66, 96))
    return part_of(f"session in {key}", key, tonic_midi, "4/4", tempo, asked, FOUR_STRING)


def some_bars(part: dict[str, Any], first: Fraction, last: Fraction) -> dict[str, Any]:
    """The notes of a stretch of a Part, moved to its beginning."""
    notes = [n for n in part["notes"] if first <= Fraction(n["at"]) < last]
    moved = [{**n, "at": str(Fraction(n["at"]) - first)} for n in notes]
    return {**part, "notes": moved}


def noodling(part: dict[str, Any], rng: Rng) -> dict[str, Any]:
    """Aimless notes in the key."""
    at, asked, step = Fraction(0), [], int(rng.integers(1, 8))
    for _ in range(int(rng.integers(5, 22))):
        length = Fraction(1, int(rng.choice([4, 8, 8, 8, 16])))
        asked.append(Asked(step, at, length))
        at += length if rng.uniform() < 0.85 else 2 * length
        step = int(np.clip(step + rng.integers(-3, 4), 1, 10))
    tonic = min(n["midi"] for n in part["notes"] if n["degree"] == "1")
    return part_of("", part["key"], tonic, "4/4", 90, asked, FOUR_STRING)


def played(
    part: dict[str, Any], tempo: float, plants: list[str], rng: Rng, bass: Sound
) -> Performance:
    """A stretch of music as played."""
    return perform(
        part,
        tempo_bpm=tempo,
        plants=plants,
        rng=rng,
        open_strings=FOUR_STRING,
        midi_range=(max(FOUR_STRING[0], bass.lowest_midi), bass.highest_midi),
    )


def session(bass: Sound, seed: int, minutes: float, condition: str) -> Session:
    """Somebody practises."""
    rng = np.random.default_rng(seed)
    part = song_part(rng)
    n_bars = KINDS_A_PART * BARS_A_KIND
    result = Session(np.zeros(0, np.float32), part)
    notes: list[Played] = []
    now_s, bar, ratio = 1.0, 0, float(rng.uniform(0.7, 1.0))
    while now_s < 60 * minutes:
        ratio = ratio if rng.uniform() < 0.6 else float(rng.uniform(0.65, 1.15))
        tempo = part["tempo_bpm"] * ratio
        length = min(int(rng.integers(2, 11)), n_bars - bar)
        cut = Fraction(int(rng.integers(1, 8)), 8) if rng.uniform() < 0.3 else Fraction(1)
        stretch = some_bars(part, Fraction(bar), bar + length - 1 + cut)
        if len(stretch["notes"]) >= 3:
            plants = [str(p) for p in rng.choice(PLANTS, int(rng.integers(0, 4)), replace=False)]
            performance = played(stretch, tempo, plants, rng, bass)
            shift_s = now_s - performance.start_s
            notes += [_moved(note, shift_s) for note in performance.played]
            whole_s = seconds_per_whole(part, tempo)
            for k in range(length):
                start_s = now_s + k * whole_s
                is_broken = cut < 1 and k == length - 1
                if some_bars(part, Fraction(bar + k), Fraction(bar + k + 1))["notes"]:
                    bars = result.broken if is_broken else result.bars
                    bars.append((bar + k + 1, start_s, start_s + whole_s, tempo))
            result.restarts += 1
            now_s = max(note.offset_s for note in notes) + 0.05
        now_s = _between(part, notes, now_s, rng, bass)
        bar = _next_bar(bar + length, n_bars, rng)
    result.onsets_s = sorted(note.onset_s for note in notes)
    result.samples = recorded(sorted(notes, key=lambda note: note.onset_s), bass, condition, rng)
    return result


def recorded(
    notes: Sequence[Played], bass: Sound, condition: str, rng: Rng
) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Notes in order of onset as a recording under a condition, shape (n,), at `RATE_HZ`."""
    sounding = mix.mixed(Performance(tuple(notes), (), 1.0, 60.0), bass)
    recording = Recording(sounding, (1.0,), 0, ())
    recording = under(recording, [] if condition == "dry" else [condition], rng)
    level = mix.levelled(recording.samples, -10.0)
    return mix.in_channels(mix.at_rate(level, RATE_HZ), 1, rng)[:, 0].astype(np.float32)


def _between(
    part: dict[str, Any], notes: list[Played], now_s: float, rng: Rng, bass: Sound
) -> float:
    """Noodling, a pause, or hardly anything before the next start."""
    what = rng.uniform()
    if what < 0.4:
        now_s += float(rng.uniform(0.3, 2.0))
        aimless = played(noodling(part, rng), float(rng.uniform(60, 130)), [], rng, bass)
        notes += [_moved(note, now_s - aimless.start_s) for note in aimless.played]
        now_s = max(note.offset_s for note in notes)
    return now_s + float(rng.uniform(0.3, 0.9) if what > 0.8 else rng.uniform(0.8, 5.0))


def _next_bar(stopped: int, n_bars: int, rng: Rng) -> int:
    what = rng.uniform()
    if what < 0.35 or stopped >= n_bars:
        return 0
    if what < 0.55:
        return max(0, stopped - int(rng.integers(1, 4)))
    return int(rng.integers(0, n_bars - 1))


def _moved(note: Played, by_s: float) -> Played:
    return replace(note, onset_s=note.onset_s + by_s, offset_s=note.offset_s + by_s)


def same_music(part: dict[str, Any]) -> dict[int, int]:
    """For each bar the first one that holds the same music."""
    seen: dict[tuple[tuple[Fraction, int], ...], int] = {}
    first: dict[int, int] = {}
    for bar in range(1, KINDS_A_PART * BARS_A_KIND + 1):
        stretch = some_bars(part, Fraction(bar - 1), Fraction(bar))["notes"]
        music = tuple((Fraction(n["at"]), int(n["midi"])) for n in stretch)
        first[bar] = seen.setdefault(music, bar)
    return first


@dataclass
class Found:
    """Counts of one session or of many."""

    bars: int = 0
    right: int = 0
    same: int = 0
    elsewhere: int = 0
    unfound: int = 0
    claimed: int = 0
    continued: int = 0
    tempo_off: list[float] = field(default_factory=list)

    def add(self, other: Found) -> None:
        """Add the counts of another."""
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)


def compared(truth: Session, heard: Practised) -> Found:
    """The ear's bars against those played."""
    result = Found(bars=len(truth.bars))
    first = same_music(truth.part)
    claimed = [(each.bar, each.start_s, each.end_s, each.tempo_bpm) for each in heard.bars]
    for bar, start_s, end_s, tempo in truth.bars:
        over = [c for c in claimed if _overlap(c, start_s, end_s) > 0.5]
        result.right += any(c[0] == bar for c in over)
        result.same += any(first[c[0]] == first[bar] for c in over)
        result.unfound += not over
        result.elsewhere += bool(over) and all(c[0] != bar for c in over)
        result.tempo_off += [100 * abs(c[3] / tempo - 1) for c in over if c[0] == bar]
    result.claimed = sum(
        all(
            _overlap((0, s, e, 0.0), c[1], c[2]) <= 0.25
            for _, s, e, _ in (*truth.bars, *truth.broken)
        )
        for c in claimed
    )
    continuing = always_continue(truth)
    for bar, start_s, end_s, _ in truth.bars:
        result.continued += any(
            c[0] == bar and _overlap(c, start_s, end_s) > 0.5 for c in continuing
        )
    return result


def _overlap(claim: tuple[int, float, float, float], start_s: float, end_s: float) -> float:
    return max(0.0, min(claim[2], end_s) - max(claim[1], start_s)) / (end_s - start_s)


def always_continue(truth: Session) -> list[tuple[int, float, float, float]]:
    """Bars counted off at the tempo asked through every run of notes, on and on."""
    whole_s = seconds_per_whole(truth.part, truth.part["tempo_bpm"])
    n_bars = KINDS_A_PART * BARS_A_KIND
    claims, bar = [], 0
    starts = [0, *(np.flatnonzero(np.diff(truth.onsets_s) > RUN_GAP_S) + 1).tolist()]
    for run, first in enumerate(starts):
        last = starts[run + 1] - 1 if run + 1 < len(starts) else len(truth.onsets_s) - 1
        at_s = truth.onsets_s[first]
        while at_s < truth.onsets_s[last]:
            claims.append((bar % n_bars + 1, at_s, at_s + whole_s, 0.0))
            bar, at_s = bar + 1, at_s + whole_s
    return claims


def row(name: str, found: Found, restarts: int, length_s: float, cpu_s: float) -> str:
    """One line of the table."""
    off = np.median(found.tempo_off) if found.tempo_off else np.nan
    share = 1 / max(found.bars, 1)
    return (
        f"{name:34} {restarts:6d} {found.bars:6d} {found.right * share:7.3f} "
        f"{found.same * share:7.3f} {found.elsewhere:6d} {found.unfound:8d} {found.claimed:8d} "
        f"{off:8.2f} {found.continued * share:9.3f} {length_s / max(cpu_s, 1e-9):8.0f}"
    )


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--split", choices=sorted(FIRST_SEED), default="tune")
    parser.add_argument("--sessions", type=int, default=4)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--condition", default="dry", help="several, with commas, are dealt")
    args = parser.parse_args()
    seed = FIRST_SEED[args.split] if args.seed is None else args.seed
    conditions = args.condition.split(",")
    total, restarts, length_s, cpu_s = Found(), 0, 0.0, 0.0
    print(
        f"{'':34} {'starts':>6} {'bars':>6} {'right':>7} {'same':>7} {'other':>6} {'unfound':>8} "
        f"{'claimed':>8} {'tempo %':>8} {'continue':>9} {'x faster':>8}"
    )
    for number in range(args.sessions):
        name = SOUNDS[args.split][number % len(SOUNDS[args.split])]
        condition = conditions[number % len(conditions)]
        made = session(sound(name, DOWNLOADS), seed + number, args.minutes, condition)
        began = time.process_time()
        heard = practised([made.samples], RATE_HZ, part_from_json(made.part))
        took = time.process_time() - began
        found = compared(made, heard)
        seconds = len(made.samples) / RATE_HZ
        print(row(f"{seed + number} {name} {condition}", found, made.restarts, seconds, took))
        total.add(found)
        restarts, length_s, cpu_s = restarts + made.restarts, length_s + seconds, cpu_s + took
    print(row("all", total, restarts, length_s, cpu_s))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
