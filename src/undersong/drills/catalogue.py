"""The exercise catalogue: every drill by name, and the one way to have one made."""

from __future__ import annotations

import difflib

from undersong.drills.chordwork import CHORDWORK
from undersong.drills.drill import DEFAULT_TEMPO_BPM, Drill, DrillSheet, Setting
from undersong.drills.patterns import PATTERNS
from undersong.drills.rhythm import RHYTHM
from undersong.drills.rootwork import ROOTWORK
from undersong.drills.scales import POSITIONS, SCALE
from undersong.drills.songs import CHANGES_OF_A_SONG, weakness_drill
from undersong.drills.technique import TECHNIQUE
from undersong.errors import UndersongError
from undersong.neck.instrument import Instrument
from undersong.theory.chord import NumberChord
from undersong.theory.key import Key
from undersong.theory.meter import Meter
from undersong.theory.pitch import Pitch

__all__ = [
    "CATALOGUE",
    "Drill",
    "DrillSheet",
    "Setting",
    "drill_named",
    "make_drill",
    "weakness_drill",
]

CATALOGUE: tuple[Drill, ...] = tuple(
    sorted(
        (
            SCALE,
            POSITIONS,
            CHANGES_OF_A_SONG,
            *TECHNIQUE,
            *RHYTHM,
            *ROOTWORK,
            *PATTERNS,
            *CHORDWORK,
        ),
        key=lambda drill: drill.level,
    )
)
"""Every drill, easiest first."""
STANDARD_BASS = Instrument()

_BY_NAME = {drill.name: drill for drill in CATALOGUE}


def drill_named(name: str) -> Drill:
    """The drill of a name; spaces and capitals are free.

    Raises
    ------
    UndersongError
        If there is none: the sentence says the nearest names, or all of them.
    """
    plain = "-".join(name.strip().lower().replace("_", "-").split())
    if plain in _BY_NAME:
        return _BY_NAME[plain]
    near = difflib.get_close_matches(plain, list(_BY_NAME), n=3)
    meant = f"did you mean {' or '.join(near)}?" if near else f"there are {', '.join(_BY_NAME)}."
    raise UndersongError(f"There is no drill called {name!r}: {meant}")


def make_drill(
    name: str,
    key: Key,
    instrument: Instrument = STANDARD_BASS,
    *,
    tempo_bpm: float = DEFAULT_TEMPO_BPM,
    meter: Meter | None = None,
    seed: int = 1,
    lowest: Pitch | None = None,
    highest: Pitch | None = None,
    progression: tuple[NumberChord, ...] = (),
) -> DrillSheet:
    """A drill as a fingered part with degrees and chords, and the remarks beside it.

    Parameters
    ----------
    name
        One of the catalogue's names.
    key, instrument
        Any of the fifteen major or minor keys; any neck.
    tempo_bpm
        Beats a minute, in the meter's own beat.
    meter
        Any; the bars are full. None takes the drill's own, mostly 4/4.
    seed
        Decides what a drill leaves to chance.
    lowest, highest
        Range, on top of what the neck has; None leaves it to the neck.
    progression
        The changes of a song, for the drills that use them.

    Raises
    ------
    UndersongError
        If there is no such drill, or the range leaves nothing to play.
    """
    drill = drill_named(name)
    setting = Setting(
        key, instrument, tempo_bpm, meter or drill.meter, seed, lowest, highest, progression
    )
    return drill.make(setting)
