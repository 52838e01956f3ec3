"""Where it goes wrong: bars and keys over many passes.

One slip in one pass says little; the same bar in most passes is a weak spot. A fault is a wrong,
missed or extra note, or one outside its window; a note nobody could judge is none.

Conventions
-----------
Bars are numbered as the part numbers them: 1 is the first full bar, 0 a pick-up. The weight of a
bar is its passes with a fault over all its passes and one more, so that one fault in one pass
(1/2) weighs less than four in five (4/6); the one more is this project's choice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from undersong.practice.ladder import Outcome
from undersong.practice.passes import Judged
from undersong.practice.plan import WeakSpot
from undersong.theory.part import Part

_LEAST_FAULTS = 2  # passes with a fault before a bar counts as weak


@dataclass(frozen=True, slots=True)
class WeakBar:
    """A bar that goes wrong again and again.

    `passes` reached it, `faulty` of them had a fault in it, `mostly` is the commonest fault.
    """

    bar: int
    section: str | None
    passes: int
    faulty: int
    mostly: str

    @property
    def weight(self) -> float:
        """0 to 1; more is worse."""
        return self.faulty / (self.passes + 1)

    @property
    def in_words(self) -> str:
        """``bar 9 (Chorus): late in 3 of 5 passes``."""
        place = f"bar {self.bar}" if self.section is None else f"bar {self.bar} ({self.section})"
        said = self.mostly if self.mostly in ("early", "late") else f"{self.mostly} note"
        return f"{place}: {said} in {self.faulty} of {self.passes} passes"


@dataclass(frozen=True, slots=True)
class KeyRecord:
    """A key and how its judged passes went."""

    key: str
    clean: int
    not_clean: int

    @property
    def clean_share(self) -> float:
        """Share of judged passes that were clean."""
        return self.clean / (self.clean + self.not_clean)


def weak_bars(part: Part, passes: Iterable[Sequence[Judged]]) -> tuple[WeakBar, ...]:
    """The bars of a part that failed in at least two passes, the worst first.

    Parameters
    ----------
    part
        What was played, as it was asked.
    passes
        The judged notes of each pass, in the order of the hearing: an extra note belongs to the
        bar of the asked note before it. Notes that are not in the part are left out.
    """
    bar_of = [part.place_of(note.at)[0] for note in part.notes]
    reached: Counter[int] = Counter()
    faulty: Counter[int] = Counter()
    kinds: dict[int, Counter[str]] = {}
    for notes in passes:
        seen: set[int] = set()
        bad: set[int] = set()
        here = bar_of[0] if bar_of else 0
        for note in notes:
            if note.index is not None:
                if not 0 <= note.index < len(bar_of):
                    continue
                here = bar_of[note.index]
                seen.add(here)
            if note.fault:
                bad.add(here)
                kinds.setdefault(here, Counter())[note.fault] += 1
        reached.update(seen | bad)
        faulty.update(bad)
    sections = _sections(part)
    found = [
        WeakBar(bar, sections.get(bar), reached[bar], count, kinds[bar].most_common(1)[0][0])
        for bar, count in faulty.items()
        if count >= _LEAST_FAULTS
    ]
    return tuple(sorted(found, key=lambda bar: (-bar.weight, bar.bar)))


def _sections(part: Part) -> dict[int, str]:
    """The section of each bar, where the part marks any."""
    marks = [(mark.at, mark.name) for mark in part.sections]
    ends = [*marks, (part.length, "")]
    return {
        bar.number: name
        for (start, name), (end, _) in pairwise(ends)
        for bar in part.bars
        if start <= bar.at < end
    }


def weak_spots(
    item: str, title: str, bars: Iterable[WeakBar], *, tempo_bpm: float | None = None, most: int = 2
) -> tuple[WeakSpot, ...]:
    """The worst bars of an item as a day's plan wants them."""
    return tuple(
        WeakSpot(item, f"{title}, {bar.in_words}", bar.weight, tempo_bpm)
        for bar in list(bars)[:most]
    )


def keys_record(passes: Iterable[tuple[str, Outcome]]) -> tuple[KeyRecord, ...]:
    """How the judged passes in each key went, the least clean first.

    Parameters
    ----------
    passes
        Key and outcome of each pass; passes without a key or a judgement are left out.
    """
    clean: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for key, outcome in passes:
        if key and outcome is not Outcome.UNSURE:
            (clean if outcome is Outcome.CLEAN else failed)[key] += 1
    records = [KeyRecord(key, clean[key], failed[key]) for key in clean.keys() | failed.keys()]
    return tuple(sorted(records, key=lambda record: (record.clean_share, record.key)))
