"""How well the ear hears takes with known answers: `python benchmarks/ear_table.py [FOLDER ...]`.

Prints a row for each take, one for each condition and one for all, with the row of an 'echo' beside
it: a listener that returns what was asked, on the grid, all right, and so hears nothing; then the
planted mistakes by kind, and how far the ear's own probabilities can be believed. Without a folder
it takes the committed takes in tests/takes. What is counted is defined in tests/ear_truth.py.

`--made SPLIT --count N --seed S --condition each` makes the takes (benchmarks/takes/README.md),
hears them and forgets them; nothing is written. It needs what `make_takes.py` needs.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import islice, pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import KINDS, KnownTake, Score, known_takes, scored  # noqa: E402
from undersong.ear import HeardNote, Hearing, Reference, Verdict, hear, window_ms  # noqa: E402
from undersong.ear.summary import summed_up  # noqa: E402
from undersong.exchange import part_from_json  # noqa: E402

HEADER = (
    f"{'':44} {'clean':>11}  {'planted':>7} {'recall':>6} {'prec.':>6} {'acc/1000':>8} "
    f"{'unsure':>6} {'note F1':>7} {'med ms':>6} {'90 % ms':>7}"
)


def heard(take: KnownTake) -> Hearing:
    """The ear on one take, at the tempo asked."""
    return hear([take.samples], take.rate_hz, take.part)


def echo(take: KnownTake) -> Hearing:
    """What was asked, on the grid, all right."""
    part = take.part
    start_s = float(take.truth["start_s"])
    at_s = part.at_tempo(float(take.truth["tempo_bpm"])).tempo_map.seconds_at
    notes = tuple(
        HeardNote(
            stroke.index,
            stroke.note.pitch.midi,
            stroke.note.pitch.midi,
            start_s + at_s(stroke.at),
            0.0,
            0.0,
            Verdict.RIGHT,
            1.0,
        )
        for stroke in part.strokes
    )
    window = window_ms(part)
    return Hearing(
        clean=True,
        reason=None,
        reference=Reference.FITTED,
        tolerance_ms=window,
        tempo_bpm=part.tempo_bpm,
        start_s=start_s,
        tuning_cents=float(take.truth.get("tuning_cents") or 0.0),
        notes=notes,
        summary=summed_up(part, notes, window),
        probability=1.0,
    )


def row(name: str, score: Score) -> str:
    """One line of the table."""
    if score.takes == 1:
        ((truth, said),) = score.clean_said
        words = {True: "clean", False: "faulty", None: "unsure"}
        clean = words[said] if said == truth else f"{words[said].upper()}"
    else:
        clean = f"{score.clean_right}/{score.takes}"
    return (
        f"{name[:44]:44} {clean:>11}  {sum(score.planted.values()):7d} {score.recall:6.3f} "
        f"{score.precision:6.3f} {score.accused_per_thousand:8.2f} {score.unsure:6d} "
        f"{score.note_f1:7.4f} {score.onset_error_ms(50):6.2f} {score.onset_error_ms(90):7.2f}"
    )


def counts(score: Score, kind: str) -> tuple[int, int, int]:
    """Mistakes of a kind found, planted and said."""
    return score.found[kind], score.planted[kind], score.found[kind] + score.accused[kind]


def kinds(score: Score) -> str:
    """Recall and precision by kind of mistake."""
    cells = []
    for kind in KINDS:
        found, planted, said = counts(score, kind)
        cells.append(
            f"{kind} {found}/{planted} found, {said - found} of {said} false" if planted else kind
        )
    return "; ".join(cells)


@dataclass
class Result:
    """Scores of a run by condition, the ear's and the echo's, and what the ear's work cost."""

    ear: dict[str, Score] = field(default_factory=lambda: defaultdict(Score))
    echo: Score = field(default_factory=Score)
    length_s: float = 0.0
    cpu_s: float = 0.0

    def hear(self, take: KnownTake) -> Score:
        """Hear one more take; returns its own score."""
        began = time.process_time()
        hearing = heard(take)
        self.cpu_s += time.process_time() - began
        self.length_s += take.length_s
        score = scored(take, hearing)
        self.ear[take.truth["condition"]].add(score)
        self.echo.add(scored(take, echo(take)))
        return score

    def add(self, other: Result) -> None:
        """Add another run's."""
        for condition, score in other.ear.items():
            self.ear[condition].add(score)
        self.echo.add(other.echo)
        self.length_s += other.length_s
        self.cpu_s += other.cpu_s

    @property
    def total(self) -> Score:
        """The ear's over all conditions."""
        total = Score()
        for score in self.ear.values():
            total.add(score)
        return total


def made(args: argparse.Namespace, share: tuple[int, int]) -> Iterator[KnownTake]:
    """Takes made as they are asked for."""
    from takes.corpus import FIRST_SEED, takes
    from takes.make import DOWNLOADS, conditions_of

    seed = FIRST_SEED[args.made] if args.seed is None else args.seed
    sets = [names for said in args.condition for names in conditions_of(said)]
    clean = [k >= args.faulty for k in range(4)]
    for take in takes(args.made, args.count, seed, DOWNLOADS, sets, clean=clean, share=share):
        samples = np.round(take.samples * 32767) / 32768  # as a file of 16 bits holds them
        part = part_from_json(take.truth["asked"])
        rate_hz = int(take.truth["sample_rate_hz"])
        mono = samples.mean(axis=1).astype(np.float32)
        yield KnownTake(take.name, mono, rate_hz, part, take.truth)


