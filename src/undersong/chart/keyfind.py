"""The key of a sheet that does not say, from its chords.

Each of the 24 keys is asked how likely it makes the chords: how often a chord of that degree and
kind is used in it, how often one root follows another into home, and how often a song starts and
ends there. The best and the next best are both told, with how sure.

Conventions
-----------
Chords count once for each time they change. `confidence` is the share of the best key against
all 24, between 0 and 1, with the evidence of long songs flattened: chords repeat in loops, so
the hundredth is no news.

References
----------
The use of chords by degree is common practice in this repertoire (trade handbook 2.6, 2.7: no
corpus with counts); that 4 is the commonest chord after 1 and before 1 is [de Clercq & Temperley
2011]. The figures were set by hand and not fitted to the tests.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from undersong.errors import ChartMeaningError
from undersong.theory.chord import Chord, Role
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, Mode
from undersong.theory.pitch import PitchName

_SEMITONES = 12
_EFFECTIVE_CHORDS = 12.0  # a loop played often says no more than this many chords
_AMBIGUOUS_BELOW = 0.7
_FEW_CHORDS = 3
_RARE = 0.002

# How often a chord stands on each semitone above home, by third: major (or none), minor. A
# diminished or half-diminished chord counts as its own kind below.
_MAJOR_USE = {
    (0, "major"): 0.28,
    (5, "major"): 0.21,
    (7, "major"): 0.19,
    (9, "minor"): 0.11,
    (2, "minor"): 0.06,
    (4, "minor"): 0.035,
    (10, "major"): 0.02,
    (2, "major"): 0.02,
    (9, "major"): 0.012,
    (4, "major"): 0.012,
    (5, "minor"): 0.01,
    (11, "diminished"): 0.01,
    (3, "major"): 0.005,
    (8, "major"): 0.005,
    (6, "diminished"): 0.004,
    (11, "major"): 0.004,
    (7, "minor"): 0.006,
}
_MINOR_USE = {
    (0, "minor"): 0.29,
    (8, "major"): 0.15,
    (10, "major"): 0.13,
    (5, "minor"): 0.12,
    (3, "major"): 0.10,
    (7, "major"): 0.09,
    (7, "minor"): 0.04,
    (2, "diminished"): 0.015,
    (5, "major"): 0.015,
    (11, "diminished"): 0.015,
    (0, "major"): 0.01,
    (1, "major"): 0.004,
    (2, "major"): 0.006,
    (2, "minor"): 0.004,
}
_LAST_IS_HOME, _FIRST_IS_HOME = 0.8, 0.6
_INTO_HOME = {7: 1.6, 5: 1.3, 10: 1.1}  # 5 to 1, 4 to 1, b7 to 1, against other moves
_SEVENTH_ON_FIVE = 1.5  # a seventh on a major chord points to home a fourth above


@dataclass(frozen=True, slots=True)
class KeyGuess:
    """The likeliest key, the next, how sure (0 to 1), and whether a person should be asked."""

    key: Key
    runner_up: Key
    confidence: float
    is_ambiguous: bool

    def __str__(self) -> str:
        return f"{self.key} ({self.confidence:.0%}), or {self.runner_up}"


def find_key(chords: Sequence[Chord]) -> KeyGuess:
    """The key of a run of chords.

    Parameters
    ----------
    chords
        In playing order; repeats of the same chord in a row count once.

    Raises
    ------
    ChartMeaningError
        If there is no chord to go by.
    """
    changes = _changes(chords)
    if not changes:
        raise ChartMeaningError("There is no chord to find the key from.")
    scores = {
        (tonic, mode): _score(changes, tonic, mode)
        for tonic in range(_SEMITONES)
        for mode in (Mode.MAJOR, Mode.MINOR)
    }
    ranked = sorted(scores, key=lambda each: -scores[each])
    best, runner_up = ranked[0], ranked[1]
    total = sum(math.exp(score - scores[best]) for score in scores.values())
    confidence = 1.0 / total
    roots = {(chord.root.pitch_class, _third(chord)) for chord in changes}
    return KeyGuess(
        key=_spelled(*best, changes),
        runner_up=_spelled(*runner_up, changes),
        confidence=confidence,
        is_ambiguous=confidence < _AMBIGUOUS_BELOW or len(roots) < _FEW_CHORDS,
    )


def _changes(chords: Iterable[Chord]) -> list[Chord]:
    found: list[Chord] = []
    for chord in chords:
        if not found or found[-1] != chord:
            found.append(chord)
    return found


def _third(chord: Chord) -> str:
    semitones = {interval.semitones % _SEMITONES for interval in chord.quality.intervals}
    if 3 in semitones and 4 not in semitones:
        return "diminished" if 6 in semitones and 7 not in semitones else "minor"
    return "major"


def _score(changes: list[Chord], tonic: int, mode: Mode) -> float:
    use = _MAJOR_USE if mode is Mode.MAJOR else _MINOR_USE
    places = [(chord.root.pitch_class - tonic) % _SEMITONES for chord in changes]
    fits = 0.0
    for place, chord in zip(places, changes, strict=True):
        fits += math.log(use.get((place, _third(chord)), _RARE))
        if _is_dominant_seventh(chord):
            fits += math.log(_SEVENTH_ON_FIVE if place == 7 else 1.0)
    for (before, after), chord in zip(pairwise(places), changes[1:], strict=True):
        if after == 0 and _third(chord) == _home_third(mode):
            fits += math.log(_INTO_HOME.get(before, 1.0))
    fits *= min(1.0, _EFFECTIVE_CHORDS / len(changes))
    return (
        fits
        + _edge(places[-1], changes[-1], mode, _LAST_IS_HOME)
        + _edge(places[0], changes[0], mode, _FIRST_IS_HOME)
    )


def _home_third(mode: Mode) -> str:
    return "major" if mode is Mode.MAJOR else "minor"


def _edge(place: int, chord: Chord, mode: Mode, share: float) -> float:
    """A song starts and ends on home with a known share; the rest is spread over the other keys."""
    is_home = place == 0 and _third(chord) == _home_third(mode)
    return math.log(share) if is_home else math.log((1.0 - share) / 6.0)


def _is_dominant_seventh(chord: Chord) -> bool:
    semitones = [interval.semitones for interval in chord.quality.intervals]
    return 4 in semitones and 10 in semitones


def _spelled(tonic: int, mode: Mode, changes: list[Chord]) -> Key:
    """The key on a tonic whose names are those the sheet uses; fewer signs where they tie."""
    keys = MAJOR_KEYS if mode is Mode.MAJOR else MINOR_KEYS
    fitting = [key for key in keys if key.tonic.pitch_class == tonic]
    used = [name for chord in changes for name in _names(chord)]
    return max(
        fitting,
        key=lambda key: (
            sum(name in key.names for name in used),
            -abs(key.signature),
            key.signature > 0,
        ),
    )


def _names(chord: Chord) -> list[PitchName]:
    return [chord.root, chord.lowest, *(name for role, name in chord.tones if role is Role.THIRD)]
