"""Stretches of a Part cut out to be engraved: each section that is written differently, once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from undersong.theory.excerpt import excerpt
from undersong.theory.part import Bar, Part


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bars of a part that are written the same wherever they are played.

    `ranges` holds the first and last bar number of every time, in order; `part` is the first of
    them cut out, `names` the sections it holds.
    """

    names: tuple[str, ...]
    part: Part
    ranges: tuple[tuple[int, int], ...]

    @property
    def is_silent(self) -> bool:
        """True where the bass plays nothing."""
        return not self.part.notes


def stretches(part: Part) -> tuple[Stretch, ...]:
    """The part section by section, each different one once.

    Sections a note sounds across are kept together, so that no tie is cut.
    """
    found: dict[tuple[object, ...], Stretch] = {}
    bars = part.bars
    for first, last in _blocks(part, bars):
        numbers = (bars[first].number, bars[last].number)
        piece = excerpt(part, *numbers, rung_in=False)
        names = tuple(dict.fromkeys(mark.name for mark in piece.sections))
        content = _content(piece)
        seen = found.get(content)
        found[content] = (
            Stretch(names, piece, (numbers,))
            if seen is None
            else replace(seen, ranges=(*seen.ranges, numbers))
        )
    return tuple(found.values())


def _content(piece: Part) -> tuple[object, ...]:
    """What makes two stretches the same on paper: all but the reasons for the notes."""
    return (
        tuple(replace(note, why=None) for note in piece.notes),
        piece.key,
        piece.meter,
        piece.length,
        piece.key_marks,
        piece.meter_marks,
        piece.chords,
        tuple(mark.name for mark in piece.sections),
    )


def _blocks(part: Part, bars: tuple[Bar, ...]) -> Iterator[tuple[int, int]]:
    if not bars:
        return
    starts = [index for index in range(len(bars)) if _begins(part, bars, index)]
    if 0 not in starts:
        starts.insert(0, 0)
    for first, after in zip(starts, [*starts[1:], len(bars)], strict=True):
        yield first, after - 1


def _begins(part: Part, bars: tuple[Bar, ...], index: int) -> bool:
    at = bars[index].at
    if not any(mark.at == at for mark in part.sections):
        return False
    return not any(
        note.at < at and (note.end > at or (note.tied and note.end == at)) for note in part.notes
    )


def bars_words(ranges: Sequence[tuple[int, int]]) -> str:
    """Bar numbers as words: ``bars 5 to 12 and 29 to 36``, ``pick-up to 8``."""
    words = [
        f"{low or 'pick-up'}" if low == high else f"{low or 'pick-up'} to {high}"
        for low, high in ranges
    ]
    many = len(words) > 1 or ranges[0][0] != ranges[0][1]
    listed = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    if listed.startswith("pick-up"):
        return listed
    return f"{'bars' if many else 'bar'} {listed}"
