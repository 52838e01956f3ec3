"""What a player asks of a fingering, and the ways to play each stroke that it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from undersong.errors import UnplayableError
from undersong.neck.effort import Hands, Mask, OpenStrings, hands_for
from undersong.neck.instrument import Instrument
from undersong.theory.part import Part, Stroke, Voice
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, plain_pitch

FRAME_FRETS = 4


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a fingering has to respect.

    Parameters
    ----------
    highest_fret, lowest_fret
        Bounds of the stopped notes.
    open_strings
        Liked, allowed, avoided or never.
    start_fret, start_string
        Where the first note lies (fret 0 for the open string).
    keep_places
        Keep the string and fret of every note that has them; choose the fingers alone.
    around_chord
        Keep the hand where it can reach the root of the chord of the moment.
    same_again
        Finger a bar (or two, or four) that comes again at once the same way each time.
    """

    highest_fret: int | None = None
    lowest_fret: int = 1
    open_strings: OpenStrings = OpenStrings.ALLOWED
    start_fret: int | None = None
    start_string: int | None = None
    keep_places: bool = False
    around_chord: bool = False
    same_again: bool = True


ANYHOW = Wishes()


def strokes_to_finger(part: Part) -> tuple[Stroke, ...]:
    """The strokes of a bass part.

    Raises
    ------
    UnplayableError
        If the part is for drums or pad.
    """
    if part.voice is not Voice.BASS:
        raise UnplayableError(f"A {part.voice} part has no strings to finger: give a bass part.")
    return part.strokes


def where(part: Part, stroke: Stroke) -> str:
    """``Bar 3, beat 4``: where a stroke starts."""
    words = part.place_words(stroke.at)
    return words[:1].upper() + words[1:]


def ways_of(
    part: Part, strokes: Sequence[Stroke], instrument: Instrument, wishes: Wishes
) -> list[Hands]:
    """The ways to play each stroke that the wishes leave.

    Strokes with the same ways share one value, so that tables can be kept by identity.

    Raises
    ------
    UnplayableError
        If a stroke has none: the sentence says where its note lies, or the nearest that can be
        played.
    """
    known: dict[tuple[object, ...], Hands] = {}
    roots = _chord_roots(part, strokes) if wishes.around_chord else [None] * len(strokes)
    ways = []
    for stroke, root in zip(strokes, roots, strict=True):
        note = stroke.note
        pinned = wishes.keep_places and note.string is not None and note.fret is not None
        place = (note.string, note.fret) if pinned else None
        is_start = stroke is strokes[0] and (
            wishes.start_fret is not None or wishes.start_string is not None
        )
        key = (note.pitch.midi, place, root, is_start)
        if key not in known:
            every = hands_for(note.pitch.midi, instrument)
            if not len(every):
                raise _not_on_neck(part, stroke, instrument)
            left = every.taken(_allowed(every, wishes, place, is_start=is_start))
            if not len(left):
                raise _not_as_asked(part, stroke, instrument, place)
            known[key] = left if root is None else _around(left, root, instrument)
        ways.append(known[key])
    return ways


def _allowed(
    every: Hands, wishes: Wishes, place: tuple[int | None, int | None] | None, *, is_start: bool
) -> Mask:
    if place is not None:
        string, fret = place
        at_place: Mask = (every.string == string) & (every.fret == fret)
        return at_place
    is_open = every.finger == 0
    allowed: Mask = is_open | (every.fret >= wishes.lowest_fret)
    if wishes.highest_fret is not None:
        allowed &= every.fret <= wishes.highest_fret
    if wishes.open_strings is OpenStrings.NEVER:
        allowed &= ~is_open
    if is_start and wishes.start_fret is not None:
        allowed &= every.fret == wishes.start_fret
    if is_start and wishes.start_string is not None:
        allowed &= every.string == wishes.start_string
    return allowed


def _chord_roots(part: Part, strokes: Sequence[Stroke]) -> list[int | None]:
    """Pitch class of the root of the chord each stroke sits on; None where there is none."""
    roots: list[int | None] = []
    for stroke in strokes:
        chord = stroke.note.chord or part.chord_at(stroke.at)
        key = part.key_at(stroke.at)
        roots.append(None if chord is None else key.name_of(chord.root).pitch_class)
    return roots


def _around(hands: Hands, root: int, instrument: Instrument) -> Hands:
    """The same ways, with the frets from each hand to the nearest root outside its frame."""
    frets = np.array(
        [
            fret
            for string in range(1, instrument.strings + 1)
            for fret in range(1, instrument.frets + 1)
            if (instrument.open_midi(string) + fret) % SEMITONES_PER_OCTAVE == root
        ]
    )
    below = hands.hand[:, None] - frets[None, :]
    above = frets[None, :] - (hands.hand[:, None] + FRAME_FRETS - 1)
    away = np.maximum(np.maximum(below, above), 0).min(axis=1)
    return replace(hands, away=away.astype(np.float64))


def _not_on_neck(part: Part, stroke: Stroke, instrument: Instrument) -> UnplayableError:
    pitch = stroke.note.pitch
    classes = range(pitch.midi % SEMITONES_PER_OCTAVE, 128, SEMITONES_PER_OCTAVE)
    octaves = [midi for midi in classes if instrument.places(midi)]
    some = octaves or range(instrument.lowest, instrument.highest + 1)
    nearest = min(
        (midi for midi in some if instrument.places(midi)), key=lambda midi: abs(midi - pitch.midi)
    )
    name = pitch.name.with_midi(nearest) if octaves else plain_pitch(nearest)
    return UnplayableError(
        f"{where(part, stroke)}: {pitch} is not on this neck ({instrument.tuning}, "
        f"{instrument.frets} frets); the nearest {'octave' if octaves else 'note'} that is "
        f"there is {name}.",
        midi=pitch.midi,
        nearest_midi=nearest,
        index=stroke.index,
    )


def _not_as_asked(
    part: Part,
    stroke: Stroke,
    instrument: Instrument,
    place: tuple[int | None, int | None] | None,
) -> UnplayableError:
    midi = stroke.note.pitch.midi
    choices = ", ".join(
        f"string {string} fret {fret}" if fret else f"open string {string}"
        for string, fret in instrument.places(midi)
    )
    asked = "with what is asked for" if place is None else "on string {} at fret {}".format(*place)
    return UnplayableError(
        f"{where(part, stroke)}: {stroke.note.pitch} cannot be played {asked}; "
        f"it lies at {choices}.",
        midi=midi,
        nearest_midi=midi,
        index=stroke.index,
    )
