"""What each bar of a song is for: how full it is, where its phrase ends, where the voice comes in.

Sections are told apart by their names. Energy is the handbook's plan (trade handbook 7.5, common
practice, no source): 0 out, 1 held, 2 pulses, 3 full, 4 full and high. Words of the chart steer
it from their bar to the end of the section: build, full, quiet, breakdown. A direction that
speaks of the voice (`-- vocal`) marks the bar in which a sung phrase begins.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from undersong.chart.roadmap import PlayedBar
from undersong.theory.part import Dynamic

PHRASE_BARS = 4
FULLEST = 4
DYNAMIC_OF_ENERGY = (Dynamic.P, Dynamic.MP, Dynamic.MF, Dynamic.F, Dynamic.FF)

VOCAL = re.compile(r"\b(?:vocals?|vox|voices?|sings?|sung|singers?|melody in)\b", re.IGNORECASE)
_NO_VOCAL = re.compile(
    r"\b(?:no|without|end of)\s+(?:the\s+)?(?:vocals?|vox|voices?|singing)\b", re.I
)
_STEER = (
    (re.compile(r"\bbuild|\bcresc|\bgrow|\brais", re.IGNORECASE), "build"),
    (re.compile(r"\bbreak ?down|\bdrop\b|\bsparse|\bthin\b", re.IGNORECASE), "thin"),
    (re.compile(r"\bquiet|\bsoft|\bdown\b|\bspoken|\bdim", re.IGNORECASE), "quiet"),
    (re.compile(r"\bfull|\bbig\b|\ball in\b|\bloud|\btutti", re.IGNORECASE), "full"),
)
# Section kinds by the words in their names, the longer names first; energy at visits 1, 2, 3 ...
_KINDS: tuple[tuple[str, tuple[int, ...]], ...] = (
    ("pre", (2, 2, 3)),
    ("post", (2, 3)),
    ("breakdown", (1,)),
    ("turn", (2,)),
    ("instrumental", (2, 3)),
    ("interlude", (2,)),
    ("solo", (3,)),
    ("intro", (1,)),
    ("outro", (2, 1)),
    ("ending", (2, 1)),
    ("coda", (2,)),
    ("tag", (3, 2)),
    ("vamp", (2,)),
    ("bridge", (2, 3, 4)),
    ("chorus", (2, 3, 4)),
    ("refrain", (2, 3, 4)),
    ("shout", (4,)),
    ("verse", (1, 2)),
)
_OTHER_KIND = ("", (2,))
_BUILDING_KINDS = ("bridge",)


@dataclass(frozen=True, slots=True)
class BarPlan:
    """One played bar and what a good player knows about it.

    `turn` counts the phrases and visits of a section, so that ideas can take turns. `leads_to`
    is the name of the section that begins after this bar.
    """

    played: PlayedBar
    index: int
    energy: int
    is_phrase_end: bool
    leads_to: str | None
    is_first_section: bool
    is_last: bool
    has_vocal: bool
    before_vocal: bool
    turn: int

    @property
    def dynamic(self) -> Dynamic:
        """How loud the bar is written."""
        return DYNAMIC_OF_ENERGY[self.energy]


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A section as played once: the indices of its bars."""

    start: int
    end: int


def plan_bars(bars: Sequence[PlayedBar]) -> tuple[BarPlan, ...]:
    """A plan for every bar of an unrolled song, in order."""
    stretches = _stretches(bars)
    plans: list[BarPlan] = []
    for number, stretch in enumerate(stretches):
        following = stretches[number + 1] if number + 1 < len(stretches) else None
        energies = _energies(bars[stretch.start : stretch.end], is_last=following is None)
        leads_to = None if following is None else bars[following.start].called
        is_only = len(stretches) == 1
        for place, energy in enumerate(energies):
            index = stretch.start + place
            is_end = index == stretch.end - 1
            plans.append(
                BarPlan(
                    played=bars[index],
                    index=index,
                    energy=energy,
                    is_phrase_end=is_end or _phrase_place(bars, stretch, index) == PHRASE_BARS - 1,
                    leads_to=leads_to if is_end else None,
                    is_first_section=number == 0 and (not is_only or place < PHRASE_BARS),
                    is_last=index == len(bars) - 1,
                    has_vocal=_has_vocal(bars[index]),
                    before_vocal=index + 1 < len(bars) and _has_vocal(bars[index + 1]),
                    turn=bars[index].visit - 1 + place // PHRASE_BARS,
                )
            )
    return tuple(plans)


def _stretches(bars: Sequence[PlayedBar]) -> list[_Stretch]:
    starts = [index for index, bar in enumerate(bars) if bar.is_first or index == 0]
    # A pick-up bar belongs to the section it leads into, whichever way the roadmap counts it.
    return [
        _Stretch(start, end) for start, end in zip(starts, [*starts[1:], len(bars)], strict=True)
    ]


def _phrase_place(bars: Sequence[PlayedBar], stretch: _Stretch, index: int) -> int:
    """Place in the four-bar phrase, from 0; a pick-up stands before it, at -1."""
    first = bars[stretch.start]
    first_full = stretch.start + (first.length < first.meter.bar)
    return (index - first_full) % PHRASE_BARS if index >= first_full else -1


def _has_vocal(bar: PlayedBar) -> bool:
    return any(VOCAL.search(words) and not _NO_VOCAL.search(words) for words in bar.bar.directions)


def section_energy(name: str, visit: int, *, is_last: bool) -> int:
    """The energy of a section by its name and how often it has come."""
    plain = name.casefold()
    word, energies = next(
        ((word, energies) for word, energies in _KINDS if word in plain), _OTHER_KIND
    )
    if is_last and word in ("tag", "outro", "ending", "vamp"):
        return energies[-1]
    return energies[min(visit, len(energies)) - 1]


def _energies(bars: Sequence[PlayedBar], *, is_last: bool) -> list[int]:
    """Energy of each bar of a section, its words taken into account."""
    base = section_energy(bars[0].section, bars[0].visit, is_last=is_last)
    builds = any(word in bars[0].section.casefold() for word in _BUILDING_KINDS)
    energies: list[int] = []
    level = base
    build_from = 0 if builds and len(bars) > PHRASE_BARS else None
    for place, bar in enumerate(bars):
        for steer in _steers(bar):
            if steer == "build":
                build_from = place
            else:
                build_from = None
                level = {"thin": 1, "quiet": 1, "full": FULLEST}[steer]
        if build_from is None:
            energies.append(level)
        else:
            share = (place - build_from + 1) / (len(bars) - build_from)
            energies.append(min(FULLEST, level + int(share * (FULLEST - level))))
    return energies


def _steers(bar: PlayedBar) -> list[str]:
    found: list[str] = []
    for words in bar.bar.directions:
        if "out" in words.casefold().split():
            continue  # who lays out is the roadmap's business
        found.extend(steer for pattern, steer in _STEER if pattern.search(words))
    return found[:1]
