"""What every exchange file must keep to, and the grid its places are counted on.

MIDI and MusicXML count time in whole steps of a quarter note; a Part counts in exact fractions.
`grid_of` finds the coarsest usual grid that holds every place of a Part exactly. Where none up
to the limit does, `on_grid` moves each place to the nearest step of a fine grid; a step of it is
under a thirtieth of a millisecond at 60 quarter notes a minute.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from math import gcd

from undersong.errors import ExchangeError
from undersong.theory.meter import Wholes
from undersong.theory.part import Part

MAX_WHOLES = Fraction(4000)  # over four hours at one whole note in four seconds
MAX_NOTES = 50_000
# Far above what one player's part takes; a score of a whole band may come as MusicXML.
MAX_BYTES = {"MIDI": 2_000_000, "JSON": 16_000_000, "MusicXML": 24_000_000}
FINE_GRID = 30_240  # 2^5 * 3^3 * 5 * 7: every tuplet in use; fits MIDI's 15 bits
MAX_GRID = 32_767  # MIDI 1.0: division is a 15-bit number


def checked_size(data: bytes, kind: str) -> bytes:
    """The same bytes of a kind of file, refused where there are none or far too many."""
    if not data:
        raise ExchangeError(f"The {kind} file is empty.")
    if len(data) > MAX_BYTES[kind]:
        raise ExchangeError(
            f"The {kind} file holds {len(data) / 1e6:.0f} MB, above the "
            f"{MAX_BYTES[kind] / 1e6:.0f} MB that are read: save the bass part alone."
        )
    return data


def checked_length(end: Wholes) -> Wholes:
    """The same place, refused where no part is that long."""
    if end > MAX_WHOLES:
        raise ExchangeError(
            f"The part would last {float(end):.0f} whole notes; at most {MAX_WHOLES} can be read."
        )
    return end


def checked_count(count: int) -> None:
    """Refuse more notes than one player could have."""
    if count > MAX_NOTES:
        raise ExchangeError(f"The file holds {count} notes; a part has at most {MAX_NOTES}.")


def places_of(part: Part) -> Iterable[Wholes]:
    """Every place of a part that a file has to hit."""
    yield from (part.pickup, part.length)
    for note in part.notes:
        yield from (note.at, note.end)
    for marks in (part.key_marks, part.meter_marks, part.tempo_marks, part.sections, part.chords):
        yield from (mark.at for mark in marks)
    yield from (bar.at for bar in part.bars)


def grid_of(part: Part, usual: int = 1) -> int:
    """Steps of a quarter note that hold every place, a multiple of `usual` where one fits.

    Never above `MAX_GRID`: then it is `FINE_GRID`, which holds not every place exactly.
    """
    exact = 1
    for place in places_of(part):
        denominator = (place * 4).denominator
        exact = exact * denominator // gcd(exact, denominator)
        if exact > MAX_GRID:
            return FINE_GRID
    friendly = exact * usual // gcd(exact, usual)
    return friendly if friendly <= MAX_GRID else exact


def on_grid(part: Part, per_quarter: int) -> Part:
    """The part with every place on the nearest step; the same part where all are there already.

    No note is lost: one shorter than half a step lasts a step.
    """
    step = Fraction(1, 4 * per_quarter)
    if all((place / step).denominator == 1 for place in places_of(part)):
        return part

    def near(place: Wholes) -> Wholes:
        return round(place / step) * step

    notes = tuple(
        replace(note, at=near(note.at), length=max(near(note.end) - near(note.at), step))
        for note in part.notes
    )
    end = max((note.end for note in notes), default=Fraction(0))
    return replace(
        part,
        notes=notes,
        pickup=near(part.pickup),
        length=max(near(part.length), end),
        key_marks=tuple(replace(mark, at=near(mark.at)) for mark in part.key_marks),
        tempo_marks=tuple(replace(mark, at=near(mark.at)) for mark in part.tempo_marks),
        sections=tuple(replace(mark, at=near(mark.at)) for mark in part.sections),
        chords=tuple(replace(mark, at=near(mark.at)) for mark in part.chords),
        meter_marks=tuple(replace(mark, at=near(mark.at)) for mark in part.meter_marks),
    )