def kept(args: argparse.Namespace, share: tuple[int, int]) -> Iterator[KnownTake]:
    """Takes of the folders."""
    for folder in args.folders:
        yield from islice(known_takes(folder), share[0], None, share[1])


def run(args: argparse.Namespace, share: tuple[int, int]) -> Result:
    """Make, or fetch, and hear a share of the takes."""
    result = Result()
    for take in made(args, share) if args.made else kept(args, share):
        score = result.hear(take)
        show(args, take, score)
    return result


def show(args: argparse.Namespace, take: KnownTake, score: Score) -> None:
    """The row and the remarks of one take, where they are wanted."""
    if not args.total:
        print(row(take.name, score), flush=True)
    if args.remarks:
        for remark in score.remarks:
            print(f"    {take.name}: {remark}", flush=True)


def result_of(args: argparse.Namespace) -> Result:
    """The whole run."""
    result = Result()
    n = args.processes
    with ProcessPoolExecutor(n) as pool:
        for part in pool.map(run, [args] * n, [(k, n) for k in range(n)]):
            result.add(part)
    return result


def exact_kinds(score: Score) -> str:
    """Planted mistakes by their exact kind."""
    cells = [
        f"{kind} {score.kinds_found[kind]}/{planted}"
        for kind, planted in sorted(score.kinds_planted.items())
    ]
    return "; ".join(cells)


WEAK = 0.95


def weak(scores: dict[str, Score]) -> str:
    """Which recalls and precisions of one kind within one condition lie below `WEAK`."""
    cells = []
    for condition, score in sorted(scores.items()):
        for kind in KINDS:
            found, planted, said = counts(score, kind)
            for part, whole, word in ((found, planted, "found"), (found, said, "held")):
                if whole:
                    cells.append((part / whole, f"{condition} {kind} {part}/{whole} {word}"))
    low = [text for share, text in sorted(cells) if share < WEAK]
    return f"{len(low)} of {len(cells)}" + (f": {'; '.join(low)}" if low else "")


BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999, 1.0)


def reliability(beliefs: list[tuple[float, bool]]) -> list[str]:
    """How often verdicts held that were believed so far: a row for each range of probability."""
    if not beliefs:
        return []
    said, held = (np.array(column, float) for column in zip(*beliefs, strict=True))
    rows = []
    for low, high in pairwise(BINS):
        inside = (said >= low) & ((said < high) | (high == 1.0))
        if inside.any():
            rows.append(
                f"  said {low:5.3f} to {high:5.3f}: {int(inside.sum()):6d} times, "
                f"{said[inside].mean():.3f} on average, held {held[inside].mean():.3f}"
            )
    gap = float(np.mean((said - held) ** 2))
    return [*rows, f"  mean square of probability less outcome (Brier 1950): {gap:.4f}"]


def arguments() -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path, default=[ROOT / "tests" / "takes"])
    parser.add_argument("--remarks", action="store_true", help="say what went wrong in each take")
    parser.add_argument("--total", action="store_true", help="leave out the rows of single takes")
    parser.add_argument("--made", metavar="SPLIT", help="make the takes of this split instead")
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--condition", action="append", help="as for make_takes.py")
    parser.add_argument("--faulty", type=int, default=2, help="of four takes so many are faulty")
    parser.add_argument("--processes", type=int, default=1)
    args = parser.parse_args()
    args.condition = args.condition or ["dry"]
    return args


def main() -> int:
    """Print the table."""
    args = arguments()
    print(HEADER)
    result = result_of(args)
    for condition, score in sorted(result.ear.items()):
        print(row(f"all {condition}", score))
    total = result.total
    print(row("ALL, the ear", total))
    print(row("ALL, echo (hears nothing)", result.echo))
    print(f"By kind: {kinds(total)}.")
    print(f"Exactly: {exact_kinds(total)}.")
    print(f"Of one kind within one condition below {WEAK}: {weak(result.ear)}.")
    withheld = sum(count for (_, said), count in total.clean_said.items() if said is None)
    print(
        f"Withheld as unsure: {total.unsure} of {total.notes} notes, {withheld} of {total.takes} "
        "passes."
    )
    print(
        f"Balanced accuracy of clean or not: the ear {total.balanced:.3f}, "
        f"echo {result.echo.balanced:.3f}. {result.length_s:.0f} s of audio in "
        f"{result.cpu_s:.1f} CPU s: {result.length_s / max(result.cpu_s, 1e-9):.0f} s each."
    )
    print("Note verdicts, probability against outcome:", *reliability(total.beliefs), sep="\n")
    print("Pass verdicts, probability against outcome:", *reliability(total.pass_beliefs), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
