"""From musical time to seconds: the only bridge.

Everything else holds exact fractions of a whole note or seconds, never both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from undersong.errors import TheoryError
from undersong.theory.meter import Meter, Wholes

TEMPO_MIN_BPM, TEMPO_MAX_BPM = 10.0, 400.0
_OTHER_BEAT = 8  # one speed counted in halves is eight times as many sixteenths


@dataclass(frozen=True, slots=True)
class Swing:
    """Long and short notes of a pair: at 2:1 the second eighth falls two thirds into the beat.

    `unit` is the written length of one of the pair; `ratio` is long to short, 1 is straight.
    """

    unit: Wholes = Fraction(1, 8)
    ratio: Fraction = Fraction(2)

    def __post_init__(self) -> None:
        if self.unit <= 0 or not 1 <= self.ratio <= 4:
            raise TheoryError(f"A swing of {self.ratio}:1 cannot be played: use 1 to 4.")

    def bent(self, at: Wholes) -> Wholes:
        """Where a written place falls when swung; pairs are counted from 0."""
        pair = 2 * self.unit
        pairs, inside = divmod(at, pair)
        off_beat = pair * self.ratio / (1 + self.ratio)
        if inside <= self.unit:
            return pairs * pair + inside * off_beat / self.unit
        return pairs * pair + off_beat + (inside - self.unit) * (pair - off_beat) / self.unit


@dataclass(frozen=True, slots=True)
class TempoMark:
    """From `at` on, `tempo_bpm` counted beats a minute, each lasting `beat`.

    What may be asked for is `checked_tempo`'s to say; a mark also holds such a tempo counted
    in the beat of another meter.
    """

    at: Wholes
    tempo_bpm: float
    beat: Wholes = Fraction(1, 4)

    def __post_init__(self) -> None:
        low_bpm, high_bpm = TEMPO_MIN_BPM / _OTHER_BEAT, TEMPO_MAX_BPM * _OTHER_BEAT
        if not low_bpm <= round(self.tempo_bpm, 6) <= high_bpm:
            raise _unplayable(self.tempo_bpm)

    @property
    def whole_s(self) -> float:
        """Seconds of one whole note."""
        return 60.0 / self.tempo_bpm / float(self.beat)


def checked_tempo(tempo_bpm: float) -> float:
    """A tempo that may be asked for, in whatever beat it is counted.

    Raises
    ------
    TheoryError
        If it is slower or faster than a band plays.
    """
    if not TEMPO_MIN_BPM <= tempo_bpm <= TEMPO_MAX_BPM:
        raise _unplayable(tempo_bpm)
    return tempo_bpm


def _unplayable(tempo_bpm: float) -> TheoryError:
    return TheoryError(
        f"A tempo of {tempo_bpm:g} cannot be played: "
        f"use {TEMPO_MIN_BPM:g} to {TEMPO_MAX_BPM:g} beats a minute."
    )


@dataclass(frozen=True, slots=True)
class TempoMap:
    """Tempo marks in order of place (the first at 0), and the swing, if any.

    `swing_from` is the place from which pairs are counted: the first full bar.
    """

    marks: tuple[TempoMark, ...]
    swing: Swing | None = None
    swing_from: Wholes = Fraction(0)

    def __post_init__(self) -> None:
        places = [mark.at for mark in self.marks]
        if not places or places[0] != 0 or places != sorted(set(places)):
            raise TheoryError("Tempo marks must start at 0 and follow one another.")

    def seconds_at(self, at: Wholes) -> float:
        """Seconds from the start of the part to a place in it; negative before the start."""
        if self.swing is not None:
            at = self.swing_from + self.swing.bent(at - self.swing_from)
        seconds = 0.0
        for mark, following in zip(self.marks, (*self.marks[1:], None), strict=True):
            if following is None or at < following.at:
                return seconds + float(at - mark.at) * mark.whole_s
            seconds += float(following.at - mark.at) * mark.whole_s
        raise AssertionError("the last mark has no end")

    def at_tempo(self, tempo_bpm: float) -> TempoMap:
        """The whole map slower or faster, so that it starts at a tempo."""
        share = tempo_bpm / self.marks[0].tempo_bpm
        return replace(
            self,
            marks=tuple(replace(m, tempo_bpm=m.tempo_bpm * share) for m in self.marks),
        )


def steady(tempo_bpm: float, meter: Meter) -> TempoMap:
    """One tempo throughout, counted in the meter's own beat."""
    return TempoMap((TempoMark(Fraction(0), tempo_bpm, meter.beat),))
