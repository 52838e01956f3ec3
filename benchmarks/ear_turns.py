"""Is a wrong turn heard, and nobody accused after it? `python benchmarks/ear_turns.py`.

Passes of a Part of twenty unlike bars are played on the sampled basses of benchmarks/takes: as
written, with bars left out, or with bars played twice, each with up to three planted mistakes and
under the conditions given; nobody tells the ear where a pass starts. Prints for each kind of pass
how many were told rightly (a bar that holds the same music is the same), how many were told of
another turn or of one not taken, how many could not be judged; and how many of 1,000 notes played
well were accused, beside the same with nobody looking for turns. Notes of the bars left out or
played twice do not count there: they are what the turn is about.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from practised_sessions import (  # noqa: E402
    BARS_A_KIND,
    DOWNLOADS,
    KINDS_A_PART,
    RATE_HZ,
    played,
    recorded,
    same_music,
    some_bars,
    song_part,
)
from takes.corpus import SOUNDS  # noqa: E402
from takes.player import PLANTS  # noqa: E402
from takes.sources import sound  # noqa: E402
from undersong.ear import Hearing, hear  # noqa: E402
from undersong.ear.passing import is_fault  # noqa: E402
from undersong.ear.turn import Turn, wrong_turn  # noqa: E402
from undersong.exchange import part_from_json  # noqa: E402

FIRST_SEED = {"tune": 5300, "report": 8900}
WAYS = ("as written", "left out", "played twice")
LONGEST = 4
BARS = KINDS_A_PART * BARS_A_KIND


@dataclass
class Pass:
    """A take and its truth: the bars in the order played, and the notes of the Part played well."""

    samples: np.ndarray[Any, np.dtype[np.float32]]
    part: dict[str, Any]
    order: list[int]
    turn: tuple[int, int] | None
    well: set[int]


def order_of(way: str, rng: np.random.Generator) -> tuple[list[int], tuple[int, int] | None]:
    """Bars counted from 0, as played, and the first and last bar of the turn."""
    bars = list(range(BARS))
    if way == WAYS[0]:
        return bars, None
    length = int(rng.integers(1, LONGEST + 1))
    first = int(rng.integers(2, BARS - length - 2))
    last = first + length - 1
    if way == WAYS[1]:
        return bars[:first] + bars[last + 1 :], (first, last)
    return bars[: last + 1] + bars[first:], (first, last)


def made(name: str, way: str, condition: str, seed: int) -> Pass:
    """One pass."""
    rng = np.random.default_rng(seed)
    bass = sound(name, DOWNLOADS)
    part = song_part(rng)
    order, turn = order_of(way, rng)
    notes: list[dict[str, Any]] = []
    index: list[int] = []
    places = {(note["at"], note["midi"]): k for k, note in enumerate(part["notes"])}
    for place, bar in enumerate(order):
        for note in some_bars(part, Fraction(bar), Fraction(bar + 1))["notes"]:
            index.append(places[str(Fraction(note["at"]) + bar), note["midi"]])
            notes.append({**note, "at": str(Fraction(note["at"]) + place)})
    plants = [str(p) for p in rng.choice(PLANTS, int(rng.integers(0, 4)), replace=False)]
    performance = played({**part, "notes": notes}, part["tempo_bpm"], plants, rng, bass)
    about = set(range(turn[0], turn[1] + 1)) if turn else set()
    well = {
        index[note.asked_index]
        for note in performance.played
        if note.asked_index is not None and note.plant is None
    }
    well = {k for k in well if int(Fraction(part["notes"][k]["at"])) not in about}
    samples = recorded(performance.played, bass, condition, rng)
    return Pass(samples, part, order, turn, well)


@dataclass
class Told:
    """Counts of one kind of pass."""

    passes: int = 0
    rightly: int = 0
    otherwise: int = 0
    unjudged: int = 0
    well: int = 0
    accused: int = 0
    accused_before: int = 0

    def row(self, way: str) -> str:
        """One line of the table."""
        per = 1000 / max(self.well, 1)
        return (
            f"{way:14} {self.passes:6d} {self.rightly:8d} {self.otherwise:9d} {self.unjudged:8d} "
            f"{self.well:6d} {self.accused * per:9.1f} {self.accused_before * per:9.1f}"
        )


def is_same(take: Pass, told: Turn) -> bool:
    """Whether a turn gives the same music as what was played."""
    alike = same_music(take.part)
    bars = list(range(BARS))
    order = bars[: told.last + 1] if told.is_again else bars[: told.first]
    order += bars[told.first :] if told.is_again else bars[told.last + 1 :]
    return [alike[bar + 1] for bar in take.order] == [alike[bar + 1] for bar in order]


def accused(take: Pass, hearing: Hearing) -> int:
    """Notes played well and held against the player."""
    return sum(
        note.index in take.well and is_fault(note, hearing.tolerance_ms) for note in hearing.notes
    )


def judge(take: Pass, told: Told) -> None:
    """Hear a pass with turns looked for, and without."""
    part = part_from_json(take.part)
    found: list[Turn | None] = []

    def looked(*given: Any, **settings: Any) -> Turn | None:
        found.append(wrong_turn(*given, **settings))
        return found[-1]

    with mock.patch.object(sys.modules["undersong.ear.hear"], "wrong_turn", looked):
        hearing = hear([take.samples], RATE_HZ, part)
    with mock.patch.object(sys.modules["undersong.ear.hear"], "wrong_turn", return_value=None):
        before = hear([take.samples], RATE_HZ, part)
    turn = found[-1] if found and hearing.clean is not None else None
    told.passes += 1
    told.unjudged += hearing.clean is None
    if turn is not None:
        told.rightly += is_same(take, turn)
        told.otherwise += not is_same(take, turn)
    elif take.turn is None and hearing.clean is not None:
        told.rightly += 1
    told.well += len(take.well)
    told.accused += accused(take, hearing) if hearing.clean is not None else 0
    # Where it could not be judged at all, nobody was accused, and nobody was told anything either.
    told.accused_before += accused(take, before) if before.clean is not None else 0


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--split", choices=sorted(FIRST_SEED), default="tune")
    parser.add_argument("--passes", type=int, default=20, help="of each kind")
    parser.add_argument("--condition", default="dry", help="several, with commas, are dealt")
    args = parser.parse_args()
    conditions, names = args.condition.split(","), SOUNDS[args.split]
    print(
        f"{'':14} {'passes':>6} {'rightly':>8} {'otherwise':>9} {'unjudged':>8} {'well':>6} "
        f"{'accused':>9} {'before':>9}"
    )
    for kind, way in enumerate(WAYS):
        told = Told()
        for number in range(args.passes):
            seed = FIRST_SEED[args.split] + 100 * kind + number
            name, condition = names[number % len(names)], conditions[number % len(conditions)]
            judge(made(name, way, condition, seed), told)
        print(told.row(way), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
