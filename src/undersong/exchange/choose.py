"""Which track or part of a file is the bass.

One that is asked for by name or number; else the only one; else the only one that is a bass by
its name or its instrument. Nothing is guessed beyond that: the sentence lists what there is.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from undersong.errors import ExchangeError

_BASS_NAME = re.compile(r"\bbass\b(?!\s+(?:drum|clarinet|trombone|flute|voice))", re.IGNORECASE)
_SHOWN = 24


@dataclass(frozen=True, slots=True)
class Candidate:
    """A track (or part) that holds notes: its name, and whether its instrument tells."""

    name: str
    is_bass: bool = False
    is_drums: bool = False


def chosen(candidates: Sequence[Candidate], which: str | None) -> int:
    """Index of the candidate to take.

    Raises
    ------
    ExchangeError
        If there is none, none of that name, or several could be meant.
    """
    if not candidates:
        raise ExchangeError("The file holds no notes.")
    if which is not None:
        return _asked(candidates, which)
    if len(candidates) == 1:
        return 0
    for is_likely in (_is_called_bass, _is_bass, _is_pitched):
        likely = [index for index, each in enumerate(candidates) if is_likely(each)]
        if len(likely) == 1:
            return likely[0]
        if likely:
            break
    raise ExchangeError(
        f"The file holds {len(candidates)} tracks with notes ({_listed(candidates)}): "
        "say which one is yours, by its name or number."
    )


def _is_called_bass(candidate: Candidate) -> bool:
    return _BASS_NAME.search(candidate.name) is not None and not candidate.is_drums


def _is_bass(candidate: Candidate) -> bool:
    return candidate.is_bass


def _is_pitched(candidate: Candidate) -> bool:
    return not candidate.is_drums


def _asked(candidates: Sequence[Candidate], which: str) -> int:
    named = [
        index
        for index, each in enumerate(candidates)
        if each.name.casefold() == which.strip().casefold()
    ]
    if len(named) == 1:
        return named[0]
    if which.strip().isdecimal() and 1 <= int(which) <= len(candidates):
        return int(which) - 1
    raise ExchangeError(f"There is no single track {which!r}; there are: {_listed(candidates)}.")


def _listed(candidates: Sequence[Candidate]) -> str:
    names = [
        f"{number} {each.name or 'without a name'}"
        for number, each in enumerate(candidates[:_SHOWN], start=1)
    ]
    more = len(candidates) - _SHOWN
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")
