"""What an exercise is: its sentences, what it is made for, and the sheet it gives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from undersong.errors import TheoryError
from undersong.neck.instrument import Instrument
from undersong.theory.chord import NumberChord
from undersong.theory.key import Key
from undersong.theory.meter import FOUR_FOUR, Meter
from undersong.theory.part import Part
from undersong.theory.pitch import Pitch, plain_pitch
from undersong.theory.tempo import checked_tempo

DEFAULT_TEMPO_BPM = 70.0  # trade handbook 5.1: start slow


@dataclass(frozen=True, slots=True)
class Setting:
    """What a drill is made for.

    `tempo_bpm` counts the meter's own beat. `lowest` and `highest` bound the notes, on top of
    what the neck has. `progression` is the changes of a song of the set, for the drills that use
    one; without it they use 1 5 6 4. `seed` decides whatever a drill leaves to chance: the same
    seed gives the same drill.
    """

    key: Key
    instrument: Instrument
    tempo_bpm: float = DEFAULT_TEMPO_BPM
    meter: Meter = FOUR_FOUR
    seed: int = 1
    lowest: Pitch | None = None
    highest: Pitch | None = None
    progression: tuple[NumberChord, ...] = ()

    def __post_init__(self) -> None:
        checked_tempo(self.tempo_bpm)
        if self.lowest_midi > self.highest_midi:
            raise TheoryError(
                f"Nothing lies between {self.lowest} and {self.highest} on this neck: it goes "
                f"from {plain_pitch(self.instrument.lowest)} to "
                f"{plain_pitch(self.instrument.highest)}."
            )

    @property
    def lowest_midi(self) -> int:
        """The lowest note that may be used."""
        neck = self.instrument.lowest
        return neck if self.lowest is None else max(neck, self.lowest.midi)

    @property
    def highest_midi(self) -> int:
        """The highest note that may be used."""
        neck = self.instrument.highest
        return neck if self.highest is None else min(neck, self.highest.midi)

    def allows(self, midi: int) -> bool:
        """Whether a note lies within the range."""
        return self.lowest_midi <= midi <= self.highest_midi


@dataclass(frozen=True, slots=True)
class DrillSheet:
    """A fingered part and what has to be said beside it."""

    part: Part
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Drill:
    """One exercise of the catalogue; the sentences are for the player.

    `level` is 1 (first weeks) to 6, as for bass lines; `meter` is what it is made in unless
    another is asked for.
    """

    name: str
    title: str
    level: int
    purpose: str
    listen_for: str
    common_mistakes: str
    make: Callable[[Setting], DrillSheet]
    meter: Meter = FOUR_FOUR
