"""Fingering measured: the optimum against every fingering tried, and the time of long parts.

Run: ``python benchmarks/fingering.py [PARTS] [SEED]`` (default 5,000 parts, about two minutes).
Prints how many random short parts, over five tunings and both finger systems, were fingered at
exactly the least cost of all their fingerings, and seconds for parts of 1,250 to 20,000 notes.
"""

from __future__ import annotations

import random
import sys
import time
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

from plain_fingering import (
    FIVE_TUNINGS,
    least_cost,
    random_bass,
    random_part,
    roads,
)
from undersong.neck.effort import WEIGHTS, OpenStrings
from undersong.neck.fingering import Wishes, finger_part
from undersong.neck.instrument import FingerSystem, Instrument, parse_tuning
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Note, Part

MOST_ROADS = 4_000_000
TOLERANCE_POINTS = 1e-9  # rounding of sums of a few dozen terms
LIKINGS = (OpenStrings.ALLOWED, OpenStrings.LIKED, OpenStrings.AVOIDED)


def against_every_fingering(parts: int, seed: int) -> int:
    """How many parts were not fingered at the least cost; prints a row for each tuning."""
    rng = random.Random(seed)
    systems = tuple(FingerSystem)
    counts = {(t, s): [0, 0, 0] for t in range(len(FIVE_TUNINGS)) for s in systems}
    for index in range(parts):
        where = index % len(FIVE_TUNINGS), systems[index // len(FIVE_TUNINGS) % len(systems)]
        bass = random_bass(rng, *where)
        part = random_part(rng, bass, MOST_ROADS)
        liking = rng.choice(LIKINGS)
        least = least_cost(part, bass, WEIGHTS, liking)
        cost = finger_part(part, bass, wishes=Wishes(open_strings=liking, same_again=False)).cost
        row = counts[where]
        row[0] += 1
        row[1] += abs(cost - least) <= TOLERANCE_POINTS
        row[2] += roads(part, bass)
    print(f"{'tuning':<22}{'system':<24}{'parts':>7}{'equal':>7}{'fingerings tried':>20}")
    for (tuning, system), (count, equal, tried) in counts.items():
        name = FIVE_TUNINGS[tuning].name
        print(f"{name:<22}{system:<24}{count:>7}{equal:>7}{tried:>20,}")
    return sum(count - equal for count, equal, _ in counts.values())


def random_line(count: int, bass: Instrument, seed: int) -> Part:
    """A long part of random notes and lengths: nothing repeats, so nothing is remembered."""
    rng = random.Random(seed)
    key, at = parse_key("C"), Fraction(0)
    notes = []
    for _ in range(count):
        length = Fraction(rng.choice((1, 2, 3, 4)), 16)
        notes.append(Note(at, length, key.spell(rng.randint(bass.lowest, bass.lowest + 35))))
        at += length
    return Part("long", key, FOUR_FOUR, 96, tuple(notes))


def time_against_length() -> None:
    """Print seconds for parts of growing length on four and five strings."""
    print(f"\n{'notes':>7}{'four strings, s':>18}{'five strings, s':>18}{'six strings, s':>18}")
    for count in (1_250, 2_500, 5_000, 10_000, 20_000):
        row = []
        for name in ("standard", "five-string, low B", "six-string"):
            bass = Instrument(tuning=parse_tuning(name))
            part = random_line(count, bass, seed=1)
            start = time.process_time()
            finger_part(part, bass)
            row.append(time.process_time() - start)
        print(f"{count:>7}" + "".join(f"{seconds:>18.3f}" for seconds in row))


def main() -> None:
    """Both measurements."""
    parts = int(sys.argv[1]) if len(sys.argv) > 1 else 5_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    start = time.perf_counter()
    unequal = against_every_fingering(parts, seed)
    print(f"{parts - unequal} of {parts} at the optimum, {time.perf_counter() - start:.0f} s")
    time_against_length()


if __name__ == "__main__":
    main()
