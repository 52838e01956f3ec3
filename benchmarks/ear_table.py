"""How well the ear hears takes with known answers: `python benchmarks/ear_table.py [FOLDER ...]`.

Prints a row for each take and one for all of them, with the row of an 'echo' beside it: a listener
that returns what was asked, on the grid, all right, and so hears nothing. Without a folder it takes
the committed takes in tests/takes. What is counted is defined in tests/ear_truth.py.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from ear_truth import KINDS, KnownTake, Score, known_takes, scored  # noqa: E402
from undersong.ear import HeardNote, Hearing, Reference, Verdict, hear, window_ms  # noqa: E402
from undersong.ear.summary import summed_up  # noqa: E402

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


def kinds(score: Score) -> str:
    """Recall and precision by kind of mistake."""
    cells = []
    for kind in KINDS:
        found, planted = score.found[kind], score.planted[kind]
        said = found + score.accused[kind]
        cells.append(
            f"{kind} {found}/{planted} found, {said - found} of {said} false" if planted else kind
        )
    return "; ".join(cells)


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path, default=[ROOT / "tests" / "takes"])
    parser.add_argument("--remarks", action="store_true", help="say what went wrong in each take")
    parser.add_argument("--total", action="store_true", help="leave out the rows of single takes")
    args = parser.parse_args()
    total, nothing = Score(), Score()
    by_condition: dict[str, Score] = defaultdict(Score)
    length_s = cpu_s = 0.0
    print(HEADER)
    for folder in args.folders:
        for take in known_takes(folder):
            began = time.process_time()
            hearing = heard(take)
            cpu_s += time.process_time() - began
            length_s += take.length_s
            score = scored(take, hearing)
            by_condition[take.truth["condition"]].add(replace(score))
            total.add(score)
            nothing.add(scored(take, echo(take)))
            if not args.total:
                print(row(take.name, score))
            if args.remarks:
                for remark in score.remarks:
                    print(f"    {take.name}: {remark}")
    for condition, score in sorted(by_condition.items()):
        print(row(f"all {condition}", score))
    print(row("ALL, the ear", total))
    print(row("ALL, echo (hears nothing)", nothing))
    print(f"By kind: {kinds(total)}.")
    print(
        f"Balanced accuracy of clean or not: the ear {total.balanced:.3f}, "
        f"echo {nothing.balanced:.3f}. {length_s:.0f} s of audio in {cpu_s:.1f} CPU s: "
        f"{length_s / max(cpu_s, 1e-9):.0f} s each."
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
