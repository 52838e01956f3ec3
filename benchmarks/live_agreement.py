r"""How soon and how well the live ear speaks: `python benchmarks/live_agreement.py [FOLDER ...]`.

Every take is fed to the live ear in blocks and to the offline ear as a whole, both with the known
start. Printed by condition: the time from a note's true onset to the end of the block after which
the first verdict on it was said (median and 90 %); the share of asked notes and extra notes on
which that first verdict, and the last one, is the offline one; the same by the offline verdict; CPU
time per second of audio. Extra notes agree within 50 ms of each other; one that only one of the two
heard is a disagreement. Beside it an 'echo': a listener that says right to every asked note at its
time and hears nothing. Latency counts notes that were played and spoken of as heard; what a note
that never came is called can only be said when it is late.

    python benchmarks/make_takes.py --split report --count 100 --seed 777 \
        --condition dry,room,phone,click,noise --out benchmarks/out/live-report
    python benchmarks/live_agreement.py benchmarks/out/live-report
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from math import gcd
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import KnownTake, add_fields, known_takes  # noqa: E402
from undersong.ear import HeardNote, Hearing, Verdict, hear  # noqa: E402
from undersong.ear.live import LiveEar, NoteJudged  # noqa: E402

BLOCK_S = 0.01
EXTRA_NEAR_S = 0.05
CPU_RATE_HZ = 48_000
CPU_BLOCKS = (128, 512, 2048)
CPU_TAKES = 6


@dataclass
class Agreement:
    """Counts over takes."""

    latency_ms: list[float] = field(default_factory=list)
    missed_after_ms: list[float] = field(default_factory=list)
    off_ms: list[float] = field(default_factory=list)
    asked: Counter[str] = field(default_factory=Counter)
    first: Counter[str] = field(default_factory=Counter)
    last: Counter[str] = field(default_factory=Counter)
    echo: Counter[str] = field(default_factory=Counter)
    revised: int = 0
    unsaid: int = 0
    cpu_s: float = 0.0
    length_s: float = 0.0
    remarks: list[str] = field(default_factory=list)

    def add(self, other: Agreement) -> None:
        """Add the counts of another."""
        add_fields(self, other)

    def share(self, agreed: Counter[str]) -> float:
        """Share of all asked and extra notes."""
        return sum(agreed.values()) / max(1, sum(self.asked.values()))


@dataclass
class Said:
    """What the live ear said of one take: verdicts by note in order, extra notes, and when."""

    notes: dict[int, list[tuple[float, HeardNote]]]
    extras: list[HeardNote]
    cpu_s: float


def listened(
    samples: NDArray[np.float32], rate_hz: int, take: KnownTake, block: int, *, start: bool
) -> Said:
    """Feed a take to the live ear."""
    start_s = float(take.truth["start_s"]) if start else None
    ear = LiveEar(rate_hz, take.part, start_s=start_s)
    said = Said(defaultdict(list), [], 0.0)
    began = time.process_time()
    for first in range(0, len(samples), block):
        events = ear.feed(samples[first : first + block])
        for event in events:
            if isinstance(event, NoteJudged):
                _noted(said, event, min(first + block, len(samples)) / rate_hz)
    for event in ear.finish():
        if isinstance(event, NoteJudged):
            _noted(said, event, len(samples) / rate_hz)
    said.cpu_s = time.process_time() - began
    return said


def _noted(said: Said, event: NoteJudged, at_s: float) -> None:
    note = event.note
    if note.index is not None:
        said.notes[note.index].append((at_s, note))
    elif note.verdict is Verdict.EXTRA:
        said.extras.append(note)
    else:
        said.extras = [each for each in said.extras if each.onset_s != note.onset_s]


def compared(take: KnownTake, hearing: Hearing, said: Said) -> Agreement:
    """One take, live against offline."""
    result = Agreement(cpu_s=said.cpu_s, length_s=take.length_s)
    onset_s = {p["asked_index"]: float(p["onset_s"]) for p in take.truth["played"]}
    start_s = float(take.truth["start_s"])
    for note in hearing.notes:
        if note.index is None:
            continue
        verdict = str(note.verdict)
        result.asked[verdict] += 1
        result.echo[verdict] += note.verdict is Verdict.RIGHT
        words = said.notes.get(note.index)
        if words is None:
            result.unsaid += 1
            result.remarks.append(f"{take.name}: note {note.index} unsaid, offline {verdict}")
            continue
        at_s, first = words[0]
        last = words[-1][1]
        result.first[verdict] += first.verdict is note.verdict
        result.last[verdict] += last.verdict is note.verdict
        result.revised += len(words) > 1
        if first.verdict is not note.verdict:
            result.remarks.append(_remark(take, note, [each for _, each in words]))
        if first.verdict is Verdict.MISSED:
            asked_s = take.part.tempo_map.seconds_at(take.part.notes[note.index].at)
            result.missed_after_ms.append(1000 * (at_s - start_s - asked_s))
        elif note.index in onset_s:
            result.latency_ms.append(1000 * (at_s - onset_s[note.index]))
            if last.onset_s is not None:
                result.off_ms.append(1000 * abs(last.onset_s - onset_s[note.index]))
    _extras(result, take, hearing, said)
    return result


def _extras(result: Agreement, take: KnownTake, hearing: Hearing, said: Said) -> None:
    """Extra notes one to one."""
    left = [each for each in said.extras if each.onset_s is not None]
    for note in hearing.notes:
        if note.verdict is not Verdict.EXTRA or note.onset_s is None:
            continue
        near = [e for e in left if abs((e.onset_s or 0.0) - note.onset_s) < EXTRA_NEAR_S]
        result.asked["extra"] += 1
        if near:
            left.remove(near[0])
            result.first["extra"] += 1
            result.last["extra"] += 1
        else:
            result.remarks.append(f"{take.name}: extra at {note.onset_s:.2f} s only offline")
    result.asked["extra"] += len(left)
    result.remarks += [f"{take.name}: extra at {e.onset_s:.2f} s only live" for e in left]


def _remark(take: KnownTake, offline: HeardNote, words: list[HeardNote]) -> str:
    live = ", ".join(f"{each.verdict} ({each.heard_midi})" for each in words)
    played = {p["asked_index"]: p["midi"] for p in take.truth["played"]}
    return (
        f"{take.name}: note {offline.index} asked {offline.asked_midi} played "
        f"{played.get(offline.index)} offline {offline.verdict} ({offline.heard_midi}) live {live}"
    )


def row(name: str, result: Agreement) -> str:
    """One line of the table."""
    median, most = (
        np.percentile(result.latency_ms, (50, 90)) if result.latency_ms else (np.nan, np.nan)
    )
    within = np.mean(np.array(result.latency_ms) <= 150) if result.latency_ms else np.nan
    return (
        f"{name:12} {sum(result.asked.values()):6d} {median:8.0f} {most:6.0f} {within:8.3f} "
        f"{result.share(result.first):10.4f} {result.share(result.last):8.4f} "
        f"{result.share(result.echo):8.4f} {result.revised:8d} {result.unsaid:7d} "
        f"{100 * result.cpu_s / max(result.length_s, 1e-9):7.1f}"
    )


def by_verdict(result: Agreement) -> str:
    """Agreement by the offline verdict."""
    cells = [
        f"{verdict} {result.first[verdict]}/{n} at first, {result.last[verdict]} at last "
        f"(echo {result.echo[verdict]})"
        for verdict, n in sorted(result.asked.items())
    ]
    return "; ".join(cells)


def cpu_rows(takes: list[KnownTake]) -> None:
    """CPU share at 48 kHz by block length."""
    for block in CPU_BLOCKS:
        cpu_s = length_s = 0.0
        for take in takes[:CPU_TAKES]:
            common = gcd(CPU_RATE_HZ, take.rate_hz)
            samples = resample_poly(take.samples, CPU_RATE_HZ // common, take.rate_hz // common)
            samples = samples.astype(np.float32)
            cpu_s += listened(samples, CPU_RATE_HZ, take, block, start=True).cpu_s
            length_s += take.length_s
        print(f"CPU share at 48 kHz in blocks of {block}: {100 * cpu_s / length_s:.1f} %")


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path, default=[ROOT / "tests" / "takes"])
    parser.add_argument("--remarks", action="store_true", help="say where the two differ")
    parser.add_argument("--find-start", action="store_true", help="live: start not known")
    parser.add_argument("--no-cpu", action="store_true", help="leave out the rows at 48 kHz")
    args = parser.parse_args()
    total = Agreement()
    kept: list[KnownTake] = []
    by_condition: dict[str, Agreement] = defaultdict(Agreement)
    for folder in args.folders:
        for take in known_takes(folder):
            start_s = float(take.truth["start_s"])
            hearing = hear([take.samples], take.rate_hz, take.part, start_s=start_s)
            block = round(BLOCK_S * take.rate_hz)
            said = listened(take.samples, take.rate_hz, take, block, start=not args.find_start)
            result = compared(take, hearing, said)
            by_condition[take.truth["condition"]].add(result)
            total.add(result)
            if len(kept) < CPU_TAKES:
                kept.append(take)
    print(
        f"{'':12} {'notes':>6} {'median':>8} {'90 %':>6} {'in 150':>8} {'first said':>10} "
        f"{'at last':>8} {'echo':>8} {'revised':>8} {'unsaid':>7} {'CPU %':>7}"
    )
    for condition, result in sorted(by_condition.items()):
        print(row(condition, result))
    print(row("all", total))
    print(f"By offline verdict: {by_verdict(total)}.")
    if total.missed_after_ms:
        late = np.percentile(total.missed_after_ms, (50, 90))
        print(f"Missed is said {late[0]:.0f} ms after its place (90 %: {late[1]:.0f}).")
    off = np.percentile(total.off_ms, (50, 90, 98)) if total.off_ms else np.full(3, np.nan)
    print("Last onset off by {:.1f} ms (90 %: {:.1f}, 98 %: {:.1f}).".format(*off))
    if args.remarks:
        print("\n".join(total.remarks))
    if not args.no_cpu:
        cpu_rows(kept)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
