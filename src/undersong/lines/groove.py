"""Rhythm: what kick, snare and hi-hat play in a bar, and the cells a bass can lock to them.

The tables are the handbook's rhythm cells (trade handbook 7.4, common practice, no source) and
cells of the same kind, three loudnesses for each feel. Every bass cell holds every stroke of the
kick it goes with: that is what locking means here, and a test keeps it true.

Conventions
-----------
Places in the tables are written as players say them: beats from 1 in simple meters (2.5 is the
"and" of 2), eighths from 1 in compound ones. Inside the program they are exact fractions of a
whole note from the bar line. A meter without a table of its own is put together from pieces of
four, three and two beats; a bar cut short keeps what fits.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from fractions import Fraction
from functools import lru_cache

from undersong.lines.feel import Feel
from undersong.theory.meter import Meter, Wholes

QUARTER = Fraction(1, 4)
EIGHTH = Fraction(1, 8)
SIXTEENTH = Fraction(1, 16)
RHYTHMS = 3  # bass cells in each row of the tables


class Loudness(IntEnum):
    """Three rows of each table, by the energy of the section (trade handbook 7.5)."""

    LOW = 0
    MIDDLE = 1
    HIGH = 2


LOUDNESS_OF_ENERGY = (Loudness.LOW, Loudness.LOW, Loudness.MIDDLE, Loudness.HIGH, Loudness.HIGH)


@dataclass(frozen=True, slots=True)
class Groove:
    """One bar: places from the bar line; `cells` are bass rhythms, the section's own first.

    Where `is_tight`, a bass note that would sound through a snare stroke ends there
    (trade handbook 7.2, rule 11).
    """

    kick: tuple[Wholes, ...]
    snare: tuple[Wholes, ...]
    hat: tuple[Wholes, ...]
    cells: tuple[tuple[Wholes, ...], ...]
    is_tight: bool


# kick; snare; hi-hat; bass cells
_FOUR: dict[Feel, tuple[tuple[str, str, str, tuple[str, ...]], ...]] = {
    Feel.STRAIGHT: (
        ("1 3", "2 4", "1 2 3 4", ("1 3", "1 3 4", "1 2.5 3")),
        ("1 2.5 3", "2 4", "1 1.5 2 2.5 3 3.5 4 4.5", ("1 2.5 3", "1 2.5 3 4", "1 2 2.5 3")),
        (
            "1 2.5 3",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 1.5 2 2.5 3 3.5 4 4.5", "1 2 2.5 3 3.5 4 4.5", "1 1.5 2.5 3 3.5 4.5"),
        ),
    ),
    Feel.SIXTEENTHS: (
        ("1 3", "2 4", "1 1.5 2 2.5 3 3.5 4 4.5", ("1 2.75 3", "1 3 3.75", "1 1.75 3")),
        (
            "1 2.75 3",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 2.75 3 4.5", "1 1.75 2.75 3", "1 2.75 3 3.75 4.5"),
        ),
        (
            "1 1.75 2.75 3",
            "2 4",
            "1 1.25 1.5 1.75 2 2.25 2.5 2.75 3 3.25 3.5 3.75 4 4.25 4.5 4.75",
            (
                "1 1.75 2.5 2.75 3 3.75 4.5",
                "1 1.25 1.75 2.75 3 3.25 3.75 4.5",
                "1 1.75 2 2.75 3 3.75 4 4.75",
            ),
        ),
    ),
    Feel.HALF_TIME: (
        ("1", "3", "1 2 3 4", ("1 2.5", "1 4", "1 3.5")),
        ("1 2.5", "3", "1 2 3 4", ("1 2.5 4", "1 2.5", "1 2.5 3.5")),
        (
            "1 2.5 4.5",
            "3",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 1.5 2.5 3.5 4.5", "1 2.5 3.5 4 4.5", "1 1.5 2.5 4 4.5"),
        ),
    ),
    Feel.FLOOR: (
        ("1 3", "2 4", "1.5 2.5 3.5 4.5", ("1 3", "1 2 3", "1 3 4")),
        (
            "1 2 3 4",
            "2 4",
            "1.5 2.5 3.5 4.5",
            ("1 2 3 4", "1 2 3 4 4.5", "1 2 2.5 3 4"),
        ),
        (
            "1 2 3 4",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 1.5 2 2.5 3 3.5 4 4.5", "1 1.5 2 2.5 3 4 4.5", "1 2 2.5 3 3.5 4 4.5"),
        ),
    ),
    Feel.SHUFFLE: (
        ("1 3", "2 4", "1 2 2.5 3 4 4.5", ("1 3", "1 2.5 3", "1 3 4.5")),
        (
            "1 3",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 1.5 3 3.5", "1 2 3 4", "1 2.5 3 4.5"),
        ),
        (
            "1 2.5 3",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 1.5 2 2.5 3 3.5 4 4.5", "1 2 2.5 3 4 4.5", "1 1.5 2.5 3 3.5 4.5"),
        ),
    ),
    Feel.GOSPEL: (
        ("1 3", "2 4", "1 2 3 4", ("1 2.5 3", "1 2.75 3", "1 3 4.5")),
        (
            "1 2.5 3.5",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            ("1 2.5 3.5 4", "1 1.75 2.5 3.5", "1 2.5 3.5 4.5"),
        ),
        (
            "1 1.75 2.5 3.5",
            "2 4",
            "1 1.5 2 2.5 3 3.5 4 4.5",
            (
                "1 1.75 2.5 3 3.5 4.5",
                "1 1.5 1.75 2.5 3.5 4 4.75",
                "1 1.75 2.5 3.25 3.5 4.5",
            ),
        ),
    ),
}
_FOUR[Feel.BALLAD_68] = _FOUR[Feel.STRAIGHT]  # a bar of 4/4 inside a song in 6/8

_THREE: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("1", "3", "1 2 3", ("1 3", "1 2.5", "1 2 3")),
    ("1 2.5", "3", "1 1.5 2 2.5 3 3.5", ("1 2.5 3", "1 2.5", "1 2 2.5 3")),
    (
        "1 2.5",
        "3",
        "1 1.5 2 2.5 3 3.5",
        ("1 1.5 2 2.5 3 3.5", "1 2 2.5 3 3.5", "1 1.5 2.5 3"),
    ),
)
_TWO: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("1", "2", "1 2", ("1 2", "1 2.5", "1 2")),
    ("1", "2", "1 1.5 2 2.5", ("1 2 2.5", "1 2.5", "1 2")),
    ("1 2.5", "2", "1 1.5 2 2.5", ("1 1.5 2 2.5", "1 2 2.5", "1 1.5 2.5")),
)
# One group of three eighths, first and second of a pair: 6/8 is a pair, 12/8 two, 9/8 one and a
# half. Written in eighths of six.
_SIX: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("1", "4", "1 4", ("1 4", "1 4 6", "1 6")),
    ("1 6", "4", "1 2 3 4 5 6", ("1 4 6", "1 3 4 6", "1 4 5 6")),
    ("1 3 6", "4", "1 2 3 4 5 6", ("1 2 3 4 5 6", "1 3 4 5 6", "1 2 3 4 6")),
)
_TIGHT = {
    Feel.STRAIGHT: Loudness.MIDDLE,
    Feel.SIXTEENTHS: Loudness.MIDDLE,
    Feel.FLOOR: Loudness.LOW,
    Feel.SHUFFLE: Loudness.MIDDLE,
    Feel.GOSPEL: Loudness.MIDDLE,
}


def _places(text: str, unit: Wholes) -> tuple[Wholes, ...]:
    return tuple((Fraction(word) - 1) * unit for word in text.split())


def _pieces(meter: Meter) -> tuple[tuple[int, Wholes], ...]:
    """The beats of each piece of a simple bar and the length of one of its beats."""
    beats, unit = meter.upper, Fraction(1, meter.unit)
    if meter.unit >= 8:  # 5/8, 7/8: counted in pairs of eighths, the odd one in the last group
        pairs, odd = divmod(beats, 2)
        counts = [2] * pairs
        if odd:
            counts = [*counts[:-1], 3]
        return tuple((count, unit) for count in counts)
    if meter.unit == 2:  # 2/2 and 3/2: written in halves, felt as pairs of quarters
        beats, unit = beats * 2, unit / 2
    counts = []
    while beats:
        piece = 4 if beats in (4, 6, 8) or beats >= 7 else min(beats, 3)
        piece = 3 if beats == 6 and meter.unit == 4 else piece
        counts.append(piece)
        beats -= piece
    return tuple((count, unit) for count in counts)


def _row(feel: Feel, loudness: Loudness, beats: int) -> tuple[str, str, str, tuple[str, ...]]:
    if beats >= 4:
        return _FOUR[feel][loudness]
    if beats == 1:
        return ("1", "", "1", ("1", "1", "1"))
    return (_TWO if beats == 2 else _THREE)[loudness]


@lru_cache(maxsize=512)
def groove_for(feel: Feel, energy: int, meter: Meter, length: Wholes) -> Groove:
    """The rhythm of one bar.

    Parameters
    ----------
    feel
        The song's.
    energy
        0 (out) to 4 (full), by section.
    meter, length
        The bar's meter, and how long it really lasts: a bar cut short keeps what fits, a
        pick-up bar (shorter than its meter) keeps the end of the rhythm.
    """
    loudness = LOUDNESS_OF_ENERGY[energy]
    rows = _compound_rows(loudness, meter) if meter.is_compound else ()
    if not rows:
        rows = _simple_rows(feel, loudness, meter)
    start = meter.bar - length

    def joined(column: int) -> tuple[Wholes, ...]:
        return _cut(tuple(at + p for at, row in rows for p in row[column]), start)

    cells = tuple(
        (Fraction(0), *(p for p in joined(column) if p > 0)) for column in range(3, len(rows[0][1]))
    )
    is_tight = not meter.is_compound and loudness >= _TIGHT.get(feel, len(Loudness))
    return Groove(joined(0), joined(1), joined(2), cells, is_tight)


_Row = tuple[Wholes, tuple[tuple[Wholes, ...], ...]]


def _simple_rows(feel: Feel, loudness: Loudness, meter: Meter) -> tuple[_Row, ...]:
    rows: list[_Row] = []
    at = Fraction(0)
    for count, unit in _pieces(meter):
        kick, snare, hat, cells = _row(feel, loudness, count)
        texts = (kick, snare, hat, *cells)
        columns = tuple(tuple(p for p in _places(text, unit) if p < count * unit) for text in texts)
        rows.append((at, columns))
        at += count * unit
    return tuple(rows)


def _compound_rows(loudness: Loudness, meter: Meter) -> tuple[_Row, ...]:
    unit = Fraction(1, meter.unit)
    kick, snare, hat, cells = _SIX[loudness]
    rows: list[_Row] = []
    for group in range(meter.upper // 3):
        low = Fraction(3 * (group % 2)) * unit
        columns = tuple(
            tuple(p - low for p in _places(text, unit) if low <= p < low + 3 * unit)
            for text in (kick, snare, hat, *cells)
        )
        rows.append((Fraction(3 * group) * unit, columns))
    return tuple(rows)


def _cut(places: tuple[Wholes, ...], start: Wholes) -> tuple[Wholes, ...]:
    return tuple(place - start for place in places if place >= start)
